"""Workbooks: each cell at its address and of its kind, and what only a closer look shows."""

from __future__ import annotations

import datetime as dt
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import xlwt
from files_made import (
    frame,
    ods,
    only_sheet,
    opened,
    plain_workbook,
    repacked,
    saved,
    special,
    worksheet,
    xls,
    xlsb,
)
from openpyxl import Workbook
from openpyxl.comments import Comment

from rcdcheck.findings import Findings
from rcdcheck.intake.opened import children, workbooks
from rcdcheck.intake.opened.files import open_inputs


def test_cells_keep_their_addresses_and_kinds(tmp_path: Path) -> None:
    book = Workbook()
    sheet = book.worksheets[0]
    sheet["C4"], sheet["D4"], sheet["E4"] = "Device", 28.4, dt.datetime(2026, 11, 20, 9, 30)
    sheet["C5"], sheet["D5"], sheet["E5"], sheet["F5"] = "R1", 12, dt.date(2026, 11, 20), True
    sheet["E6"], sheet["F6"], sheet["G6"] = dt.time(9, 30), 1, "007"
    grid = only_sheet(tmp_path, saved(book))
    assert frame(grid).shape == (6, 7)
    assert (frame(grid).loc[:3] == "").all(axis=None)
    assert frame(grid).loc[4].tolist() == ["", "", "Device", 28.4, dt.datetime(2026, 11, 20, 9, 30), "", ""]
    assert frame(grid).loc[5].tolist() == ["", "", "R1", 12.0, dt.datetime(2026, 11, 20), "TRUE", ""]
    assert frame(grid).loc[6].tolist() == ["", "", "", "", dt.time(9, 30), 1.0, "007"]
    assert {type(v) for v in frame(grid).to_numpy().ravel()} == {str, float, dt.datetime, dt.time}


def test_what_only_a_closer_look_shows(tmp_path: Path) -> None:
    book = Workbook()
    sheet = book.worksheets[0]
    for row in range(1, 7):
        sheet.append([f"R{row}", row])
    sheet["C2"] = "=B2*2"
    sheet.merge_cells("A3:A5")
    sheet["B4"].comment = Comment("instrument\nreplaced", "A. Snowfield")
    sheet.row_dimensions[5].hidden = True
    sheet.column_dimensions["B"].hidden = True
    sheet.column_dimensions["Z"].hidden = True
    book.create_sheet("Old")["A1"] = "R9"
    book["Old"].sheet_state = "hidden"
    one, codes = opened(tmp_path, saved(book))
    assert codes == ["sheet-hidden"]
    assert [(g.sheet, g.hidden) for g in one.grids] == [("Sheet", False), ("Old", True)]
    assert one.grids[0].merged == ((3, 0, 5, 0),)
    assert one.grids[0].saved_at is not None
    assert special(one.grids[0]) == {
        (2, 2, "formula_without_value", "=B2*2"), (5, -1, "hidden_row", ""), (0, 1, "hidden_column", ""),
    } | {(4, 1, "comment", c[3]) for c in special(one.grids[0]) if "instrument replaced" in c[3]}  # fmt: skip
    assert sum(c[2] == "comment" for c in special(one.grids[0])) == 1


def test_formulas_and_errors_with_and_without_addresses(tmp_path: Path) -> None:
    """ISO/IEC 29500-1, 18.3.1.4 and 18.3.1.40: cells, formulas (shared, array), and addresses that may be left out."""
    grid = only_sheet(
        tmp_path,
        worksheet(
            "<sheetData>"
            '<row r="2"><c r="B2"><f t="shared" ref="B2:B4" si="0">A2+1</f><v>28</v></c><c r="C2"><v>1</v></c></row>'
            '<row r="3"><c r="B3"><f t="shared" si="0"/><v>29</v></c><c r="C3" t=\'e\'><v>#N/A</v></c></row>'
            '<row r="4"><c r="B4"><f t="shared" si="0"/></c>'
            '<c r="C4"><f t="array" ref="C4:C5">RAND()</f><v>7</v></c></row>'
            '<row><c><v>1</v></c><c t="e"><f>1/0</f><v>#DIV/0!</v></c><c><v>8</v></c></row>'
            "</sheetData>"
        ),
    )
    assert special(grid) == {
        (2, 1, "formula", "=A2+1"), (3, 1, "formula", "=A2+1"), (4, 1, "formula_without_value", "=A2+1"),
        (3, 2, "error", "#N/A"), (4, 2, "formula", "=RAND()"), (5, 2, "formula", "=RAND()"),
        (5, 1, "formula", "=1/0"), (5, 1, "error", "#DIV/0!"),
    }  # fmt: skip
    assert frame(grid).loc[2].tolist() == ["", 28.0, 1.0]
    assert frame(grid).loc[5].tolist() == [1.0, "", 8.0]


