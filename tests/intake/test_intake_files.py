"""Opening files: each kind that cannot be read has its sentence, each cell that can has its own address."""

from __future__ import annotations

import csv
import datetime as dt
import io
import itertools
import os
import zipfile
from pathlib import Path

import pandas as pd
import pytest
import xlwt
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import Workbook
from openpyxl.comments import Comment
from whole_runs import Run

from rcdcheck.errors import InputError, UsageError
from rcdcheck.findings import Findings
from rcdcheck.intake.delimited import delimiter_of, read_text
from rcdcheck.intake.files import Opened, open_inputs
from rcdcheck.intake.grids import Grid
from rcdcheck.intake.kinds import OURS

LINE = "Device;1x 0 (ms)\nR1;28,4\n"


# ── material ──
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


# ── what cannot be read has a sentence: what it is, what to do ──
SHARED = b'<?xml version="1.0"?><!DOCTYPE sst [<!ENTITY a "aaaa">]><sst>&a;</sst>'
FIRST = '<row r="1"><c r="A1"><v>1</v></c></row>'
LARGEST = f'<sheetData>{FIRST}<row r="1048576"><c r="XFD1048576"><v>1</v></c></row></sheetData>'
DAMAGED = ("damaged", "Copy it again")
UNREADABLE: dict[str, tuple[bytes, tuple[str, ...]]] = {
    "nothing": (b"", ("it is empty", "saved and copied whole")),
    "blanks": (b"\xef\xbb\xbf \r\n\t", ("it is empty",)),
    "blanks in UTF-16": (" \n".encode("utf-16"), ("it is empty",)),
    "only NUL": (bytes(600), ("nothing but NUL", "Copy it again")),
    "NUL within text": (b"Device,ms\nR1,\0\0\0\n" * 9, ("NUL bytes", "Save it again")),
    "NUL behind a mark": ("Device,ms\nR1,2\0\n".encode("utf-16"), ("NUL bytes",)),
    "PDF": (b"%PDF-1.7\n", ("a PDF document", "Type the readings")),
    "PNG": (b"\x89PNG\r\n\x1a\n", ("a PNG picture", "Type the readings")),
    "bitmap": (b"BM\x36\0\0\0\0\0\0\0\x36\0\0\0", ("a bitmap picture",)),
    "web page": (b"\r\n<HTML><table><tr><td>1</td></tr></table></html>", ("a web page", "save it as .xlsx")),
    "XML": (b'<?xml version="1.0"?><Workbook/>', ("an XML document", "save it as .xlsx")),
    "gzip": (b"\x1f\x8b\x08\0", ("a gzip archive", "Unpack it")),
    "noise": (b"\xff" + bytes(range(1, 32)) * 9, ("neither text nor a workbook",)),
    "zip of pictures": (zipped(**{"photo.png": b"1"}), ("a zip archive", "Unpack it first")),
    "empty zip": (zipped(), ("a zip archive",)),
    "word-processing": (zipped(**{"word/document.xml": b"<w/>"}), ("a word-processing document", "expected")),
    "presentation": (zipped(**{"ppt/presentation.xml": b"<p/>"}), ("a presentation", "expected")),
    "cut off": (plain_workbook()[:-900], DAMAGED),
    "cut in the middle": (plain_workbook()[:3000], DAMAGED),
    "no sheet within": (zipped(**{"xl/workbook.xml": b"<workbook/>"}), DAMAGED),
    "entities in a sheet": (
        repacked(plain_workbook(), {"xl/worksheets/sheet1.xml": SHARED}),
        ("xl/worksheets/sheet1.xml declares XML entities", "not opened"),
    ),
    "entities in shared texts": (
        repacked(plain_workbook(), {"xl/sharedStrings.xml": SHARED}),
        ("xl/sharedStrings.xml declares XML entities", "not opened"),
    ),
    "two cells at the corners": (worksheet(LARGEST), ("damaged, or built to exhaust memory", "new .xlsx")),
    "forty million cells": (
        worksheet(LARGEST.replace("XFD1048576", "AN1048576")),
        ("1,048,576 rows and 40 columns", "Copy the readings"),
    ),
    "old and locked": (
        plain_xls().replace(b"\x19\0\2\0\0\0", b"\x2f\0\2\0\0\0"),
        ("locked with a password", "without one"),
    ),
    "old and cut off": (plain_xls()[:1500], ("an old office file without a workbook in it, or was cut off",)),
    "OpenDocument, locked": (ods("", "<encryption-data/>"), ("locked with a password",)),
    "OpenDocument, broken": (ods("<table:table-row>"), DAMAGED),
    "our workbook": (
        repacked(plain_workbook(), {"docProps/core.xml": b"<c><keywords>" + OURS + b"</keywords></c>"}),
        ("a report that this program wrote", "Name the sheet itself"),
    ),
    "our JSON": (b'{\n"schema_version": "1"}', ("an audit that this program wrote",)),
    "too wide": (b";" * 4_999 + b"\nR1;28\n", ("5,000 columns", "Check the delimiter")),
    "too many cells": (b";" * 1_900 + b"\n" * 60_000 + b"a", ("60,001 lines", "1,901 columns")),
}


