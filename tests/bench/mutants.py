"""How much of judging its tests hold: `python tests/bench/mutants.py` changes one line after the other, and counts.

A mutant has to be killed, by a test that fails. One that survives is either equivalent, which `mutants_explained.toml`
says with the reason, or a hole in the tests.

All tests run once in this process, which then has everything loaded and knows which test reaches which line, in how
many seconds. Each mutant gets a fork of it, which runs the tests that reach its line until the first that fails; those
that kill most in a second go first. `mutants.json` keeps the score of each module with a hash of its code, and only
modules whose hash differs are run: an interrupted run goes on where it was, and a change costs what it touched.
"""

from __future__ import annotations

import argparse
import ast
import functools
import gc
import importlib
import itertools
import json
import os
import pickle
import re
import resource
import signal
import sys
import tempfile
import time
import tomllib
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from _pytest.runner import runtestprotocol  # as other plugins that fork do
from mutations import ROOT, Mutant, code_hash, functions_of, module_name, mutants_of, noting

from rcdcheck import intake

SAVED, EXPLAINED = (Path(__file__).with_name(name) for name in ("mutants.json", "mutants_explained.toml"))
MODULES = [
    "rcdcheck/judging/*.py", "rcdcheck/grading.py", "rcdcheck/rules/*.py", "rcdcheck/scrutiny/strength.py",
    "rcdcheck/scrutiny/tails.py", "rcdcheck/identity.py", "rcdcheck/reading_marks.py", "rcdcheck/intake/cells/*.py",
]  # fmt: skip
TESTS = [
    *(f"tests/judging/test_judging_{name}.py" for name in (
        "checks", "confidence", "danger", "devices", "edges", "errors_heard", "grades", "half_waves", "identity",
        "kinds", "needs", "outcomes", "reading_marks", "readings", "repeats", "sentences", "severities", "visits")),
    *(f"tests/published/test_{name}.py" for name in (
        "independent_judge", "published_jcgm106", "published_limits", "published_statistics")),
    *(f"tests/intake/test_intake_{name}.py" for name in (
        "cells", "cells_dates", "cells_grammars", "cells_letters", "cells_lists", "cells_marks", "cells_words",
        "remarks", "columns")),
    "tests/scrutiny/test_scrutiny_strength.py", "tests/scrutiny/test_scrutiny_tails.py", "tests/test_cases.py",
    "tests/test_rules.py", "tests/test_rules_loading.py", "tests/bench/thinned.py",
]  # fmt: skip
AT_HOME = {  # modules → the tests that are about them: they go first, whatever they take
    "cells/date": "cells_dates", "cells/": "intake_",
    "grading": "grades", "identity": "judging_identity|visits", "danger": "danger|devices", "rules/": "test_rules",
    "strength|tails": "statistics|scrutiny_", "errors_heard": "errors_heard|severities",
    "confidence": "confidence|jcgm106", "actions|judging/checks|devices": "judging_devices|judging_checks",
    "_visit": "visits|repeats", "outcomes": "judging_outcomes|repeats|visits",
    "judging/reasons": "sentences|visits", "reading_marks": "reading_marks", "judging/remarks": "judging_outcomes",
    "possible_types": "judging_outcomes|judging_readings",
    "limit_checks|judging/verdicts|batches|needs": "needs|readings|thinned|confidence|edges|half_waves",
    "judging/": "edges|repeats|devices|visits",
}  # fmt: skip
FAULT = 99  # of the bench: not even the first test began
Line = tuple[str, int]


def modules() -> list[str]:
    """Paths of the modules that are changed: those that hold anything to change."""
    paths = sorted(path.relative_to(ROOT).as_posix() for pattern in MODULES for path in ROOT.glob(pattern))
    return [path for path in paths if mutants_of(path)]


def explained() -> dict[str, dict[str, str]]:
    """Why a mutant makes no difference: by module and name."""
    return tomllib.loads(EXPLAINED.read_text(encoding="utf-8"))


