"""The child process that opens workbooks: their bytes on standard input, JSON on standard output.

Workbooks are built by strangers, and the libraries that open them can be made to ask for all memory there is. The
child has a cap on memory; if it dies, the parent says so and goes on. It imports no pandas, and answers in JSON.
Each workbook comes as a line with its kind and its size in bytes, and then its bytes; each answer goes as a line with
its size, and then the answer.
"""

from __future__ import annotations

import datetime as dt
import gc
import io
import itertools
import json
import math
import re
import sys
import zipfile
from typing import Any

from rcdcheck.intake.opened.cell_fills import Fill, that_stand_out
from rcdcheck.intake.opened.cell_styles import Look, looks_of
from rcdcheck.intake.opened.long_texts import LONG, Shown, check_binary
from rcdcheck.intake.opened.old_looks import looks_in
from rcdcheck.intake.opened.plain_cells import check_cells, check_texts
from rcdcheck.intake.opened.plain_ods import straight_document
from rcdcheck.intake.opened.raw_xml import RefusedError, repacked, straight
from rcdcheck.intake.opened.rich_texts import RichText, rich_texts
from rcdcheck.intake.opened.sheet_xml import Special, comments_of, parts_of_sheets, special_cells

MEMORY = 3 << 30  # bytes of address space
SHEETS = 1_000  # of one workbook
LONGEST = 1_000_000  # characters of one cell; nobody types more
WIDEST = 16_384  # columns; spreadsheet programs have no more (common practice, no source)
CELLS = 30_000_000  # of one sheet, blank ones within its used area included
OUR_FILLS = ("FBDDD0", "FFF3C4", "ECECEC")  # of marked copies (reports/marked_cells.py)
_IN_CELLS = ("formula", "formula_without_value", "error")
_ONLY_INSIDE = ("hidden_row", "hidden_column", "struck")  # kinds that may lie beyond the cells of a sheet

LOCKED = (
    "it is locked with a password. Open it in a spreadsheet program with the password, and save a copy without one "
    "(in most programs: Save as, Options or Tools, empty the password)."
)


def main() -> None:
    """Answer workbook after workbook until no more comes; argument: seconds of computing for each."""
    seconds = int(sys.argv[1])
    to_parent, from_parent = sys.stdout.buffer, sys.stdin.buffer
    gc.disable()  # between workbooks only, and not of what stays
    gc.freeze()
    for asked in iter(from_parent.readline, b""):
        kind, size = asked.split()
        _limit(seconds)
        answer = _answer(from_parent.read(int(size)), kind.decode())
        to_parent.write(b"%d\n%b" % (len(answer), answer))
        to_parent.flush()
        gc.collect()


def _answer(content: bytes, kind: str) -> bytes:
    try:
        answer = _xls(content) if kind == "xls" else _calamine(content, kind)
    except RefusedError as refusal:
        answer = {"refused": str(refusal)}
    except Exception as error:  # whatever the libraries trip over is damage to the file
        answer = {"error": " ".join(f"{type(error).__name__}: {error}".split())[:200]}
    return json.dumps(answer).encode()  # dumps is ten times faster than dump


def _limit(seconds: int) -> None:
    try:
        import resource
    except ImportError:  # not on every system; the clock of the parent remains
        return
    used = resource.getrusage(resource.RUSAGE_SELF)
    computed = math.ceil(used.ru_utime + used.ru_stime) + seconds
    # no image of its memory is left behind, whatever happens
    wanted = {resource.RLIMIT_AS: MEMORY, resource.RLIMIT_CPU: computed, resource.RLIMIT_CORE: 0}
    for what, most in wanted.items():
        soft, hard = resource.getrlimit(what)  # which the system, or the person, may have set lower
        lower = hard if what == resource.RLIMIT_CPU else min((n for n in (soft, hard) if n >= 0), default=-1)
        resource.setrlimit(what, (most if lower < 0 else min(lower, most), hard))


def _calamine(content: bytes, kind: str) -> dict[str, Any]:
    from python_calamine import CalamineWorkbook, SheetTypeEnum, SheetVisibleEnum

    checked = kind in ("xlsx", "xlsm")
    told, changed = _inside(content) if checked else ({}, {})
    if kind == "ods":
        changed = _inside_ods(content)
    if kind == "xlsb":
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            check_binary(archive)
    content = repacked(content, changed) if changed else content
    book = CalamineWorkbook.from_filelike(io.BytesIO(content))
    sheets = []
    if len(book.sheets_metadata) > SHEETS:
        raise RefusedError(
            f"it holds {len(book.sheets_metadata):,} sheets, and more than {SHEETS:,} are not read. Save the sheets of "
            "readings in several workbooks."
        )
    for meta in book.sheets_metadata:
        if meta.typ != SheetTypeEnum.WorkSheet:
            continue
        if checked and meta.name not in told:
            raise ValueError(f"the part of its sheet {meta.name} is not where it says")
        sheet = book.get_sheet_by_name(meta.name)
        last = sheet.end or (-1, -1)
        _refuse_giant(meta.name, last[0] + 1, last[1] + 1)
        rows = sheet.to_python(skip_empty_area=False)
        merged = [[a[0] + 1, a[1], b[0] + 1, b[1]] for a, b in sheet.merged_cell_ranges or []]
        hidden = meta.visible != SheetVisibleEnum.Visible
        sheets.append(_sheet(meta.name, hidden, rows, merged, *told.get(meta.name, ([], []))))
    return {"sheets": sheets, "saved_at": _saved_at(content)}


