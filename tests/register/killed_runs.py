"""`python killed_runs.py REGISTER SHEET…`: takes sheets in again and again, killed at one statement each time.

Each run is a child of its own and ends by SIGKILL, as when the power fails; after each the parent prints what the
register holds, as a line of JSON: [visits, sightings, tests, readings, devices that stand]. The last run is not killed.
"""

from __future__ import annotations

import json
import os
import signal
import sys
from pathlib import Path

from fleets import held, visit

STEP = 5  # statements from one kill to the next
COUNTS = [
    *(f"SELECT count(*) FROM {table}" for table in ("visits", "sightings", "tests", "readings")),
    "SELECT count(*) FROM devices WHERE last_at IS NOT NULL",
]


def survives(statement: int, register: Path, sheets: list[Path]) -> bool:
    """Whether a run comes to its end that is to be killed at its nth statement."""
    child = os.fork()
    if child == 0:
        left = [statement]

        def count(_: str) -> None:
            left[0] -= 1
            if left[0] < 0:
                os.kill(os.getpid(), signal.SIGKILL)

        visit(register, *sheets, each=count)
        os._exit(0)
    _, status = os.waitpid(child, 0)
    code = os.waitstatus_to_exitcode(status)
    if code not in (0, -signal.SIGKILL):
        sys.exit(f"a run ended with {code}")
    return code == 0


def main() -> None:
    """Kill, look, kill later, look again."""
    register, *sheets = map(Path, sys.argv[1:])
    visit(register.with_name("another.db"), *sheets)  # so that a child has nothing to load
    statement = 0
    while True:
        done = survives(statement, register, sheets)
        sys.stdout.write(json.dumps([held(register, sql)[0][0] for sql in COUNTS]) + "\n")
        sys.stdout.flush()
        if done:
            return
        statement += STEP


if __name__ == "__main__":
    main()
