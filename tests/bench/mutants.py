"""How much of judging its tests hold: `python tests/bench/mutants.py [--count 130] [--seed 1] [--save] [--again]`.

A mutant is one line of judging changed: a comparison turned, a number by one, `and` for `or`, a mask's `&` for `|`, a
statement dropped. Each is put into a copy of the project and the tests that hold its module run, the quick ones first,
until the first that fails; a mutant that survives is either equivalent, which `mutants_explained.toml` says with the
reason, or a hole in the tests. The draw is seeded; `--save` keeps the score in `mutants.json`, and `--again` runs the
holes that it names once more, after tests were added. Nothing is asserted.
"""

from __future__ import annotations

import argparse
import ast
import copy
import json
import os
import random
import shutil
import signal
import sys
import tempfile
import time
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fnmatch import fnmatch
from functools import partial
from pathlib import Path
from typing import Any

import numpy  # noqa: F401  loaded once: every mutant runs in a fork of this process
import pandas  # noqa: F401
import pandera.pandas  # noqa: F401
import pytest

ROOT = Path(__file__).parents[2]
HERE = Path(__file__).parent
SAVED = HERE / "mutants.json"
SEVERITIES, KINDS = "tests/judging/test_judging_severities.py", "tests/judging/test_judging_kinds.py"
DEVICES, CONFIDENCE = "tests/judging/test_judging_devices.py", "tests/judging/test_judging_confidence.py"
EDGES = "tests/judging/test_judging_edges.py"
STATISTICS = "tests/published/test_published_statistics.py"
TABLE = "tests/judging/test_judging_decisions.py::test_a_whole_audit_decides_as_the_table_does"
JUDGE = "tests/published/test_independent_judge.py::test_the_program_and_an_independent_judge_agree"
OF_READINGS = [
    CONFIDENCE,
    EDGES,
    f"{TABLE}[north-america-gfci]",
    f"{TABLE}[anz-in-service]",
    KINDS,
    f"{TABLE}[international-product]",
]
OF_DEVICES = [SEVERITIES, DEVICES, EDGES, KINDS, f"{JUDGE}[north-america-gfci]", f"{TABLE}[north-america-gfci]"]
TESTS = {  # module → the tests that hold it, the quick ones first
    "rcdcheck/grading.py": ["tests/judging/test_judging_grades.py", SEVERITIES],
    "rcdcheck/rules/model.py": ["tests/test_rules.py", "tests/test_rules_loading.py", *OF_READINGS],
    "rcdcheck/scrutiny/strength.py": ["tests/scrutiny/test_scrutiny_strength.py", STATISTICS],
    "rcdcheck/scrutiny/tails.py": ["tests/scrutiny/test_scrutiny_tails.py", STATISTICS],
    "rcdcheck/judging/confidence.py": [CONFIDENCE, KINDS],
    "rcdcheck/judging/danger.py": ["tests/judging/test_judging_danger.py", KINDS],
    **dict.fromkeys([f"rcdcheck/judging/{name}.py" for name in
                     ("limit_checks", "verdicts", "batches", "needs", "possible_types")], OF_READINGS),
    "rcdcheck/judging/*.py": OF_DEVICES,
}  # fmt: skip
LOADED = "ignore::pytest.PytestAssertRewriteWarning"  # a library that was loaded before the fork
LONGEST = 300  # s; a mutant that never ends is seen by that
TURNED = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq}
SWAPPED = {ast.And: ast.Or, ast.Or: ast.And, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd}


@dataclass(frozen=True)
class Mutant:
    """One change to one file, and the source that it leaves."""

    path: str
    line: int
    inside: str
    what: str
    source: str

    @property
    def name(self) -> str:
        """File, function and change, as `mutants_explained.toml` and the score name it."""
        return f"{self.path} {self.inside}: {self.what}"


def all_mutants() -> list[Mutant]:
    """Every mutant of every module that has its tests named."""
    paths = sorted({path for pattern in TESTS for path in ROOT.glob(pattern)})
    return [mutant for path in paths for mutant in mutants_of(path)]


