"""Each kind of file that cannot be read has its sentence: what it is, and what to do."""

from __future__ import annotations

import io
import resource
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from files_made import (
    ods,
    opened,
    our_workbook,
    plain_workbook,
    plain_xls,
    repacked,
    worksheet,
    xlsb,
    xlsb_of_one_text,
    zipped,
)

from rcdcheck.intake.opened.file_kinds import OUR_PAGE
from rcdcheck.intake.opened.raw_xml import RefusedError
from rcdcheck.intake.opened.sheet_xml import COMMENTS, OUR_AUTHOR, Special, comments_of

SHARED = b'<?xml version="1.0"?><!DOCTYPE sst [<!ENTITY a "aaaa">]><sst>&a;</sst>'
FIRST = '<row r="1"><c r="A1"><v>1</v></c></row>'
LARGEST = f'<sheetData>{FIRST}<row r="1048576"><c r="XFD1048576"><v>1</v></c></row></sheetData>'
ARRAYS = (f'<row r="{r}"><c r="A{r}"><f t="array" ref="A1:XFD1048576">1</f></c></row>' for r in range(1, 200))
DAMAGED = ("damaged", "Copy it again")


def many_sheets(count: int, part: str) -> bytes:
    """A workbook of so many sheets; `part` names the part of each by its number."""
    main, office = "http://schemas.openxmlformats.org/spreadsheetml/2006/main", "http://schemas.openxmlformats.org"
    links = f"{office}/officeDocument/2006/relationships"
    numbers = range(1, count + 1)
    sheets = "".join(f'<sheet name="S{i}" sheetId="{i}" r:id="r{i}"/>' for i in numbers)
    relations = "".join(
        f'<Relationship Id="r{i}" Type="{links}/worksheet" Target="worksheets/{part.format(i)}.xml"/>' for i in numbers
    )
    sheet = f'<worksheet xmlns="{main}"><sheetData>{FIRST}</sheetData></worksheet>'.encode()
    book = f'<workbook xmlns="{main}" xmlns:r="{links}"><sheets>{sheets}</sheets></workbook>'
    links_of_book = f'<Relationships xmlns="{office}/package/2006/relationships">{relations}</Relationships>'
    parts = {f"xl/worksheets/{part.format(i)}.xml": sheet for i in numbers}
    return repacked(
        plain_workbook(),
        parts | {"xl/workbook.xml": book.encode(), "xl/_rels/workbook.xml.rels": links_of_book.encode()},
    )


def long_text_everywhere(cells: int, size: int) -> bytes:
    """A workbook of few bytes that shows one long text in so many cells."""
    rows = "".join(f'<row r="{r}"><c r="A{r}" t="s"><v>0</v></c></row>' for r in range(1, cells + 1))
    space = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    shared = f'<?xml version="1.0"?><sst xmlns="{space}"><si><t>{"x" * size}</t></si></sst>'
    return repacked(worksheet(f"<sheetData>{rows}</sheetData>"), {"xl/sharedStrings.xml": shared.encode()})


