"""untidy-month/: the stock of the depot, tested in September before it goes out, seven sheets in as many layouts.

F. Mitten measured, and left gaps.
  2026-09-22  headings in two rows, a section row for each shelf; no access to two boards, two ramps left out, one test
              that nobody signed; one board does not trip
  2026-09-29  text with semicolons, decimal commas and day first
G. Wreath measured, and comes near a doubt in two ways.
  2026-09-24  a sheet for each shelf and no column of sites; the instrument shows the longer of both phases, typed twice
  2026-10-01  seconds and whole mA; a carton of new boards, which the display cannot tell apart, among older ones
H. Ember's readings leave a weak doubt.
  2026-10-06  text with tabs, dates without times, whole milliseconds; rows 4 to 7 stand again in rows 19 to 22
J. Tinsel's readings leave strong ones.
  2026-10-08  the newest first; the readings of rows 5 to 16 stand again, in reverse order, in rows 20 to 31
  2026-10-13  180° is 0° and 0.4 ms on 20 of 26 devices
"""

from __future__ import annotations

import csv
import datetime as dt
from pathlib import Path
from typing import Any

import numpy as np
from openpyxl import Workbook
from openpyxl.styles import Font

from making import simulator, workbook
from making.market import DEPOT_TECHNICIANS, LEADS, SHELVES

MITTEN, WREATH, EMBER, TINSEL = DEPOT_TECHNICIANS
READINGS = ("zero", "half", "ramp")
Row = dict[str, Any]


def write(folder: Path) -> None:
    """Write the month into `folder`/untidy-month."""
    random = np.random.RandomState(20260922)
    month = folder / "untidy-month"
    month.mkdir(exist_ok=True)
    mitten_gaps(month / "2026-09-22-mitten.xlsx", random)
    mitten_text(month / "2026-09-29-mitten.csv", random)
    wreath_longer(month / "2026-09-24-wreath.xlsx", random)
    wreath_carton(month / "2026-10-01-wreath.xlsx", random)
    ember(month / "2026-10-06-ember.csv", random)
    tinsel_reversed(month / "2026-10-08-tinsel.xlsx", random)
    tinsel_constant(month / "2026-10-13-tinsel.csv", random)


def mitten_gaps(path: Path, random: simulator.Random) -> None:
    """Two heading rows, section rows, gaps."""
    rows = _rows(random, 28, 1, dt.datetime(2026, 9, 22, 8, 15))
    rows[3] |= dict.fromkeys(READINGS) | {"result": None, "remark": "no access, behind the pallets"}
    rows[4] |= dict.fromkeys(READINGS) | {"result": None, "remark": "no access"}
    rows[9]["ramp"] = rows[10]["ramp"] = None
    rows[15]["who"] = None
    rows[20] |= {"half": "no trip", "ramp": "no trip", "result": "fail", "remark": "taken out of service"}
    book, sheet = _book("Depot")
    sheet.append(["Stock of the depot, before it goes out"])
    sheet.append([])
    sheet.append(["Asset", "Description", "IΔn (mA)", "Visual", "Trip time 1× (ms)", None, "Ramp (mA)", "Result",
                  "Tested by", "Instrument", "Tested at", "Remarks"])  # fmt: skip
    sheet.append([None] * 4 + ["0°", "180°"])
    sheet.merge_cells("E3:F3")
    for column in "ABCDGHIJKL":
        sheet.merge_cells(f"{column}3:{column}4")
    for shelf, some in ((SHELVES[0], rows[:14]), (SHELVES[1], rows[14:])):
        sheet.append([shelf])
        for r in some:
            sheet.append([r["asset"], r["lead"], 30, "pass", r["zero"], r["half"], r["ramp"], r["result"], r["who"] and
                          MITTEN, "Meter F", r["at"], r["remark"]])  # fmt: skip
    _save(book, path, dt.datetime(2026, 9, 22, 17, 5), 3, 4)


def mitten_text(path: Path, random: simulator.Random) -> None:
    """Semicolons, decimal commas, day first."""
    rows = _rows(random, 24, 101, dt.datetime(2026, 9, 29, 9, 5))
    heads = ("Asset", "Site", "IΔn", "0° 1x (ms)", "180° 1x (ms)", "Ramp (mA)", "Visual", "P/F", "Tester", "Date")
    lines = [
        [r["asset"], SHELVES[2], "30 mA", *(f"{r[k]:.1f}".replace(".", ",") for k in READINGS), "ok", "P", MITTEN,
         f"{r['at']:%d.%m.%Y %H:%M}"]
        for r in rows
    ]  # fmt: skip
    _text(path, heads, lines, ";")


def wreath_longer(path: Path, random: simulator.Random) -> None:
    """A sheet for each shelf; the longer of both phases, typed twice."""
    book = None
    for n, shelf in enumerate(SHELVES[3:5]):
        rows = _rows(random, 22, 201 + 50 * n, dt.datetime(2026, 9, 24, 8 + 4 * n, 0))
        if book is None:
            book, sheet = _book(shelf)
        else:
            sheet = book.create_sheet(shelf)
        sheet.append(["Date", "Tested by", "Instrument", "Asset", "Item", "Rating (mA)", "Visual", "Time 0° (ms)",
                      "Time 180° (ms)", "Trip current (mA)", "Result"])  # fmt: skip
        for r in rows:
            longer = max(r["zero"], r["half"])
            sheet.append([r["at"], WREATH, "Meter G", r["asset"], r["lead"], 30, "ok", longer, longer,
                          r["ramp"], "pass"])  # fmt: skip
    assert book is not None
    _save(book, path, dt.datetime(2026, 9, 24, 18, 20), 1)


