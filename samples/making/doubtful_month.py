"""doubtful-month/: a sheet a working day for four weeks, a technician for each weekday; and the year before.

Four technicians measured. The Friday sheets (E. Sleighbell) did not come about by measuring alone:
  2026-10-23  the readings of rows 5 to 13 stand again in rows 17 to 25
  2026-10-30  180° repeats 0° on 15 of 25 devices, and the ramp shows one value down ten rows
  2026-11-06  25 devices in under nine minutes, in a workbook last saved two days before
  2026-11-13  the readings of 16 devices are those of a year ago
"""

from __future__ import annotations

import csv
import datetime as dt
from pathlib import Path

import numpy as np
from openpyxl import Workbook
from openpyxl.styles import Font

from making import simulator, workbook
from making.market import AREAS, INSTRUMENTS, LEADS, TECHNICIANS

FIRST = dt.date(2026, 10, 19)  # a Monday
A_YEAR = dt.timedelta(days=364)
PER_SHEET = 25
HEADINGS = (
    "Asset", "Description", "Site", "Portable or fixed", "Environment", "Rated IΔn (mA)", "RCD type",
    "Visual", "Test button", "1× 0° (ms)", "1× 180° (ms)", "Ramp (mA)", "Result", "Tested by", "Instrument",
    "Calibration due", "Tested at",
)  # fmt: skip
AT_0, AT_180, RAMP, RESULT = (HEADINGS.index(h) for h in ("1× 0° (ms)", "1× 180° (ms)", "Ramp (mA)", "Result"))
READINGS = slice(AT_0, RAMP + 1)
TESTED_BY, INSTRUMENT, CALIBRATION, TESTED_AT = range(len(HEADINGS) - 4, len(HEADINGS))

Cell = str | float | dt.datetime | dt.date
Sheet = list[list[Cell]]


def write(folder: Path) -> None:
    """Write the month and the visit before it into `folder`/doubtful-month."""
    random = np.random.RandomState(20261019)
    month = folder / "doubtful-month"
    month.mkdir(exist_ok=True)
    days = [FIRST + dt.timedelta(days=i) for i in range(28) if i % 7 < 5]
    fleet = simulator.devices(random, np.full(len(days) * PER_SHEET, 30.0))
    before = [_sheet(random, fleet, i, day - A_YEAR, who=i % 2) for i, day in enumerate(days)]
    now = [_sheet(random, fleet, i, day, who=i % 5) for i, day in enumerate(days)]
    _let_some_fail(random, before + [sheet for i, sheet in enumerate(now) if i % 5 != 4])
    copy_block(now[4])
    copy_phase_and_fill_down(now[9])
    hurry(now[14])
    copy_last_year(now[19], before[19])
    for day, sheet in zip(days, now, strict=True):
        saved_at = dt.datetime.combine(day, dt.time(17, 40))
        if day == dt.date(2026, 11, 6):
            saved_at -= dt.timedelta(days=2)
        who = str(sheet[0][TESTED_BY]).split()[-1].lower()
        _write_workbook(month / f"{day}-{who}.xlsx", sheet, saved_at)
    _write_text(month / "earlier-visit.csv", [row for sheet in before for row in sheet])


def copy_block(sheet: Sheet) -> None:
    """Nine rows of readings stand again further down."""
    for source, target in zip(range(9), range(12, 21), strict=True):
        sheet[target][READINGS] = sheet[source][READINGS]


def copy_phase_and_fill_down(sheet: Sheet) -> None:
    """180° repeats 0° on fifteen devices; one ramp current is drawn down ten rows."""
    for row in sheet[4:19]:
        row[AT_180] = row[AT_0]
    for row in sheet[12:22]:
        row[RAMP] = sheet[12][RAMP]


def hurry(sheet: Sheet) -> None:
    """A test every twenty seconds."""
    start = sheet[0][TESTED_AT]
    assert isinstance(start, dt.datetime)
    for i, row in enumerate(sheet):
        row[TESTED_AT] = start + dt.timedelta(minutes=i * 20 // 60)


def copy_last_year(sheet: Sheet, before: Sheet) -> None:
    """Sixteen devices show what they showed a year ago."""
    for row, old in zip(sheet[3:19], before[3:19], strict=True):
        row[READINGS] = old[READINGS]


def _sheet(random: simulator.Random, fleet: simulator.Devices, number: int, day: dt.date, who: int) -> Sheet:
    first = number * PER_SHEET
    readings = simulator.visit(random, fleet.part(slice(first, first + PER_SHEET)))
    start = dt.datetime.combine(day, dt.time(8, 10 + random.randint(30)))
    minutes = simulator.minutes(random, PER_SHEET)
    due = dt.date(day.year + 1, 3, 1) + dt.timedelta(days=31 * who)
    return [
        [
            f"M-{first + i + 1:04d}", LEADS[(first + i) % len(LEADS)], AREAS[number // 2], "portable", "hire",
            30.0, "II", "pass", "pass",
            *(float(readings[r][i]) for r in ("trip_time_1x_0", "trip_time_1x_180", "trip_current")),
            "pass", TECHNICIANS[who], INSTRUMENTS[who], due, start + dt.timedelta(minutes=int(minutes[i])),
        ]
        for i in range(PER_SHEET)
    ]  # fmt: skip


def _let_some_fail(random: simulator.Random, sheets: list[Sheet]) -> None:
    """About 3 % of devices, as in well-kept stock: no trip 60 %, slow 15 %, high on the ramp 25 %."""
    for row in (row for sheet in sheets for row in sheet):
        if random.random_sample() >= 0.03:
            continue
        kind = random.random_sample()
        if kind < 0.6:
            row[AT_180], row[RAMP] = "no trip", "no trip"
        elif kind < 0.75:
            row[AT_180] = round(float(301 + 500 * random.random_sample()), 1)
        else:
            row[RAMP] = round(float(31 + 20 * random.random_sample()), 1)
        row[RESULT] = "fail"


def _write_workbook(path: Path, sheet: Sheet, saved_at: dt.datetime) -> None:
    book = Workbook()
    page = book.worksheets[0]
    page.title = "Tests"
    page.append(["Winter market, temporary power: residual current devices tested"])
    page.append([f"Area: {sheet[0][2]}"])
    page.append([])
    page.append(HEADINGS)
    for row in sheet:
        page.append(row)
    for cell in page[4]:
        cell.font = Font(bold=True)
    for cell in page["Q"][4:]:
        cell.number_format = "yyyy-mm-dd hh:mm"
    page.freeze_panes = "A5"
    page.column_dimensions["B"].width = page.column_dimensions["Q"].width = 18
    workbook.save(book, path, saved_at)


def _write_text(path: Path, rows: Sheet) -> None:
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(HEADINGS)
        writer.writerows([_text(cell) for cell in row] for row in rows)


def _text(cell: Cell) -> str:
    if isinstance(cell, dt.datetime):
        return cell.strftime("%Y-%m-%d %H:%M")
    return f"{cell:.1f}" if isinstance(cell, float) and cell != 30.0 else str(cell).removesuffix(".0")
