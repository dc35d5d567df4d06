"""An invented fleet for the tests of the register: sheets of a visit as CSV, and what a register holds."""

from __future__ import annotations

import datetime as dt
import sqlite3
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from rcdcheck.audits import Audit
from rcdcheck.options import Options
from rcdcheck.pipeline import run
from rcdcheck.register.store import opened
from rcdcheck.register.taking_in import take_in

DEFAULTS = {
    "Device": "",
    "Site": "North yard",
    "Kind": "portable",
    "Environment": "office",
    "Rated IΔn (mA)": "30",
    "Visual": "pass",
    "Trip time 1× 0° (ms)": "24.1",
    "Trip time 1× 180° (ms)": "25.3",
    "Tested by": "A. Snowfield",
    "Instrument": "Meter A",
    "Date": "2026-01-20",
}
T0, T180 = "Trip time 1× 0° (ms)", "Trip time 1× 180° (ms)"
DAY = dt.date(2026, 11, 25)
DEVICES = tuple(f"R-{number:02d}" for number in range(1, 7))


def sheet(path: Path, rows: Iterable[Mapping[str, str] | str], **always: str) -> Path:
    """A CSV with one row for each entry: a name, or cells that differ from the defaults; `None` drops a column."""
    cells = [{**DEFAULTS, **always, **({"Device": row} if isinstance(row, str) else row)} for row in rows]
    heads = list(dict.fromkeys(head for row in cells for head in row))
    heads = [head for head in heads if any(row.get(head) for row in cells)]
    lines = [",".join(heads), *(",".join(row.get(head, "") for head in heads) for row in cells)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def visit(
    register: Path, *paths: Path, day: dt.date = DAY, each: Callable[[str], None] | None = None, **options: Any
) -> Audit:
    """Audit with a register and take the files in; `each` is called before each statement to SQLite."""
    with opened(register, writing=True) as known:
        known.connection.set_trace_callback(each)
        audit = run([str(p) for p in paths], Options(as_of=day, **options), register=known)
        take_in(known, audit)
    return audit


def held(register: Path, question: str) -> list[tuple[Any, ...]]:
    """Rows of a register, read by SQLite itself."""
    connection = sqlite3.connect(register)
    try:
        return connection.execute(question).fetchall()
    finally:
        connection.close()


def outcomes(audit: Audit) -> dict[str, int]:
    """Outcome by name of device."""
    return {str(d.name): int(d.outcome) for d in audit.devices.itertuples(index=False)}
