"""messy-day.xlsx: sheets of one evening, typed by tired people, with the slips that they are known for.

Each slip is written where it is made. A sheet is a list of rows; rows of the workbook start below its titles.

North row   two title lines, headings in two rows with merged groups, a section row, totals, a signature
Rink side   one heading row; a column in seconds under ms; a formula, an error, a hidden row
Kitchens    German headings, decimal commas as text
Notes       no table of tests at all
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
from openpyxl import Workbook
from openpyxl.styles import Alignment, Font
from openpyxl.worksheet.worksheet import Worksheet

from making import simulator, workbook
from making.market import LEADS, STALLS, TECHNICIANS

DAY = dt.date(2026, 11, 20)
SAVED_AT = dt.datetime(2026, 11, 20, 22, 15)
CALIBRATION = dt.date(2027, 4, 30)

Row = list[str | float | None]


def write(folder: Path) -> None:
    """Write messy-day.xlsx into `folder`."""
    random = np.random.RandomState(20261121)
    book = Workbook()
    book.remove(book.worksheets[0])
    north_row(book.create_sheet("North row"), random)
    rink_side(book.create_sheet("Rink side"), random)
    kitchens(book.create_sheet("Kitchens"), random)
    notes(book.create_sheet("Notes"))
    workbook.save(book, folder / "messy-day.xlsx", SAVED_AT, {(2, "H9"): "31.8"})


def north_row(sheet: Worksheet, random: simulator.Random) -> None:
    """Two-row headings; one device in three outlets; most slips of typing."""
    sheet["A1"] = "Winter market: temporary power"
    sheet.merge_cells("A1:O1")
    sheet["A2"] = "Residual current devices, tested before opening"
    upper = (
        "Asset", "Description", "Outlet", "IΔn (mA)", "Visual", "Test button", "Trip time 1× (ms)", None,
        "Trip time 5× (ms)", None, "Ramp (mA)", "Result", "Tested by", "Date", "Remarks",
    )  # fmt: skip
    sheet.append([])
    sheet.append(upper)
    sheet.append([None] * 6 + ["0°", "180°", "0°", "180°"])
    sheet.merge_cells("G4:H4")
    sheet.merge_cells("I4:J4")
    for column in "ABCDEFKLMNO":
        sheet.merge_cells(f"{column}4:{column}5")
    sheet.append(["Stalls 1 to 14"])  # a section row
    for row in _rows(random, 16, "N"):
        device, description, *results, remark = row
        sheet.append([device, description, None, *results, TECHNICIANS[2], "20.11.2026", remark])

    sheet["G7"] = 2840  # the decimal point left out: 28.4, or 284.0?
    sheet["H8"] = "28,4"  # a comma where the others have a point
    sheet["H9"] = "ditto"  # says "as above", and nothing was read off an instrument
    sheet["G10"] = "<40"  # copied from the limit: declared, not measured
    sheet["H11"], sheet["L11"] = ">300", "fail"  # the end of the instrument's range
    sheet["G12"] = sheet["H12"] = "no trip"  # never trips at rated, and is declared a pass
    sheet["I12"] = sheet["J12"] = "OL"  # an instrument's own sign for the same
    sheet["K12"] = "no trip"
    sheet.merge_cells("A13:A15")  # one board with three outlets, its name written once
    sheet.merge_cells("B13:B15")
    for n in (1, 2, 3):
        sheet[f"C{12 + n}"] = n
    sheet["H15"] = None  # outlet 3 was never tested at 180°
    sheet["E16"] = "cracked lid"  # a defect word in place of a pass or a fail
    sheet["G17"] = "26.3 retested"  # a number with a note behind it
    for n in range(1, 16):  # the row above typed in twice
        sheet.cell(19, n, sheet.cell(18, n).value)
    sheet["A20"] = dt.datetime(2026, 3, 3)  # asset 3-Mar, which the spreadsheet took for a date
    sheet["A20"].number_format = "d-mmm"

    sheet.append(["Total tested", 16])
    sheet.append([])
    sheet.append(["Signed: C. Lantern", None, None, None, None, None, "Checked by:"])
    _bold(sheet, 4, 5)


def rink_side(sheet: Worksheet, random: simulator.Random) -> None:
    """One heading row; seconds under ms; formula, error, hidden row; a pass that the readings contradict."""
    sheet.append(["Rink side, boards and leads"])
    sheet.append([])
    sheet.append(
        ["Asset", "Description", "Rating", "Visual", "Button", "0° 1x (ms)", "180° 1x (ms)", "0° 5x (ms)",
         "180° 5x (ms)", "Ramp mA", "P/F", "Tester", "Instrument", "Cal due", "Date", "Comments"]
    )  # fmt: skip
    for row in _rows(random, 14, "R"):
        device, description, rated, *results, remark = row
        sheet.append(
            [
                device,
                description,
                f"{rated:.0f}mA",
                *results,
                TECHNICIANS[3],
                "Meter D",
                CALIBRATION,
                DAY,
                remark,
            ]
        )
    for line in range(4, 18):  # 180° at five times, typed in seconds although the heading says ms
        cell = sheet[f"I{line}"]
        cell.value = round(float(str(cell.value)) / 1000, 4)
    sheet["H9"] = "=H8+2.1"  # a reading that is computed from the one above
    sheet["G10"] = "#N/A"  # stored as an error: a look-up that found nothing
    sheet["F11"] = "2O.4"  # a letter O for a zero
    sheet.row_dimensions[12].hidden = True  # a row that nobody sees, with a slow reading in it
    sheet["G12"], sheet["K12"] = 388.2, "F"
    sheet["G13"] = 341.0  # over 300 ms, and declared a pass
    sheet["G14"] = None  # not tested at 180°
    sheet["P14"] = "ran out of time"
    sheet["J15"] = 34.2  # lets go above its rated current
    sheet["K15"] = "F"
    sheet["A18"] = "Tested: 14"
    sheet["A20"] = "Signature"
    _bold(sheet, 3)


def kitchens(sheet: Worksheet, random: simulator.Random) -> None:
    """German headings, numbers as text with decimal commas, one device that does not trip."""
    sheet.append(
        ["Gerät", "Bezeichnung", "IΔn (mA)", "Sichtprüfung", "Prüftaste", "Auslösezeit 1x 0° (ms)",
         "Auslösezeit 1x 180° (ms)", "Auslösestrom (mA)", "Ergebnis", "Prüfer", "Messgerät",
         "Datum", "Bemerkung"]
    )  # fmt: skip
    for row in _rows(random, 10, "K"):
        device, description, rated, _, _, at_0, at_180, _, _, ramp, _, remark = row
        typed = (f"{float(str(x)):.1f}".replace(".", ",") for x in (at_0, at_180, ramp))
        sheet.append(
            [
                device,
                description,
                rated,
                "i.O.",
                "i.O.",
                *typed,
                "bestanden",
                TECHNICIANS[4],
                "Meter E",
                "20.11.2026",
                remark,
            ]
        )
    sheet["G5"] = "keine Auslösung"  # did not trip
    sheet["H5"] = "-"
    sheet["I5"] = "nicht bestanden"
    _bold(sheet, 1)


def notes(sheet: Worksheet) -> None:
    """A sheet without a table."""
    sheet["A1"] = "Bring more felt pads for the boards at the rink"
    sheet["A2"] = "Kettle lead at the office is not ours"


def _rows(random: simulator.Random, n: int, letter: str) -> list[Row]:
    """Device, description, rated, visual, button, five readings, result, remark: all in order as yet."""
    readings = simulator.visit(random, simulator.devices(random, np.full(n, 30.0)))
    rows: list[Row] = []
    for i in range(n):
        device, description = f"{letter}{i + 1:02d}", f"{LEADS[i % len(LEADS)]}, {STALLS[i % len(STALLS)]}"
        shown = [float(readings[name][i]) for name in simulator.READINGS]
        rows.append([device, description, 30, "pass", "pass", *shown, "pass", None])
    return rows


def _bold(sheet: Worksheet, *rows: int) -> None:
    for row in rows:
        for cell in sheet[row]:
            cell.font = Font(bold=True)
            cell.alignment = Alignment(wrap_text=True, vertical="top")
    sheet.column_dimensions["B"].width = 30
