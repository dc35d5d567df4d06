"""Writes workbooks row by row in a stream: memory does not grow with the rows, and equal content gives equal bytes."""

from __future__ import annotations

import contextlib
import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from itertools import chain
from textwrap import wrap
from typing import TYPE_CHECKING, Any

from rcdcheck import progress
from rcdcheck.as_seen import column_letters
from rcdcheck.reports.excel import style
from rcdcheck.reports.excel.archive import NO_TIME, archive
from rcdcheck.reports.excel.tables import Block, Column, Linked, Measure, Sheet, lines_of, measured, widths

if TYPE_CHECKING:
    from openpyxl import Workbook
    from openpyxl.cell import Cell

MAX_ROWS = 1_048_576  # of a sheet
MAX_LINKS = 20_000  # of a sheet; spreadsheets hold 65,530
CHART_ROWS = 17  # rows that a chart reaches down
MOST_LINES = 16  # of a row
FILTER = 2  # characters of a heading that its filter covers
SAID = 1_000  # rows after which progress is said


class Book:
    """A workbook in the making: `add` sheets in order, then take its bytes from `pieces`."""

    def __init__(
        self, title: str, keywords: str, day: dt.date | None, *, author: str = "", max_rows: int = MAX_ROWS
    ) -> None:
        from openpyxl import Workbook

        self.book: Workbook = Workbook(write_only=True)
        self.max_rows = max_rows
        self.alt_texts: list[str] = []
        about = self.book.properties
        about.title, about.creator = style.cell_text(title), style.cell_text(author)
        about.lastModifiedBy = "rcdcheck"
        about.keywords = keywords
        about.created = about.modified = dt.datetime.combine(day, dt.time()) if day else NO_TIME

    def add(self, sheet: Sheet) -> None:
        """Write a sheet; one that would pass the last row goes on in another."""
        try:
            _SheetWriter(self, sheet).write()
        except BaseException:
            self._abandon()
            raise

    def _abandon(self) -> None:
        """Close what was begun, so that an interruption leaves no files behind and no complaints of half a sheet."""
        sheets: list[Any] = self.book.worksheets
        for ws in sheets:
            if ws._writer is not None:
                with contextlib.suppress(Exception):
                    ws.close()
                ws._writer.cleanup()

    def pieces(self) -> Iterator[bytes]:
        """The finished file."""
        return archive(self.book, self.alt_texts)


