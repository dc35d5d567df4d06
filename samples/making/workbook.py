"""Workbooks that come out byte for byte alike: no clock in the archive, and a chosen time of last saving."""

from __future__ import annotations

import datetime as dt
import io
import re
import zipfile
from collections.abc import Mapping
from pathlib import Path

from openpyxl import Workbook

STILL = (1980, 1, 1, 0, 0, 0)  # the earliest time that a zip archive can hold


def save(
    book: Workbook, path: Path, saved_at: dt.datetime, stored: Mapping[tuple[int, str], str] | None = None
) -> None:
    """Write `book` as last saved at `saved_at`.

    `stored` gives formula cells the value that a spreadsheet stores with them: (sheet number, cell) → value.
    """
    book.properties.created = saved_at
    raw = io.BytesIO()
    book.save(raw)
    with zipfile.ZipFile(raw) as source, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as target:
        for name in source.namelist():
            text = source.read(name)
            if name == "docProps/core.xml":
                text = _saved(text, saved_at)
            for (number, cell), value in (stored or {}).items():
                if name == f"xl/worksheets/sheet{number}.xml":
                    text = _with_value(text, cell, value)
            target.writestr(zipfile.ZipInfo(name, STILL), text, zipfile.ZIP_DEFLATED)


def _saved(core: bytes, saved_at: dt.datetime) -> bytes:
    stamp = saved_at.strftime("%Y-%m-%dT%H:%M:%SZ").encode()
    return re.sub(rb"(<dcterms:modified[^>]*>)[^<]*", rb"\g<1>" + stamp, core)


def _with_value(sheet: bytes, cell: str, value: str) -> bytes:
    pattern = rf'(<c r="{cell}"[^>]*><f>[^<]*</f>)<v\s*(?:/>|></v>)'.encode()
    text, found = re.subn(pattern, rb"\g<1><v>" + value.encode() + b"</v>", sheet)
    if found != 1:
        raise ValueError(f"{cell} holds no formula without a value")
    return text
