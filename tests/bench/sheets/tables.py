"""Puts a sheet together: lines above, headings, body, lines below, and where each device stands in it."""

from __future__ import annotations

import random
from dataclasses import dataclass, field

from .arranging import TYPED_ONCE, arrange, lines_of, untested
from .columns import Columns, Line
from .layouts import LAYOUTS, Layout
from .phrases import Bank, Words
from .recording import LONG, draw_recorded
from .style import Cell, Style, draw_style
from .truth import Device, draw_devices

DITTOED = ("technician", "date", "instrument")
LANGUAGES = ["en"] * 9 + ["de", "fr", "es", "it", "nl", "pt"]


@dataclass
class Grid:
    """The cells of one sheet."""

    name: str
    rows: list[list[Cell]] = field(default_factory=list)
    merges: list[tuple[int, int, int, int]] = field(default_factory=list)


@dataclass
class Spot:
    """A cell that speaks of a device; row and column count from 1."""

    sheet: str
    row: int
    column: int
    key: str
    heading: str


@dataclass
class Heading:
    """What the column of a sheet truly means."""

    sheet: str
    column: int
    text: str
    key: str


@dataclass
class Sheet:
    """A made sheet with its truth."""

    layout: str
    style: Style
    workbook: bool
    grids: list[Grid]
    devices: list[Device]
    spots: list[list[Spot]]
    headings: list[Heading]

    @property
    def sideways(self) -> bool:
        """Whether a device is a column of the sheet."""
        return LAYOUTS[self.layout].place == "sideways"

    def rows(self, index: int) -> list[tuple[str, int]]:
        """The rows that speak of a device; none where it is a column."""
        return [] if self.sideways else sorted({(spot.sheet, spot.row) for spot in self.spots[index]})


def make_sheet(bank: Bank, name: str, seed: int) -> Sheet:
    """Make a sheet; a draw that finds no headings that differ is drawn again."""
    for attempt in range(50):
        rng = random.Random(f"{name} {seed} {attempt}")
        words = Words(bank, rng.choice([code for code in LANGUAGES if code in bank]), rng)
        try:
            return _Maker(name, words).make()
        except LookupError:
            continue
    raise RuntimeError(f"The bank has too few headings for layout {name}.")


