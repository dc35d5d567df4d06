"""The child process that opens a workbook: `python -m rcdcheck.intake.reader KIND < workbook > answer.json`.

Workbooks are built by strangers, and the libraries that open them can be made to ask for all memory there is. The child has a
cap on memory; if it dies, the parent says so and goes on. It imports no pandas, and answers in JSON.
"""

from __future__ import annotations

import datetime as dt
import io
import json
import re
import sys
import zipfile
from typing import Any

MEMORY = 3 << 30  # bytes of address space


def main() -> None:
    """Read a workbook from standard input and answer on standard output."""
    _cap_memory()
    content = sys.stdin.buffer.read()
    kind = sys.argv[1]
    try:
        answer = _xls(content) if kind == "xls" else _calamine(content, kind)
    except Exception as error:
        answer = {"error": f"{type(error).__name__}: {error}"[:300]}
    json.dump(answer, sys.stdout)


def _cap_memory() -> None:
    try:
        import resource
    except ImportError:  # not on every system; the clock of the parent remains
        return
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))


def _calamine(content: bytes, kind: str) -> dict[str, Any]:
    from python_calamine import CalamineWorkbook, SheetTypeEnum, SheetVisibleEnum

    book = CalamineWorkbook.from_filelike(io.BytesIO(content))
    sheets = []
    for meta in book.sheets_metadata:
        if meta.typ != SheetTypeEnum.WorkSheet:
            continue
        sheet = book.get_sheet_by_name(meta.name)
        rows = sheet.to_python(skip_empty_area=False)
        merged = [[a[0] + 1, a[1], b[0] + 1, b[1]] for a, b in sheet.merged_cell_ranges or []]
        hidden = meta.visible != SheetVisibleEnum.Visible
        sheets.append({"name": meta.name, "hidden": hidden, "rows": len(rows), "columns": _columns(rows), "merged": merged})
    extra = _inside(content) if kind in ("xlsx", "xlsm") else {}
    for sheet in sheets:
        sheet["special"] = extra.get("special", {}).get(sheet["name"], [])
    return {"sheets": sheets, "saved_at": _saved_at(content)}


def _columns(rows: list[list[Any]]) -> list[dict[str, Any]]:
    """Each column as its distinct values and a code for each row."""
    out = []
    for column in zip(*rows, strict=True):
        codes: dict[tuple[type, Any], int] = {}
        places = [codes.setdefault((v.__class__, v), len(codes)) for v in column]
        out.append({"values": [_plain(v) for _, v in codes], "codes": places})
    return out


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
    return float(value) if isinstance(value, int | float) else str(value)


def _xls(content: bytes) -> dict[str, Any]:
    import xlrd

    book = xlrd.open_workbook(file_contents=content, formatting_info=True, logfile=io.StringIO())
    sheets = []
    for sheet in book.sheets():
        special: list[list[Any]] = []
        rows = [[_xls_cell(book, sheet.cell(r, c), r, c, special) for c in range(sheet.ncols)] for r in range(sheet.nrows)]
        special += [[r + 1, -1, "hidden_row", ""] for r, info in sheet.rowinfo_map.items() if info.hidden and r < sheet.nrows]
        special += [[0, c, "hidden_column", ""] for c, info in sheet.colinfo_map.items() if info.hidden and c < sheet.ncols]
        special += [[r + 1, c, "comment", note.text] for (r, c), note in sheet.cell_note_map.items()]
        merged = [[r1 + 1, c1, r2, c2 - 1] for r1, r2, c1, c2 in sheet.merged_cells]
        sheets.append({"name": sheet.name, "hidden": sheet.visibility != 0, "rows": len(rows), "columns": _columns(rows),
                       "merged": merged, "special": special})  # fmt: skip
    return {"sheets": sheets, "saved_at": None}


def _xls_cell(book: Any, cell: Any, row: int, column: int, special: list[list[Any]]) -> Any:
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
def _saved_at(content: bytes) -> str | None:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            core = archive.read("docProps/core.xml")
    except (KeyError, zipfile.BadZipFile):
        return None
    match = re.search(rb"<dcterms:modified[^>]*>([0-9T:.-]{10,26})Z?<", core)
    return match[1].decode() if match else None


def _inside(content: bytes) -> dict[str, Any]:
    """Formulas, error texts, comments, hidden rows and columns, by sheet name: [row, column, kind, text]."""
    from rcdcheck.intake.sheet_xml import comments_of, parts_of_sheets, special_cells

    out: dict[str, list[list[Any]]] = {}
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        for name, part in parts_of_sheets(archive):
            out[name] = special_cells(archive.read(part)) + comments_of(archive, part)
    return {"special": out}


if __name__ == "__main__":
    main()
