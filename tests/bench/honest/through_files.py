"""A month of the second model written as files and audited whole."""

from __future__ import annotations

import csv
import io
import re
import sys
import tempfile
import zipfile
from datetime import date, datetime
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[3]))
sys.path.insert(0, str(Path(__file__).parent))
from habits import Files, Sheets
from people import Row

from rcdcheck import pipeline
from rcdcheck.options import Options

AS_OF = date(2026, 11, 25)


def doubts_and_notes(files: Files) -> tuple[set[str], set[str]]:
    """Codes of the doubts, and of the notes on credibility, that one month raises."""
    with tempfile.TemporaryDirectory() as folder:
        paths = [write(sheets, Path(folder) / name) for name, sheets in files.items()]
        found = pipeline.run([str(p) for p in paths], Options(as_of=AS_OF)).findings
    doubt = found["severity"] == "doubt"
    return set(found.loc[doubt, "code"]), set(found.loc[~doubt & found["evidence"].notna(), "code"])


def write(sheets: Sheets, path: Path) -> Path:
    """A CSV, or a workbook whose cells `=FORMULA|VALUE` are formulas with their saved values."""
    if path.suffix == ".csv":
        (rows,) = sheets.values()
        path.write_text(_csv(rows), encoding="utf-8")
        return path
    import openpyxl

    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    saved: dict[str, str] = {}  # value of each formula, by formula
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        heads = _heads(rows)
        sheet.append(heads)
        for row in rows:
            sheet.append([_cell(row.get(head, ""), saved) for head in heads])
    book.save(path)
    _patch(path, saved, datetime(2026, 6, 1, 9, 0) if "june" in path.stem else datetime(2026, 11, 24, 17, 0))
    return path


def _cell(text: str, saved: dict[str, str]) -> str | float:
    if text.startswith("="):
        formula, value = text.split("|")
        saved[formula[1:]] = value
        return formula
    return float(text) if text.replace(".", "", 1).isdigit() else text


def _patch(path: Path, saved: dict[str, str], at: datetime) -> None:
    """Give each formula the value that a spreadsheet saves beside it, and the book the day on which it was saved."""
    with zipfile.ZipFile(path) as book:
        parts = {name: book.read(name).decode() for name in book.namelist()}
    for name, text in parts.items():
        if "worksheets/" in name and saved:
            parts[name] = re.sub(
                r"<f>([^<]*)</f><v\s*(?:/>|></v>)", lambda m: f"<f>{m[1]}</f><v>{saved[m[1]]}</v>", text
            )
    core = "docProps/core.xml"
    parts[core] = re.sub(r"(\d{4}-\d\d-\d\dT[\d:]+Z)", f"{at:%Y-%m-%dT%H:%M:%SZ}", parts[core])
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as book:
        for name, text in parts.items():
            book.writestr(name, text)


def _csv(rows: list[Row]) -> str:
    text = io.StringIO()
    writer = csv.DictWriter(text, _heads(rows))
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def _heads(rows: list[Row]) -> list[str]:
    return list(dict.fromkeys(k for r in rows for k in r))