@pytest.mark.parametrize("what", UNREADABLE)
def test_what_cannot_be_read_has_its_sentence(what: str, tmp_path: Path) -> None:
    content, words = UNREADABLE[what]
    one, codes = opened(tmp_path, content)
    assert one.input.status == "not_audited"
    assert one.grids == ()
    assert codes == []
    assert all(word in one.input.reason for word in words), one.input.reason
    assert one.input.reason.endswith((".", ")"))


def test_a_workbook_locked_with_a_password(tmp_path: Path) -> None:
    """MS-OFFCRYPTO 2.3.4: an encrypted workbook is a compound file with a stream EncryptedPackage."""
    content = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(504) + "EncryptedPackage".encode("utf-16le") + bytes(96)
    one, _ = opened(tmp_path, content)
    assert "locked with a password" in one.input.reason
    assert "save a copy without one" in one.input.reason
    one, _ = opened(tmp_path, content.replace("EncryptedPackage".encode("utf-16le"), "WordDocument".encode("utf-16le")))
    assert "a word-processing document" in one.input.reason


def test_an_archive_that_says_it_unpacks_to_gibibytes_is_not_opened(tmp_path: Path) -> None:
    content = bytearray(plain_workbook())
    entry = content.rindex(b"PK\x01\x02")  # APPNOTE 4.3.12: the uncompressed size stands at offset 24
    content[entry + 24 : entry + 28] = (3 << 30).to_bytes(4, "little")
    one, _ = opened(tmp_path, bytes(content))
    assert "would unpack to 3.0 GiB" in one.input.reason


def test_missing_files_folders_without_sheets_and_pipes(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "day.csv").write_text(LINE, encoding="utf-8")
    names = ["gone.csv", "empty", "pipe", "day.csv", "day.csv/inside.csv", "no\0name", "n" * 300]
    found = open_inputs([str(tmp_path / n) for n in names], Findings())
    said = ["no such file", "holds no sheet of readings", "neither a file nor a folder", "", "could not be opened"]
    for one, words in zip(found, [*said, "characters that no file name can hold", "could not be opened"], strict=True):
        assert (one.input.status == "audited") == (not words)
        assert words in one.input.reason


def test_a_file_and_a_folder_that_may_not_be_read(tmp_path: Path) -> None:
    (tmp_path / "day.csv").write_text(LINE, encoding="utf-8")
    (tmp_path / "shut").mkdir()
    for name in ("day.csv", "shut"):
        (tmp_path / name).chmod(0)
    user = os.geteuid()
    if user == 0:  # who may read everything
        os.seteuid(65534)
    try:
        found = open_inputs([str(tmp_path / "day.csv"), str(tmp_path / "shut")], Findings())
    finally:
        os.seteuid(user)
        (tmp_path / "shut").chmod(0o700)
    assert len(found) == 2
    assert all("could not be opened: Permission denied" in one.input.reason for one in found)


