"""How the second model of honest work fares: `python tests/bench/honest/measure.py [--files 10] [--only WORDS]`.

Every month goes through files, intake and the whole audit. Printed for each habit: how many months had a doubt, and
which doubts and notes; then how many of the invented months were doubted.
"""

from __future__ import annotations

import argparse
import csv
import io
import re
import sys
import tempfile
import time
import zipfile
import zlib
from collections import Counter
from collections.abc import Sequence
from datetime import date, datetime
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[3]))
sys.path.insert(0, str(Path(__file__).parent))
from habits import HABITS, Files, Sheets
from inventions import STYLES
from people import Row

from rcdcheck import pipeline
from rcdcheck.records import Options

AS_OF = date(2026, 11, 25)


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    parser.add_argument("--files", type=int, default=10, help="months of each habit and style")
    parser.add_argument("--only", default="", help="habits and styles that have these words")
    parser.add_argument("--devices", type=int, default=50, help="devices of an invented sheet")
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args(arguments)
    began, months, doubted = time.monotonic(), 0, 0
    for habit in HABITS:
        if chosen.only in habit.name:
            count = tally(habit.name, lambda rng, make=habit.make: make(rng), chosen.files, chosen.seed)
            months, doubted = months + chosen.files, doubted + count["doubted"]
            say(habit.name, count, chosen.files, expected=habit.notes)
    sys.stdout.write(f"honest months: {doubted} of {months} doubted, {time.monotonic() - began:.0f} s\n")
    for name, style in STYLES.items():
        if chosen.only in name:
            count = tally(name, lambda rng, make=style: make(rng, chosen.devices), chosen.files, chosen.seed)
            say(f"INVENTED {name}", count, chosen.files)


def say(name: str, count: Counter[str], files: int, expected: tuple[str, ...] = ()) -> None:
    """One line a habit."""
    codes = ", ".join(f"{code} {k}" for code, k in sorted(count.items()) if code != "doubted")
    stray = sorted({c.split()[1] for c in count if c.startswith("note ")} - set(expected))
    also = f" | notes not foreseen: {', '.join(stray)}" if stray else ""
    sys.stdout.write(f"{count['doubted']:3d} of {files} | {name} | {codes}{also}\n")
    sys.stdout.flush()


def tally(name: str, make, files: int, seed: int) -> Counter[str]:  # type: ignore[no-untyped-def]
    """Months doubted, and months with each code of scrutiny."""
    count: Counter[str] = Counter()
    for i in range(files):
        rng = np.random.default_rng([seed, zlib.crc32(name.encode()), i])
        with tempfile.TemporaryDirectory() as folder:
            found = audit(make(rng), Path(folder))
        count.update(found)
        count["doubted"] += any(code.startswith("doubt ") for code in found)
    return count


def audit(files: Files, folder: Path) -> set[str]:
    """Doubts, and notes of scrutiny, that one month raises."""
    paths = [write(sheets, folder / name) for name, sheets in files.items()]
    answer = pipeline.run([str(p) for p in paths], Options(as_of=AS_OF))
    found = answer.findings
    weighed = found["evidence"].notna()
    said = set((found["severity"] + " " + found["code"])[(found["severity"] == "doubt") | weighed])
    return said | set("error " + found.loc[found["severity"] == "error", "code"])


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


if __name__ == "__main__":
    main()