def repeated_cell(text: str, times: int) -> str:
    """A cell of an OpenDocument sheet that stands for several."""
    repeated = f'table:number-columns-repeated="{times}"'
    return f'<table:table-cell {repeated} office:value-type="string"><text:p>{text}</text:p></table:table-cell>'


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
    "a cell beyond all columns": (
        worksheet('<sheetData><row r="1"><c r="ZZZ1"><v>1</v></c></row></sheetData>'),
        ("18,278",),
    ),
    "a cell far beyond all columns": (xlsb([["a"]], 3_932_166), ("1 rows and 3,932,167 columns", "Copy the readings")),
    "packed too tightly": (worksheet("<sheetData/>" + " " * (1 << 24)), ("times its size", "exhaust memory")),
    "a cell of a million characters": (
        worksheet(f'<sheetData><row r="1"><c r="A1" t="str"><v>{"x" * 1_000_001}</v></c></row></sheetData>'),
        ("more than 1,000,000 characters", "Copy the readings"),
    ),
    "a long text in very many cells": (
        long_text_everywhere(2_000, 30_000),
        ("again and again", "more than 50,000,000 characters", "Copy the readings"),
    ),
    "a long text in repeated rows of an OpenDocument sheet": (
        ods(f'<table:table-row table:number-rows-repeated="200">{repeated_cell("x" * 30_000, 10)}</table:table-row>'),
        ("again and again",),
    ),
    "a long text in very many cells of a binary workbook": (
        xlsb_of_one_text(2_000, 30_000),
        ("again and again",),
    ),
    "array formulas over everything": (
        worksheet(f"<sheetData>{''.join(ARRAYS)}</sheetData>"),
        ("more than 1,000,000 cells", "as values"),
    ),
    "a thousand and one sheets": (many_sheets(1_001, "sheet{}"), ("1,001 sheets", "several workbooks")),
    "one part as two sheets": (many_sheets(2, "sheet1"), DAMAGED),
    "old and locked": (
        plain_xls().replace(b"\x19\0\2\0\0\0", b"\x2f\0\2\0\0\0"),
        ("locked with a password", "without one"),
    ),
    "old and cut off": (plain_xls()[:1500], ("an old office file without a workbook in it, or was cut off",)),
    "OpenDocument, locked": (ods("", "<encryption-data/>"), ("locked with a password",)),
    "OpenDocument, broken": (ods("<table:table-row>"), DAMAGED),
    "our workbook": (
        our_workbook(),
        ("a report that this program wrote", "Name the sheet itself"),
    ),
    "our page": (
        b'<!doctype html><html><head><meta charset="utf-8">' + OUR_PAGE,
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


def test_more_comments_than_anybody_writes_are_not_kept() -> None:
    """Those of this program are no comments of people, however many a marked copy holds."""
    space = "http://schemas.openxmlformats.org"
    comment = '<comment ref="A1" authorId="{}"><text><t>lid</t></text></comment>'
    head = f'<comments xmlns="{space}/spreadsheetml/2006/main"><authors><author>{OUR_AUTHOR}</author>'

    def told(ours: int, theirs: int) -> tuple[Special, bool]:
        listed = comment.format(0) * ours + comment.format(1) * theirs
        relation = f'<Relationship Id="r1" Type="{space}/comments" Target="comments1.xml"/>'
        parts = {
            "xl/comments1.xml": f"{head}<author>K</author></authors><commentList>{listed}</commentList></comments>",
            "xl/_rels/sheet1.xml.rels": f"<Relationships>{relation}</Relationships>",
        }
        with zipfile.ZipFile(io.BytesIO(zipped(**{name: text.encode() for name, text in parts.items()}))) as archive:
            return comments_of(archive, "xl/sheet1.xml")

    assert told(COMMENTS, 2) == ([[1, 0, "comment", "lid"]] * 2, True)
    with pytest.raises(RefusedError, match="more than 500,000 comments"):
        told(0, COMMENTS + 1)


def test_an_archive_that_says_it_unpacks_to_gibibytes_is_not_opened(tmp_path: Path) -> None:
    content = bytearray(plain_workbook())
    entry = content.rindex(b"PK\x01\x02")  # APPNOTE 4.3.12: the uncompressed size stands at offset 24
    content[entry + 24 : entry + 28] = (3 << 30).to_bytes(4, "little")
    one, _ = opened(tmp_path, bytes(content))
    assert "would unpack to 3.0 GiB" in one.input.reason


def test_a_file_larger_than_any_sheet_is_refused_before_it_is_read(tmp_path: Path) -> None:
    """Five gibibytes of nothing, as a file and on standard input, within the memory of a small run."""
    (tmp_path / "day.csv").write_text("Device,1× 0° (ms),1× 180° (ms)\nD1,24.1,25.3\n", encoding="utf-8")
    with (tmp_path / "huge.csv").open("wb") as huge:
        huge.truncate(5 << 30)
    command = [sys.executable, "-m", "rcdcheck", "audit", "-", "day.csv", "huge.csv", "--write", "none"]
    with (tmp_path / "huge.csv").open("rb") as given:
        run = subprocess.run(
            command, check=False, cwd=tmp_path, stdin=given, capture_output=True, text=True, timeout=60,
            preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_AS, (3 << 30, 3 << 30)),
        )  # fmt: skip
    assert run.returncode == 3
    told = " ".join((run.stdout + run.stderr).split())
    assert told.count("larger than 256 MB") == 2
    assert "1 test of 1 device" in told or "1 tests of 1 device" in told
