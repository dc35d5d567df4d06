"""What a person asks of an audit."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Options:
    """What the person asked for; those that can change an answer are part of the fingerprint."""

    rules: str = "anz-in-service"
    as_of: dt.date = field(default_factory=dt.date.today)
    columns: tuple[tuple[str, str], ...] = ()  # (HEADING or SHEET!HEADING, MEANING)
    site: str = ""
    identity: str = "site"  # or "fleet": identifiers are unique everywhere
    date_order: str = ""  # "day-first", "month-first" or empty: decide by column
    encoding: str = ""
    delimiter: str = ""
    kind: str = ""
    environment: str = ""
    assume: tuple[tuple[str, str], ...] = ()  # (field, value), for instance ("rated_residual_current", "30mA")
    require: tuple[str, ...] = ()  # visual, push_button, ramp
    decision: str = "simple"  # or "guarded"
    uncertainty: tuple[tuple[str, str], ...] = ()  # (quantity, "10%" of limit or "5%r" of reading)
    remedied: tuple[tuple[str, str, str], ...] = ()  # (device, ISO date, what was done)
    fail_on: tuple[str, ...] = ("fail", "unclear", "incomplete", "doubt")
    new_only: bool = False  # judge by tests that the register does not hold yet
    again: bool = False  # audit files that the register has counted already
    replaces: str = ""  # visit of the register that the one new file corrects
