"""Archives whose bytes depend on their content alone: no clock, no name of a system."""

from __future__ import annotations

import datetime as dt
import re
import tempfile
import zipfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import IO, Any

STILL = (1980, 1, 1, 0, 0, 0)  # the earliest time that a zip archive can hold
PIECE = 1 << 20
TAIL = 4096  # bytes at the end of a sheet that hold what comes behind its warnings
TEXTS_MAY_BE_DIGITS = (  # or a spreadsheet puts a warning at every identifier such as 007
    b'<ignoredErrors><ignoredError sqref="A1:XFD1048576" numberStoredAsText="1"/></ignoredErrors>'
)
_BEHIND = re.compile(rb"<drawing |<legacyDrawing |<tableParts|</worksheet>")
NO_TIME = dt.datetime(1980, 1, 1)  # of a workbook that must not say when it was saved
_MOMENT = re.compile(rb"<dcterms:(created|modified)[^>]*>1980-01-01T00:00:00Z</dcterms:\1>")
_CHART_NAME = re.compile(rb'<(?:\w+:)?cNvPr id="\d+" name="Chart \d+"')


class _StillZip(zipfile.ZipFile):
    """An archive without a clock; charts get their text alternative on the way in, which openpyxl does not write."""

    def __init__(self, file: IO[bytes], alt_texts: Sequence[str]) -> None:
        super().__init__(file, "w", zipfile.ZIP_DEFLATED)
        self._alt_texts = iter(alt_texts)

    def writestr(self, zinfo_or_arcname: Any, data: Any, *_: Any, **__: Any) -> None:
        name = str(zinfo_or_arcname)
        if name == "docProps/core.xml":
            data = _MOMENT.sub(b"", _bytes(data))
        elif name.startswith("xl/drawings/drawing"):
            data = _CHART_NAME.sub(lambda m: m.group() + self._next_alt(), _bytes(data))
        super().writestr(entry(name), data)

    def write(self, filename: Any, arcname: Any = None, *_: Any, **__: Any) -> None:
        listed = entry(arcname)
        listed.file_size = Path(filename).stat().st_size
        with Path(filename).open("rb") as source, self.open(listed, "w") as target:
            for piece in _pieces(source, listed.file_size - TAIL):
                target.write(piece)
            target.write(_BEHIND.sub(TEXTS_MAY_BE_DIGITS + rb"\g<0>", source.read(), count=1))

    def _next_alt(self) -> bytes:
        from xml.sax.saxutils import quoteattr

        return b" descr=" + quoteattr(next(self._alt_texts, "")).encode()


def _pieces(source: IO[bytes], length: int) -> Iterator[bytes]:
    while length > 0:
        piece = source.read(min(PIECE, length))
        length -= len(piece)
        yield piece


def _bytes(data: str | bytes) -> bytes:
    return data.encode() if isinstance(data, str) else data


def entry(name: str) -> zipfile.ZipInfo:
    """Head of a file in an archive, the same on every day and system."""
    head = zipfile.ZipInfo(name.lstrip("/"), STILL)
    head.compress_type = zipfile.ZIP_DEFLATED
    head.create_system = 3
    return head


def archive(book: Any, alt_texts: Sequence[str] = ()) -> Iterator[bytes]:
    """The bytes of an openpyxl workbook, saved at the moment that its properties name; at none if that is NO_TIME."""
    from openpyxl.writer.excel import ExcelWriter

    with tempfile.SpooledTemporaryFile(max_size=32 << 20) as file:
        with _StillZip(file, alt_texts) as still:
            ExcelWriter(book, still).save()
        file.seek(0)
        while piece := file.read(PIECE):
            yield piece
