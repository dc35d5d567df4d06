"""What kind of file some bytes are, by content and not by name, and why they are not to be read."""

from __future__ import annotations

import io
import re
import zipfile

from rcdcheck.errors import InputError

UNPACKED = 1 << 30  # bytes that a workbook may unpack to
OURS = b"rcdcheck-report"  # keyword in the properties of the workbooks that we write
WANTED = "A sheet of readings is expected: .xlsx, .xlsm, .xls, .xlsb, .ods, or delimited text such as CSV."

_PICTURES = ((b"\x89PNG", "a PNG picture"), (b"\xff\xd8\xff", "a JPEG picture"), (b"GIF8", "a GIF picture"),
             (b"II*\0", "a TIFF picture"), (b"MM\0*", "a TIFF picture"), (b"BM", "a bitmap picture"))  # fmt: skip
_OTHERS = ((b"%PDF", "a PDF document"), (b"{\\rtf", "a rich text document"), (b"\x1f\x8b", "a gzip archive"),
           (b"7z\xbc\xaf", "a 7z archive"), (b"Rar!", "a RAR archive"), (b"\x7fELF", "a program"), (b"MZ\x90", "a program"))  # fmt: skip


def kind_of(content: bytes) -> str:
    """`xlsx`, `xlsm`, `xlsb`, `ods`, `xls` or `text`; raises InputError with a sentence for anything else."""
    if not content.strip(b"\0 \t\r\n\xef\xbb\xbf\xff\xfe"):
        raise InputError("it is empty. Check that it was saved and copied whole." if not content.strip(b" \t\r\n\xef\xbb\xbf")
                         else "it holds nothing but NUL bytes; the copy went wrong. Copy it again from where it was made.")  # fmt: skip
    if content[:4] == b"PK\x03\x04":
        return _zipped(content)
    if content[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
        return _compound(content)
    for start, name in _PICTURES + _OTHERS:
        if content.startswith(start):
            advice = "Type the readings into a sheet." if "picture" in name or "PDF" in name else "Unpack it or save it as .xlsx."
            raise InputError(f"it is {name}, which holds no cells to read. {WANTED} {advice}")
    head = content[:2000].lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if head.startswith((b"<!doctype html", b"<html", b"<table")):
        raise InputError("it is a web page, whatever its name says. Open it in a spreadsheet program and save it as .xlsx.")
    if head.startswith(b"<?xml"):
        raise InputError("it is an XML document. Open it in a spreadsheet program and save it as .xlsx.")
    if head.startswith((b'{\n"schema_version"', b'{"schema_version"')):
        raise InputError("it is an audit that this program wrote, not a sheet of readings. Name the sheet itself.")
    return "text"


def _zipped(content: bytes) -> str:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            return _office(archive)
    except (zipfile.BadZipFile, EOFError, OSError, ValueError, NotImplementedError, RuntimeError, zipfile.zlib.error) as error:  # type: ignore[attr-defined]
        raise InputError(
            "it is a workbook that is damaged or was cut off while copying. Copy it again, or open it in a spreadsheet "
            "program, let it repair the file, and save it as .xlsx."
        ) from error


def _office(archive: zipfile.ZipFile) -> str:
    names = set(archive.namelist())
    size = sum(i.file_size for i in archive.infolist())
    if size > UNPACKED:
        raise InputError(f"it would unpack to {size / UNPACKED:.1f} GiB, more than any sheet of readings. It was not opened.")
    if "docProps/core.xml" in names and OURS in archive.read("docProps/core.xml"):
        raise InputError("it is a report that this program wrote, not a sheet of readings. Name the sheet itself.")
    if "xl/workbook.xml" in names:
        _refuse_declarations(archive, names)
        return "xlsm" if "xl/vbaProject.bin" in names else "xlsx"
    if "xl/workbook.bin" in names:
        return "xlsb"
    if "mimetype" in names and b"opendocument.spreadsheet" in archive.read("mimetype"):
        if b"encryption-data" in (archive.read("META-INF/manifest.xml") if "META-INF/manifest.xml" in names else b""):
            raise InputError("it is locked with a password. Open it with the password and save a copy without one.")
        return "ods"
    what = "a word-processing document" if "word/document.xml" in names else (
        "a presentation" if "ppt/presentation.xml" in names else "a zip archive")  # fmt: skip
    raise InputError(f"it is {what}, not a workbook. {WANTED}" + (" Unpack it first." if "zip" in what else ""))


def _refuse_declarations(archive: zipfile.ZipFile, names: set[str]) -> None:
    """XML of a workbook never declares entities; one that does is built to harm."""
    for name in names:
        if name.endswith((".xml", ".rels")):
            with archive.open(name) as part:
                if re.search(rb"<!(DOCTYPE|ENTITY)", part.read(4096)):
                    raise InputError(
                        f"its part {name} declares XML entities, which no spreadsheet program writes; it may be built to "
                        "exhaust memory. It was not opened. Ask where it comes from."
                    )


def _compound(content: bytes) -> str:
    if "EncryptedPackage".encode("utf-16le") in content:
        raise InputError(
            "it is locked with a password. Open it in a spreadsheet program with the password, and save a copy without one "
            "(in most programs: Save as, Options or Tools, empty the password)."
        )
    if "Workbook".encode("utf-16le") in content or "Book".encode("utf-16le") in content:
        return "xls"
    if "WordDocument".encode("utf-16le") in content:
        raise InputError(f"it is a word-processing document, not a workbook. {WANTED}")
    raise InputError(f"it is an old office file without a workbook in it. {WANTED}")
