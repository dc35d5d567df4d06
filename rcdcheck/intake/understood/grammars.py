"""What a cell could be: every grammar that reads it, as flags, asked once for each distinct cell.

Nothing is decided here. A "1" is a number, a check, a multiple, a type and a code at once; its column decides.
"""

from __future__ import annotations

import datetime as dt
import functools
import re
from enum import IntFlag
from types import SimpleNamespace
from typing import Any

from rcdcheck.intake.cells import remarks
from rcdcheck.intake.cells.classes import class_cell, degrees_apart
from rcdcheck.intake.cells.currents import PREFERRED, multiple_cell, read_one_rating
from rcdcheck.intake.cells.date_cells import clock_cell, date_cell, day_without_year
from rcdcheck.intake.cells.numerals import numeral, tidy, units
from rcdcheck.intake.cells.phrases import known, opens_with, plain, says, slip_of_no_trip
from rcdcheck.intake.cells.verdicts import FAIL, PASS, after_verdict, opens_with_fail, verdict
from rcdcheck.intake.cells.whole_columns import phased_pair, split_pair


class Kind(IntFlag):
    """Grammars that read a cell."""

    UNMEASURED = 1  # "-", "n/a", "not tested"
    NUMBER = 2  # with or without unit; never a date
    WHOLE = 4  # a number without decimals and without unit
    BOUND = 8  # ">300"
    NO_TRIP = 16  # "no trip", "OL", "NT"
    PASS = 32
    FAIL = 64
    LETTER = 128  # a check of one sign: P, F, Y, N, 1, 0
    TICK = 256  # a tick or cross that marks a place: ✓, x
    RATED = 512  # a preferred rated residual current
    DATE = 1024
    CLOCK = 2048
    PHASE = 4096
    MULTIPLE = 8192
    CURRENT = 1 << 14  # a number with mA or A
    MILLISECONDS = 1 << 15  # a number with ms or s
    ROMAN = 1 << 16  # I, II, III, IV, with or without "type"
    WAVE = 1 << 17  # AC, A, F, B
    DELAY = 1 << 18  # S, G, selective, general
    MOUNTING = 1 << 19  # portable, fixed
    QUANTITY = 1 << 20  # "trip time", "ramp", "visual" as the name of what was measured
    UNIT = 1 << 21
    PAIR = 1 << 22  # "28/31"
    DITTO = 1 << 23
    CODE = 1 << 24  # letters with digits, as identifiers are
    NAME = 1 << 25  # one to three words without digits, as people and places are called
    WORDS = 1 << 26  # any words
    LONG = 1 << 27  # four words or more
    FAULT = 1 << 28  # words for a fault that nothing negates
    TRIPPED = 1 << 29  # "tripped": of a button a pass
    NO_ACCESS = 1 << 30


LONGEST = 400  # characters of a cell that is more than a text
READING = Kind.NUMBER | Kind.BOUND | Kind.NO_TRIP
CHECK = Kind.PASS | Kind.FAIL
K: Any = SimpleNamespace(**{kind.name: kind.value for kind in Kind if kind.name})  # whole numbers are joined at once
_READING, _CHECK = READING.value, CHECK.value
_CROSSES = {"x", "✗", "✘", "❌", "✕", "×", "xx"}
_TICKS = {"✓", "✔", "☑", "√", "✅", "•", "*", "v"}
_ROMAN = re.compile(r"(?:type|typ|tipo|klasse|class|cl)?[\s.-]*(?:i{1,3}|iv|[1-4])", re.IGNORECASE)
_WAVE = re.compile(r"(?:type|typ|tipo)?[\s.-]*(?:a\.?c\.?|a|f|b\+?)(?:[\s/-]?s)?", re.IGNORECASE)
_PHASE_PAIR = re.compile(r"\+|-|–|−")
MULTIPLES = (0.5, 1.0, 2.0, 3.0, 5.0, 10.0)  # of the rated residual current, at which devices are tested
_CODE = re.compile(r"(?=.*\d)(?=.*[^\W\d_])\S+(?:[ \-/]\S+){0,3}")
_PARTED = re.compile(r"\d{2,}[-/]\d{3,}(?:[-/]\d+)*")  # 77-1182: numbers of instruments and papers
_NO_NUMBER = ("no_trip", "no_trip_abbreviations", "over_range", "not_measured")
_CHECKED = ("pass", "fail")
_LISTED = {  # tables of which one phrase is the whole cell
    K.UNMEASURED: ("not_measured",), K.DITTO: ("ditto",), K.TRIPPED: ("tripped",),
    K.NO_TRIP: ("no_trip", "over_range", "no_trip_abbreviations"),
    K.PHASE: ("phase_0", "phase_180", "phase_worst"), K.MULTIPLE: ("half_rated",),
    K.DELAY: ("selective", "general", "short_time"), K.MOUNTING: ("portable", "fixed"),
    K.QUANTITY: ("quantity_trip_time", "quantity_trip_current", "quantity_visual", "quantity_button"),
}  # fmt: skip
_DIGIT = re.compile(r"\d")
_LETTERS = re.compile(r"[^\W\d_]{3}")
_NAMED = re.compile(r"[^\W\d_]+\d")  # "C3" is no "circa 3"
_PARTING = re.compile(r"[/|;&,–−\n-]|\sand\s", re.IGNORECASE)