def test_options_that_cannot_be(tmp_path: Path) -> None:
    for delimiter in ("ab", '"', "x", "§"):
        with pytest.raises(UsageError, match="cannot be a delimiter"):
            text_grid(LINE, delimiter=delimiter)
    for encoding, words in {
        "martian": "no encoding",
        "rot13": "no encoding",
        "ascii": "byte 5 of it is not ascii",
    }.items():
        with pytest.raises(InputError, match=words):
            text_grid("IΔn µ" if encoding != "ascii" else "1234°", encoding=encoding)


# ── delimited text ──
ENCODED = {
    "utf-8": [], "utf-8-sig": [], "utf-16": [], "utf-32": [], "utf-16-le": ["encoding-told-from-content"],
    "utf-16-be": ["encoding-told-from-content"], "windows-1252": ["encoding-told-from-content"],
}  # fmt: skip


@pytest.mark.parametrize("encoding", ENCODED)
def test_encodings(encoding: str, tmp_path: Path) -> None:
    """Text in any name is read: the name says nothing."""
    one, codes = opened(tmp_path, "Device;0° (ms)\nR1µ;28,4\n".encode(encoding))
    assert codes == ENCODED[encoding]
    assert one.grids[0].kind == "text"
    assert one.grids[0].cells.to_numpy().tolist() == [["Device", "0° (ms)"], ["R1µ", "28,4"]]


def test_an_encoding_that_is_stated() -> None:
    grid, notices = read_text("Gerät;ms\n".encode("cp850"), "cp850", "")
    assert grid.cells.loc[1].tolist() == ["Gerät", "ms"]
    assert notices == []


@pytest.mark.parametrize("sign", [",", ";", "\t", "|"])
def test_delimiters(sign: str) -> None:
    lines = ["A day at the winter market, hall 2", "Device;0;180", '"R;1";28,4;29', "R2;27,1;28,5", "R3|x;2;", ""]
    text = "\n".join(lines).replace(";", sign) if sign != "," else "Device,0,180\nR1,28.4,29\nR2;x,1,2\n"
    assert delimiter_of(text) == sign
    assert text_grid(text).cells.shape[1] == 3


def test_a_delimiter_that_the_file_states() -> None:
    grid = text_grid("sep=;\nDevice;a,b,c\nR1;1,2,3\n")
    assert grid.cells.loc[2].tolist() == ["Device", "a,b,c"]
    assert delimiter_of("sep=a\nDevice;1\nR1;2\n") == ";"
    assert text_grid("Device;a\tb\nR1;1\t2\n", delimiter="\\t").cells.loc[1].tolist() == ["Device;a", "b"]


def test_rows_are_numbered_by_the_line_they_begin_on() -> None:
    grid = text_grid('Device,note,ms\n\n"R1","two\nlines, said\r\nand three",28\nR2,,29\n\n"","""quoted""",30')
    assert grid.cells.index.tolist() == [1, 2, 3, 6, 7, 8]
    assert grid.cells.loc[3].tolist() == ["R1", "two\nlines, said\r\nand three", "28"]
    assert grid.cells.loc[8].tolist() == ["", '"quoted"', "30"]


def test_one_quoted_line_break_and_no_line_break_at_the_end() -> None:
    assert text_grid('a,b\n"c\nd",e\nf,g').cells.index.tolist() == [1, 2, 4]


