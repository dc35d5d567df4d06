"""What a typed cell means as a reading: one scalar function, called once for each distinct cell.

A reading is read where a careful colleague would read it, and refused with a finding code and a suggestion where one
would phone back. Columns are read by `whole_columns.read_readings`, which decides decimal sign and unit first.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from dataclasses import replace
from typing import NamedTuple

from rcdcheck import data
from rcdcheck.intake.cells import refusals
from rcdcheck.intake.cells.numerals import Numeral, numeral, perhaps, tidy, value_of
from rcdcheck.intake.cells.phrases import opens_with, says, slip_of_no_trip
from rcdcheck.intake.cells.remarks import fault_words, no_access, out_of_use, remedy_words, repeat_words
from rcdcheck.intake.cells.verdicts import FAIL, after_verdict
from rcdcheck.terms import Bound, State

__all__ = ["Reading", "fault_words", "no_access", "out_of_use", "reading", "remedy_words", "repeat_words", "rounded"]

CEILING = {"trip_time": 10_000.0, "trip_current": 3_000_000.0}  # ms, mA: beyond any instrument
FACTORS = {
    "trip_time": {"": 1.0, "ms": 1.0, "s": 1000.0},
    "trip_current": {"": 1.0, "mA": 1.0, "A": 1000.0, "uA": 0.001},
}


class Reading(NamedTuple):
    """One cell as a reading. `value` is in ms or mA, NaN where there is no number.

    unit: stated in the cell, empty where not. problem: code of a finding that makes it unreadable, or tells of an
    unclear mark. note: code of a finding on a cell that was read; remark: its trailing text. measured: False for a
    blank, a word for "not measured", an unclear mark.
    """

    value: float = math.nan
    unit: str = ""
    state: int = State.TRIPPED
    bound: int = Bound.EXACT
    problem: str = ""
    suggestion: str = ""
    note: str = ""
    remark: str = ""
    measured: bool = True


BLANK = Reading(measured=False)


def refused(problem: str, suggestion: str = "", bound: int = Bound.EXACT) -> Reading:
    """A cell that holds something which is not a reading."""
    return Reading(state=State.UNREADABLE, problem=problem, suggestion=suggestion, bound=bound)


def rounded(value: float) -> float:
    """Rounded once to 1e-6, by the same arithmetic as numpy.round."""
    return round(value * 1e6) / 1e6


def reading(cell: object, *, quantity: str, decimal: str = ".", unit: str = "") -> Reading:
    """What one cell says under a heading of `quantity` ("trip_time", "trip_current") in `unit` ("" for ms or mA).

    `decimal` is the decimal sign of the column, `.` or `,`; empty where nothing tells, so that "1,234" is refused.
    """
    if isinstance(cell, float | int):
        return _number(float(cell), "", quantity, unit, typed=f"{cell:.10g}")
    if isinstance(cell, dt.date | dt.time | dt.timedelta):
        return refused("date-or-time-as-reading", refusals.meant_by_date(cell))
    if not isinstance(cell, str):
        return refused("reading-not-understood")
    if says("ditto", cell):
        return refused("ditto-mark")
    said, text = after_verdict(_after_tripped(tidy(cell).strip("' ")))
    read = _worded(text) or _numbered(text, quantity, decimal, unit)
    if said == FAIL and read.state == State.TRIPPED and not read.problem:
        return refused("fault-beside-reading", perhaps(text))
    return read


def _after_tripped(text: str) -> str:
    """The number behind a word that says no more than that it tripped: "trip 22 ms", "tripped at 24"."""
    found = _TRIPPED_AT.match(text)
    return text[found.end() :].strip("() ") if found and says("tripped", found[1]) else text


_TRIPPED_AT = re.compile(
    r"([^\W\d_]+)\s*(?:at|in|after|@|:|bei|nach|à|en|a|bij|em)?\s*(?=\(?[<>]?\s?\d)", re.IGNORECASE
)


def not_measured_because(text: str) -> bool:
    """Whether a cell says that nothing was measured and why ("n/a - freezer full", "not done, locked")."""
    parted = re.split(r"\s[-–—]\s|[,;:(]", tidy(text), maxsplit=1)
    return len(parted) == 2 and says("not_measured", parted[0].strip()) and not fault_words(parted[1])


def _worded(text: str) -> Reading | None:
    """Cells that are words or marks; None where a number has to be looked for."""
    if text == "" or says("not_measured", text):
        return refused("none-as-reading") if text and says("none", text) else BLANK
    if says("no_trip", text) or says("over_range", text) or (text[0] == ">" and says("over_range", text[1:])):
        return Reading(state=State.NOT_TRIPPED)
    if says("no_trip_abbreviations", text):
        return Reading(state=State.NOT_TRIPPED, note="abbreviation-read-as-no-trip")
    if slip_of_no_trip(text):
        return Reading(state=State.NOT_TRIPPED, note="slip-read-as-no-trip")
    if refusals.is_unclear_mark(text):
        return Reading(problem="unclear-mark", measured=False)
    if (says("pass", text) and text not in ("1", "0")) or says("tripped", text) or (says("fail", text) and text != "0"):
        return refused("declared-not-measured")
    if opens_with("no_trip", text):
        return _no_trip_with_note(text)
    return None


def _no_trip_with_note(text: str) -> Reading:
    """ "no trip at 30 mA": read; "no trip, then 28.4": a reading beside it contradicts."""
    if refusals.holds_bare_number(text):
        return refused("no-trip-contradicted")
    return Reading(state=State.NOT_TRIPPED, note="note-beside-reading", remark=text)


def _numbered(text: str, quantity: str, decimal: str, unit: str) -> Reading:
    number = numeral(text)
    if number is not None and " " in number.behind and _names_fault(number.behind):
        return refused("fault-beside-reading", perhaps(number.digits))
    problem = refusals.refuse(text, number)
    if problem is not None:
        return refused(*problem)
    assert number is not None
    if number.unit not in FACTORS[quantity] and number.unit:
        code = "unit-not-understood" if number.unit == "other" else "unit-of-other-quantity"
        return refused(code)
    value = value_of(number.digits, decimal)
    if value is None:
        plain = number.digits.replace(",", "").replace(".", "")
        return refused("decimal-or-thousands", perhaps(number.digits.replace(",", "."), plain))
    if number.sign == ">" and quantity == "trip_time" and not number.unit and value in over_range_numbers():
        unit = "ms"  # the end of a display, whatever unit the column has
    return _qualified(_number(value, number.unit, quantity, unit, typed=number.digits), number)


def _names_fault(note: str) -> bool:
    return bool(fault_words(note)) and not opens_with("no_trip", note)


def _qualified(read: Reading, number: Numeral) -> Reading:
    """The number with its comparator and the note behind it."""
    if read.problem:
        return read
    if number.sign == "<":
        return refused("upper-bound-only", bound=Bound.BELOW)
    if number.sign == "~":
        return refused("approximate-reading", perhaps(number.digits))
    if number.sign == ">" or number.tail.strip() == "+":
        kept = "" if number.tail.strip() == "+" else number.tail
        if read.state == State.NOT_TRIPPED:
            read = read._replace(state=State.TRIPPED, note="")
        read = read._replace(bound=Bound.ABOVE)
        number = replace(number, tail=kept)
    return _noted(read, number) if number.tail else read


def _noted(read: Reading, number: Numeral) -> Reading:
    """A note behind a number: kept and noticed, unless it speaks against the reading."""
    note = number.tail.strip(" ()[],;:-")
    if says("no_trip", note) or says("over_range", note) or says("no_trip_abbreviations", note):
        ends_range = read.bound == Bound.ABOVE or read.value in (300, 500, 1000, 2000, *over_range_numbers())
        return Reading(state=State.NOT_TRIPPED) if ends_range else refused("no-trip-contradicted")
    if says("fail", note):
        return refused("fault-beside-reading", perhaps(number.digits))
    return read._replace(note=read.note or "note-beside-reading", remark=note)


def _number(value: float, own: str, quantity: str, unit: str, typed: str) -> Reading:
    """A number without comparator: its unit applied, and refused where no instrument shows it."""
    scaled = value * FACTORS[quantity].get(own or unit, 1.0)
    scaled = rounded(scaled) if abs(scaled) < 1e9 else scaled
    if not math.isfinite(scaled) or scaled > CEILING[quantity]:
        return refused("beyond-any-instrument")
    if value < 0:
        return refused("negative-reading", perhaps(typed.lstrip("-")))
    if scaled == 0:
        return refused("zero-reading")
    if quantity == "trip_time" and (own or unit) != "s" and scaled in over_range_numbers():
        return Reading(scaled, own, State.NOT_TRIPPED, note="over-range-number")
    return Reading(scaled, own)


def over_range_numbers() -> list[int]:
    """Bare numbers under a trip time that show the end of a display: 999, 1999."""
    numbers: list[int] = data.toml("words.toml")["cells"]["over_range_numbers"]
    return numbers
