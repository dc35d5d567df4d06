"""The visits that a register holds, in the order in which they were taken in."""

from __future__ import annotations

from dataclasses import dataclass

from rcdcheck.register.store import Register

FIELDS = (
    "id", "file", "as_of", "coalesce(first_day, '')", "coalesce(last_day, '')", "grade", "tests", "devices", "fail",
    "unclear", "incomplete", "pass", "rules", "coalesce(replaced_by, 0)", "sha256",
)  # fmt: skip


@dataclass(frozen=True)
class Visit:
    """One audited file; days are texts, empty where the sheet gives none; `replaced_by` is 0 where it stands."""

    number: int
    file: str
    as_of: str
    first_day: str
    last_day: str
    grade: str
    tests: int
    devices: int
    fail: int
    unclear: int
    incomplete: int
    passed: int
    rules: str
    replaced_by: int
    sha256: str


def listed(register: Register) -> list[Visit]:
    """All visits, replaced ones too."""
    rows = register.rows(f"SELECT {', '.join(FIELDS)} FROM visits ORDER BY id")
    return [Visit(*row) for row in rows]
