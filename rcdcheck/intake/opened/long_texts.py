"""How much text a workbook shows: a small file may show one long text in very many cells, and exhaust memory."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator

from rcdcheck.intake.opened.raw_xml import RefusedError

LONG = 1_000  # characters of a text that is counted wherever it is shown
SHOWN = 50_000_000  # characters of all of these, shown in one workbook


class Shown:
    """The characters of long texts that a workbook shows, counted up."""

    def __init__(self) -> None:
        self.characters = 0

    def add(self, characters: int, cells: int) -> None:
        """A text of so many characters in so many cells. Raises RefusedError where all are too many."""
        if characters <= LONG:
            return
        self.characters += characters * cells
        if self.characters > SHOWN:
            raise RefusedError(
                f"it shows texts of more than {LONG:,} characters again and again, more than {SHOWN:,} characters "
                "in all, which nobody typed. Copy the readings alone to a new workbook and save it as .xlsx."
            )


_TEXTS, _SHEET = b"\x9f\x01", b"\x81\x01"  # how the parts of texts and of cells begin; MS-XLSB 2.4, from memory
_TEXT, _CELL = 19, 7  # records: a shared text; a cell that shows the one of the number at its byte 8


def check_binary(archive: zipfile.ZipFile) -> None:
    """Raises RefusedError where a binary workbook shows too much."""
    firsts = {name: _first(archive, name) for name in archive.namelist()}
    texts = (record for name, first in firsts.items() if first == _TEXTS for record in _records(archive.read(name)))
    long = {i: len(t) // 2 for i, t in enumerate(t for number, t in texts if number == _TEXT) if len(t) > 2 * LONG}
    shown = Shown()
    for name in (name for name, first in firsts.items() if long and first == _SHEET):
        for number, content in _records(archive.read(name)):
            if number == _CELL:
                shown.add(long.get(int.from_bytes(content[8:12], "little"), 0), 1)


def _first(archive: zipfile.ZipFile, name: str) -> bytes:
    with archive.open(name) as part:
        return part.read(2)


def _records(part: bytes) -> Iterator[tuple[int, bytes]]:
    """Number and content of each record; both numbers before the content have seven bits to a byte (MS-XLSB 2.1.4)."""
    at = 0
    while at < len(part):
        number, at = _number(part, at)
        size, at = _number(part, at)
        yield number, part[at : at + size]
        at += size


def _number(part: bytes, at: int) -> tuple[int, int]:
    value, shift = 0, 0
    while at < len(part) and shift < 28:
        byte = part[at]
        value, at, shift = value | (byte & 127) << shift, at + 1, shift + 7
        if byte < 128:
            break
    return value, at
