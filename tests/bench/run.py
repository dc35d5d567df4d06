"""The benchmark: `python tests/bench/run.py [--devices 100000 1000000] [--rounds 3] [--only csv]`.

Every figure is a ratio against a floor that is timed in the same run, in turns with it (floor, ours, floor,
ours and so on), each in a process of its own; the ratio printed is the median of the pairs. What is timed is the
processor, user and system, which neighbours disturb less than the clock; the clock times what two processes do at
once. Peak memory is that of the largest process. Nothing is asserted: machines are noisy, and the goals are there
to be read. Time an installed wheel, since source without compiled files is slower to start; `peers` needs its extra
`bench`.
"""

from __future__ import annotations

import argparse
import itertools
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
import fleet
import generate
import peers

STACK = "import pandas, pandera.pandas, openpyxl, jinja2"
QUIET = ("--quiet", "--write", "none", "--fail-on", "never", "--as-of", "2026-11-25")


@dataclass(frozen=True)
class Pair:
    """One comparison: our command against its floor, and the ratio that is hoped for."""

    what: str
    ours: list[str]
    against: str
    floor: list[str]
    goal: float | None
    scale: float = 1.0  # how many times the floor's work ours does
    exit_code: int = 0  # that ours has to answer
    by_clock: bool = False


@dataclass(frozen=True)
class Timing:
    """Of one process."""

    seconds: float  # of the processor
    clock: float
    peak_mib: float
    exit_code: int


def main() -> None:
    """Time the comparisons asked for and print a line for each."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--devices", type=int, nargs="+", default=[10_000, 100_000], help="sizes of the CSV")
    parser.add_argument("--workbook", type=int, default=50_000, help="rows of the large workbook")
    parser.add_argument("--peers", type=int, default=100_000, help="rows of the files that other libraries check too")
    parser.add_argument("--sheets", type=int, default=100, help="sheets of half the month")
    parser.add_argument("--tests", type=int, default=1_000_000, help="tests that the large register knows")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--only", nargs="+", choices=GROUPS, default=list(GROUPS))
    asked = parser.parse_args()
    print(f"{'what':44} {'ours':>9} {'floor':>9} {'ratio':>7} {'goal':>6} {'peak':>10}  against")
    with tempfile.TemporaryDirectory() as name:
        for group in asked.only:
            for pair in GROUPS[group](Path(name), asked):
                print(report(pair, asked.rounds, Path(name)), flush=True)


def report(pair: Pair, rounds: int, folder: Path) -> str:
    """Time floor and ours in turns; one line."""
    timed = [(run(pair.floor, folder), run(pair.ours, folder)) for _ in range(rounds)]
    seconds = [tuple(one.clock if pair.by_clock else one.seconds for one in both) for both in timed]
    ratio = statistics.median(ours / floor for floor, ours in seconds) / pair.scale
    floor_s, ours_s = map(statistics.median, zip(*seconds, strict=True))
    peak = max(ours.peak_mib for _, ours in timed)
    goal = "" if pair.goal is None else f"{pair.goal:g}"
    codes = {ours.exit_code - pair.exit_code for _, ours in timed} | {floor.exit_code for floor, _ in timed}
    fault = "" if codes == {0} else "  NOT A MEASUREMENT: a process failed"
    figures = f"{ours_s:8.2f}s {floor_s:8.2f}s {ratio:7.2f} {goal:>6} {peak:6.0f} MiB"
    return f"{pair.what:44} {figures}  {pair.against}{fault}"


def run(command: list[str], folder: Path) -> Timing:
    """Run one process to its end."""
    start = time.perf_counter()
    with subprocess.Popen(command, cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
        _, status, usage = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
    clock = time.perf_counter() - start
    return Timing(usage.ru_utime + usage.ru_stime, clock, usage.ru_maxrss / 1024, process.returncode)


def python(code: str) -> list[str]:
    """A bare Python that runs `code`."""
    return [sys.executable, "-c", code]


def audit(*arguments: str | Path) -> list[str]:
    """An audit in a process of its own."""
    return [sys.executable, "-m", "rcdcheck", "audit", *map(str, arguments)]


def start_up(folder: Path, asked: argparse.Namespace) -> Iterator[Pair]:
    """What a command costs that reads nothing."""
    rcdcheck = [sys.executable, "-m", "rcdcheck"]
    bare = python("pass")
    yield Pair("--help", [*rcdcheck, "--help"], "bare Python", bare, 6)
    yield Pair("--version", [*rcdcheck, "--version"], "bare Python", bare, 6)
    yield Pair("usage error", [*rcdcheck, "audit"], "bare Python", bare, 6, exit_code=2)


def day(folder: Path, asked: argparse.Namespace) -> Iterator[Pair]:
    """A day's sheet of 100 devices."""
    sheet = generate.write(folder / "day.xlsx", 100)
    everything = audit(sheet, "--write", "html,xlsx,json", "--fail-on", "never", "--as-of", "2026-11-25")
    yield Pair("day's sheet, every report", everything, STACK, python(STACK), 1.6)
    only_json = audit(sheet, *QUIET, "--json", "day.json")
    yield Pair("day's sheet, quiet, JSON only", only_json, STACK, python(STACK), 1.4)