def _refuse_giant(name: str, height: int, width: int) -> None:
    if height * width > CELLS or width > WIDEST:
        raise RefusedError(
            f"its sheet “{name}” reaches over {height:,} rows and {width:,} columns, more than any sheet of readings. "
            "Copy the readings alone to a new workbook and save it as .xlsx."
        )


def _sheet(
    name: str, hidden: bool, rows: list[list[Any]], merged: list[list[int]], special: Special, fills: list[Fill]
) -> dict[str, Any]:
    """A sheet as JSON; what is hidden, struck or filled beyond its cells is of no interest."""
    rows = _reaching(rows, [s for s in special if s[2] in _IN_CELLS], name)
    width = len(rows[0]) if rows else 0
    told = {(s[0], s[1]) for s in special if s[2] in _IN_CELLS}  # these say something although their value is blank
    seen = [s for s in special if s[2] not in _ONLY_INSIDE or (s[0] <= len(rows) and s[1] < width)]
    seen = [s for s in seen if s[2] != "struck" or rows[s[0] - 1][s[1]] != "" or (s[0], s[1]) in told]
    seen += [[row, column, "filled", colour] for row, column, colour in that_stand_out(fills, rows)]
    columns = [_column(column) for column in zip(*rows, strict=True)]
    if any(len(value) > LONGEST for column in columns for value in column["values"] if isinstance(value, str)):
        raise RefusedError(
            f"a cell of its sheet “{name}” holds more than {LONGEST:,} characters, which nobody typed. Copy the "
            "readings alone to a new workbook and save it as .xlsx."
        )
    return {"name": name, "hidden": hidden, "rows": len(rows), "columns": columns, "merged": merged, "special": seen}


def _reaching(rows: list[list[Any]], special: Special, name: str) -> list[list[Any]]:
    """The rows, with blank cells added as far as formulas and errors reach: they have no value, and are no blanks."""
    old = len(rows[0]) if rows else 0
    height, width = max([len(rows), *(s[0] for s in special)]), max([old, *(s[1] + 1 for s in special)])
    if (height, width) == (len(rows), old):
        return rows
    _refuse_giant(name, height, width)
    return [row + [""] * (width - old) for row in rows] + [[""] * width for _ in range(height - len(rows))]


def _column(cells: tuple[Any, ...]) -> dict[str, Any]:
    """Distinct values, the row where each is first, and for each cell the row where its value is first."""
    if bool in set(map(type, cells)):  # True equals 1.0
        cells = tuple(_plain(c) if isinstance(c, bool) else c for c in cells)
    first: dict[Any, int] = {}
    same_as = list(map(first.setdefault, cells, itertools.count()))
    return {"values": list(map(_plain, first)), "first": list(first.values()), "same_as": same_as}


def _plain(value: Any) -> Any:
    """A cell as JSON: text, number, or {"at": …}, {"clock": …}, {"seconds": …}."""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, dt.datetime):
        return {"at": value.isoformat()}
    if isinstance(value, dt.date):
        return {"at": dt.datetime.combine(value, dt.time()).isoformat()}
    if isinstance(value, dt.time):
        return {"clock": value.isoformat()}
    if isinstance(value, dt.timedelta):
        return {"seconds": value.total_seconds()}
    return float(value) if isinstance(value, int | float) and math.isfinite(value) else str(value)


def _xls(content: bytes) -> dict[str, Any]:
    import xlrd

    try:
        book = xlrd.open_workbook(file_contents=content, formatting_info=True, logfile=io.StringIO())
    except xlrd.biffh.XLRDError as error:
        if "encrypted" in str(error):
            raise RefusedError(LOCKED) from None
        raise
    return {"sheets": [_xls_sheet(book, sheet) for sheet in book.sheets()], "saved_at": None}


def _xls_sheet(book: Any, sheet: Any) -> dict[str, Any]:
    special: Special = []
    _refuse_giant(sheet.name, sheet.nrows, sheet.ncols)
    rows = [[_xls_cell(book, sheet.cell(r, c), r, c, special) for c in range(sheet.ncols)] for r in range(sheet.nrows)]
    special += [[r + 1, -1, "hidden_row", ""] for r, info in sheet.rowinfo_map.items() if info.hidden]
    special += [[0, c, "hidden_column", ""] for c, info in sheet.colinfo_map.items() if info.hidden]
    special += [[r + 1, c, "comment", " ".join(note.text.split())] for (r, c), note in sheet.cell_note_map.items()]
    merged = [[r1 + 1, c1, r2, c2 - 1] for r1, r2, c1, c2 in sheet.merged_cells]
    struck, fills = looks_in(book, sheet)
    return _sheet(sheet.name, sheet.visibility != 0, rows, merged, special + struck, fills)