def saved() -> dict[str, dict[str, Any]]:
    """The score that was kept, by module."""
    kept: dict[str, dict[str, Any]] = json.loads(SAVED.read_text(encoding="utf-8"))
    return kept


@dataclass
class Held:
    """A test as its first run found it, and how often it ran and killed since."""

    item: pytest.Item
    seconds: float
    lines: frozenset[Line]
    runs: int = 0
    kills: Counter[str] = field(default_factory=Counter)  # by module

    def reaches(self, mutant: Mutant) -> bool:
        """Whether it runs what is changed; what is made once for all tests is of each that comes to its module."""
        if mutant.name.partition(":")[0] in made_once(mutant.path):
            return any(path == mutant.path for path, _ in self.lines)
        return any((mutant.path, line) in self.lines for line in mutant.lines)

    def is_about(self, path: str) -> bool:
        """Whether it is of the tests that are about a module."""
        about = next((tests for modules, tests in AT_HOME.items() if re.search(modules, path)), "")
        return bool(about and re.search(about, self.item.nodeid))

    def worth(self, path: str) -> float:
        """Mutants of a module that it may be expected to kill in a second."""
        return (self.kills.total() + 5 * self.kills[path] + 0.5) / (self.runs + 5) / (self.seconds + 0.01)


class Bench:
    """A plugin of pytest in the place of its own loop."""

    def __init__(self, chosen: argparse.Namespace) -> None:
        self.chosen, self.met = chosen, set[Line]()

    def pytest_sessionstart(self) -> None:
        """That a test fails is enough, by whatever example; hypothesis may be loaded only now."""
        from hypothesis import Phase, settings

        shown = (Phase.explicit, Phase.generate)
        settings.register_profile("mutants", phases=shown, database=None, derandomize=True)
        settings.load_profile("mutants")

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """All tests once, then each module's mutants."""
        paths = modules()
        names = {module_name(path) for path in paths}
        for name in names:
            importlib.import_module(name)
        caches = [one for one in gc.get_objects() if isinstance(one, functools._lru_cache_wrapper)]
        self.keeping = [one for one in caches if one.__module__ in names and "intake" not in one.__module__]
        self.ours = [one for one in caches if one.__module__.startswith("rcdcheck.")]
        self.functions = functions_of(paths)
        self.mutants = {path: (code_hash(path), mutants_of(path)) for path in paths}  # as they are loaded here
        self.take_out = remember_what_was_taken_out()
        with noting(paths, self.functions, self.met):
            self.tests = [self.measured(item) for item in session.items]
        print(f"{len(self.tests)} tests, {sum(one.seconds for one in self.tests):.0f} s", flush=True)
        imports()
        gc.freeze()
        for path in paths:
            if re.search(self.chosen.only, path) and self.is_asked(path):
                self.keep(path, self.score(path))
        return True

    def measured(self, item: pytest.Item) -> Held:
        """Run a test here: how long it takes, and which lines it meets."""
        self.met.clear()
        forget_texts(self.ours)
        start = time.process_time()
        if not self.passes(item):
            pytest.exit(f"{item.nodeid} fails without any mutant.", 1)
        return Held(item, time.process_time() - start, frozenset(self.met))

    def passes(self, item: pytest.Item) -> bool:
        """Run a test; nothing is remembered of one before."""
        for one in self.keeping:
            one.cache_clear()
        failed = [one for one in runtestprotocol(item, log=False, nextitem=None) if one.failed]
        print(*(one.longrepr for one in failed), sep="\n", end="")
        return not failed

    def is_asked(self, path: str) -> bool:
        """Whether a module is to be run: its score is of another code, or it has holes that may be closed."""
        kept = saved().get(path, {"holes": []})
        stale = kept.get("made_of") != self.mutants[path][0]
        return self.chosen.all or stale or (self.chosen.holes and bool(kept["holes"]))

    def score(self, path: str) -> dict[str, Any]:
        """Counts of a module, and its holes; of one that was run before, only the holes are run again."""
        start, (made_of, found), kept = cpu(), self.mutants[path], saved().get(path, {})
        why = explained().get(path, {})
        only = kept["holes"] if self.chosen.holes and kept.get("made_of") == made_of else None
        run = [one for one in found if one.name not in why and (only is None or one.name in only)]
        holes, tried = [], 0
        with ThreadPoolExecutor(self.chosen.jobs) as pool:  # of threads that wait for forks
            try:
                for one, survived in zip(run, pool.map(self.survives, run), strict=True):
                    holes += [one.name] if survived else []
                    tried += 1
            except KeyboardInterrupt:  # what was not tried is a hole
                signal.signal(signal.SIGINT, signal.SIG_IGN)
                pool.shutdown(wait=False, cancel_futures=True)
                self.keep(path, told_of(made_of, found, why, holes + [one.name for one in run[tried:]]))
                raise
        print(f"{path}: {tried} run, {len(holes)} holes, {cpu() - start:.0f} s", flush=True)
        return told_of(made_of, found, why, holes)

    def survives(self, mutant: Mutant) -> bool:
        """Whether the tests that reach a mutant pass with it, in a fork of this process."""
        reach = sorted((one for one in self.tests if one.reaches(mutant)), key=lambda one: -one.worth(mutant.path))
        home = [one for one in reach if one.is_about(mutant.path)]
        reach = within(home + [one for one in reach if one not in home], self.chosen.seconds)
        with tempfile.TemporaryFile() as told:
            child = os.fork()
            if child == 0:
                self.run_fork(mutant, reach, told.fileno())
            _, status = os.waitpid(child, 0)
            told.seek(0)
            took = [float(line) for line in told.read().split()]
        ended = os.waitstatus_to_exitcode(status)
        assert ended != FAULT, mutant.name
        survived = ended == 0
        if survived:
            print(f"    {mutant.path}:{min(mutant.lines, default=0)} {mutant.name}", flush=True)
        for one, seconds in zip(reach, took, strict=False):
            one.runs, one.seconds = one.runs + 1, (one.seconds + seconds) / 2
        if not survived and took:
            reach[len(took) - 1].kills[mutant.path] += 1
        return survived

    def run_fork(self, mutant: Mutant, tests: list[Held], told: int) -> None:
        """Run tests with the mutant, and end with 0 if all pass; the seconds of each are written to `told`."""
        code = FAULT
        try:
            seconds = int(20 + 3 * sum(one.seconds for one in tests))  # one that never ends has not passed
            resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds))
            nothing = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nothing, 1)
            os.dup2(nothing, 2)
            code = 1  # of a module that is no longer loaded
            mutant.put_in(self.functions)
            code = FAULT
            if "/intake/" in mutant.path:  # nothing that was read before is known
                vars(intake)["take_out"] = self.take_out
                forget_what_came_from(module_name(mutant.path), self.ours)
            code = 1
            for one in tests:
                start = time.process_time()
                passed = self.passes(one.item)
                os.write(told, b"%f\n" % (time.process_time() - start))
                if not passed:
                    break
            else:
                code = 0
        finally:  # whatever happens, so that no fork goes on as the run
            os._exit(code)

    def keep(self, path: str, score: dict[str, Any]) -> None:
        """Write the score of a module beside those of the others that there still are."""
        both = saved() | {path: score}
        told = json.dumps({one: both[one] for one in self.mutants if one in both}, indent=1, ensure_ascii=False)
        SAVED.write_text(told + "\n", encoding="utf-8")


