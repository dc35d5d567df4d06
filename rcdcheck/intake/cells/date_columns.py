"""A whole column of dates: which comes first, day or month, is decided by the cells that leave no choice."""

from __future__ import annotations

import contextlib
import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.intake.cells.date_cells import DateCell, clock_cell, date_cell
from rcdcheck.intake.cells.distinct import Cells, Notes, arrays, parted, spread
from rcdcheck.intake.cells.numerals import perhaps
from rcdcheck.intake.cells.phrases import says
from rcdcheck.tables import Mask, Texts

EARLIEST = dt.date(1990, 1, 1)  # no test of these devices was typed into a sheet before (common practice)


@dataclass(frozen=True)
class DateColumn:
    """Dates of one column; every array has the shape (n,) of the cells.

    value: datetime64[us], NaT where there is none. clock_known: whether a time of day stands with it. order: how days
    and months were told apart, "day-first", "month-first" or empty where it did not matter.
    """

    value: npt.NDArray[np.datetime64]
    clock_known: Mask
    present: Mask
    problem: Texts
    suggestion: Texts
    column_notes: Notes
    order: str


@dataclass(frozen=True)
class TimeColumn:
    """value: timedelta64[us] since midnight, NaT where there is none; present: something stands there; shapes (n,)."""

    value: npt.NDArray[np.timedelta64]
    present: Mask
    problem: Texts
    suggestion: Texts


def read_dates(cells: Cells, *, order: str = "", as_of: dt.date | None = None) -> DateColumn:
    """Read a column of dates; `order` settles day and month, else the column decides, else day-first is taken and said.

    With `as_of` a date after the following day cannot be right (a day's grace for time zones).
    """
    codes, distinct = parted(cells)
    moment, stored = _certain(distinct)
    rest = np.flatnonzero(np.isnat(moment))
    found = [date_cell(cell) for cell in distinct[rest]]
    used, notes = (order, ()) if order else _order(found)
    notes += _perhaps_turned(found, moment[stored])
    rows = [_settled(cell, one, used, as_of) for cell, one in zip(distinct[rest], found, strict=True)]
    value, clock_known, present, problem, suggestion = _looked_at(moment, as_of)
    dtypes = ("datetime64[us]", "bool", "bool", "object", "object")
    for target, looked_up in zip(
        (value, clock_known, present, problem, suggestion), arrays(rows, dtypes, np.arange(len(rows))), strict=True
    ):
        target[rest] = looked_up
    return DateColumn(
        value[codes], clock_known[codes], present[codes], problem[codes], suggestion[codes], notes,
        "" if used == "mixed" else used,
    )  # fmt: skip


def _certain(distinct: Texts) -> tuple[npt.NDArray[np.datetime64], Mask]:
    """Moments of stored dates and of ISO texts, NaT for all cells that need a closer look; which are stored."""
    moment = np.full(len(distinct), np.datetime64("NaT"), dtype="datetime64[us]")
    texts, stored = distinct, np.zeros(len(distinct), dtype=bool)
    if pd.api.types.infer_dtype(distinct, skipna=False) != "string":
        texts = np.array([cell if type(cell) is str else "" for cell in distinct], dtype=object)
        stored = np.array([type(cell) is dt.datetime for cell in distinct], dtype=bool)
    moment[stored] = distinct[stored].astype("datetime64[us]")
    iso = _is_iso(texts)
    with contextlib.suppress(ValueError):  # a day such as 2026-02-30 is among them: look at each
        moment[iso] = distinct[iso].astype("datetime64[us]")
    return moment, stored


def _is_iso(texts: Texts) -> Mask:
    """Which texts are such as `2026-11-24`, `2026-11-24 09:40` or `2026-11-24T09:40:15`, shape (n,)."""
    length = np.fromiter(map(len, texts), np.int64, len(texts))
    iso = np.isin(length, (10, 16, 19))
    if not iso.any():
        return iso
    for size in (10, 16, 19):
        at = np.flatnonzero(length == size)
        chars = np.frombuffer("".join(texts[at]).encode("ascii", "replace"), dtype=np.uint8).reshape(-1, size)
        fits = np.ones(len(at), dtype=bool)
        for place, sign in enumerate("dddd-dd-dd dd:dd:dd"[:size]):
            fits &= _MAY_BE[sign][chars[:, place]]
        iso[at] = fits
    return iso