def _xls_cell(book: Any, cell: Any, row: int, column: int, special: Special) -> Any:
    import xlrd

    if cell.ctype == xlrd.XL_CELL_ERROR:
        special.append([row + 1, column, "error", xlrd.error_text_from_code.get(cell.value, "#ERROR")])
        return ""
    if cell.ctype == xlrd.XL_CELL_BOOLEAN:
        return bool(cell.value)
    if cell.ctype == xlrd.XL_CELL_DATE:
        try:
            at = xlrd.xldate_as_datetime(cell.value, book.datemode)
        except (ValueError, OverflowError):
            return cell.value
        return at.time() if cell.value < 1 else at
    return cell.value


# ── what only the raw XML of a workbook tells ──
_SAVED = {
    "docProps/core.xml": re.compile(rb"<dcterms:modified[^>]*>([0-9T:.-]{10,26})Z?<"),
    "meta.xml": re.compile(rb"<dc:date>([0-9T:.-]{10,26})Z?<"),  # of OpenDocument
}


def _saved_at(content: bytes) -> str | None:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        told = [form.search(archive.read(part)) for part, form in _SAVED.items() if part in archive.namelist()]
    try:
        return next((dt.datetime.fromisoformat(match[1].decode()).isoformat() for match in told if match), None)
    except ValueError:
        return None


_BOOK = ("xl/workbook.xml", "xl/_rels/workbook.xml.rels")
_STRINGS, _STYLES = "xl/sharedStrings.xml", "xl/styles.xml"


def _inside(content: bytes) -> tuple[dict[str, tuple[Special, list[Fill]]], dict[str, bytes]]:
    """What the XML of each sheet tells, by its name, and the parts that have to be written anew to be read right.

    Raises RefusedError where a cell or text can be read in two ways.
    """
    told, changed, parts = {}, {}, set[str]()
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        _refuse_look_alikes(archive)
        for part in (*_BOOK, _STRINGS, _STYLES):
            if part in archive.namelist() and (xml := straight(raw := archive.read(part))) is not raw:
                changed[part] = xml
        looks = looks_of(archive)
        strings = archive.read(_STRINGS) if _STRINGS in archive.namelist() else b""
        if strings:
            check_texts(changed.get(_STRINGS, strings))
        rich = _rich(strings, looks)
        shown, long = Shown(), _long_texts(strings)
        for name, part in itertools.islice(parts_of_sheets(archive), SHEETS + 1):  # the answer is no beyond
            raw = archive.read(part)
            xml = straight(raw)
            if xml is not raw:
                changed[part] = xml
            check_cells(xml, name)
            for at in _SHARED.findall(xml) if long else ():
                shown.add(long.get(at, 0), 1)
            special, fills = special_cells(xml, looks, rich)
            comments, marked = comments_of(archive, part)
            own = OUR_FILLS if marked else ()
            if name in told or part in parts:
                raise ValueError(f"two of its sheets are one: {name}")
            parts.add(part)
            told[name] = (special + comments, [fill for fill in fills if fill[2] not in own])
    return told, changed


_TEXT_ENDS = re.compile(rb"</(?:\w+:)?si\s*>")
_SHARED = re.compile(
    rb"""<(?:\w+:)?c\s(?=[^<>]*\bt=["']s["'])[^<>]*>(?:<(?:\w+:)?f[^<>]*/>|<(?:\w+:)?f[^<>]*>[^<]*</(?:\w+:)?f>)?"""
    rb"""<(?:\w+:)?v[^<>]*>([0-9]+)<"""
)


def _long_texts(strings: bytes) -> dict[bytes, int]:
    """Lengths of long shared texts by their numbers: a small file may show one of them in very many cells."""
    ends = [0, *(found.end() for found in _TEXT_ENDS.finditer(strings))]
    return {b"%d" % i: size for i, size in enumerate(b - a for a, b in itertools.pairwise(ends)) if size > LONG}


def _inside_ods(content: bytes) -> dict[str, bytes]:
    """The part of cells, where it has to be written anew to be read right."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        raw = archive.read("content.xml")
    xml = straight_document(raw)
    return {} if xml == raw else {"content.xml": xml}


def _refuse_look_alikes(archive: zipfile.ZipFile) -> None:
    """The fast reader finds parts whatever their capitals and slashes are; what is checked has to be what it reads."""
    usual = {name.lower(): name for name in (*_BOOK, _STRINGS, _STYLES)}
    seen: set[str] = set()
    for name in archive.namelist():
        plain = name.replace("\\", "/").lower()
        if plain in seen or usual.get(plain, name) != name:
            raise ValueError(f"its part {name} stands for another")
        seen.add(plain)


def _rich(strings: bytes, looks: dict[str, Look]) -> dict[str, RichText]:
    """Shared strings of which a part may be struck through: by itself, or as its cell is."""
    struck = any(look.struck for look in looks.values())
    return rich_texts(strings) if strings and (struck or b"strike" in strings) else {}