def told_of(made_of: str, found: list[Mutant], why: dict[str, str], holes: list[str]) -> dict[str, Any]:
    """The score of a module as it is kept."""
    equivalent = sum(one.name in why for one in found)
    return {"made_of": made_of, "mutants": len(found), "killed": len(found) - equivalent - len(holes),
            "equivalent": equivalent, "holes": holes}  # fmt: skip


def remember_what_was_taken_out() -> Callable[..., Any]:
    """Let sheets that are taken out again, in a fork too, give the tables of the first time. Returns what took them."""
    known: dict[bytes, tuple[Any, bytes]] = {}
    take_out = intake.take_out

    def remembered(inputs: Any, options: Any, found: Any, world: Any = None, types: Any = ()) -> Any:
        key = pickle.dumps((inputs, options, vars(found), world, tuple(types)))
        if key not in known:
            tables = take_out(inputs, options, found, world, types)
            known[key] = tables, pickle.dumps(vars(found))
        tables, noted = known[key]
        vars(found).update(pickle.loads(noted))
        return tables

    vars(intake)["take_out"] = remembered
    return take_out


def forget_what_came_from(changed: str, caches: list[functools._lru_cache_wrapper[Any]]) -> None:
    """Empty what a module, or one that imports it in however many steps, has kept; the words of the schemas stay."""
    reached, new = set[str](), {changed}
    while new:
        reached |= new
        new = {name for name, of in imports().items() if of & new} - reached
    for cache in caches:
        if cache.__module__ in reached:
            cache.cache_clear()
    for kept in (one for name in reached for one in words_of(name)):
        kept.clear()