def _bytes(signs: bytes) -> Mask:
    return np.isin(np.arange(256), np.frombuffer(signs, dtype=np.uint8))


_MAY_BE = {"d": _bytes(b"0123456789"), "-": _bytes(b"-"), ":": _bytes(b":"), " ": _bytes(b" T")}


def _looked_at(moment: npt.NDArray[np.datetime64], as_of: dt.date | None) -> tuple[npt.NDArray[Any], ...]:
    """Value, clock known, present, problem and suggestion of moments, refused where no test can have been made."""
    clock_known = moment != moment.astype("datetime64[D]")
    problem = np.full(len(moment), "", dtype=object)
    problem[moment < np.datetime64(EARLIEST)] = "date-too-early"
    if as_of is not None:
        problem[moment >= np.datetime64(as_of + dt.timedelta(days=2))] = "date-in-future"
    refused = problem != ""
    value = np.where(refused, np.datetime64("NaT"), moment)
    return value, clock_known & ~refused, ~np.isnat(moment), problem, np.full(len(moment), "", dtype=object)


def _order(found: Sequence[DateCell]) -> tuple[str, Notes]:
    """The order that a column uses; "mixed" where some dates allow only one order and some only the other."""
    typed = [one for one in found if one.style]
    day = any((one.month_first is None and one.day_first) or _pointed(one) for one in typed)
    month = any(one.day_first is None and one.month_first for one in typed)
    open_ones = [one for one in typed if one.day_first and one.month_first and one.day_first != one.month_first]
    if day and month:
        return "mixed", (("date-orders-mixed", {}),)
    if month:
        return "month-first", ()
    assumed = not day and bool(open_ones)
    example = f"{open_ones[0].day_first} or {open_ones[0].month_first}" if assumed else ""
    return ("day-first" if typed else ""), ((("date-order-assumed", {"example": example}),) if assumed else ())


def _pointed(one: DateCell) -> bool:
    """Dates written with points have the day first (common practice, no source)."""
    return one.style == "." and one.day_first is not None


def _perhaps_turned(found: Sequence[DateCell], stored: npt.NDArray[np.datetime64]) -> Notes:
    """Text dates with days above 12 beside stored dates with none: a spreadsheet took days for months."""
    typed = any(one.style == "/" and (one.day_first is None) != (one.month_first is None) for one in found)
    turned = typed and len(stored) >= 2 and pd.DatetimeIndex(stored).day.max() <= 12
    return (("dates-perhaps-turned", {"example": str(stored[0])[:10]}),) if turned else ()


def _settled(cell: object, one: DateCell, order: str, as_of: dt.date | None) -> tuple[Any, ...]:
    """Moment, clock known, present, problem, suggestion of one distinct cell."""
    if isinstance(cell, str) and (not cell.strip() or says("not_measured", cell)):
        return None, False, False, "", ""
    day = one.month_first if order == "month-first" else one.day_first
    other = one.day_first if order == "month-first" else one.month_first
    if order == "mixed" and one.day_first and one.month_first and one.day_first != one.month_first:
        return None, False, True, "date-not-certain", perhaps(str(one.day_first), str(one.month_first))
    if order == "mixed":
        day = one.day_first or one.month_first
    if day is None:
        return None, False, True, "date-not-understood", perhaps(str(other)) if other else ""
    problem = _impossible(day, as_of)
    if problem:
        return None, False, True, problem, ""
    return dt.datetime.combine(day, one.clock or dt.time()), one.clock is not None, True, "", ""


def _impossible(day: dt.date, as_of: dt.date | None) -> str:
    if day < EARLIEST:
        return "date-too-early"
    late = as_of is not None and day > as_of + dt.timedelta(days=1)
    return "date-in-future" if late else ""


def read_times(cells: Cells) -> TimeColumn:
    """Read a column of times of day."""
    return TimeColumn(*spread(cells, _time, ("timedelta64[us]", "bool", "object", "object")))


def _time(cell: object) -> tuple[Any, ...]:
    if isinstance(cell, str) and (not cell.strip() or says("not_measured", cell)):
        return None, False, "", ""
    clock = clock_cell(cell)
    if clock is None:
        return None, True, "time-not-understood", ""
    return dt.timedelta(hours=clock.hour, minutes=clock.minute, seconds=clock.second), True, "", ""
