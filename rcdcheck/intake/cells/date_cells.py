"""What one cell says as a date or a time of day. No guessing library: every accepted form is written here.

Accepted: ISO; day, month and year in either order parted by `/`, `.`, `-` or spaces; month names in seven languages;
stored dates; spreadsheet serial numbers (days since 1899-12-30); each with or without a time of day.
"""

from __future__ import annotations

import datetime as dt
import functools
import re
from typing import NamedTuple

from rcdcheck.intake.cells.numerals import tidy
from rcdcheck.intake.cells.phrases import known, numbered, plain

EPOCH = dt.datetime(1899, 12, 30)  # day 0 of spreadsheet serial numbers
FIRST_SERIAL, LAST_SERIAL = 20_000.0, 80_000.0  # 1954 to 2119: other numbers are no dates
_TIME = (
    r"(?P<hour>\d{1,2})\s?(?:(?:[:.hH]|Uhr)\s?(?P<minute>\d{2})(?:[:.](?P<second>\d{2})(?:[.,]\d+)?)?\s?(?:Uhr|h)?"
    r"|h|Uhr|(?=\s?[apAP]\.?[mM]))\s?(?P<half>[aApP]\.?[mM]\.?)?"
)
_CLOCK = re.compile(_TIME)
_TIME_BEHIND = re.compile(
    rf"(?P<date>.*?\d)(?:[T,]\s?|,?\s+(?:at |um |à |a las |om |às )?){_TIME}\s?(?:Z|[+-]\d\d:?\d\d)?"
)
_ORDINALS = {"st", "nd", "rd", "th", "er", "º"}
_YEAR_FIRST = re.compile(r"(\d{4})([-/. ])(\d{1,2})\2(\d{1,2})")
_COMPACT = re.compile(r"((?:19|20)\d\d)(\d\d)(\d\d)")
_YEAR_LAST = re.compile(r"(\d{1,2})\s?([-/. ])\s?(\d{1,2})\s?\2\s?(\d{4}|\d{2})\.?")


class DateCell(NamedTuple):
    """A date under each order of day and month that is possible; equal where only one is.

    style: "" fixed (ISO, month name, stored), "/" numbers that either order could explain, "." the same with points.
    """

    day_first: dt.date | None = None
    month_first: dt.date | None = None
    clock: dt.time | None = None
    style: str = ""
    stored: bool = False

    @property
    def readable(self) -> bool:
        """Whether any order makes a date."""
        return self.day_first is not None or self.month_first is not None


def date_cell(cell: object) -> DateCell:
    """A cell as a date; one that is none has neither date."""
    if isinstance(cell, dt.datetime):
        return DateCell(cell.date(), cell.date(), cell.time() if cell.time() != dt.time() else None, stored=True)
    if isinstance(cell, dt.date):
        return DateCell(cell, cell, stored=True)
    if isinstance(cell, float):
        return _serial(cell)
    return _text(tidy(cell)) if isinstance(cell, str) else DateCell()


def _serial(number: float) -> DateCell:
    if FIRST_SERIAL <= number <= LAST_SERIAL:
        moment = EPOCH + dt.timedelta(seconds=round(number * 86_400))
        return date_cell(moment)._replace(stored=False)
    compact = _COMPACT.fullmatch(f"{number:.0f}") if number.is_integer() else None
    return _fixed(*map(int, compact.groups())) if compact else DateCell()


_TWO_NUMBERS = re.compile(r"\d\D+\d")


def _text(text: str) -> DateCell:
    if not _TWO_NUMBERS.search(text) and not text.isdigit():  # most remarks
        return DateCell()
    behind = _TIME_BEHIND.fullmatch(text)
    if behind:
        found, clock = _date(behind["date"].strip()), _clock(behind)
        if found.readable and clock is not None:
            return found._replace(clock=clock if clock != dt.time() else None)
    return _date(text)


def _date(text: str) -> DateCell:
    for form in (_YEAR_FIRST, _COMPACT):
        match = form.fullmatch(text)
        if match:
            return _fixed(*(int(g) for g in match.groups() if g.isdigit()))
    match = _YEAR_LAST.fullmatch(text)
    if match:
        first, second, year = int(match[1]), int(match[3]), _full_year(match[4])
        return DateCell(_day(year, second, first), _day(year, first, second), style="." if match[2] == "." else "/")
    if re.fullmatch(r"\d{5}(?:\.\d+)?", text):
        return _serial(float(text))
    return _named_month(text)


def _named_month(text: str) -> DateCell:
    """ "3rd March 2026", "20. Nov. 26", "Fri 20-nov-2026", "March 3, 2026"; a day without a year is none."""
    words = _words(text)
    months = [numbered("months")[plain(w)] for w in words if plain(w) in numbered("months")]
    numbers = [w for w in words if w.isdigit()]
    if len(words) != 3 or len(months) != 1 or len(numbers) != 2:
        return DateCell()
    day, year = numbers if len(numbers[0]) <= 2 else reversed(numbers)
    return _fixed(_full_year(year), months[0], int(day)) if len(day) <= 2 and len(year) in (2, 4) else DateCell()


def day_without_year(text: str) -> bool:
    """Whether a text is a day and a month and no year: "12 Jan", "8-Sep", "3rd of March"."""
    words = _words(text)
    months = [w for w in words if plain(w) in numbered("months")]
    return len(words) == 2 and len(months) == 1 and any(w.isdigit() and 1 <= int(w) <= 31 for w in words)


_PIECE = re.compile(r"\d+|[^\W\d_]+")


def _words(text: str) -> list[str]:
    """The words and numbers of a text that may be those of a date."""
    return [w for w in _PIECE.findall(text) if plain(w) not in _fillers()]


@functools.cache
def _fillers() -> frozenset[str]:
    return known("date_fillers") | _ORDINALS


def _full_year(typed: str) -> int:
    """Two digits as `strptime` reads them: 69 to 99 are of the last century."""
    year = int(typed)
    return year if len(typed) == 4 else year + (1900 if year >= 69 else 2000)


def _fixed(year: int, month: int, day: int) -> DateCell:
    found = _day(year, month, day)
    return DateCell(found, found)


def _day(year: int, month: int, day: int) -> dt.date | None:
    try:
        return dt.date(year, month, day)
    except ValueError:
        return None


def _clock(match: re.Match[str]) -> dt.time | None:
    hour, half = int(match["hour"]), (match["half"] or "").lower()[:1]
    if half and not 1 <= hour <= 12:
        return None
    hour = hour % 12 + (12 if half == "p" else 0) if half else hour
    try:
        return dt.time(hour, int(match["minute"] or 0), int(match["second"] or 0))
    except ValueError:
        return None


def clock_cell(cell: object) -> dt.time | None:
    """A cell as a time of day: stored times, fractions of a day, "9:40", "09.40 Uhr", "9h40", "9:40 pm"; else None."""
    if isinstance(cell, dt.datetime):
        return cell.time()
    if isinstance(cell, dt.time):
        return cell.replace(tzinfo=None)
    if isinstance(cell, float):
        cell = dt.timedelta(seconds=round(cell * 86_400)) if 0 <= cell < 1 else cell
    if isinstance(cell, dt.timedelta):
        return (EPOCH + cell).time() if dt.timedelta() <= cell < dt.timedelta(days=1) else None
    match = _CLOCK.fullmatch(tidy(cell)) if isinstance(cell, str) else None
    return _clock(match) if match else None