def test_ragged_rows_keep_every_cell() -> None:
    assert text_grid("a\nb,1\nc,1,2,3\n,,\n").cells.to_numpy().tolist() == [
        ["a", "", "", ""], ["b", "1", "", ""], ["c", "1", "2", "3"], ["", "", "", ""],
    ]  # fmt: skip
    wide_first = text_grid('"x\ny",1,"z\nz",3,4\nb,1\n')
    assert wide_first.cells.loc[1].tolist() == ["x\ny", "1", "z\nz", "3", "4"]
    inches = text_grid('a,5" lead,"x\ny",1,2\nb,"k\nk",5" lead,2,3,4,5\n')
    assert inches.cells.loc[3].tolist() == ["b", "k\nk", '5" lead', "2", "3", "4", "5"]


@pytest.mark.parametrize(
    "text",
    [
        'Device,lead,0,180\nR1,"5m,28,29\nR2,x,27,28\n',
        'Device,lead,0,180\nR1,"5m,28,29\nR2,x,27,28\nR3,"4m,27,28\n',
    ],
)
def test_lone_quotation_marks_swallow_no_rows(text: str) -> None:
    grid, notices = read_text(text.encode(), "", "")
    assert notices == [("quotation-mark-unbalanced", {})]
    assert grid.cells.index.tolist() == list(range(1, text.count("\n") + 1))
    assert grid.cells.loc[2].tolist() == ["R1", '"5m', "28", "29"]


def test_two_thousand_columns_are_read() -> None:
    assert text_grid("Device" + "," * 1_999 + "end\nR1,2\n").cells.shape == (2, 2_000)


CELL = st.text(st.sampled_from('ab",;\n\r 1µ'), max_size=6)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.lists(CELL, min_size=1, max_size=5), min_size=1, max_size=6), st.sampled_from(["\n", "\r\n"]))
def test_written_by_the_standard_library_and_read_back(rows: list[list[str]], end: str) -> None:
    """RFC 4180 as Python's csv module writes it, every cell quoted; records begin where counting says."""
    out = io.StringIO()
    csv.writer(out, lineterminator=end, quoting=csv.QUOTE_ALL).writerows(rows)
    grid, notices = read_text(out.getvalue().encode(), "", ",")
    if notices:  # a cell that looks like swallowed records
        assert any(c.count(",") >= 3 for c in itertools.chain(*rows))
        return
    read = grid.cells.to_numpy().tolist()
    assert [(r + [""] * 5)[:5] for r in read] == [(r + [""] * 5)[:5] for r in rows]
    breaks = [1 + sum(len(c.replace("\r\n", "\n").replace("\r", "\n").split("\n")) - 1 for c in r) for r in rows]
    assert grid.cells.index.tolist() == [1, *itertools.accumulate(breaks, initial=1)][1:-1]


# ── workbooks ──
def test_cells_keep_their_addresses_and_kinds(tmp_path: Path) -> None:
    book = Workbook()
    sheet = book.worksheets[0]
    sheet["C4"], sheet["D4"], sheet["E4"] = "Device", 28.4, dt.datetime(2026, 11, 20, 9, 30)
    sheet["C5"], sheet["D5"], sheet["E5"], sheet["F5"] = "R1", 12, dt.date(2026, 11, 20), True
    sheet["E6"], sheet["F6"], sheet["G6"] = dt.time(9, 30), 1, "007"
    grid = only_sheet(tmp_path, saved(book))
    assert grid.cells.shape == (6, 7)
    assert (grid.cells.loc[:3] == "").all(axis=None)
    assert grid.cells.loc[4].tolist() == ["", "", "Device", 28.4, dt.datetime(2026, 11, 20, 9, 30), "", ""]
    assert grid.cells.loc[5].tolist() == ["", "", "R1", 12.0, dt.datetime(2026, 11, 20), "TRUE", ""]
    assert grid.cells.loc[6].tolist() == ["", "", "", "", dt.time(9, 30), 1.0, "007"]
    assert {type(v) for v in grid.cells.to_numpy().ravel()} == {str, float, dt.datetime, dt.time}