def wreath_carton(path: Path, random: simulator.Random) -> None:
    """Seconds; sixteen new boards among older ones, alike to the digits shown."""
    rows = _rows(random, 34, 301, dt.datetime(2026, 10, 1, 8, 30))
    for r in rows[10:26]:
        new = np.array([24.2, 24.3, 22.1]) + random.standard_normal(3) * [0.45, 0.45, 0.2]
        r.update(zip(READINGS, map(float, new), strict=True), lead="four-outlet board, new")
    book, sheet = _book("Rack")
    sheet.append(["Asset", "Item", "Site", "Rating (mA)", "Visual", "Trip time 0° (s)", "Trip time 180° (s)",
                  "Ramp (mA)", "Result", "Tested by", "Instrument", "Tested at"])  # fmt: skip
    for r in rows:
        sheet.append([r["asset"], r["lead"], SHELVES[5], 30, "pass", round(r["zero"] / 1000, 3),
                      round(r["half"] / 1000, 3), round(r["ramp"]), "pass", WREATH, "Meter H", r["at"]])  # fmt: skip
    _save(book, path, dt.datetime(2026, 10, 1, 16, 45), 1)


def ember(path: Path, random: simulator.Random) -> None:
    """Tabs, dates only, whole milliseconds; four rows stand twice."""
    rows = _rows(random, 26, 401, dt.datetime(2026, 10, 6, 8, 0))
    for source, target in zip(range(2, 6), range(17, 21), strict=True):
        rows[target] |= {k: rows[source][k] for k in READINGS}
    heads = ("Asset", "Location", "Site", "IΔn (mA)", "1x 0° ms", "1x 180° ms", "ramp mA", "visual", "pass/fail",
             "tested by", "instrument", "date")  # fmt: skip
    lines = [
        [r["asset"], f"bay {i // 6 + 1}", SHELVES[6], "30", *(f"{r[k]:.0f}" for k in READINGS), "pass", "pass", EMBER,
         "Meter J", f"{r['at']:%Y-%m-%d}"]
        for i, r in enumerate(rows)
    ]  # fmt: skip
    _text(path, heads, lines, "\t")


def tinsel_reversed(path: Path, random: simulator.Random) -> None:
    """The newest first; twelve rows stand again in reverse order."""
    rows = _rows(random, 30, 501, dt.datetime(2026, 10, 8, 8, 10))[::-1]
    for source, target in zip(range(3, 15), range(29, 17, -1), strict=True):
        rows[target] |= {k: rows[source][k] for k in READINGS}
    book, sheet = _book("Week 41")
    sheet.append(["Tested at", "Asset", "Site", "Type", "IΔn (mA)", "1× 0° (ms)", "1× 180° (ms)", "Ramp (mA)",
                  "Look-over", "Result", "Technician", "Instrument"])  # fmt: skip
    for r in rows:
        sheet.append([r["at"], r["asset"], SHELVES[7], "II", 30, *(r[k] for k in READINGS), "pass", "pass", TINSEL,
                      "Meter K"])  # fmt: skip
    _save(book, path, dt.datetime(2026, 10, 8, 17, 30), 1)


def tinsel_constant(path: Path, random: simulator.Random) -> None:
    """180° is 0° and a constant."""
    rows = _rows(random, 26, 601, dt.datetime(2026, 10, 13, 8, 20))
    for r in rows[3:23]:
        r["half"] = round(r["zero"] + 0.4, 1)
    heads = ("Asset", "Site", "Rated IΔn (mA)", "Visual", "1× 0° (ms)", "1× 180° (ms)", "Ramp (mA)", "Result",
             "Tested by", "Instrument", "Tested at")  # fmt: skip
    lines = [
        [r["asset"], SHELVES[8], "30", "pass", *(f"{r[k]:.1f}" for k in READINGS), "pass", TINSEL, "Meter K",
         f"{r['at']:%Y-%m-%d %H:%M}"]
        for r in rows
    ]  # fmt: skip
    _text(path, heads, lines, ",")


def _rows(random: simulator.Random, n: int, first: int, start: dt.datetime) -> list[Row]:
    """Honest rows in the order in which they were tested."""
    readings = simulator.visit(random, simulator.devices(random, np.full(n, 30.0)))
    minutes = simulator.minutes(random, n)
    return [
        {
            "asset": f"D-{first + i:04d}",
            "lead": LEADS[i % len(LEADS)],
            "zero": float(readings["trip_time_1x_0"][i]),
            "half": float(readings["trip_time_1x_180"][i]),
            "ramp": float(readings["trip_current"][i]),
            "result": "pass",
            "who": True,
            "at": start + dt.timedelta(minutes=int(minutes[i])),
            "remark": None,
        }
        for i in range(n)
    ]


def _book(title: str) -> tuple[Workbook, Any]:
    book = Workbook()
    sheet = book.worksheets[0]
    sheet.title = title
    return book, sheet


def _save(book: Workbook, path: Path, saved_at: dt.datetime, *bold: int) -> None:
    for sheet in book.worksheets:
        for cells in sheet.iter_rows():
            for cell in cells:
                if cell.row in bold:
                    cell.font = Font(bold=True)
                if isinstance(cell.value, dt.datetime):
                    cell.number_format = "yyyy-mm-dd hh:mm"
    workbook.save(book, path, saved_at)


def _text(path: Path, heads: tuple[str, ...], lines: list[list[str]], between: str) -> None:
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, delimiter=between, lineterminator="\n")
        writer.writerow(heads)
        writer.writerows(lines)
