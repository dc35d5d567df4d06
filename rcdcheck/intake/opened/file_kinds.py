"""What kind of file some bytes are, by content and not by name, and why they are not to be read."""

from __future__ import annotations

import io
import re
import zipfile
from pathlib import Path

from rcdcheck.errors import InputError
from rcdcheck.intake.opened.workbook_child import LOCKED

UNPACKED = 1 << 30  # bytes that a workbook may unpack to
LARGE, PACKED = 1 << 24, 100  # bytes of a part that is large; how many times smaller packing makes no honest one
OURS = b"rcdcheck-report"  # keyword in the properties of the workbooks that we write
OUR_PAGE = b'<meta name="generator" content="rcdcheck">'  # in the head of the pages that we write
OUR_DOCUMENTS = (b'{\n"schema_version"', b'{"schema_version"')
WANTED = "A sheet of readings is expected: .xlsx, .xlsm, .xls, .xlsb, .ods, or delimited text such as CSV."

_TYPE_IT, _UNPACK_IT = "Type the readings into a sheet.", "Unpack it or save it as .xlsx."
_OTHERS = (
    (b"\x89PNG", "a PNG picture", _TYPE_IT), (b"\xff\xd8\xff", "a JPEG picture", _TYPE_IT),
    (b"GIF8", "a GIF picture", _TYPE_IT),
    (b"II*\0", "a TIFF picture", _TYPE_IT),
    (b"MM\0*", "a TIFF picture", _TYPE_IT), (b"BM", "a bitmap picture", _TYPE_IT),
    (b"%PDF", "a PDF document", _TYPE_IT),
    (b"{\\rtf", "a rich text document", "Save its table as .xlsx."), (b"\x1f\x8b", "a gzip archive", _UNPACK_IT),
    (b"7z\xbc\xaf", "a 7z archive", _UNPACK_IT), (b"Rar!", "a RAR archive", _UNPACK_IT),
    (b"\x7fELF", "a program", "Check the name."), (b"MZ\x90", "a program", "Check the name."),
)  # fmt: skip


UNTOUCHED = b"rcdcheck marked copy"  # end of a marked copy that nobody has saved since


class OwnReportError(InputError):
    """What this program wrote is not what it reads."""


def ours(path: Path) -> bool:
    """Whether a file is a report that this program wrote."""
    with path.open("rb") as file:
        start = file.read(2000)
    if start[:4] == b"PK\x03\x04":
        try:
            with zipfile.ZipFile(path) as archive:
                return OURS in _head(archive, "docProps/core.xml")
        except Exception:  # damaged: nobody knows whose
            return False
    return OUR_PAGE in start or start.startswith(OUR_DOCUMENTS)


def untouched(path: Path) -> bool:
    """Whether a file is a marked copy of ours that nobody has saved since; not where it cannot be read."""
    try:
        with path.open("rb") as file:
            file.seek(max(0, path.stat().st_size - len(UNTOUCHED)))
            return file.read() == UNTOUCHED
    except OSError:
        return False