def test_what_only_a_closer_look_shows(tmp_path: Path) -> None:
    book = Workbook()
    sheet = book.worksheets[0]
    for row in range(1, 7):
        sheet.append([f"R{row}", row])
    sheet["C2"] = "=B2*2"
    sheet.merge_cells("A3:A5")
    sheet["B4"].comment = Comment("instrument\nreplaced", "A. Snowfield")
    sheet.row_dimensions[5].hidden = True
    sheet.column_dimensions["B"].hidden = True
    sheet.column_dimensions["Z"].hidden = True
    book.create_sheet("Old")["A1"] = "R9"
    book["Old"].sheet_state = "hidden"
    one, codes = opened(tmp_path, saved(book))
    assert codes == ["sheet-hidden"]
    assert [(g.sheet, g.hidden) for g in one.grids] == [("Sheet", False), ("Old", True)]
    assert one.grids[0].merged == ((3, 0, 5, 0),)
    assert one.grids[0].saved_at is not None
    assert special(one.grids[0]) == {
        (2, 2, "formula_without_value", "=B2*2"), (5, -1, "hidden_row", ""), (0, 1, "hidden_column", ""),
    } | {(4, 1, "comment", c[3]) for c in special(one.grids[0]) if "instrument replaced" in c[3]}  # fmt: skip
    assert sum(c[2] == "comment" for c in special(one.grids[0])) == 1


def test_formulas_and_errors_with_and_without_addresses(tmp_path: Path) -> None:
    """ISO/IEC 29500-1, 18.3.1.4 and 18.3.1.40: cells, formulas (shared, array), and addresses that may be left out."""
    grid = only_sheet(
        tmp_path,
        worksheet(
            "<sheetData>"
            '<row r="2"><c r="B2"><f t="shared" ref="B2:B4" si="0">A2+1</f><v>28</v></c><c r="C2"><v>1</v></c></row>'
            '<row r="3"><c r="B3"><f t="shared" si="0"/><v>29</v></c><c r="C3" t=\'e\'><v>#N/A</v></c></row>'
            '<row r="4"><c r="B4"><f t="shared" si="0"/></c>'
            '<c r="C4"><f t="array" ref="C4:C5">RAND()</f><v>7</v></c></row>'
            '<row><c><v>1</v></c><c t="e"><f>1/0</f><v>#DIV/0!</v></c><c><v>8</v></c></row>'
            "</sheetData>"
        ),
    )
    assert special(grid) == {
        (2, 1, "formula", "=A2+1"), (3, 1, "formula", "=A2+1"), (4, 1, "formula_without_value", "=A2+1"),
        (3, 2, "error", "#N/A"), (4, 2, "formula", "=RAND()"), (5, 2, "formula", "=RAND()"),
        (5, 1, "formula", "=1/0"), (5, 1, "error", "#DIV/0!"),
    }  # fmt: skip
    assert grid.cells.loc[2].tolist() == ["", 28.0, 1.0]
    assert grid.cells.loc[5].tolist() == [1.0, "", 8.0]


def test_numbers_that_are_none_stay_texts(tmp_path: Path) -> None:
    grid = only_sheet(tmp_path, worksheet('<sheetData><row r="1"><c r="A1"><v>NaN</v></c></row></sheetData>'))
    assert isinstance(grid.cells.loc[1, 0], str)


def test_macros_are_said_and_not_run(tmp_path: Path) -> None:
    one, codes = opened(tmp_path, repacked(plain_workbook(), {"xl/vbaProject.bin": b"1"}), "day.xlsm")
    assert codes == ["macros-not-run"]
    assert one.grids[0].macros
    assert one.grids[0].cells.loc[2].tolist() == ["R1", 28.4]