@functools.lru_cache(maxsize=200_000)
def grammars(cell: object) -> Kind:
    """Every grammar that reads a cell; no flag for a blank."""
    return Kind(_flags(cell))


def _flags(cell: object) -> int:
    if isinstance(cell, str):
        if len(cell) > LONGEST:  # no number, mark or name is so long, and no pattern is tried
            return int(K.WORDS | K.LONG | (K.FAULT if remarks.fault_words(cell) else 0))
        text = tidy(cell).strip("' ")
        return _of_text(text) if text else 0
    if isinstance(cell, float):
        return _of_number(cell)
    if isinstance(cell, dt.datetime | dt.date):
        return int(K.DATE)
    return int(K.CLOCK) if isinstance(cell, dt.time | dt.timedelta) else 0


def _of_number(value: float) -> int:
    kind = K.NUMBER
    if value.is_integer():
        kind |= K.WHOLE
        kind |= K.LETTER | (K.PASS if value else K.FAIL) if value in (0.0, 1.0) else 0
        kind |= K.PHASE if value in (0.0, 180.0) else 0
        kind |= K.ROMAN if value in (1.0, 2.0, 3.0, 4.0) else 0
    kind |= K.MULTIPLE if value in (0.5, 1.0, 2.0, 3.0, 5.0, 10.0) else 0
    kind |= K.RATED if value in PREFERRED or round(value * 1000, 6) in PREFERRED else 0
    kind |= K.DATE if date_cell(value).readable else 0
    return kind


def _of_text(text: str) -> int:
    reading = after_verdict(text)[1]
    if reading != text:  # "P 29ms"
        return (_of_marks(reading) | _of_numeral(reading)) & (_READING | K.MILLISECONDS | K.CURRENT)
    kind = _of_marks(text) | _of_numeral(text) | _of_short_words(text)
    if _DIGIT.search(text):
        if _dated(text):
            kind = (kind | K.DATE) & ~(K.NUMBER | K.CODE)
        if re.search(r"[:hH]", text) and clock_cell(text) is not None:
            kind = (kind | K.CLOCK) & ~(K.NUMBER | K.CODE)
    return kind if kind & (_READING | K.DATE | K.CLOCK) and not _words(text) else kind | _of_words(text)


def _of_marks(text: str) -> int:
    kind = _listed().get(plain(text), 0) & (K.UNMEASURED | K.DITTO | K.NO_TRIP | K.TRIPPED)
    if opens_with("no_trip", text) or slip_of_no_trip(text) or (text[0] == ">" and says("over_range", text[1:])):
        kind |= K.NO_TRIP
    said = verdict(text)
    kind |= K.PASS if said == PASS else K.FAIL if said == FAIL else 0
    if text.casefold() in _CROSSES:
        kind |= K.TICK | K.FAIL
    elif text.casefold() in _TICKS:
        kind |= K.TICK | K.PASS
    if kind & _CHECK and len(text) == 1:
        kind |= K.LETTER
    return int(kind)


@functools.cache
def _listed() -> dict[str, int]:
    """What each phrase of `_LISTED`, and each unit, says when it is the whole cell."""
    found = dict.fromkeys(units(), int(K.UNIT))
    for kind, tables in _LISTED.items():
        for phrase in frozenset[str]().union(*map(known, tables)):
            found[phrase] = found.get(phrase, 0) | kind
    return found