def forget_texts(caches: list[functools._lru_cache_wrapper[Any]]) -> None:
    """Empty what is kept of single texts, so that each test is seen to come to the lines that read its own."""
    for cache in caches:
        if cache.cache_parameters()["maxsize"] is not None:
            cache.cache_clear()
    for kept in (one for name in imports() for one in words_of(name)):
        kept.clear()


def words_of(module: str) -> list[dict[Any, Any]]:
    """The dictionaries of a module that fill themselves."""
    kept = vars(sys.modules[module]).values()
    return [one for one in kept if isinstance(one, dict) and type(one).__module__ == module]


@functools.cache
def made_once(path: str) -> frozenset[str]:
    """The functions of a module that answer the same for the whole run: `functools.cache`."""
    tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
    return frozenset(one.name for one in tree.body if isinstance(one, ast.FunctionDef)
                     and any(ast.unparse(each) == "functools.cache" for each in one.decorator_list))  # fmt: skip


@functools.cache
def imports() -> dict[str, frozenset[str]]:
    """The modules of ours that each loaded one imports."""
    ours = [name for name in sys.modules if name.startswith("rcdcheck.")]
    return {name: frozenset(one for one in imported(name) if one in ours) for name in ours}


def imported(module: str) -> Iterator[str]:
    """What the import statements of a module name: modules, or modules and what may be one in them."""
    for one in ast.walk(ast.parse(Path(str(sys.modules[module].__file__)).read_text(encoding="utf-8"))):
        if isinstance(one, ast.Import):
            yield from (alias.name for alias in one.names)
        if isinstance(one, ast.ImportFrom):
            yield from (str(one.module), *(f"{one.module}.{alias.name}" for alias in one.names))


def cpu() -> float:
    """Seconds that this process and its forks have computed."""
    return sum(os.times()[:4])


def within(tests: list[Held], seconds: float) -> list[Held]:
    """The first of these tests that take so long together."""
    spent = itertools.accumulate(one.seconds for one in tests)
    return [one for one, by in zip(tests, spent, strict=True) if by <= seconds]


def main() -> None:
    """Run what is asked."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    parser.add_argument("--all", action="store_true", help="also modules whose score is of their code")
    parser.add_argument("--holes", action="store_true", help="also the holes of modules that were run, once more")
    parser.add_argument("--only", default="", help="modules whose path this regular expression finds")
    parser.add_argument("--seconds", type=float, default=60.0, help="of tests, the best of which a mutant gets")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--tests", nargs="*", default=TESTS)
    chosen = parser.parse_args()
    signal.signal(signal.SIGINT, signal.default_int_handler)  # also where a shell has put this behind it
    with tempfile.TemporaryDirectory() as folder:
        options = ["-s", "-q", "-p", "no:cacheprovider", "--rootdir", str(ROOT), "--basetemp", f"{folder}/tests"]
        options += [
            "-k",
            "not take_seconds",
            "-o",
            "tmp_path_retention_policy=failed",
            *(str(ROOT / one) for one in chosen.tests),
        ]
        ended = pytest.main(options, [Bench(chosen)])
    sys.exit(ended)


if __name__ == "__main__":
    main()