def csv(folder: Path, asked: argparse.Namespace) -> Iterator[Pair]:
    """Delimited text of each size; at the largest also every device in the JSON, half bad, and growth."""
    sizes = sorted(asked.devices)
    clean = {n: _csv(folder, n) for n in sizes}
    ours = {n: audit(clean[n], *QUIET, "--json", "out.json") for n in sizes}
    for n in sizes:
        yield Pair(
            f"{n:,} devices of CSV",
            ours[n],
            "read_csv",
            _read_csv(clean[n]),
            4 if n >= 10**6 else None,
        )
    n = sizes[-1]
    for what, failing in (("as people type them", 0.02), ("as people type them, a third failing", 1 / 3)):
        path = folder / f"{n}-typed-{failing:.2f}.csv"
        typed = path if path.exists() else generate.write_typed(path, n, failing)
        goal = (4 if failing < 0.1 else 6) if n >= 10**6 else None
        yield Pair(f"{n:,} {what}", audit(typed, *QUIET, "--json", "out.json"), "read_csv", _read_csv(typed), goal)
    everyone = audit(clean[n], *QUIET, "--json", "out.json", "--devices", "all")
    yield Pair(f"{n:,} devices, all in the JSON", everyone, "read_csv", _read_csv(clean[n]), 8)
    half_bad = audit(_csv(folder, n, 0.5), *QUIET, "--json", "out.json")
    yield Pair(f"{n:,} devices, half of the readings bad", half_bad, "the clean file", ours[n], 3)
    what, two = f"{n:,} devices, --jobs 2, by the clock", [*ours[n], "--jobs", "2"]
    yield Pair(what, two, "read_csv", _read_csv(clean[n]), 3 if n >= 10**6 else None, by_clock=True)
    yield Pair(what, two, "one process", ours[n], None, by_clock=True)
    for small, large in itertools.pairwise(sizes):
        if small >= 100_000:
            what = f"growth from {small:,} to {large:,}, per device"
            yield Pair(what, ours[large], "the smaller file", ours[small], 1.2, large / small)


def others(folder: Path, asked: argparse.Namespace) -> Iterator[Pair]:
    """Ours and libraries of validation in general on the same files, each against reading it."""
    n = asked.peers
    for what, path in (
        ("tidy", _csv(folder, n)),
        ("as people type them", generate.write_typed(folder / "typed.csv", n)),
        ("a third failing", generate.write_typed(folder / "third.csv", n, 1 / 3)),
    ):
        yield Pair(f"{n:,} {what}", audit(path, *QUIET, "--json", "out.json"), "read_csv", _read_csv(path), None)
        for peer in peers.PEERS:
            check = [sys.executable, peers.__file__, peer, str(path)]
            yield Pair(f"{n:,} {what}, {peer}", check, "read_csv", _read_csv(path), None)


