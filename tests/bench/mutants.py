"""How much of judging its tests hold: `python tests/bench/mutants.py [--count 40] [--seed 1] [--minutes 8] [--save]`.

A mutant is one line of judging changed: a comparison turned, a number by one, `and` for `or`, a mask's `&` for `|`, a
statement dropped. Each is put into a copy of the project and the tests of judging run until the first that fails; a
mutant that survives is either equivalent or a hole in the tests. The draw is seeded; `--save` keeps the score in
`mutants.json`. Nothing is asserted.
"""

from __future__ import annotations

import argparse
import ast
import copy
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
WHERE = ["rcdcheck/judging/*.py", "rcdcheck/grading.py", "rcdcheck/rules.py"]
TESTS = [  # the quick ones first
    "tests/test_rules.py", "tests/judging/test_judging_danger.py", "tests/judging/test_judging_confidence.py",
    "tests/judging/test_judging_grades.py", "tests/judging/test_judging_kinds.py",
    "tests/judging/test_judging_severities.py", "tests/judging/test_judging_decisions.py",
    "tests/published/test_independent_judge.py",
]  # fmt: skip
TURNED = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq}
SWAPPED = {ast.And: ast.Or, ast.Or: ast.And, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd}


@dataclass(frozen=True)
class Mutant:
    """One change to one file, and the source that it leaves."""

    path: str
    line: int
    what: str
    source: str


def mutants_of(path: Path) -> Iterator[Mutant]:
    """Every mutant of a file."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    nodes = list(ast.walk(tree))
    for at, node in enumerate(nodes):
        for what, change in changes(node):
            other = copy.deepcopy(tree)
            change(list(ast.walk(other))[at])
            name = path.relative_to(ROOT).as_posix()
            yield Mutant(name, getattr(node, "lineno", 0), what, ast.unparse(ast.fix_missing_locations(other)))


def changes(node: ast.AST) -> Iterator[tuple[str, Callable[[Any], object]]]:
    """What may be changed at a node, in words and as a function of the copied node."""
    if isinstance(node, ast.Compare) and type(node.ops[0]) in TURNED:
        turned = TURNED[type(node.ops[0])]
        yield f"{ast.unparse(node)}: {turned.__name__}", lambda n: n.ops.__setitem__(0, turned())
    if isinstance(node, ast.BoolOp | ast.BinOp) and type(node.op) in SWAPPED and "None" not in ast.unparse(node):
        swapped = SWAPPED[type(node.op)]
        yield f"{ast.unparse(node)}: {swapped.__name__}", lambda n: setattr(n, "op", swapped())
    if isinstance(node, ast.Constant) and type(node.value) in (int, float):
        yield f"{node.value!r} + 1", lambda n: setattr(n, "value", n.value + 1)
    if isinstance(node, ast.FunctionDef):
        for i, statement in enumerate(node.body):
            if isinstance(statement, ast.Expr | ast.AugAssign) and not isinstance(statement.value, ast.Constant):
                dropped = ast.unparse(statement).splitlines()[0]
                yield f"dropped: {dropped}", partial(drop, place=i)


def drop(function: ast.AST, place: int) -> None:
    """Take one statement out of a function."""
    assert isinstance(function, ast.FunctionDef)
    function.body[place] = ast.Pass()


def killed_by(mutant: Mutant, folder: Path, until: float) -> str:
    """The first test that fails with the mutant, "time" where there was too little, or "" where all pass."""
    target = folder / mutant.path
    before = target.read_text(encoding="utf-8")
    target.write_text(mutant.source, encoding="utf-8")
    try:
        for test in TESTS:
            if time.monotonic() > until:
                return "time"
            if (folder / test).exists() and fails(test, folder):
                return test
        return ""
    finally:
        target.write_text(before, encoding="utf-8")


def fails(test: str, folder: Path) -> bool:
    """Whether a file of tests fails in the copy; a run that hangs fails too."""
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-n", "0", "-p", "no:cacheprovider", test]
    environment = os.environ | {"PYTHONPATH": str(folder), "PYTHONDONTWRITEBYTECODE": "1"}
    try:
        ran = subprocess.run(command, cwd=folder, env=environment, capture_output=True, timeout=240, check=False)
    except subprocess.TimeoutExpired:
        return True
    return ran.returncode != 0


def main() -> None:
    """Draw, run, print, and save where asked."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=8.0)
    parser.add_argument("--save", action="store_true", help="write tests/bench/mutants.json")
    chosen = parser.parse_args()
    everything = [m for pattern in WHERE for path in sorted(ROOT.glob(pattern)) for m in mutants_of(path)]
    drawn = random.Random(chosen.seed).sample(everything, min(chosen.count, len(everything)))
    until = time.monotonic() + 60 * chosen.minutes
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "copy"
        left_out = shutil.ignore_patterns(".git", ".venv", "*cache*", "cases")
        shutil.copytree(ROOT, folder, ignore=left_out)
        ends: dict[str, list[str]] = {"killed": [], "survived": [], "not run": []}
        for mutant in drawn:
            by = "time" if time.monotonic() > until else killed_by(mutant, folder, until)
            end = {"": "survived", "time": "not run"}.get(by, "killed")
            ends[end].append(f"{mutant.path}:{mutant.line} {mutant.what}")
            sys.stdout.write(f"{end:9} {mutant.path}:{mutant.line} {mutant.what}  {by}\n")
            sys.stdout.flush()
    score = {
        "command": f"python tests/bench/mutants.py --count {chosen.count} --seed {chosen.seed} "
        f"--minutes {chosen.minutes:g} --save",
        "mutants": len(everything),
        **{end: len(found) for end, found in ends.items()},
        "survivors": ends["survived"],
    }
    sys.stdout.write(json.dumps(score, indent=1, ensure_ascii=False) + "\n")
    if chosen.save:
        text = json.dumps(score, indent=1, ensure_ascii=False) + "\n"
        (ROOT / "tests" / "bench" / "mutants.json").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
