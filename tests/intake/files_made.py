"""Files that the tests of intake open: whole, damaged, locked, and hostile ones."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import xlwt
from openpyxl import Workbook

from rcdcheck.findings import Findings
from rcdcheck.intake.delimited import read_text
from rcdcheck.intake.files import Opened, open_inputs
from rcdcheck.intake.grids import Grid
from rcdcheck.intake.kinds import OURS

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


def special(grid: Grid) -> set[tuple[int, int, str, str]]:
    return {(int(r), int(c), str(k), str(t)) for r, c, k, t in grid.special.itertuples(index=False)}
