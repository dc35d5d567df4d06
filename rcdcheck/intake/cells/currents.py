"""Rated residual currents, test currents and multiples, which say at which current a device was tested."""

from __future__ import annotations

import functools
import math
import re
from dataclasses import dataclass
from itertools import chain

from rcdcheck import data
from rcdcheck.intake.cells.distinct import Cells, spread
from rcdcheck.intake.cells.numerals import numeral, perhaps, tidy, unit_named
from rcdcheck.intake.cells.phrases import listed, plain, says
from rcdcheck.tables import Numbers, Texts

PREFERRED = (6.0, 10.0, 30.0, 100.0, 300.0, 500.0)  # mA, IEC 61008-1 5.3.3 preferred values (from memory)
LOAD_RATINGS = (
    13.0,
    16.0,
    25.0,
    32.0,
    40.0,
    63.0,
    80.0,
    125.0,
)  # A, usual for the load: no residual current (common practice)
_FACTORS = {"mA": 1.0, "A": 1000.0, "uA": 0.001}
_VALUE = re.compile(r"(?<![\w.,])(\d+(?:[.,]\d+)?|[.,]\d+)(?![.,]?\d)\s?([mµu]?A(?:mps?)?)?(?![\w])", re.IGNORECASE)
_NAME = re.compile(r"(?:rated|sensitivity|nom(?:inal)?|i\s?[δ∆Δ]?\s?n|idn)[\s:=.]*", re.IGNORECASE)


@dataclass(frozen=True)
class RatedColumn:
    """value: mA, NaN where none can be read; problem, suggestion; shapes (n,)."""

    value: Numbers
    problem: Texts
    suggestion: Texts


@dataclass(frozen=True)
class MultipleColumn:
    """multiple: of the rated residual current; test_current: mA; each NaN where not said; shapes (n,)."""

    multiple: Numbers
    test_current: Numbers
    problem: Texts
    suggestion: Texts


def read_rated(cells: Cells, unit: str = "") -> RatedColumn:
    """Rated residual currents in mA under a heading in `unit` ("", "mA", "A").

    Reads "30mA", "0.03 A", "0,03", "IΔn 30", and "40A/30mA", where only one number can be the residual current.
    """
    return RatedColumn(*spread(cells, lambda cell: _rated(cell, unit), ("float64", "object", "object")))


def read_one_rating(text: str) -> bool:
    """Whether a text gives one preferred rated residual current, alone or beside a load rating or a type."""
    return _rated(text, "")[0] in PREFERRED


def _rated(cell: object, unit: str) -> tuple[float, str, str]:
    if isinstance(cell, float):
        return _bare(cell, unit)
    text = tidy(cell) if isinstance(cell, str) else "?"
    if not text or says("not_measured", text):
        return math.nan, "", ""
    found = _VALUE.findall(_NAME.sub(" ", text))
    values = [(float(digits.replace(",", ".")), unit_named(named)) for digits, named in found]
    if not values or re.search(r"[<>≤≥~?]|\d\s?-\s?\d", text):
        return math.nan, "rated-current-not-understood", ""
    return _bare(values[0][0], values[0][1] or unit) if len(values) == 1 else _residual_of(values)


def _bare(number: float, unit: str) -> tuple[float, str, str]:
    """One number: a stated unit holds; without one, 0.03 is amperes, since no device is rated below 1 mA."""
    milli = round(number * _FACTORS.get(unit, 1.0), 6)
    if not unit and round(number * 1000, 6) in PREFERRED and number < 1:
        return round(number * 1000, 6), "", ""
    if not math.isfinite(number) or milli < 1:
        amperes = round(number * 1000, 6) if math.isfinite(number) else 0.0
        return math.nan, "rated-current-not-understood", perhaps(f"{amperes:g} mA") if amperes in PREFERRED else ""
    if not unit and number in LOAD_RATINGS:
        return math.nan, "rated-current-not-understood", ""
    if milli > 30_000 or (unit == "A" and number >= 6):
        return math.nan, "rated-current-not-understood", perhaps(f"{number:g} mA") if number in PREFERRED else ""
    return milli, "", ""