class _Maker:
    def __init__(self, name: str, words: Words) -> None:
        self.name, self.words, self.rng = name, words, words.rng
        self.layout: Layout = LAYOUTS[name]
        self.workbook = self.rng.random() < self.layout.workbook
        self.style = draw_style(words, self.workbook, self.layout.seconds)
        self.recorded = draw_recorded(self.layout, self.rng)
        long = self.layout.body in LONG
        self.omits = long and self.rng.random() < 0.5
        self.devices = draw_devices(self.recorded, words, self.rng.randint(6, 12 if long else 20))
        self.columns = arrange(self.layout, Columns(words, self.style, self.recorded))
        self.grid = Grid("Sheet1")
        self.grids = [self.grid]
        self.spots: dict[int, list[Spot]] = {id(device): [] for device in self.devices}
        self.headings: list[Heading] = []
        self.lower_singles = self.rng.random() < 0.6

    def make(self) -> Sheet:
        place = self.layout.place
        if self.layout.naming == "board":
            self._name_by_board()
        if place in ("sheets", "stacked"):
            self._by_site(place)
        elif place == "beside":
            self._preface()
            self._beside()
        else:
            self._preface()
            self._table(self.devices)
        if self.layout.retests:
            self._retests()
        if self.layout.footer:
            self._footer()
        if place == "sideways":
            self._turn()
        return Sheet(
            self.name,
            self.style,
            self.workbook,
            self.grids,
            self.devices,
            [self.spots[id(device)] for device in self.devices],
            self.headings,
        )

    def _name_by_board(self) -> None:
        for device in self.devices:
            board, circuit = device.facts["board"], device.facts["circuit"]
            device.name = f"{board} {circuit}"
            device.names = [device.name, f"{board}/{circuit}"]

    def _add(self, *cells: Cell) -> int:
        self.grid.rows.append(list(cells))
        return len(self.grid.rows)

    def _preface(self) -> None:
        layout = self.layout
        if layout.place == "sideways" or not (layout.facts or self.rng.random() < 0.2):
            return
        self._add(self.words.line("title"))
        if layout.facts:
            keys = ["site", "date", "person", "instrument"]
            chosen = self.rng.sample(keys, self.rng.randint(1, 4))
            chosen += ["rated"] if layout.rated == "fact" else []
            for key in self.rng.sample(chosen, len(chosen)):
                self._add(*self._fact(key))
        if self.rng.random() < 0.7:
            self._add("")

    def _fact(self, key: str) -> list[Cell]:
        day = self.style.day.strftime(self.style.date_format)
        facts = self.devices[0].facts
        text = self.words.line(
            f"fact_{key}",
            site=facts["site"],
            date=day,
            person=facts["technician"],
            instrument=facts["instrument"],
            mA=self.recorded.ratings[0],
        )
        label, colon, value = text.partition(": ")
        return [label + ":", value] if colon and self.rng.random() < 0.3 else [text]

    def _by_site(self, place: str) -> None:
        for index, site in enumerate(self.recorded.sites):
            devices = [device for device in self.devices if device.facts["site"] == site]
            if not devices:
                continue
            if place == "sheets" and (index and self.grid.rows):
                self.grid = Grid(site)
                self.grids.append(self.grid)
            elif place == "sheets":
                self.grid.name = site
            elif self.grid.rows:
                self._add("")
            if place == "stacked":
                self._add(self.words.line("fact_site", site=site))
            self._table(devices)

    def _table(self, devices: list[Device]) -> None:
        self._heading()
        every = self.rng.randint(4, 6)
        site = ""
        previous: dict[str, Cell] = {}
        for index, device in enumerate(devices):
            if self.layout.place == "repeated" and index and index % every == 0:
                self._heading()
            if self.layout.place == "sections" and device.facts["site"] != site:
                site = device.facts["site"]
                self._add(self.words.line("section", site=site))
                previous = {}
            self._device(device, previous)

    def _device(self, device: Device, previous: dict[str, Cell], again: bool = False) -> None:
        lines = lines_of(self.layout, device, self.recorded, again)
        lines = [line for line in lines if not (self.omits and untested(line))]
        first = len(self.grid.rows) + 1
        for line in lines:
            self._place(line, self._add(*self._cells(line, previous)), 0)
        if self.layout.outlets == "merged":
            for number, column in enumerate(self.columns, 1):
                if column.key in TYPED_ONCE:
                    self.grid.merges.append((first, number, first + len(lines) - 1, number))

    def _cells(self, line: Line, previous: dict[str, Cell]) -> list[Cell]:
        cells = []
        for column in self.columns:
            cell = column.cell(line)
            same = column.key in DITTOED and previous.get(column.key) == cell and cell
            previous[column.key] = cell
            cells.append(self.style.ditto if same and self.style.ditto else cell)
        return cells

    def _place(self, line: Line, row: int, offset: int) -> None:
        self.spots[id(line.device)] += [
            Spot(self.grid.name, row, number + offset, column.key, column.text)
            for number, column in enumerate(self.columns, 1)
        ]

    def _heading(self) -> None:
        if self.layout.header == "plain":
            self._add(*[column.heading for column in self.columns])
        else:
            self._grouped_heading()
        if not any(heading.sheet == self.grid.name for heading in self.headings):
            self._know(0)

    def _know(self, offset: int) -> None:
        self.headings += [
            Heading(self.grid.name, number + offset, column.text, column.key)
            for number, column in enumerate(self.columns, 1)
        ]

    def _grouped_heading(self) -> None:
        row = len(self.grid.rows) + 1
        upper: list[Cell] = []
        before = ""
        for column in self.columns:
            hidden = column.group == before and self.layout.header != "each"
            single = "" if self.lower_singles else column.heading
            upper.append(single if not column.group else "" if hidden else column.group)
            before = column.group
        self._add(*upper)
        self._add(*["" if not column.group and not self.lower_singles else column.heading for column in self.columns])
        if self.layout.header == "three":
            self._add(*[column.measure for column in self.columns])
        if self.layout.header != "each" and self.workbook:
            self._merge_groups(row)

    def _merge_groups(self, row: int) -> None:
        start = 0
        for end in range(1, len(self.columns) + 1):
            if end == len(self.columns) or self.columns[end].group != self.columns[start].group:
                if self.columns[start].group and end - start > 1:
                    self.grid.merges.append((row, start + 1, row, end))
                start = end

    def _beside(self) -> None:
        half = (len(self.devices) + 1) // 2
        width = len(self.columns)
        heads: list[Cell] = [column.heading for column in self.columns]
        self._add(*heads, "", *heads)
        self._know(0)
        self._know(width + 1)
        for index in range(half):
            pair = self.devices[index::half]
            lines = [lines_of(self.layout, device, self.recorded)[0] for device in pair]
            cells: list[Cell] = []
            for line in lines:
                cells += ([""] if cells else []) + self._cells(line, {})
            row = self._add(*cells)
            for side, line in enumerate(lines):
                self._place(line, row, side * (width + 1))

    def _retests(self) -> None:
        again = [device for device in self.devices if device.retest]
        if again:
            self._add(self.words.line("retests"))
        for device in again:
            self._device(device, {}, again=True)

    def _footer(self) -> None:
        if self.rng.random() < 0.7:
            self._add("")
        for key in self.rng.sample(["total", "signature", "note"], self.rng.randint(1, 3)):
            self._add(self.words.line(key, n=len(self.devices)))

    def _turn(self) -> None:
        width = max(len(row) for row in self.grid.rows)
        full = [row + [""] * (width - len(row)) for row in self.grid.rows]
        self.grid.rows = [list(column) for column in zip(*full, strict=True)]
        for spots in self.spots.values():
            for spot in spots:
                spot.row, spot.column = spot.column, spot.row