def test_old_workbooks(tmp_path: Path) -> None:
    book = xlwt.Workbook()
    sheet = book.add_sheet("Hall")
    date = xlwt.easyxf(num_format_str="YYYY-MM-DD")
    sheet.write(2, 1, "Device")
    sheet.write(3, 1, 28.4)
    sheet.write(3, 2, dt.datetime(2026, 11, 20), date)
    sheet.write(3, 3, True)
    sheet.row(4).set_cell_error(1, 0x2A)  # #N/A
    sheet.write_merge(5, 6, 1, 1, "R1")
    sheet.row(3).hidden = True
    sheet.col(2).hidden = True
    book.add_sheet("Old").visibility = 1
    one, codes = opened(tmp_path, xls(book), "day.xls")
    grid = one.grids[0]
    assert codes == ["sheet-hidden", "workbook-seen-in-part"]
    assert [g.hidden for g in one.grids] == [False, True]
    assert grid.cells.loc[3, 1] == "Device"
    assert grid.cells.loc[4].tolist() == ["", 28.4, dt.datetime(2026, 11, 20), "TRUE"]
    assert grid.merged == ((6, 1, 7, 1),)
    assert special(grid) == {(5, 1, "error", "#N/A"), (4, -1, "hidden_row", ""), (0, 2, "hidden_column", "")}


def test_open_document_sheets(tmp_path: Path) -> None:
    text = "<table:table-cell office:value-type='string'><text:p>{}</text:p></table:table-cell>"
    number = "<table:table-cell office:value-type='float' office:value='{}'><text:p>{}</text:p></table:table-cell>"
    blank = "<table:table-row table:number-rows-repeated='2'><table:table-cell/></table:table-row>"
    rows = (
        blank
        + f"<table:table-row><table:table-cell/>{text.format('R1')}{number.format('28.4', '28,4')}</table:table-row>"
    )
    one, codes = opened(tmp_path, ods(rows), "day.ods")
    assert codes == ["workbook-seen-in-part"]
    assert one.grids[0].sheet == "Hall"
    assert one.grids[0].cells.loc[3].tolist() == ["", "R1", 28.4]


# ── folders, standard input, the same file twice ──
def test_a_folder(tmp_path: Path) -> None:
    ours = UNREADABLE["our workbook"][0]
    files = {
        "b.csv": b"Device;ms\nR2;1\n", "a.csv": LINE.encode(), "c.csv": LINE.encode(), "scan.pdf": b"%PDF",
        "~$a.xlsx": b"lock", ".hidden.csv": b"x", "report.xlsx": ours, "z.xlsx": b"%PDF-1.4",
    }  # fmt: skip
    for name, content in files.items():
        (tmp_path / name).write_bytes(content)
    (tmp_path / "older").mkdir()
    findings = Findings()
    found = open_inputs([str(tmp_path)], findings)
    assert [(o.input.name, o.input.status) for o in found] == [
        ("a.csv", "audited"), ("b.csv", "audited"), ("z.xlsx", "not_audited"),
    ]  # fmt: skip
    assert dict(findings.frame()[["code", "message"]].itertuples(index=False)) == {
        "file-given-twice": "c.csv is the same as a.csv and was read once.",
        "file-passed-over": "scan.pdf is no sheet and was passed over.",
        "folder-passed-over": "older is a folder inside a folder and was not looked into.",
        "report-passed-over": "report.xlsx is a report that this program wrote and was passed over.",
    }
    (named,) = open_inputs([str(tmp_path / "report.xlsx")], Findings())
    assert named.input.status == "not_audited"


def test_namesakes_are_told_apart_by_their_folders(tmp_path: Path) -> None:
    for folder, text in {"north": LINE, "south": LINE + "R2;1\n"}.items():
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "day.csv").write_text(text, encoding="utf-8")
    found = open_inputs([str(tmp_path / "north"), str(tmp_path / "south"), str(tmp_path / "north")], Findings())
    assert [o.input.name for o in found] == ["north/day.csv", "south/day.csv"]


