"""What is due as a workbook: one sheet for each status, dates as dates."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from itertools import groupby
from typing import TYPE_CHECKING

from rcdcheck.reports.due_text import HEAD, cells
from rcdcheck.reports.excel.tables import Block, Column, Sheet
from rcdcheck.reports.excel.workbook import KEYWORDS
from rcdcheck.reports.excel.writer import Book
from rcdcheck.reports.text import counted

if TYPE_CHECKING:
    from rcdcheck.register.due import Due, Listed

KINDS = {"due": "date", "last seen": "date", "device": "id", "serial": "id", "board": "id"}


def due_workbook(listed: Listed, meanings: dict[str, str], today: str, by: str) -> Iterable[bytes]:
    """The workbook in pieces; without a device it says so."""
    book = Book(f"RCD tests due up to {by}", KEYWORDS, dt.date.fromisoformat(today))
    for status, devices in groupby(listed.devices, key=lambda d: d.status):
        book.add(_sheet(status, meanings[status], list(devices), today, by))
    if not listed.devices:
        book.add(_sheet("due", "nothing is due", [], today, by))
    return book.pieces()


def _sheet(status: str, meaning: str, devices: list[Due], today: str, by: str) -> Sheet:
    columns = tuple(Column(name.capitalize(), KINDS.get(name, "text")) for name in HEAD[1:])
    rows = [[_cell(name, text) for name, text in zip(HEAD[1:], cells(d)[1:], strict=True)] for d in devices]
    said = f"{counted(len(devices), 'device')} as of {today}, up to {by}: {meaning}."
    block = Block(status.title().replace(" ", ""), columns, rows, none="Nothing.")
    return Sheet(status.capitalize(), f"{status.capitalize()}: RCD tests", said, (block,), back="")


def _cell(name: str, text: str) -> object:
    return dt.date.fromisoformat(text) if KINDS.get(name) == "date" and text else text
