"""How one person types one sheet: numbers, marks, dates and units, the same way down the whole sheet."""

from __future__ import annotations

import random
import re
from dataclasses import dataclass, field
from datetime import date
from typing import TypeAlias

from .phrases import Words
from .truth import Device, Mark, Value, limit

Cell: TypeAlias = str | int | float | date | None

UNREADABLE = ["2?8", "#REF!", "??", "1?", "3_?", "#VALUE!", "?4", "~~"]
DATE_FORMATS = ["%Y-%m-%d", "%d/%m/%Y", "%d.%m.%Y", "%d/%m/%y", "%d-%m-%Y", "%d.%m.%y"]


@dataclass
class Style:
    """The habits of the person who types."""

    words: Words
    workbook: bool
    delimiter: str
    decimal: str
    decimals: int
    seconds: bool
    unit: str
    day: date
    date_format: str
    passes: list[str]
    fails: list[str]
    day_cells: bool
    ditto: str
    _habits: dict[str, list[str]] = field(default_factory=dict)

    def number(self, value: float, decimals: int) -> Cell:
        """A number as typed."""
        rounded = round(value, decimals) if decimals else round(value)
        return rounded if self.workbook else f"{rounded:.{decimals}f}".replace(".", self.decimal)

    def reading(self, device: Device, key: str, value: Value) -> Cell:
        """A reading as typed: a time, a current, or a mark in words."""
        if isinstance(value, Mark):
            return self.mark(device, key, value)
        if key == "ramp":
            return self._with_unit(self.number(value, 1), "mA")
        if self.seconds:
            return self._with_unit(self.number(value / 1000, 3), "s")
        return self._with_unit(self.number(value, self.decimals), "ms")

    def mark(self, device: Device, key: str, mark: Mark) -> str:
        """What stands in a cell that holds no number."""
        if mark is Mark.BLANK:
            return ""
        if mark is Mark.UNREADABLE:
            return self.words.rng.choice(UNREADABLE)
        if mark is Mark.OVER:
            usual = [text for text in self.usual("over_range") if self._over_fits(text, device, key)]
            return self.words.rng.choice(usual or [">1999"])
        return self.words.rng.choice(self.usual(mark.value))

    def usual(self, key: str) -> list[str]:
        """The two or three phrases of a list that this person uses."""
        if key not in self._habits:
            every = self.words.every("marks", key)
            self._habits[key] = self.words.rng.sample(every, min(len(every), self.words.rng.randint(1, 3)))
        return self._habits[key]

    def check(self, state: str, question: bool) -> str:
        """Pass or fail of a check; a question is answered with yes or no."""
        if not state:
            return ""
        if question:
            return self.words.rng.choice(self.usual("yes" if state == "pass" else "no")[:2])
        return self.words.rng.choice(self.passes if state == "pass" else self.fails)

    def day_cell(self, day: date) -> Cell:
        """A date, as a date cell or as text."""
        return day if self.day_cells else day.strftime(self.date_format)

    def _with_unit(self, number: Cell, unit: str) -> Cell:
        return f"{number}{self.unit.format(unit=unit)}" if self.unit else number

    def _over_fits(self, text: str, device: Device, key: str) -> bool:
        digits = re.search(r"\d+", text)
        if not digits:
            return True
        lowest = 300 if key.startswith("half") else limit(device, key)
        return not self.seconds and int(digits.group()) >= lowest


def draw_style(words: Words, workbook: bool, seconds: bool) -> Style:
    """Draw the habits of one person."""
    rng = words.rng
    comma = words.language != "en" and rng.random() < 0.7
    delimiter = rng.choice([";", ";", "\t"]) if comma else rng.choice([",", ",", ",", ";", "\t"])
    formats = [*DATE_FORMATS, "%d %b %Y", "%d %B %Y"] if words.language == "en" else DATE_FORMATS
    return Style(
        words=words,
        workbook=workbook,
        delimiter=delimiter,
        decimal="," if comma else ".",
        decimals=rng.choice([0, 0, 0, 1]),
        seconds=seconds,
        unit=rng.choice(["", "", "", "", "", "{unit}", " {unit}"]),
        # Beyond the twelfth, so that nobody need ask which number is the month.
        day=date(2026, rng.randint(1, 11), rng.randint(13, 19)),
        date_format=rng.choice(formats),
        passes=_habit(rng, words, "pass"),
        fails=_habit(rng, words, "fail"),
        day_cells=workbook and rng.random() < 0.6,
        ditto=words.pick("marks", "ditto") if rng.random() < 0.1 else "",
    )


def _habit(rng: random.Random, words: Words, key: str) -> list[str]:
    """One word, or two by a hand that tires."""
    return [words.pick("marks", key) for _ in range(rng.choice([1, 1, 2]))]
