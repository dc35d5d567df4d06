"""The columns of a made table: a heading in the words of the trade, and what each line of the table has in it."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from .phrases import Words, normal
from .style import Cell, Style
from .truth import Device, Mark, Recorded, Unit, Value

CHECKS = ("visual", "button")
GROUP_OF = {
    "t1_0": "x1", "t1_180": "x1", "t5_0": "x5", "t5_180": "x5", "half_0": "half", "half_180": "half",
    "ramp": "ramp", "visual": "checks", "button": "checks",
}  # fmt: skip
UNDER_OF = {"ramp": "ramp", "visual": "visual", "button": "button"}
HARMLESS = {
    r"price|cost$|prei|prix|prec|prez|preç|prijs": "49", r"colo|farb|couleur|^cor$|kleur": "-",
    r"length|länge|longue|longit|lungh|lengte|compri": "10", r"ladder": "-",
}  # fmt: skip


@dataclass
class Line:
    """A line of a table: a device, its unit, and in long tables one reading of it."""

    device: Device
    unit: Unit
    first: bool = True
    reading: str = ""
    again: bool = False


@dataclass
class Column:
    """A column: its key in the list of headings, its heading (perhaps under a group) and its cells."""

    key: str
    heading: str
    cell: Callable[[Line], Cell]
    group: str = ""
    measure: str = ""

    @property
    def text(self) -> str:
        """The whole heading as a reader takes it."""
        return f"{self.group} {self.heading}".strip()


class Headings:
    """Draws headings that a reader can tell from each other, each as one hand types it."""

    def __init__(self, words: Words, seconds: bool) -> None:
        self._words = words
        self._seconds = seconds
        self._seen: set[str] = set()
        self._upper = words.rng.random() < 0.08
        self._slips = 0.12

    def one(self, section: str, key: str, fits: Callable[[str], bool] = lambda _: True) -> str:
        """A heading that no other column has."""
        for _ in range(60):
            text = self._words.pick(section, key, fits)
            if fits(text) and normal(text) not in self._seen:
                return self.typed(text, key)
        raise LookupError(key)

    def pair(self, section: str, first: str, second: str) -> tuple[str, str]:
        """Two headings in one manner."""
        for _ in range(60):
            pair = self._words.pick_pair(section, first, second)
            if not {normal(text) for text in pair} & self._seen and self._fits(pair):
                return self.typed(pair[0], first), self.typed(pair[1], second)
        raise LookupError(first)

    def typed(self, text: str, key: str) -> str:
        """The heading as it comes off the keyboard."""
        self._seen.add(normal(text))
        if self._seconds and key.startswith(("t1", "t5", "half")):
            text = in_seconds(text)
        if self._words.rng.random() < self._slips:
            text = self._words.slip(text)
        return text.upper() if self._upper and not re.search("mA|ms|Δ", text) else text

    def _fits(self, pair: tuple[str, str]) -> bool:
        return "150" not in "".join(pair)  # a current in place of a multiple holds for one rating only


def in_seconds(text: str) -> str:
    """A heading of a column of milliseconds, for a column of seconds."""
    changed = re.sub(r"\bms\b", "s", text)
    return changed if changed != text else f"{text} (s)"


def is_question(heading: str) -> bool:
    """Whether yes and no are answers to a heading."""
    return "?" in heading and not re.search(r"[/]| or | ou | of ", heading.lower())


class Columns:
    """Makes the columns of one sheet."""

    def __init__(self, words: Words, style: Style, recorded: Recorded) -> None:
        self.words = words
        self.style = style
        self.recorded = recorded
        self.headings = Headings(words, style.seconds)

    def fact(self, key: str, value: Callable[[Device], Cell], every_line: bool = True) -> Column:
        """A column about the device."""
        heading = self.headings.one("headings", key)
        return Column(key, heading, lambda line: value(line.device) if every_line or line.first else "")

    def outlet(self) -> Column:
        """The column that names the unit of a device."""
        return Column("outlet", self.headings.one("headings", "outlet"), lambda line: line.unit.label)

    def rated(self) -> Column:
        """The rated residual current."""
        heading = self.headings.one("headings", "rated", lambda text: "type" not in text.lower())
        unit = self.words.rng.choice(["", "", " mA", "mA"])
        return Column(
            "rated", heading, lambda line: f"{line.device.rated}{unit}" if unit else line.device.rated, measure="mA"
        )

    def rcd_type(self) -> Column:
        """What the device says about its delay, in the manner that the heading asks for."""
        heading = self.headings.one("headings", "rcd_type")
        if is_question(heading):
            return Column(
                "rcd_type", heading, lambda line: self.style.usual("yes" if line.device.selective else "no")[0]
            )
        roman = "I/II" in heading
        return Column("rcd_type", heading, lambda line: _type(line.device, roman))

    def check(self, key: str, heading: str = "", group: str = "") -> Column:
        """The look-over, the test button, or the verdict of the sheet itself."""
        heading = heading or self.headings.one("headings", key)
        question = is_question(heading) and self.words.rng.random() < 0.8

        def cell(line: Line) -> Cell:
            if line.again and key == "result":
                return self.style.check("pass" if line.device.kind == "retest_pass" else "fail", question)
            return self.style.check(line.device.checks[key], question)

        return Column(key, heading, cell, group)

    def ticks(self) -> list[Column]:
        """The verdict as a tick in one of two columns."""
        tick = self.words.rng.choice(["x", "✓", "X"])

        def column(state: str) -> Column:
            common = self.words.every("marks", state)[:6]
            heading = self.headings.one("marks", state, lambda text: text in common and len(text) > 1)
            return Column("tick", heading, lambda line: tick if line.device.checks["result"] == state else "")

        return [column("pass"), column("fail")]

    def remark(self, headed: bool) -> Column:
        """Remarks, under a heading or under none."""
        heading = self.headings.one("headings", "remark", bool) if headed else ""
        return Column("remark", heading, lambda line: line.device.remark if line.first and not line.again else "")

    def date(self) -> Column:
        """The day of the test."""
        return self.fact("date", lambda _: self.style.day_cell(self.style.day))

    def retest_due(self) -> Column:
        """The day of the next test."""
        day = self.style.day
        due = date(day.year + 1, day.month, day.day)
        return self.fact("retest_due", lambda _: self.style.day_cell(due))

    def harmless(self) -> Column:
        """A column that does not matter."""
        heading = self.headings.one("headings", "harmless")
        texts = [text for pattern, text in HARMLESS.items() if re.search(pattern, heading, re.IGNORECASE)]
        spread = 90 + len(heading)
        if texts:
            return Column("harmless", heading, lambda _: texts[0])
        return Column("harmless", heading, lambda line: f"A-{1000 + int(line.device.facts['serial']) % spread}")

    def reading(self, key: str, heading: str, group: str = "", unit_index: int | None = None) -> Column:
        """One reading of a unit."""

        def cell(line: Line) -> Cell:
            unit = line.unit if unit_index is None else line.device.units[unit_index]
            return self.style.reading(line.device, key, unit.readings[key])

        return Column(key, heading, cell, group, "mA" if key == "ramp" else "s" if self.style.seconds else "ms")

    def readings(self) -> list[Column]:
        """All readings, each under a heading of its own."""
        columns = []
        for first, second in (("t1_0", "t1_180"), ("t5_0", "t5_180"), ("half_0", "half_180")):
            if first in self.recorded.readings:
                headings = self.headings.pair("headings", first, second)
                columns += [self.reading(first, headings[0]), self.reading(second, headings[1])]
        if "ramp" in self.recorded.readings:
            columns.append(self.reading("ramp", self.headings.one("headings", "ramp")))
        return columns

    def grouped_readings(self) -> list[Column]:
        """All readings, each under a heading of two rows."""
        under = self.words.pick_pair("under", "phase0", "phase180")
        columns = []
        for group in ("x1", "x5", "half"):
            keys = [key for key in self.recorded.readings if GROUP_OF[key] == group]
            text = self.headings.one("groups", group) if keys else ""
            text = in_seconds(text) if self.style.seconds else text
            columns += [self.reading(key, heading, text) for key, heading in zip(keys, under, strict=False)]
        if "ramp" in self.recorded.readings:
            ramp = self.words.pick("under", "ramp")
            columns.append(self.reading("ramp", ramp, self.headings.one("groups", "ramp")))
        return columns

    def pairs(self) -> list[Column]:
        """Both phases in a cell, under a heading that names both."""
        columns = []
        for group in ("x1", "x5", "half"):
            keys = [key for key in self.recorded.readings if GROUP_OF[key] == group]
            if keys:
                phases = self.words.rng.choice([" 0°/180°", " (0/180)", " 0/180°"])
                columns.append(self._pair(keys, self.headings.one("groups", group) + phases))
        return columns

    def worst(self) -> Column:
        """The longer of both trip times."""

        def cell(line: Line) -> Cell:
            values = [line.unit.readings[key] for key in ("t1_0", "t1_180")]
            key = "t1_0"
            return self.style.reading(line.device, key, max(values, key=_severity))

        return Column("t1_worst", self.headings.one("headings", "t1_worst"), cell)

    def lines(self) -> list[Column]:
        """The trip times of each line conductor."""
        pair = self.headings.pair("headings", "t1_0", "t1_180")
        return [
            self.reading(key, f"{label} {text}", unit_index=index)
            for index, label in enumerate(self.recorded.unit_labels)
            for key, text in zip(("t1_0", "t1_180"), pair, strict=True)
        ]

    def _pair(self, keys: list[str], heading: str) -> Column:
        def cell(line: Line) -> Cell:
            values = [line.unit.readings[key] for key in keys]
            if all(value is Mark.BLANK for value in values):
                return ""
            if Mark.NO_ACCESS in values:
                return self.style.mark(line.device, keys[0], Mark.NO_ACCESS)
            return "/".join(self._half_of_pair(line, key, value) for key, value in zip(keys, values, strict=True))

        return Column("pair", in_seconds(heading) if self.style.seconds else heading, cell)

    def _half_of_pair(self, line: Line, key: str, value: Value) -> str:
        if value in (Mark.BLANK, Mark.NOT_TESTED):
            return "-"
        text = str(self.style.reading(line.device, key, value))
        return text if "/" not in text else "OL"


def _type(device: Device, roman: bool) -> str:
    if not roman:
        return "S" if device.selective else "G"
    return "IV" if device.selective else "I" if device.rated <= 10 else "II" if device.rated <= 30 else "III"


def _severity(value: Value) -> float:
    order = {
        Mark.BLANK: 5e5,
        Mark.NOT_TESTED: 5e5,
        Mark.NO_ACCESS: 5e6,
        Mark.UNREADABLE: 4e6,
        Mark.NO_TRIP: 2e5,
        Mark.OVER: 1e5,
    }
    return order[value] if isinstance(value, Mark) else value