def test_formulas_that_give_an_empty_text_and_formulas_beyond_the_last_value(tmp_path: Path) -> None:
    """ISO/IEC 29500-1, 18.18.11: type str is the stored text of a formula, which may be empty; no value is none."""
    grid = only_sheet(
        tmp_path,
        worksheet(
            '<sheetData><row r="1"><c r="A1"><v>1</v></c>'
            '<c r="B1" t="str"><f>IF(A1&gt;9,"x","")</f><v></v></c></row>'
            '<row r="3"><c r="D3"><f>A1</f><v></v></c></row></sheetData>'
        ),
    )
    assert special(grid) == {(1, 1, "formula", '=IF(A1>9,"x","")'), (3, 3, "formula_without_value", "=A1")}
    assert frame(grid).to_numpy().tolist() == [[1.0, "", "", ""], [""] * 4, [""] * 4]
    assert frame(grid).index.tolist() == [1, 2, 3]


def test_the_results_of_a_data_table_are_formulas(tmp_path: Path) -> None:
    """ISO/IEC 29500-1, 18.3.1.40: the cells of `ref` are computed, and only the first says so."""
    first = '<row r="1"><c r="A1"><f t="dataTable" ref="A1:A2" r1="C1"/><v>7</v></c></row>'
    second = '<row r="2"><c r="A2"><v>8</v></c></row>'
    grid = only_sheet(tmp_path, worksheet(f"<sheetData>{first}{second}</sheetData>"))
    assert special(grid) == {(1, 0, "formula", "="), (2, 0, "formula", "=")}


def test_tags_with_a_prefix(tmp_path: Path) -> None:
    """Namespaces in XML: any prefix may stand for the namespace of a worksheet."""
    space = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    xml = (
        f'<x:worksheet xmlns:x="{space}"><x:sheetData><x:row r="1">'
        '<x:c r="A1"><x:f>1+1</x:f><x:v>2</x:v></x:c></x:row></x:sheetData></x:worksheet>'
    )
    grid = only_sheet(tmp_path, repacked(plain_workbook(), {"xl/worksheets/sheet1.xml": xml.encode()}))
    assert special(grid) == {(1, 0, "formula", "=1+1")}


def test_numbers_that_are_none_stay_texts(tmp_path: Path) -> None:
    grid = only_sheet(tmp_path, worksheet('<sheetData><row r="1"><c r="A1"><v>NaN</v></c></row></sheetData>'))
    assert isinstance(frame(grid).loc[1, 0], str)


def test_macros_are_said_and_not_run(tmp_path: Path) -> None:
    one, codes = opened(tmp_path, repacked(plain_workbook(), {"xl/vbaProject.bin": b"1"}), "day.xlsm")
    assert codes == ["macros-not-run"]
    assert frame(one.grids[0]).loc[2].tolist() == ["R1", 28.4]


def test_old_workbooks(tmp_path: Path) -> None:
    book = xlwt.Workbook()
    sheet = book.add_sheet("Hall")
    date = xlwt.easyxf(num_format_str="YYYY-MM-DD")
    sheet.write(2, 1, "Device")
    sheet.write(3, 1, 28.4)
    sheet.write(3, 2, dt.datetime(2026, 11, 20), date)
    sheet.write(3, 3, True)
    sheet.row(4).set_cell_error(1, 0x2A)  # #N/A
    sheet.write_merge(5, 6, 1, 1, "R1")
    sheet.row(3).hidden = True
    sheet.col(2).hidden = True
    book.add_sheet("Old").visibility = 1
    one, codes = opened(tmp_path, xls(book), "day.xls")
    grid = one.grids[0]
    assert codes == ["sheet-hidden", "workbook-seen-in-part"]
    assert [g.hidden for g in one.grids] == [False, True]
    assert frame(grid).loc[3, 1] == "Device"
    assert frame(grid).loc[4].tolist() == ["", 28.4, dt.datetime(2026, 11, 20), "TRUE"]
    assert grid.merged == ((6, 1, 7, 1),)
    assert special(grid) == {(5, 1, "error", "#N/A"), (4, -1, "hidden_row", ""), (0, 2, "hidden_column", "")}


