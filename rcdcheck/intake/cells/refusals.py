"""Why a cell is refused as a reading, and what it may have meant: asked where a plain number does not explain it."""

from __future__ import annotations

import datetime as dt
import re

from rcdcheck.intake.cells.numerals import Numeral, perhaps
from rcdcheck.intake.cells.phrases import known, plain

_MARKS = re.compile(r"(?:[-*_.#=xX~/?!:,•…]\s*)+")
_CLOCK = re.compile(r"(\d{1,3}):(\d{2})(?::\d{2})?(?:\.\d+)?")
_DATE = re.compile(r"\d{1,4}[-./]\d{1,2}[-./]\d{2,4}(?:\s+\d{1,2}:\d{2}.*)?")
_MONTHS = "jan|feb|mar|apr|may|mai|jun|jul|aug|sep|oct|okt|nov|dec|dez"
_MONTH = re.compile(rf"\d{{1,2}}[-./ ]{{0,2}}(?:{_MONTHS})[a-z]*\.?(?:[-./ ]?\d{{2,4}})?", re.IGNORECASE)
_THOUSANDS = re.compile(r"[+-]?\d{1,3}([.,' ])\d{3}(?:\1\d{3})*(?:[.,]\d+)?")
_BROKEN = re.compile(r"\d+ ?[.,]? \d*[.,]?\d+")
_NUMBER = re.compile(r"(?<![\w.,])\d+(?:[.,]\d+)?(?=\s?(?:ms|s|mA|A)\b|(?!\w))")
_GLUED_WORD = re.compile(r"[a-zA-ZÀ-ÿ]+(?![\w.])")
_JOINED = re.compile(r"[_a-zA-Z]+\d")  # 1_000, 1e3, 0x1C: no number that a person types
_NOTE = re.compile(r"\s*[ (\[,;:-]+(?P<words>(?:[^\W\d_]|[✓✔✗✘]).*?)[)\]\s]*", re.DOTALL)
_SHORT_NOTES = ("pass", "fail", "no_trip_abbreviations", "over_range")
_LOOKALIKES = str.maketrans("OoQDlI|iSBZ", "00001111582")
_LETTERED = re.compile(r"(?=.*\d)[\dOoQlI|]*(?:[SBZDi](?=.*\d)[\dOoQlI|]*)*(?:[.,][\dOoQlI|SBZ]*[\dOolI])?")


def is_unclear_mark(text: str) -> bool:
    """Whether the text is only a row of marks such as `---`, `***`, `?`, `xx`: nobody can say what was meant."""
    return bool(_MARKS.fullmatch(text))


def holds_bare_number(text: str) -> bool:
    """Whether a text about not tripping holds a number that may be a reading: no bound, current, multiple or angle."""
    bounds_and_currents = r"[><≥≤]=?\s*\d+(?:[.,]\d+)?|\d+(?:[.,]\d+)?\s?(?:mA|x|×|°|I[Δ∆δ]n)"
    return bool(_NUMBER.search(re.sub(bounds_and_currents, " ", text, flags=re.IGNORECASE)))


def refuse(text: str, number: Numeral | None) -> tuple[str, str] | None:
    """Finding code and suggestion for a tidied text; None where it is a number that can be read on."""
    bare = text.lstrip("<>≥≤~≈= ")
    clock = _CLOCK.fullmatch(bare)
    if clock or _DATE.fullmatch(bare) or _MONTH.fullmatch(bare):
        return "date-or-time-as-reading", perhaps(f"{clock[1]}.{clock[2]}") if clock else ""
    if number is not None and (not number.tail or _is_note(number.tail)):
        return _wrongly_padded(number.digits)
    return _why_not(text, bare, number)


def _is_note(tail: str) -> bool:
    """Whether what follows a number is words set apart from it: no further number, no mark of doubt."""
    if tail.strip() == "+":
        return True
    note = _NOTE.fullmatch(tail)
    if note is None or _NUMBER.search(tail) or "?" in tail:
        return False
    return len(note["words"]) > 2 or any(plain(note["words"]) in known(table) for table in _SHORT_NOTES)


def _wrongly_padded(digits: str) -> tuple[str, str] | None:
    """ "0284" may be 284 or 0.284; three digits with a leading zero are a display's padding."""
    whole = digits.lstrip("+-")
    if re.fullmatch(r"0\d{3,}|00\d*", whole) and whole.strip("0"):
        return "number-mistyped", perhaps(whole.lstrip("0"), f"0.{whole.lstrip('0')}")
    return None


def _why_not(text: str, bare: str, number: Numeral | None) -> tuple[str, str]:
    if text.startswith("#"):
        return "error-cell", ""
    if _THOUSANDS.fullmatch(bare):
        return "thousands-separator", perhaps(re.sub(r"[.,' ](?=\d{3}(?!\d))", "", bare).replace(",", "."))
    if _BROKEN.fullmatch(bare):
        return "several-numbers", perhaps(bare.replace(" ", "").replace(",", "."), " and ".join(bare.split()))
    if _LETTERED.fullmatch(bare) and not re.fullmatch(r"[\d.,]+", bare):
        return "letter-for-digit", perhaps(bare.translate(_LOOKALIKES))
    if number is not None and _GLUED_WORD.match(number.tail):
        return "unit-not-understood", perhaps(number.digits)
    return _several_or_doubted(text, bare, number)


def _several_or_doubted(text: str, bare: str, number: Numeral | None) -> tuple[str, str]:
    numbers = _NUMBER.findall(text)
    if len(numbers) > 1:
        return "several-numbers", perhaps(" and ".join(numbers))
    mended = re.sub(r"([.,])[.,]+", r"\1", bare).strip("., ")
    if re.fullmatch(r"\d+(?:[.,]\d+)?", mended):
        return "number-mistyped", perhaps(mended)
    if number is not None and not _JOINED.match(number.tail):
        return "reading-doubted", perhaps(number.digits)
    return ("reading-doubted", perhaps(numbers[0])) if numbers else ("reading-not-understood", "")


def meant_by_date(cell: dt.date | dt.time | dt.timedelta) -> str:
    """The number that a spreadsheet has perhaps turned into a date or time: 28.4 into 28 April, 28:04 into a span."""
    if isinstance(cell, dt.timedelta):
        hours, rest = divmod(int(cell.total_seconds()), 3600)
        return perhaps(f"{hours}.{rest // 60:02d}")
    if isinstance(cell, dt.time):
        return perhaps(f"{cell.hour}.{cell.minute:02d}")
    return perhaps(f"{cell.day}.{cell.month}")