def workbook(folder: Path, asked: argparse.Namespace) -> Iterator[Pair]:
    """A large workbook against reading it and doing nothing else."""
    n = asked.workbook
    path = generate.write(folder / "large.xlsx", n)
    ours = audit(path, *QUIET, "--json", "out.json")
    openpyxl = f"import openpyxl; list(openpyxl.load_workbook({str(path)!r}).active.values)"
    yield Pair(f"{n:,}-row workbook", ours, "openpyxl reads it", python(openpyxl), 1)
    calamine = f"{STACK}; import python_calamine as c; c.load_workbook({str(path)!r}).get_sheet_by_index(0)"
    floor = python(f"{calamine}.to_python()")
    yield Pair(f"{n:,}-row workbook", ours, "calamine reads it, and start-up", floor, 3)


def month(folder: Path, asked: argparse.Namespace) -> Iterator[Pair]:
    """Many sheets in one run: the time of twice as many, per sheet."""
    folders = {}
    for n in (asked.sheets, 2 * asked.sheets):
        folders[n] = folder / f"month-{n}"
        folders[n].mkdir()
        for i in range(n):
            generate.write(folders[n] / f"sheet-{i:04d}.xlsx", 25, seed=i)
    few, many = (audit(path, *QUIET, "--json", "out.json") for path in folders.values())
    what = f"{2 * asked.sheets} workbooks in one run, per sheet"
    yield Pair(what, many, f"{asked.sheets} workbooks", few, 1.1, 2)
    what, path = f"{2 * asked.sheets} workbooks", folders[2 * asked.sheets]
    opened = (
        f"[c.load_workbook(str(p)).get_sheet_by_index(0).to_python() for p in pathlib.Path({str(path)!r}).iterdir()]"
    )
    calamine = python(f"{STACK}, pathlib, python_calamine as c; {opened}")
    yield Pair(what, many, "calamine reads them, and start-up", calamine, None)
    yield Pair(f"{what}, --jobs 2, by the clock", [*many, "--jobs", "2"], "one at a time", many, 0.625, by_clock=True)


def register(folder: Path, asked: argparse.Namespace) -> Iterator[Pair]:
    """A day's sheet and what is due, with a register of many tests against an empty one."""
    big, small = folder / "big.db", folder / "small.db"
    for path, tests in ((big, asked.tests), (small, 0)):  # in a process of its own: a child inherits our peak memory
        subprocess.run(
            [sys.executable, fleet.__file__, path, "--tests", str(tests)], check=True, stdout=subprocess.DEVNULL
        )
    sheet = generate.write(folder / "day-of-100.csv", 100)
    for what, command in (
        ("a day's sheet taken in", [*audit(sheet, *QUIET, "--again", "--json", "day.json"), "--register"]),
        ("due within two days", [*DUE, "--register"]),
    ):
        ours, floor = [*command, str(big)], [*command, str(small)]
        yield Pair(f"{what}, {asked.tests:,} tests known", ours, "an empty register", floor, 1.5)


DUE = [sys.executable, "-m", "rcdcheck", "due", "--as-of", "2027-03-02", "--by", "2027-03-03"]


def _csv(folder: Path, devices: int, bad: float = 0.0) -> Path:
    path = folder / f"{devices}-{bad:g}.csv"
    return path if path.exists() else generate.write(path, devices, bad)


def _read_csv(path: Path) -> list[str]:
    return python(f"import pandas; pandas.read_csv({str(path)!r})")


GROUPS = {
    "start-up": start_up, "day": day, "csv": csv, "peers": others, "workbook": workbook, "month": month,
    "register": register,
}  # fmt: skip


if __name__ == "__main__":
    main()