def kind_of(content: bytes) -> str:
    """`xlsx`, `xlsm`, `xlsb`, `ods`, `xls` or `text`; raises InputError with a sentence for anything else."""
    _refuse_empty(content)
    if content[:4] in (b"PK\x03\x04", b"PK\x05\x06"):  # the second is a zip archive with nothing in it
        return _zipped(content)
    if content[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
        return _compound(content)
    for start, name, advice in _OTHERS:
        if content.startswith(start) and (start != b"BM" or content[6:10] == bytes(4)):  # text may begin with BM
            raise InputError(f"it is {name}, which holds no cells to read. {WANTED} {advice}")
    _refuse_markup(content[:2000].lstrip(b"\xef\xbb\xbf \t\r\n").lower())
    return "text"


def _refuse_empty(content: bytes) -> None:
    marked = content.startswith((b"\xff\xfe", b"\xfe\xff"))
    left = content[2:].strip(b"\0 \t\r\n") if marked else content.strip(b" \t\r\n\xef\xbb\xbf")
    if not left:
        raise InputError("it is empty. Check that it was saved and copied whole.")
    if not left.strip(b"\0"):
        raise InputError("it holds nothing but NUL bytes; the copy went wrong. Copy it again from where it was made.")


def _refuse_markup(head: bytes) -> None:
    if OUR_PAGE in head:
        raise OwnReportError("it is a report that this program wrote, not a sheet of readings. Name the sheet itself.")
    if head.startswith((b"<!doctype html", b"<html", b"<table")):
        raise InputError(
            "it is a web page, whatever its name says. Open it in a spreadsheet program and save it as .xlsx."
        )
    if head.startswith(b"<?xml"):
        raise InputError("it is an XML document. Open it in a spreadsheet program and save it as .xlsx.")
    if head.startswith(OUR_DOCUMENTS):
        raise OwnReportError("it is an audit that this program wrote, not a sheet of readings. Name the sheet itself.")


def _zipped(content: bytes) -> str:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            return _office(archive)
    except InputError:
        raise
    except Exception as error:  # zipfile trips over damage in a dozen ways
        raise InputError(
            "it is a workbook that is damaged or was cut off while copying. Copy it again, or open it in a spreadsheet "
            "program, let it repair the file, and save it as .xlsx."
        ) from error


def _office(archive: zipfile.ZipFile) -> str:
    names = set(archive.namelist())
    size = sum(i.file_size for i in archive.infolist())
    if size > UNPACKED:
        raise InputError(
            f"it would unpack to {size / UNPACKED:.1f} GiB, more than any sheet of readings. It was not opened."
        )
    for part in archive.infolist():
        if part.file_size > max(LARGE, PACKED * part.compress_size):
            raise InputError(
                f"its part {part.filename} would unpack to {part.file_size / part.compress_size:,.0f} times its size, "
                "which no sheet of readings does; it may be built to exhaust memory. It was not opened. Ask where it "
                "comes from."
            )
    if OURS in _head(archive, "docProps/core.xml"):
        raise OwnReportError("it is a report that this program wrote, not a sheet of readings. Name the sheet itself.")
    if "xl/workbook.xml" in names:
        _refuse_declarations(archive, names)
        return "xlsm" if "xl/vbaProject.bin" in names else "xlsx"
    if "xl/workbook.bin" in names:
        return "xlsb"
    if b"opendocument.spreadsheet" in _head(archive, "mimetype"):
        if b"encryption-data" in _head(archive, "META-INF/manifest.xml"):
            raise InputError(LOCKED)
        return "ods"
    what = "a word-processing document" if "word/document.xml" in names else (
        "a presentation" if "ppt/presentation.xml" in names else "a zip archive")  # fmt: skip
    raise InputError(f"it is {what}, not a workbook. {WANTED}" + (" Unpack it first." if "zip" in what else ""))


def _head(archive: zipfile.ZipFile, name: str, size: int = 1 << 16) -> bytes:
    """The first bytes of a part, none where there is no such part."""
    try:
        with archive.open(name) as part:
            return part.read(size)
    except KeyError:
        return b""


def has_macros(content: bytes, kind: str) -> bool:
    """Whether a workbook of this kind holds macros."""
    if kind == "xls":
        return "_VBA_PROJECT".encode("utf-16le") in content
    if kind not in ("xlsm", "xlsb"):
        return False
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return "xl/vbaProject.bin" in archive.namelist()


def _refuse_declarations(archive: zipfile.ZipFile, names: set[str]) -> None:
    """XML of a workbook never declares entities; one that does is built to harm."""
    for name in sorted(names):
        if name.endswith((".xml", ".rels")) and re.search(rb"<!(DOCTYPE|ENTITY)", _head(archive, name)):
            raise InputError(
                f"its part {name} declares XML entities, which no spreadsheet program writes; it may be built to "
                "exhaust memory. It was not opened. Ask where it comes from."
            )


def _compound(content: bytes) -> str:
    if "EncryptedPackage".encode("utf-16le") in content:
        raise InputError(LOCKED)
    if "Workbook".encode("utf-16le") in content or "Book".encode("utf-16le") in content:
        return "xls"
    if "WordDocument".encode("utf-16le") in content:
        raise InputError(f"it is a word-processing document, not a workbook. {WANTED}")
    raise InputError(f"it is an old office file without a workbook in it, or was cut off while copying. {WANTED}")