def _residual_of(values: list[tuple[float, str]]) -> tuple[float, str, str]:
    """Several numbers, as in "40 A / 30 mA" or "25/0,03": the one that can only be the residual current."""
    small = [n for n, unit in values if unit == "mA"] or [
        round(n * 1000, 6) for n, unit in values if n < 1 and unit in ("", "A")
    ]
    if len(small) == 1 and small[0] >= 1:
        return small[0], "", ""
    return math.nan, "rated-current-not-understood", perhaps(*(f"{n:g} mA" for n in small))


_ONE_TIMES = re.compile(r"(?:at |bei |à |a |bij )?(?:I\s?[ΔδΔ∆△]\s?n|idn)", re.IGNORECASE)
_NAMED = {"one": 1.0, "five": 5.0}  # [headings.multiple] in schemas/words.toml


@functools.cache
def _worded() -> dict[str, float]:
    """Multiples by the words that name them: "half", "at rated current", "cinq fois"."""
    tables = data.toml("words.toml")["headings"]["multiple"]
    named = {plain(p): n for name, n in _NAMED.items() for words in tables[name].values() for p in words}
    return named | dict.fromkeys(map(plain, listed("half_rated")), 0.5)


@functools.cache
def _multiple() -> re.Pattern[str]:
    """A multiple in figures, with words such as "times" or "fach" and the rated current behind it or not."""
    times = "|".join(map(re.escape, sorted(set(chain(*data.toml("words.toml")["headings"]["times"].values())))))
    return re.compile(
        r"(?:[x×*]\s?)?(?P<n>½|1/2|\d+(?:[.,]\d+)?)\s?(?P<mark>[x×*]|%)?[\s-]?"
        rf"(?:{times}|time)?\s?(?:rated|I\s?[ΔδΔ∆△]?\s?n|idn)?",
        re.IGNORECASE,
    )


def read_multiples(cells: Cells, *, test_current: bool = False, unit: str = "") -> MultipleColumn:
    """Multiples ("1x", "×5", "½", "5 IΔn", "50 %") and test currents ("150 mA").

    With `test_current` a bare number is a current in `unit` (mA where empty), else a multiple.
    """

    def read(cell: object) -> tuple[float, float, str, str]:
        return multiple_cell(cell, test_current, unit)

    return MultipleColumn(*spread(cells, read, ("float64", "float64", "object", "object")))


def multiple_cell(cell: object, test_current: bool = False, unit: str = "") -> tuple[float, float, str, str]:
    """Multiple, test current in mA (each NaN where not said), problem code and what it might have been."""
    nothing = (math.nan, math.nan)
    text = tidy(f"{cell:.10g}" if isinstance(cell, float) else str(cell))
    if not text or says("not_measured", text):
        return *nothing, "", ""
    if plain(text) in _worded():
        return _worded()[plain(text)], math.nan, "", ""
    if _ONE_TIMES.fullmatch(text):
        return 1.0, math.nan, "", ""
    number = numeral(text)
    stated = number.unit if number and not number.sign and not number.tail.strip() else ""
    if number and (stated in _FACTORS or (test_current and not number.sign and not number.tail.strip() and not stated)):
        return math.nan, round(float(number.digits.replace(",", ".")) * _FACTORS[stated or unit or "mA"], 6), "", ""
    match = _multiple().fullmatch(text)
    if not match:
        return *nothing, "entry-not-understood", ""
    times = (
        0.5
        if match["n"] in ("½", "1/2")
        else float(match["n"].replace(",", ".")) / (100 if match["mark"] == "%" else 1)
    )
    if times == 0 or times > 10:
        return *nothing, "entry-not-understood", perhaps(f"a test current of {times:g} mA")
    return times, math.nan, "", ""