def test_open_document_sheets(tmp_path: Path) -> None:
    text = "<table:table-cell office:value-type='string'><text:p>{}</text:p></table:table-cell>"
    number = "<table:table-cell office:value-type='float' office:value='{}'><text:p>{}</text:p></table:table-cell>"
    blank = "<table:table-row table:number-rows-repeated='2'><table:table-cell/></table:table-row>"
    rows = (
        blank
        + f"<table:table-row><table:table-cell/>{text.format('R1')}{number.format('28.4', '28,4')}</table:table-row>"
    )
    one, codes = opened(tmp_path, ods(rows), "day.ods")
    assert codes == ["workbook-seen-in-part"]
    assert one.grids[0].sheet == "Hall"
    assert frame(one.grids[0]).loc[3].tolist() == ["", "R1", 28.4]


ROWS: list[list[str | float]] = [["Device", "0 ms"], ["R1", 28.4], ["007", 12.0], ["R3", "no trip"]]


def test_binary_workbooks(tmp_path: Path) -> None:
    one, codes = opened(tmp_path, xlsb(ROWS), "day.xlsb")
    assert codes == ["workbook-seen-in-part"]
    assert (one.grids[0].kind, one.grids[0].sheet) == ("xlsb", "Hall")
    assert frame(one.grids[0]).to_numpy().tolist() == ROWS


def test_every_kind_says_what_a_spreadsheet_program_says(tmp_path: Path, libreoffice: Any) -> None:
    """LibreOffice opens the binary workbook and another, and saves them as ODS: the same cells either way."""
    book = Workbook()
    book.worksheets[0].title = "Hall"
    more: list[list[Any]] = [[dt.datetime(2026, 11, 20, 9, 30), dt.time(9, 30)], [None, None, "far", True]]
    for row in [*ROWS, *more]:
        book.worksheets[0].append(row)
    paths = [tmp_path / "plain.xlsx", tmp_path / "binary.xlsb"]
    for path, content in zip(paths, (saved(book), xlsb(ROWS)), strict=True):
        path.write_bytes(content)
    for path, other in zip(paths, libreoffice(paths, "ods"), strict=True):
        (here,), (there,) = open_inputs([str(path)], Findings()), open_inputs([str(other)], Findings())
        assert there.grids[0].kind == "ods"
        assert (there.grids[0].saved_at is None) == (here.grids[0].saved_at is None) == (here.grids[0].kind == "xlsb")
        assert there.grids[0].sheet == here.grids[0].sheet == "Hall"
        assert frame(there.grids[0]).replace({1.0: "TRUE"}).equals(frame(here.grids[0]).replace({1.0: "TRUE"}))


def test_limits_on_computing_and_limits_that_are_lower_already(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rows = "".join(f'<row r="{r}"><c r="A{r}"><f>B{r}</f><v>1</v></c></row>' for r in range(1, 400_000))
    content = worksheet(f"<sheetData>{rows}</sheetData>")
    monkeypatch.setattr(children, "SECONDS", 1)
    monkeypatch.setattr(workbooks, "SECONDS", 1)
    one, _ = opened(tmp_path, content)
    assert one.input.reason.startswith("it took more than 1 s to open, so it was given up. Copy it again")
    (tmp_path / "small.xlsx").write_bytes(plain_workbook())
    code = """
import resource
resource.setrlimit(resource.RLIMIT_AS, (2 << 30, 2 << 30))
from rcdcheck.intake.opened.children import Children
from rcdcheck.intake.opened.workbooks import read_workbook
with Children() as children:
    grid = read_workbook(open("small.xlsx", "rb").read(), "xlsx", children)[0]
print((grid.height, len(grid.columns)))
"""
    ran = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True, check=False)
    assert ran.stdout == b"(3, 2)\n", ran.stderr


def test_nothing_is_imported_from_the_folder_of_the_sheets(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "python_calamine.py").write_text("raise SystemExit(9)", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("PYTHONPATH", raising=False)
    assert frame(only_sheet(tmp_path, plain_workbook())).loc[2, 0] == "R1"


def test_columns_that_are_hidden_again_and_again(tmp_path: Path) -> None:
    """Twenty thousand times all columns, and once the second; each is told once, and soon."""
    columns = '<cols><col min="2" max="2" hidden="1"/>' + '<col min="1" max="16384" hidden="1"/>' * 20_000 + "</cols>"
    cells = '<sheetData><row r="1"><c r="A1"><v>1</v></c><c r="B1"><v>2</v></c></row></sheetData>'
    grid = only_sheet(tmp_path, worksheet(columns + cells))
    assert sorted(special(grid)) == [(0, 0, "hidden_column", ""), (0, 1, "hidden_column", "")]
