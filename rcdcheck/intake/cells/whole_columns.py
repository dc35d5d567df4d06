"""What a whole column tells about its cells: the doors through which layout reads columns, one module behind each."""

from __future__ import annotations

import functools
import re

from rcdcheck.intake.cells.checks import FlagColumn, read_flags
from rcdcheck.intake.cells.classes import (
    ClassColumn,
    answers,
    read_classes,
    read_kinds,
    read_phases,
    read_quantities,
    read_waveforms,
)
from rcdcheck.intake.cells.column_of_readings import ReadingColumn
from rcdcheck.intake.cells.currents import MultipleColumn, RatedColumn, read_multiples, read_rated
from rcdcheck.intake.cells.date_columns import DateColumn, TimeColumn, read_dates, read_times
from rcdcheck.intake.cells.identifiers import read_identifiers
from rcdcheck.intake.cells.numbers import NumberColumn, read_numbers
from rcdcheck.intake.cells.numerals import numeral, tidy
from rcdcheck.intake.cells.phrases import folded, known, pattern, plain, says
from rcdcheck.intake.cells.reading_columns import read_readings
from rcdcheck.intake.cells.slips import swapped as looks_swapped

__all__ = [
    "ClassColumn",
    "DateColumn",
    "FlagColumn",
    "MultipleColumn",
    "NumberColumn",
    "RatedColumn",
    "ReadingColumn",
    "TimeColumn",
    "answers",
    "looks_swapped",
    "phased_pair",
    "read_classes",
    "read_dates",
    "read_flags",
    "read_identifiers",
    "read_kinds",
    "read_multiples",
    "read_numbers",
    "read_phases",
    "read_quantities",
    "read_rated",
    "read_readings",
    "read_times",
    "read_waveforms",
    "split_pair",
]  # fmt: skip

_WHOLE = ("not_measured", "no_trip", "no_trip_abbreviations", "over_range")


_NUMBER = r"([<>]?\s?\d+(?:[.,]\d+)?(?:\s?ms)?)"
_SIGNED = re.compile(rf"\+\s?{_NUMBER}\s*[,;/]?\s*[-−–]\s?{_NUMBER}")


def split_pair(cell: object) -> tuple[str, str] | None:
    """The two halves of a cell such as "28/31", "28 - 31", "OL / 28", "+28 -31"; None where it holds not just two.

    A unit behind the second half belongs to both.
    """
    if not isinstance(cell, str) or any(plain(cell) in known(table) for table in _WHOLE):
        return None
    named = phased_pair(cell)
    if named:
        return named
    signed = _SIGNED.fullmatch(cell.strip())
    if signed:
        return _with_shared_unit(signed[1], signed[2])
    spaced = re.split(r"\s[/|;&–-]\s|,\s", cell.strip())
    parts = [p.strip() for p in (spaced if len(spaced) == 2 else re.split(r"[/|;&\n]", cell.strip()))]
    if len(parts) > 2:  # "22.7/n/t": the mark holds the sign that parts the two
        parts = _with_mark(cell.strip())
    if len(parts) != 2 or not all(parts):
        return None
    return _with_shared_unit(*parts)


@functools.lru_cache(maxsize=20_000)
def phased_pair(cell: str) -> tuple[str, str] | None:
    """The halves of a cell that names the phase of each, in this order: "24ms up, 26ms down", "180°: 31; 0°: 28"."""
    parts = [part for part in _PARTED.split(folded(cell)) if part.strip()] if any(map(str.isdigit, cell)) else []
    if len(parts) != 2:
        return None
    found: dict[str, str] = {}
    for part in parts:
        phases = [p for p in ("phase_0", "phase_180") if pattern(p).search(part)]
        if len(phases) != 1:
            return None
        found[phases[0]] = pattern(phases[0]).sub(" ", part, count=1).strip(" :=()")
    return (found["phase_0"], found["phase_180"]) if len(found) == 2 and all(map(_measured, found.values())) else None


def _measured(half: str) -> bool:
    """Whether a half is a number, with its unit or none, or one of the words in place of it."""
    number = numeral(tidy(half))
    return any(says(table, half) for table in _WHOLE) or (number is not None and not number.tail.strip())


_PARTED = re.compile(r"\s*[,;/|\n]\s+|\s*[;/|\n]\s*|\sand\s")


def _with_mark(text: str) -> list[str]:
    """A number and a mark such as "n/t" or "O/L" on either side of it; empty where the text is no such pair."""
    for number, mark in ((_FIRST.match(text), True), (_LAST.match(text), False)):
        if number:
            sides = [number[1], number[2]]
            if any(says(table, sides[1] if mark else sides[0]) for table in _WHOLE):
                return sides
    return []


_FIRST, _LAST = re.compile(r"([<>]?\s?[\d.,]+)\s*[/|;&]\s*(.+)$"), re.compile(r"(.+?)\s*[/|;&]\s*([<>]?\s?[\d.,]+)$")


def _with_shared_unit(first: str, second: str) -> tuple[str, str]:
    left, right = numeral(tidy(first)), numeral(tidy(second))
    if left and right and right.unit in ("ms", "s", "mA", "A") and not left.unit and not left.tail.strip():
        return f"{first} {right.unit}", second
    return first, second
