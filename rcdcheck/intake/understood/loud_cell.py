"""One loud cell, and when a cell is one: it says that something failed, and nobody who reads its column hears it."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.cells.phrases import says
from rcdcheck.intake.understood.candidates import CHECKS, IDENTITY
from rcdcheck.intake.understood.grammars import CHECK, Kind, grammars
from rcdcheck.intake.understood.profiles import names_reading
from rcdcheck.intake.understood.spoken import nearly_failed, says_failed
from rcdcheck.sheet_fields import DATE_FIELDS

COUNTED = ("reading", "pair", "value", *CHECKS, "rated_residual_current", "pass_ticks", "fail_ticks", "untested_ticks",
           "rcd_type", "waveform_type", "delay")  # those who read them hear them  # fmt: skip
WORDED = ("remark", "remedy")  # fault words in them are heard where remarks are read
PLACES = (*IDENTITY, "outlet", "location", "site", "model")  # columns of names of rooms too
NAMING = (*IDENTITY, "outlet")  # a single letter in them is a name
SAYING = {"multiple": Kind.MULTIPLE, "phase": Kind.PHASE, "unit": Kind.UNIT, "quantity": Kind.QUANTITY}  # of its row
PARTS = ("test_current", "multiple", "quantity")
DATED = (*DATE_FIELDS, "time")  # columns in which words are out of place
RARE = 0.2  # share of a column up to which a mark that other columns use plainly stands out
_PART_THAT_HOLDS = re.compile(  # "15 mA (no trip)" names a test
    r"\s*[\d.,½/]+\s?(?:mA|[x×%])?\s*I?[Δ∆d]?n?\s*[(,–-]\s*(?:no[- ]trip|must (?:not trip|hold))\)?\s*", re.IGNORECASE
)
_QUIET = re.compile(r"[A-Za-z]{0,4}[-/. ]?\d[\d\-/:.]*(?:[ T]\d\d?:\d\d(?::\d\d)?)?[A-Za-z]?")


@dataclass(frozen=True)
class Loud:
    """One loud cell: row and column as the person sees them, its text, and positions of the test rows it concerns.

    `number`: of the column that it stands in, -1 where it stands between the rows of tests.
    """

    row: int
    column: int
    text: str
    tests: tuple[int, ...]
    code: str = "cell-says-failed"
    number: int = -1


def is_loud(cell: object, kind: Kind, field: str, checks: float, sparse: bool, rare: Callable[[Kind], bool]) -> bool:
    """Whether a cell of that kind says that something failed, in a column of that field ("" where it is not known).

    `checks`: share of yes and no among the filled cells of its column; `sparse`: whether few cells are filled; `rare`:
    whether few of them are of a kind.
    """
    if field in WORDED:
        if kind & Kind.FAULT or is_number(cell):
            return bool(kind & (Kind.NO_TRIP | Kind.BOUND))
        said = cell_says_failed if field == "remark" else _nearly_failed  # plans in a remedy are heard where it is read
        denied = checks >= 0.6 and _begins_with_fail(cell)  # "NO - bin it" among "yes"
        return bool(kind & (Kind.NO_TRIP | Kind.BOUND | Kind.FAIL)) or said(cell) or denied
    if field in NAMING and kind & Kind.LETTER:  # outlet F, device N
        return False
    if kind & SAYING.get(field, Kind(0)) or (field in PARTS and _names_part(as_typed(cell))):
        return False
    if field in PLACES and isinstance(cell, str):
        cell = _without_rooms(cell)
        kind = grammars(cell)
    if field == "other_test" and kind & (
        Kind.NO_TRIP | Kind.BOUND
    ):  # the end of another range, where many cells hold it
        return cell_says_failed(cell) and rare(Kind.NO_TRIP | Kind.BOUND)
    if kind & Kind.FAULT or cell_says_failed(cell) or (field in DATED and _out_of_place(cell, kind)):
        return True
    if kind & Kind.FAIL and not kind & Kind.LETTER and not kind & Kind.TICK and len(as_typed(cell)) > 2:
        return True
    if kind & (Kind.NO_TRIP | Kind.BOUND):
        return rare(Kind.NO_TRIP | Kind.BOUND)
    if field == "" and kind & Kind.FAIL:
        return checks >= 0.6 or sparse
    if field and kind & Kind.FAIL and not is_number(cell):
        return rare(Kind.FAIL) and (sparse or (kind & Kind.TICK != 0) or checks < 0.6)
    return field == "" and checks >= 0.6 and not kind & (CHECK | Kind.UNMEASURED)


def may_speak(cell: object) -> bool:
    """Whether a cell is more than an identifier, a number or a date."""
    return (isinstance(cell, float) and cell == 0.0) or (isinstance(cell, str) and not _QUIET.fullmatch(cell))


def _names_part(text: str) -> bool:
    """Whether a cell names what its row tests, although its words may speak of a fault: "5 fois 0°"."""
    return names_reading(text) or bool(_PART_THAT_HOLDS.fullmatch(text))


def _without_rooms(text: str) -> str:
    """A name without its words that are rooms, and a fault in another language: "Vat wash"."""
    words = text.split()
    kept = [word for word in words if not says("rooms", word)]
    return text if len(kept) == len(words) else " ".join(kept)


def _begins_with_fail(cell: object) -> bool:
    """Whether the words before the first comma or dash of a cell are a fail."""
    first, *rest = re.split(r"\s[-–—]\s|[,;:(]", as_typed(cell), maxsplit=1)
    return bool(rest) and bool(grammars(first.strip()) & Kind.FAIL)


def cell_says_failed(cell: object) -> bool:
    """Whether a cell holds words that say so; a bare "no" does not."""
    return isinstance(cell, str) and says_failed(cell)


def _nearly_failed(cell: object) -> bool:
    return isinstance(cell, str) and nearly_failed(cell)


def _out_of_place(cell: object, kind: Kind) -> bool:
    """Words without a digit in a column of dates, where they do not say that there is none."""
    quiet = Kind.DATE | Kind.CLOCK | Kind.DITTO | Kind.UNMEASURED
    return isinstance(cell, str) and bool(kind & Kind.WORDS) and not kind & quiet and not re.search(r"\d", cell)


def is_number(cell: object) -> bool:
    """Whether a cell is a number, or digits only."""
    return isinstance(cell, float) or as_typed(cell).strip().isdigit()
