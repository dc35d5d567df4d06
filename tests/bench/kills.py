"""Runs killed at moments drawn by chance: `python tests/bench/kills.py [--kills 300] [--seed 1]`.

Each run, a process forked from one that has everything loaded, writes all reports, a marked copy and a register anew
over those of the day before and is ended by SIGKILL, as when the power fails. What stands then is looked at: each file
whole, as it was or as it is to be; the register sound, with the run wholly in or wholly out; where some files are new
and some are not, the file beside them says so.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import signal
import sqlite3
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[2])]
import forked  # noqa: E402

from rcdcheck.writing import unfinished  # noqa: E402

HEADINGS = "Device,Rated IΔn (mA),Visual,1× 0° (ms),1× 180° (ms),Tested by,Instrument,Date\n"
COMMAND = [
    "audit", "day.csv", "--register", "fleet.db", "--write", "html,xlsx,json,tags", "--mark", "--out", "out",
    "--as-of", "2026-11-25", "--quiet",
]  # fmt: skip
SECONDS = 60  # of computing


def sheet(path: Path, day: str, last: str) -> None:
    """Two hundred devices, of which the last one reads `last`."""
    lines = [f"K{i},30,pass,2{i % 7}.{i % 9},2{i % 5}.{i % 8},A. Snowfield,Meter A,{day}\n" for i in range(200)]
    path.write_text(HEADINGS + "".join(lines) + f"L1,30,pass,24.1,{last},A. Snowfield,Meter A,{day}\n", "utf-8")


class Nights:
    """A folder as the first night left it with the sheet of the second, and what the second is to make of it."""

    def __init__(self, folder: Path) -> None:
        """Two whole runs; how long the second took."""
        self.folder, self.before = folder, folder / "before"
        self.before.mkdir()
        sheet(self.before / "day.csv", "2026-05-20", "no trip")
        forked.run(self.before, COMMAND, SECONDS)
        sheet(self.before / "day.csv", "2026-11-20", "gone?")
        shutil.copytree(self.before, folder / "after")
        start = time.monotonic()
        forked.run(folder / "after", COMMAND, SECONDS)
        self.seconds = time.monotonic() - start
        self.old, self.new = made(self.before), made(folder / "after")
        assert self.old.keys() == self.new.keys() and len(self.old) == 5
        assert all(self.old[name] != self.new[name] for name in self.old)

    def killed(self, chance: random.Random) -> str:
        """What stands after a kill at any moment, or while files are written: `old`, `new` or `mixed`.

        Raises AssertionError for anything else.
        """
        at = self.folder / "now"
        shutil.rmtree(at, ignore_errors=True)
        shutil.copytree(self.before, at)
        process = forked.start(at, COMMAND, SECONDS)
        if chance.random() < 0.5:
            time.sleep(chance.uniform(0, self.seconds))
        else:
            while not any(at.rglob("*.part")) and not os.waitid(
                os.P_PID, process, os.WEXITED | os.WNOHANG | os.WNOWAIT
            ):
                time.sleep(0.001)
            time.sleep(chance.uniform(0, self.seconds / 2))
        os.kill(process, signal.SIGKILL)  # of a process that has ended it is not heard
        os.waitpid(process, 0)
        found = made(at)
        assert found.keys() == self.old.keys()
        stands = {name: "old" if content == self.old[name] else "new" for name, content in found.items()}
        assert all(found[name] == self.new[name] for name, which in stands.items() if which == "new"), "half a file"
        taken_in = visits(at / "fleet.db")
        assert taken_in in (1, 2) and (taken_in == 1 or set(stands.values()) == {"new"}), "counted before its reports"
        kinds = set(stands.values())
        assert len(kinds) == 1 or [set(stands)] == list(unfinished(at / "out", age=0).values()), "mixed, and not told"
        return kinds.pop() if len(kinds) == 1 else "mixed"

    def mended(self) -> None:
        """After the last kill: another run makes all of it, and what was left behind goes when it is old."""
        at = self.folder / "now"
        for left in at.rglob("*.part"):
            os.utime(left, (1, 1))
        counted = visits(at / "fleet.db") == 2  # then its reports stood before
        forked.run(at, [*COMMAND, *(["--again"] if counted else [])], SECONDS)
        assert counted or made(at) == self.new
        assert visits(at / "fleet.db") == 2
        assert not [path for form in ("*.part", "*.unfinished", "*-journal") for path in at.rglob(form)]


def made(folder: Path) -> dict[str, bytes]:
    """The finished files of a run."""
    return {p.name: p.read_bytes() for p in sorted((folder / "out").iterdir()) if not p.name.startswith(".")}


def visits(register: Path) -> int:
    """How many visits a sound register holds."""
    with sqlite3.connect(register) as database:
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        return int(database.execute("SELECT count(*) FROM visits").fetchone()[0])


def main() -> None:
    """Kill, look, and tell what stood."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--kills", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    chance = random.Random(asked.seed)
    forked.load(HEADINGS + "A1,30,pass,24.1,25.0,A. Snowfield,Meter A,2026-11-20\n")
    with tempfile.TemporaryDirectory() as folder:
        nights = Nights(Path(folder))
        stood = Counter[str]()
        for number in range(1, asked.kills + 1):
            stood[nights.killed(chance)] += 1
            if number % 25 == 0 or number == asked.kills:
                print(f"{number} kills, each file whole; they stood: {dict(stood)}", flush=True)
        nights.mended()


if __name__ == "__main__":
    main()