@pytest.mark.parametrize(
    "content", [LINE.encode(), plain_workbook(), b"", b"%PDF"], ids=["text", "xlsx", "none", "PDF"]
)
def test_standard_input_in_a_process_of_its_own(content: bytes, run_rcdcheck: Run) -> None:
    ran = run_rcdcheck("columns", "-", stdin=content)
    assert "Traceback" not in ran.stderr.decode()
    assert ran.returncode == (0 if len(content) > 9 else 3)


def test_one_bad_file_beside_a_good_one_whatever_the_jobs(samples: Path, tmp_path: Path, run_rcdcheck: Run) -> None:
    (tmp_path / "cut.xlsx").write_bytes(plain_workbook()[:-900])
    answers = []
    for jobs in ("1", "4"):
        ran = run_rcdcheck(
            "audit", samples / "doubtful-month", "cut.xlsx", "--write", "none", "--json", "-", "--as-of", "2026-11-25",
            "--jobs", jobs, "--quiet",
        )  # fmt: skip
        assert ran.returncode == 3
        answers.append(ran.stdout)
    assert answers[0] == answers[1]
    assert b"cut off while copying" in answers[0]


def test_nothing_is_imported_from_the_folder_of_the_sheets(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "python_calamine.py").write_text("raise SystemExit(9)", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("PYTHONPATH", raising=False)
    assert only_sheet(tmp_path, plain_workbook()).cells.loc[2, 0] == "R1"


# ── any bytes end in an answer ──
def whole(one: Opened) -> None:
    """An input is either audited, with grids that hold what a grid may hold, or has a reason."""
    assert (one.input.status == "audited") == (not one.input.reason)
    for grid in one.grids:
        assert {type(v) for v in grid.cells.to_numpy().ravel()} <= {str, float, dt.datetime, dt.time, dt.timedelta}
        assert grid.cells.index.is_monotonic_increasing
        assert pd.concat([grid.special["row"], grid.special["column"]]).between(-1, 1_048_576).all()


START = st.sampled_from(
    [b"", b"", b"\xef\xbb\xbf", b"\xff\xfe", b"PK\x03\x04", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", b"sep=;\n"]
)
TEXT = st.text(st.sampled_from('ab",;\t|\n\r1.-\x00\x85\u2028µ"'), max_size=60).map(str.encode)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(START, st.one_of(st.binary(max_size=300), TEXT))
def test_any_bytes_end_in_an_answer(tmp_path: Path, start: bytes, rest: bytes) -> None:
    whole(opened(tmp_path, start + rest)[0])


REAL = (plain_workbook(), plain_xls(), ods("<table:table-row><table:table-cell/></table:table-row>"))


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sampled_from(REAL), st.data())
def test_damaged_workbooks_end_in_an_answer(tmp_path: Path, content: bytes, data: st.DataObject) -> None:
    spoilt = bytearray(content)
    for _ in range(data.draw(st.integers(1, 6))):
        spoilt[data.draw(st.integers(0, len(spoilt) - 1))] = data.draw(st.integers(0, 255))
    whole(opened(tmp_path, bytes(spoilt[: data.draw(st.integers(8, len(spoilt)))]))[0])


PIECES = st.sampled_from(
    [
        "<row r='2' hidden='1'>", "<row r='-5' hidden='1'>", "<row>", "</row>", "<c r='A1'>", "<c r='ZZ99'>",
        "<c r='é1'>",
        "<c t='e'>", "</c>", "<f>", "<f t='array' ref='A1:Q9'>", "</f>", "<v>", "</v>", "7", "NaN", "&#65;",
        "<col min='0' max='99999' hidden='true'/>",
    ]
)  # fmt: skip


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(PIECES, max_size=14).map("".join))
def test_any_sheet_xml_ends_in_an_answer(tmp_path: Path, inside: str) -> None:
    whole(opened(tmp_path, worksheet(f"<sheetData>{inside}</sheetData>"))[0])
