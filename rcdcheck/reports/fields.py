"""Fields of a sheet that a face has no place of its own for: they follow by themselves, with title and unit."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.audits import Audit
from rcdcheck.sheet_fields import DATE_FIELDS, FIELDS, FLAG_FIELDS, NUMBER_FIELDS
from rcdcheck.terms import Flag

FLAGS = {Flag.PASS: "pass", Flag.FAIL: "fail", Flag.UNCLEAR: "unclear", Flag.BLANK: "blank", Flag.ABSENT: ""}


def besides(own: Collection[str]) -> tuple[str, ...]:
    """Names of the declared fields that are no readings and none of these."""
    return tuple(name for name in FIELDS if name not in own)


def title(name: str) -> str:
    """`Ambient temperature`."""
    return str(FIELDS[name]["title"])


def values(audit: Audit, name: str, tests: npt.NDArray[np.integer]) -> list[object]:
    """What these tests state of a field: text, number, day or word of a check; None where nothing."""
    column = audit.tables.tests[name].iloc[tests]
    if name in FLAG_FIELDS:
        return [FLAGS[Flag(flag)] or None for flag in column]
    if name in DATE_FIELDS:
        return [None if pd.isna(day) else day.to_pydatetime() for day in column]
    if name in NUMBER_FIELDS:
        return [None if np.isnan(number) else number for number in column.tolist()]
    return [text or None for text in audit.tables.texts(column)]


def words(audit: Audit, name: str, tests: npt.NDArray[np.integer]) -> list[str]:
    """The same in words: `21.5 °C`; empty where nothing."""
    unit = FIELDS[name].get("unit", "")
    return [_words(value, unit) for value in values(audit, name, tests)]


def _words(value: object, unit: str) -> str:
    if isinstance(value, float):
        return f"{value:.10g} {unit}".rstrip()
    return str(value.date()) if isinstance(value, dt.datetime) else str(value or "")