def mutants_of(path: Path) -> Iterator[Mutant]:
    """Every mutant of a file."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    nodes = list(ast.walk(tree))
    inside = {id(part): one.name for one in nodes if isinstance(one, ast.FunctionDef) for part in ast.walk(one)}
    for at, node in enumerate(nodes):
        for what, change in changes(node):
            other = copy.deepcopy(tree)
            change(list(ast.walk(other))[at])
            name, function = path.relative_to(ROOT).as_posix(), inside.get(id(node), "")
            source = ast.unparse(ast.fix_missing_locations(other))
            yield Mutant(name, getattr(node, "lineno", 0), function, what, source)


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


def tests_of(path: str) -> list[str]:
    """The tests that hold a module."""
    return next(tests for pattern, tests in TESTS.items() if fnmatch(path, pattern))


def survives(mutant: Mutant, folder: Path) -> bool:
    """Whether the tests of its module pass with the mutant in the copy."""
    target = folder / mutant.path
    before = target.read_text(encoding="utf-8")
    target.write_text(mutant.source, encoding="utf-8")
    try:
        return passes(tests_of(mutant.path), folder)
    finally:
        target.write_text(before, encoding="utf-8")


def passes(tests: list[str], folder: Path) -> bool:
    """Whether tests pass in the copy, run in a fork of this process; a run that does not end has not passed."""
    child = os.fork()
    if child == 0:
        run_tests(tests, folder)
    until = time.monotonic() + LONGEST
    while time.monotonic() < until:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            return os.waitstatus_to_exitcode(status) == 0
        time.sleep(0.05)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return False


def run_tests(tests: list[str], folder: Path) -> None:
    """Run tests in this process, which ends with their exit code; what they print goes to a file of the copy."""
    os.chdir(folder)
    sys.dont_write_bytecode = True
    os.environ |= {"PYTHONPATH": str(folder), "PYTHONDONTWRITEBYTECODE": "1"}
    sys.path.insert(0, str(folder))
    log = os.open(folder / "tests.log", os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    os.dup2(log, 1)
    os.dup2(log, 2)
    code = 1
    try:
        code = pytest.main(["-x", "-q", "-p", "no:cacheprovider", "-W", LOADED, *tests])
    finally:  # whatever happens, so that no fork goes on as the run
        os._exit(code)


def main() -> None:
    """Draw, run, print, and save where asked."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    parser.add_argument("--count", type=int, default=130)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=20.0)
    parser.add_argument("--save", action="store_true", help="write tests/bench/mutants.json")
    parser.add_argument(
        "--again", action="store_true", help="only the holes of mutants.json, which is brought up to date"
    )
    chosen = parser.parse_args()
    everything = all_mutants()
    drawn = random.Random(chosen.seed).sample(everything, min(chosen.count, len(everything)))
    if chosen.again:
        drawn = [mutant for mutant in everything if mutant.name in saved()["holes"]]
    until = time.monotonic() + 60 * chosen.minutes
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "copy"
        shutil.copytree(ROOT, folder, ignore=shutil.ignore_patterns(".git", ".venv", "*cache*"))
        if not passes(sorted({test for tests in TESTS.values() for test in tests}), folder):
            sys.exit(f"The tests fail without any mutant:\n{(folder / 'tests.log').read_text()[-3000:]}")
        ends: dict[str, list[str]] = {"killed": [], "survived": [], "not run": []}
        for mutant in drawn:
            late = time.monotonic() > until
            end = "not run" if late else "survived" if survives(mutant, folder) else "killed"
            ends[end].append(mutant.name)
            sys.stdout.write(f"{end:9} {mutant.path}:{mutant.line} {mutant.what}\n")
            sys.stdout.flush()
    told = closed(ends) if chosen.again else score(len(everything), chosen, ends)
    text = json.dumps(told, indent=1, ensure_ascii=False) + "\n"
    sys.stdout.write(text)
    if chosen.save:
        SAVED.write_text(text, encoding="utf-8")


def saved() -> dict[str, Any]:
    """The score that was kept."""
    kept: dict[str, Any] = json.loads(SAVED.read_text(encoding="utf-8"))
    return kept


def score(total: int, chosen: argparse.Namespace, ends: dict[str, list[str]]) -> dict[str, Any]:
    """Counts of a run, and its survivors: those that are explained, and those that are holes."""
    explained: dict[str, str] = tomllib.loads((HERE / "mutants_explained.toml").read_text(encoding="utf-8"))
    survived = ends["survived"]
    return {
        "command": f"python tests/bench/mutants.py --count {chosen.count} --seed {chosen.seed} "
        f"--minutes {chosen.minutes:g} --save",
        "mutants": total,
        **{end: len(found) for end, found in ends.items()},
        "closed": [],
        "equivalent": {one: explained[one] for one in survived if one in explained},
        "holes": [one for one in survived if one not in explained],
    }


def closed(ends: dict[str, list[str]]) -> dict[str, Any]:
    """The kept score after another run of its holes: killed by tests that were added, or gone with their code."""
    explained: dict[str, str] = tomllib.loads((HERE / "mutants_explained.toml").read_text(encoding="utf-8"))
    kept = saved()
    left = [*ends["survived"], *ends["not run"]]
    kept["closed"] += [one for one in kept["holes"] if one not in left]
    kept["equivalent"] |= {one: explained[one] for one in left if one in explained}
    kept["holes"] = [one for one in left if one not in explained]
    return kept


if __name__ == "__main__":
    main()
