"""Audits and workbooks that the tests of spreadsheets share, made once a session."""

from __future__ import annotations

import datetime as dt
import functools
import io
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
from python_calamine import CalamineWorkbook

from rcdcheck import pipeline
from rcdcheck.audits import Audit
from rcdcheck.options import Options
from rcdcheck.reports.excel.workbook import workbook
from rcdcheck.reports.heading import Heading

SAMPLES = Path(__file__).parents[2] / "samples"
DAY = dt.date(2026, 11, 25)
HEADING = Heading("Winter market", "Winter Market Committee", "Frost Electrical")
FIRST = 4  # row of the headings of a sheet with a title, counted from 1


@functools.cache
def audit_of(*paths: str, rules: str = "anz-in-service") -> Audit:
    """The audit of these files, with a fixed day."""
    return pipeline.run(list(paths), Options(as_of=DAY, rules=rules))


def sample(name: str) -> Audit:
    """The audit of a sample."""
    return audit_of(str(SAMPLES / name))


@functools.cache
def book_of(name: str, audience: str = "office", *, hide_names: bool = False) -> bytes:
    """The workbook of a sample's audit."""
    return b"".join(workbook(sample(name), HEADING, audience=audience, hide_names=hide_names))


def opened(data: bytes) -> Any:
    """The workbook as openpyxl reads it, with formulas."""
    return openpyxl.load_workbook(io.BytesIO(data))


def rows_of(data: bytes, sheet: str, head: int = FIRST) -> list[dict[str, Any]]:
    """Rows of the first table of a sheet by heading, as calamine reads them, down to the first blank row."""
    cells = CalamineWorkbook.from_filelike(io.BytesIO(data)).get_sheet_by_name(sheet).to_python(skip_empty_area=False)
    out: list[dict[str, Any]] = []
    for row in cells[head:]:
        if not any(value != "" for value in row):
            break
        out.append(dict(zip(map(str, cells[head - 1]), row, strict=True)))
    return out


def words_of(data: bytes) -> str:
    """Every text that the workbook shows, and its properties."""
    book = opened(data)
    cells = [str(cell.value) for ws in book for row in ws.iter_rows() for cell in row if cell.value is not None]
    return "\n".join([*book.sheetnames, str(book.properties.title), *cells])


def parts_of(data: bytes) -> dict[str, bytes]:
    """Parts of a workbook by name."""
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        return {name: package.read(name) for name in package.namelist()}