class _SheetWriter:
    def __init__(self, book: Book, sheet: Sheet) -> None:
        self.book, self.sheet = book, sheet
        self.part = 0
        self.links = 0
        self.row = 0
        self.used = 0  # lines of the printed page so far
        self.ws: Any = None
        self.pens: dict[tuple[str, bool, bool], Cell] = {}

    def write(self) -> None:
        blocks = [measured(block) for block in self.sheet.blocks]
        self.widths = widths(blocks)
        self._open()
        for number, block in enumerate(blocks):
            if number or block.caption:
                self._line([])
            self._block(block)

    def _open(self) -> None:
        """Begin a sheet: look first, since a stream knows no way back, then title and sentence."""
        self.part += 1
        self.row, self.links, self.used, self.pens = 0, 0, 0, {}
        name = self.sheet.name + (f" {self.part}" if self.part > 1 else "")
        self.ws = ws = self.book.book.create_sheet(name)
        for number, width in enumerate(self.widths):
            ws.column_dimensions[column_letters(number)].width = width
        style.print_set_up(ws, upright=self.sheet.upright)
        if len(self.sheet.blocks) == 1:
            head = 1 if self.sheet.plain else 6 if self.sheet.blocks[0].caption else 4
            ws.freeze_panes = f"B{head + 1}"
            ws.print_title_rows = f"{head}:{head}"
        if not self.sheet.plain:
            ws.row_dimensions[1].height = 24
            self._line([self._cell("title", self.sheet.title + (f", part {self.part}" if self.part > 1 else ""))])
            self._line([self._cell("sentence", self.sheet.sentence)])
            back = self.sheet.back
            self._line([self._cell("line", Linked(f"Back to {back}", f"'{back}'!A1"))] if back else [])

    def _block(self, block: Block) -> None:
        rows = iter(block.rows)
        foremost = next(rows, None)
        if block.new_page or not self._has_room(block, foremost):
            self._break_page()
        if block.caption:
            self._line([self._cell("caption", block.caption)])
        part, first = 1, self._head(block)
        for row in () if foremost is None else chain([foremost], rows):
            if self.row == self.book.max_rows:
                self._close(block, part, first)
                self._open()
                part, first = part + 1, self._head(block)
            self._row(block.columns, row, block.lines)
        if self.row < first:
            self._line([self._cell("line", block.none)])
        self._close(block, part, first)

    def _has_room(self, block: Block, foremost: Sequence[object] | None) -> bool:
        """Whether the caption, the headings and the first row of a block still fit on the printed page."""
        lines = max(map(lines_of, block.columns, foremost, self.widths)) if foremost else 1
        needed = 3 + min(lines, MOST_LINES)
        page = style.lines_of_page(self.widths[: self.sheet.printed or None], upright=self.sheet.upright)
        return self.row == 0 or self.used % page + needed <= page

    def _head(self, block: Block) -> int:
        """Headings, each line of them seen: a word that does not fit begins another."""
        room = [max(1, int(width) - FILTER) for width in self.widths]
        least = max(len(wrap(c.title, wide)) for c, wide in zip(block.columns, room, strict=False))
        self._row([Column(c.title) for c in block.columns], [Measure(c.title, "head") for c in block.columns], least)
        return self.row + 1

    def _row(self, columns: Sequence[Column], values: Sequence[object], least: int = 1) -> None:
        """Write a row as high as its longest wrapped text; not every program works that out when it opens a file."""
        if self.row % SAID == 0:
            progress.say(f"writing the sheet {self.sheet.name}, row", self.row)
        lines = max(least, *map(lines_of, columns, values, self.widths))
        height = self.ws.row_dimensions
        if lines > 1:
            height[self.row + 1].height = style.LINE * min(lines, MOST_LINES)
        self._line(self._cell(column.kind, value) for column, value in zip(columns, values, strict=True))
        if lines > 1:
            self.used += min(lines, MOST_LINES) - 1
            del height[self.row]  # written; kept, they would add up

    def _break_page(self) -> None:
        from openpyxl.worksheet.pagebreak import Break

        self.ws.row_breaks.append(Break(id=self.row))
        self.used = 0

    def _close(self, block: Block, part: int, first: int) -> None:
        """Make a real table of the rows just written, with tints for its words, and its chart beside it."""
        last, right = self.row, column_letters(len(block.columns) - 1)
        name = block.name + (str(part) if part > 1 else "")
        self.ws.tables.add(_table(name, f"A{first - 1}:{right}{last}", block.columns))
        for number, column in enumerate(block.columns):
            if column.kind == "word":
                letter = column_letters(number)
                for rule in style.tint_rules(f"{letter}{first}"):
                    self.ws.conditional_formatting.add(f"{letter}{first}:{letter}{last}", rule)
        self.ws.conditional_formatting.add(f"A{first}:{right}{last}", style.line_rule())
        if block.chart is not None:
            self.ws.add_chart(block.chart(self.ws, first, last), f"{column_letters(len(block.columns) + 1)}{first - 1}")
            self.book.alt_texts.append(block.alt)
            for _ in range(first + CHART_ROWS - last):
                self._line([])
        if self.sheet.printed:
            self.ws.print_area = f"A1:{column_letters(self.sheet.printed - 1)}{self.row}"

    def _line(self, cells: Iterable[Any]) -> None:
        self.row, self.used = self.row + 1, self.used + 1
        self.ws.append(cells if isinstance(cells, Iterator) else list(cells))

    def _cell(self, kind: str, value: Any) -> Cell | None:
        """A cell to be written before the next is asked for: cells of one look are one object."""
        place = ""
        if isinstance(value, Linked):
            value, place = value
        elif isinstance(value, Measure):
            value, kind = value
        if value is None or value == "" or value != value:  # noqa: PLR0124  # not a number, not a time
            return None
        linked = bool(place) and self.links < MAX_LINKS
        cell = self._text(kind, value, linked) if isinstance(value, str) else self._number(kind, value, linked)
        if linked:
            self._lead(cell, place)
        return cell

    def _number(self, kind: str, value: Any, linked: bool) -> Cell:
        cell = self._pen(kind, False, linked)
        cell.value = value
        return cell

    def _text(self, kind: str, text: str, linked: bool) -> Cell:
        """Whatever it looks like, it stays a text: the type of the cell decides, and the text is not changed."""
        text = style.cell_text(text)
        cell = self._pen(kind, style.looks_like_formula(text), linked)
        cell.value = text
        cell.data_type = "s"
        return cell

    def _lead(self, cell: Cell, place: str) -> None:
        from openpyxl.worksheet.hyperlink import Hyperlink

        self.links += 1
        cell.hyperlink = Hyperlink(ref="", location=place)

    def _pen(self, kind: str, quoted: bool, linked: bool) -> Cell:
        key = kind, quoted, linked
        if key not in self.pens:
            self.pens[key] = style.pen(self.ws, *key)
        return self.pens[key]


def _table(name: str, ref: str, columns: Sequence[Column]) -> Any:
    from openpyxl.worksheet.filters import AutoFilter
    from openpyxl.worksheet.table import Table, TableColumn, TableStyleInfo

    table = Table(displayName=name, ref=ref)
    table.tableStyleInfo = TableStyleInfo(name="TableStyleLight1", showRowStripes=True)
    table.tableColumns = [TableColumn(id=n, name=column.title) for n, column in enumerate(columns, 1)]
    table.autoFilter = AutoFilter(ref=ref)
    return table
