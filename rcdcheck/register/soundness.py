"""Whether each record of a register holds what its column is for; asked where a run trips over one."""

from __future__ import annotations

import sqlite3

# what `typeof` of SQLite may answer in a column of each type
_TYPES = {"INTEGER": "'integer'", "REAL": "'real', 'integer'", "TEXT": "'text'", "BLOB": "'blob'"}
_DAYS = {"as_of", "day", "at", "due"}
_DAYS |= {"first_day", "last_day", "first_at", "last_at", "round_since", "open_since", "out_of_use"}
_CODES = {"outcome", "visual", "push_button", "declared", "state", "bound", "verdict"}
_LARGEST = 127  # of a code
_OF_ONE_LENGTH = (
    "length(time0) <> length(device) OR length(time180) <> length(device) OR length(ramp) <> length(device)"
)


def is_sound(connection: sqlite3.Connection) -> bool:
    """Whether every record is of the type that its column says, days are days and references lead somewhere."""
    tables = [name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()]
    odd = [(table, " OR ".join(_odd(*column[1:4])))
           for table in tables for column in connection.execute(f"PRAGMA table_info({table})").fetchall()]  # fmt: skip
    odd.append(("sequences", f"length(device) % 8 <> 0 OR {_OF_ONE_LENGTH}"))
    found = any(connection.execute(f"SELECT 1 FROM {table} WHERE {where} LIMIT 1").fetchone() for table, where in odd)
    return not found and connection.execute("PRAGMA foreign_key_check").fetchone() is None


def _odd(column: str, kind: str, needed: int) -> list[str]:
    """What is true of a value that is none of the column."""
    odd = [f'typeof("{column}") NOT IN ({_TYPES[kind]}{"" if needed else ", " + repr("null")})']
    if kind == "TEXT" and column in _DAYS:
        odd.append(f'date("{column}") IS NOT "{column}"')
    if kind == "INTEGER" and column in _CODES:
        odd.append(f'abs("{column}") > {_LARGEST}')
    return odd
