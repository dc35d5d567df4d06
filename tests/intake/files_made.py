"""Files that the tests of intake open: whole, damaged, locked, and hostile ones."""

from __future__ import annotations

import io
import struct
import zipfile
from pathlib import Path

import pandas as pd
import xlwt
from openpyxl import Workbook

from rcdcheck.findings import Findings
from rcdcheck.intake.opened.delimited import read_text
from rcdcheck.intake.opened.file_kinds import OURS
from rcdcheck.intake.opened.files import Opened, open_inputs
from rcdcheck.intake.opened.grids import Grid

LINE = "Device;1x 0 (ms)\nR1;28,4\n"


def saved(book: Workbook) -> bytes:
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def plain_workbook() -> bytes:
    book = Workbook()
    for row in (["Device", "1x 0 (ms)"], ["R1", 28.4], ["R2", 29.1]):
        book.worksheets[0].append(row)
    return saved(book)


def repacked(content: bytes, changed: dict[str, bytes]) -> bytes:
    """The same archive with parts replaced or added."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in dict.fromkeys([*old.namelist(), *changed]):
            new.writestr(name, changed[name] if name in changed else old.read(name))
    return out.getvalue()


def zipped(**parts: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return out.getvalue()


def worksheet(inside: str) -> bytes:
    """A workbook whose one sheet has these elements."""
    space = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    xml = f'<?xml version="1.0" encoding="UTF-8"?><worksheet xmlns="{space}">{inside}</worksheet>'
    return repacked(plain_workbook(), {"xl/worksheets/sheet1.xml": xml.encode()})


def ods(rows: str, settings: str = "") -> bytes:
    """ISO/IEC 26300: a content part with one table."""
    spaces = "".join(
        f' xmlns:{p}="urn:oasis:names:tc:opendocument:xmlns:{p}:1.0"' for p in ("office", "table", "text", "style")
    )
    content = (
        f'<?xml version="1.0"?><office:document-content{spaces} office:version="1.2"><office:body><office:spreadsheet>'
        f'<table:table table:name="Hall">{rows}</table:table>'
        "</office:spreadsheet></office:body></office:document-content>"
    )
    kind = b"application/vnd.oasis.opendocument.spreadsheet"
    manifest = f'<?xml version="1.0"?><manifest>{settings}</manifest>'.encode()
    return zipped(**{"mimetype": kind, "content.xml": content.encode(), "META-INF/manifest.xml": manifest})


def xlsb(rows: list[list[str | float]], first: int = 0) -> bytes:
    """MS-XLSB 2.1 and 2.4, from memory: the records of a workbook and its one sheet “Hall”, from its `first` column."""
    cells = b""
    for row, values in enumerate(rows):
        cells += _record(0, struct.pack("<IIH3xI", row, 0, 300, 0))  # BrtRowHdr
        for column, value in enumerate(values, first):
            at = struct.pack("<II", column, 0)
            cells += (
                _record(6, at + _wide(value)) if isinstance(value, str) else _record(5, at + struct.pack("<d", value))
            )
    size = struct.pack("<4I", 0, len(rows) - 1, first, first + len(rows[0]) - 1)
    sheet = _record(129) + _record(148, size) + _record(145) + cells + _record(146) + _record(130)
    bundle = struct.pack("<II", 0, 1) + _wide("rId1") + _wide("Hall")
    book = _record(131) + _record(143) + _record(156, bundle) + _record(144) + _record(132)
    types = "http://schemas.openxmlformats.org/package/2006/content-types"
    office = "application/vnd.ms-excel"
    overrides = (
        f'<Override PartName="/xl/workbook.bin" ContentType="{office}.sheet.binary.macroEnabled.main"/>'
        f'<Override PartName="/xl/worksheets/sheet1.bin" ContentType="{office}.worksheet"/>'
    )
    rels = '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    return zipped(
        **{
            "[Content_Types].xml": f'<Types xmlns="{types}">{rels}{overrides}</Types>'.encode(),
            "_rels/.rels": _relation("officeDocument", "xl/workbook.bin"),
            "xl/workbook.bin": book,
            "xl/_rels/workbook.bin.rels": _relation("worksheet", "worksheets/sheet1.bin"),
            "xl/worksheets/sheet1.bin": sheet,
        }
    )


def xlsb_of_one_text(cells: int, size: int) -> bytes:
    """A binary workbook of few bytes that shows one long shared text in so many cells; from memory as `xlsb`."""
    rows = (_record(0, struct.pack("<IIH3xI", r, 0, 300, 0)) + _record(7, bytes(12)) for r in range(cells))
    dimension = _record(148, struct.pack("<4I", 0, cells - 1, 0, 0))
    sheet = _record(129) + dimension + _record(145) + b"".join(rows) + _record(146) + _record(130)
    texts = _record(159, struct.pack("<II", cells, 1)) + _record(19, b"\0" + _wide("x" * size)) + _record(160)
    return repacked(xlsb([["a"]]), {"xl/worksheets/sheet1.bin": sheet, "xl/sharedStrings.bin": texts})


def _record(number: int, content: bytes = b"") -> bytes:
    head = bytes([number]) if number < 128 else bytes([number & 127 | 128, number >> 7])
    size, left = b"", len(content)
    while left > 127:
        size, left = size + bytes([left & 127 | 128]), left >> 7
    return head + size + bytes([left]) + content


def _wide(text: str) -> bytes:
    return struct.pack("<I", len(text)) + text.encode("utf-16le")


def _relation(kind: str, target: str) -> bytes:
    space = "http://schemas.openxmlformats.org"
    one = f'<Relationship Id="rId1" Type="{space}/officeDocument/2006/relationships/{kind}" Target="{target}"/>'
    return f'<Relationships xmlns="{space}/package/2006/relationships">{one}</Relationships>'.encode()


def our_workbook() -> bytes:
    """A workbook with the keyword by which our own reports are known."""
    return repacked(plain_workbook(), {"docProps/core.xml": b"<c><keywords>" + OURS + b"</keywords></c>"})


def xls(book: xlwt.Workbook) -> bytes:
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def plain_xls() -> bytes:
    book = xlwt.Workbook()
    sheet = book.add_sheet("Hall")
    sheet.write(0, 0, "Device")
    sheet.write(1, 0, "R1")
    return xls(book)


def opened(folder: Path, content: bytes, name: str = "day.xlsx", **options: str) -> tuple[Opened, list[str]]:
    path = folder / name
    path.write_bytes(content)
    findings = Findings()
    (one,) = open_inputs([str(path)], findings, **options)  # type: ignore[arg-type]
    return one, findings.frame()["code"].tolist()


def only_sheet(folder: Path, content: bytes, name: str = "day.xlsx") -> Grid:
    one, _ = opened(folder, content, name)
    assert one.input.status == "audited", one.input.reason
    return one.grids[0]


def text_grid(text: str, **options: str) -> Grid:
    return read_text(text.encode(), options.get("encoding", ""), options.get("delimiter", ""))[0]


def frame(grid: Grid) -> pd.DataFrame:
    """The cells of a grid by row, as the person sees it, and by column from 0."""
    cells = {i: column.cells() for i, column in enumerate(grid.columns)}
    return pd.DataFrame(cells, index=grid.numbers, dtype=object)


def special(grid: Grid) -> set[tuple[int, int, str, str]]:
    return {(int(r), int(c), str(k), str(t)) for r, c, k, t in grid.special.itertuples(index=False)}