def _of_numeral(text: str) -> int:
    if _NAMED.match(text):
        return 0
    number = numeral(text)
    if number is None or (number.tail.strip() and not _aside(number.tail)):
        return K.PAIR if _is_pair(text) else 0
    kind = K.BOUND if number.sign == ">" else K.NUMBER
    if number.unit in ("mA", "A", "uA"):
        kind |= K.CURRENT
    elif number.unit in ("ms", "s"):
        kind |= K.MILLISECONDS
    elif number.unit:
        return K.WORDS
    if not number.sign and not number.tail.strip():
        kind |= _of_plain_digits(number.digits, number.unit)
    return kind


def _aside(tail: str) -> bool:
    """Whether what stands behind a number is a short note, as in "28.4 retested"; "12-A" and "3 phase" are names."""
    return bool(re.fullmatch(r"\s*\+|[\s(\[,;]+[^\W\d_]{3,}.*", tail, re.DOTALL)) and not re.search(r"\d", tail)


def _of_plain_digits(digits: str, unit: str) -> int:
    value = float(digits.replace(",", "."))
    kind = 0
    if unit in ("", "mA", "A"):
        scaled = value * 1000 if unit == "A" or value < 1 else value
        kind |= K.RATED if round(scaled, 6) in PREFERRED else 0
    if unit == "" and digits.isdigit():
        kind |= K.WHOLE | (_of_number(value) & (K.LETTER | _CHECK | K.PHASE | K.ROMAN))
    return kind


def _is_pair(text: str) -> bool:
    if not _PARTING.search(text):
        return False
    if text.startswith("+") or text.count("/") > 1 or phased_pair(text):
        return split_pair(text) is not None
    halves = split_pair(text)
    if halves and all(verdict(half) or any(says(t, half) for t in _NO_NUMBER) for half in halves):
        return True
    return bool(
        re.fullmatch(r"[><]?\d+(?:[.,]\d+)?\s?(?:ms)?(?:\s*[/|;&]\s*|\s[-–]\s)[><]?\d+(?:[.,]\d+)?\s?(?:ms)?", text)
    )


def _of_short_words(text: str) -> int:
    kind = _listed().get(plain(text), 0) & (K.PHASE | K.MULTIPLE | K.DELAY | K.MOUNTING | K.QUANTITY | K.UNIT)
    if _PHASE_PAIR.fullmatch(text) or _listed().get(plain(degrees_apart(text)), 0) & K.PHASE:
        kind |= K.PHASE
    if multiple_cell(text)[0] in MULTIPLES:
        kind |= K.MULTIPLE
    if len(text) <= 14:
        kind |= K.ROMAN if _ROMAN.fullmatch(text) else 0
        kind |= K.WAVE if _WAVE.fullmatch(text) else 0
    if len(text) <= 24 and re.search(r"\d\s?m?A\b", text) and read_one_rating(text):  # "30mA A", "40 A / 30 mA"
        kind |= K.RATED
    if len(text) <= 24 and re.search(r"\w[\s,/;(]+\w", text):  # "A, selektiv", "AC / S"
        kind |= _of_class(text)
    return int(kind)


def _of_class(text: str) -> int:
    """RCD type, waveform type and delay of a cell that holds more than one of them, or a word beside one."""
    rcd_type, wave, delay, problem, _ = class_cell(text)
    if problem:
        return 0
    return (K.ROMAN if rcd_type else 0) | (K.WAVE if wave else 0) | (K.DELAY if delay else 0)


def _dated(text: str) -> bool:
    if re.fullmatch(r"[\d.,]+", text) and not re.search(r"\d\D\d+\D\d", text):
        return False
    return date_cell(text).readable or (len(text) <= 20 and day_without_year(text))


def _words(text: str) -> bool:
    return bool(_LETTERS.search(text))


def _of_words(text: str) -> int:
    kind = 0
    digits = bool(_DIGIT.search(text))
    if _PARTED.fullmatch(text):
        kind |= K.CODE
    if digits and text.count(" ") <= 3 and _CODE.fullmatch(text) and not re.search(r"[^\W\d_]{4,} [^\W\d_]{2,} ", text):
        kind |= K.CODE
    words = re.findall(r"[^\W\d_]+", text)
    if words:
        kind |= K.WORDS
        kind |= K.NAME if len(words) <= 4 and not digits else 0
        kind |= K.LONG if len(words) >= 4 else 0
    if kind and len(text) > 2 and verdict(text) != PASS:
        kind |= K.FAULT if remarks.fault_words(text) else 0
        kind |= K.NO_ACCESS if remarks.no_access(text) else 0
        kind |= K.FAIL if opens_with_fail(text) else 0
    return kind
