"""What a person says by the look of a cell: a strike, or a colour of its own; and values written roundabout."""

from __future__ import annotations

import colorsys
import datetime as dt
from pathlib import Path

import pytest
import xlwt
from files_made import frame, only_sheet, opened, plain_workbook, repacked, saved, special, worksheet, xls
from openpyxl import Workbook
from openpyxl.cell.rich_text import CellRichText, TextBlock
from openpyxl.cell.text import InlineFont
from openpyxl.styles import Color, Font, GradientFill, PatternFill
from openpyxl.styles.colors import COLOR_INDEX
from openpyxl.worksheet.worksheet import Worksheet

from rcdcheck.findings import Findings
from rcdcheck.intake import read
from rcdcheck.intake.opened.raw_xml import straight
from rcdcheck.options import Options

RED, GREEN, GREY = "FF0000", "00B050", "D9D9D9"
SPACE = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"


def fill(colour: str | Color) -> PatternFill:
    return PatternFill("solid", fgColor=colour)


def table(rows: int = 20) -> tuple[Workbook, Worksheet]:
    book = Workbook()
    sheet = book.worksheets[0]
    sheet.append(["Device", "Place", "1x 0 (ms)", "1x 180 (ms)", "Remark"])
    for row in range(rows):
        sheet.append([f"R{row}", "Hall", 20.0 + row, 21.0 + row, None])
    return book, sheet


def looks(folder: Path, content: bytes, name: str = "day.xlsx") -> set[tuple[int, int, str, str]]:
    return {s for s in special(only_sheet(folder, content, name)) if s[2] in ("struck", "filled")}


def test_cells_struck_through_whole_and_in_part(tmp_path: Path) -> None:
    book, sheet = table()
    struck, bold = InlineFont(strike=True), InlineFont(b=True)
    sheet["C3"].font = Font(strike=True)
    sheet["D3"].font = Font(strike=False, b=True)
    sheet["E4"].font = Font(strike=True)  # no value: nothing is struck
    sheet["E5"] = CellRichText(TextBlock(struck, "31.0"), TextBlock(bold, " 28.0"))
    sheet["E6"] = CellRichText(TextBlock(struck, "void"), TextBlock(struck, " again"))
    sheet["E7"] = CellRichText("30 ", TextBlock(bold, "28"))
    sheet["E7"].font = Font(strike=True)  # holds where a run has no font of its own
    sheet["E8"] = CellRichText("30 ", TextBlock(bold, "28"))
    sheet["C9"] = "=B2"
    sheet["C9"].font = Font(strike=True)
    assert looks(tmp_path, saved(book)) == {
        (3, 2, "struck", ""), (5, 4, "struck", "31.0"), (6, 4, "struck", ""), (7, 4, "struck", "30"),
        (9, 2, "struck", ""),
    }  # fmt: skip


def test_strikes_in_shared_strings(tmp_path: Path) -> None:
    """As spreadsheet programs save them; the phonetic text is not part of what the cell says."""
    run = "<r><rPr><strike val='0'/></rPr><t>28</t></r><r><rPr><strike/></rPr><t>31</t></r>"
    strings = f"<sst xmlns='{SPACE}'><si><t>R1</t></si><si>{run}<rPh sb='0' eb='1'><t>x</t></rPh></si></sst>"
    cells = "".join(f'<c r="{at}" t="s"><v>{i}</v></c>' for at, i in (("A1", 0), ("B1", 1), ("C1", 0), ("D1", 1)))
    sheet = worksheet(f'<sheetData><row r="1">{cells}</row></sheetData>')
    content = repacked(sheet, {"xl/sharedStrings.xml": strings.encode()})
    assert looks(tmp_path, content) == {(1, 1, "struck", "31"), (1, 3, "struck", "31")}


def test_strikes_in_cells_without_addresses_after_plain_ones(tmp_path: Path) -> None:
    """A cell without an address is the one after that before it, whatever that one is."""
    book, sheet = table()
    sheet["C3"].font = Font(strike=True)
    rows = (
        '<row r="1"><c r="A1"><v>1</v></c><c r="B1"><v>2</v></c><c s="1"><v>3</v></c><c><v>4</v></c></row>'
        '<row><c s="1"><v>5</v></c><c r="F2"><v>6</v></c><c r="G2" s="0"/><c t="n"><v>7</v></c>'
        '<c s="1"><v>8</v></c></row>'
    )
    xml = f'<worksheet xmlns="{SPACE}"><sheetData>{rows}</sheetData></worksheet>'.encode()
    content = repacked(saved(book), {"xl/worksheets/sheet1.xml": xml})
    assert looks(tmp_path, content) == {(1, 2, "struck", ""), (2, 0, "struck", ""), (2, 8, "struck", "")}


def test_fills_that_stand_out_and_a_red_blank_cell(tmp_path: Path) -> None:
    book, sheet = table()
    for cell in sheet[1]:
        cell.fill = fill("4472C4")  # heading
    for row in range(3, 22, 2):
        for cell in sheet[row]:
            cell.fill = fill(GREY)  # every second row
    for row in range(2, 22):
        sheet[f"D{row}"].fill = fill("FFF2CC")  # one column
    sheet["C4"].fill = sheet["C7"].fill = sheet["E8"].fill = sheet["D9"].fill = fill(RED)
    sheet["C10"].fill = fill("FFFFFF")
    sheet["C12"].fill = PatternFill("gray125")  # of automatic colours
    sheet["H40"].fill = fill(RED)  # beyond the sheet's cells
    one_by_one = {(r, c, "filled", RED) for r, c in ((4, 2), (7, 2), (8, 4), (9, 3))}
    across = {(1, c, "filled", "4472C4") for c in range(5)}  # few rows across are listed: a heading is told later
    assert looks(tmp_path, saved(book)) == one_by_one | across


def test_a_row_painted_across_stands_out_and_a_heading_does_not(tmp_path: Path) -> None:
    book, sheet = table(0)
    for row in range(20):
        sheet.append([f"R{row}", "Hall", 20.3 + row * 7 % 11, 20.1 + row * 5 % 13, "tidy"])
    for cell in sheet[1]:
        cell.fill = fill("4472C4")
    for cell in sheet[9]:
        cell.fill = fill(RED)
    assert {s[0] for s in looks(tmp_path, saved(book))} == {1, 9}
    findings = Findings()
    read([str(tmp_path / "day.xlsx")], Options(as_of=dt.date(2026, 11, 25)), findings)
    found = findings.frame().query("code == 'cell-stands-out'")
    assert sorted(zip(found["row"], found["column"], strict=True)) == [(9, c) for c in range(5)]


def test_blank_cells_with_a_fill_count_in_what_is_usual(tmp_path: Path) -> None:
    book, sheet = table()
    for row in range(2, 22):
        sheet[f"E{row}"].fill = fill(GREY)
    for row in (4, 9, 15):
        sheet[f"E{row}"], sheet[f"E{row}"].fill = "again", fill(RED)
    assert looks(tmp_path, saved(book)) == {(r, 4, "filled", RED) for r in (4, 9, 15)}


def test_legends_beneath_and_beside_a_table(tmp_path: Path) -> None:
    book, sheet = table()
    for row in range(2, 12):
        sheet[f"C{row}"].fill = fill(GREEN)  # half of its column, so none of these is listed
    sheet["D5"].fill = fill(RED)
    sheet["D6"].fill = fill(GREEN)
    sheet["G2"], sheet["G3"] = "red: failed", "green: passed"
    sheet["G2"].fill, sheet["G3"].fill = fill(RED), fill(GREEN)
    sheet["D24"] = "passed on a second visit"
    sheet["C24"].fill = fill(GREEN)  # the word stands beside it
    for column in "ABCDEFG":
        sheet[f"{column}25"].fill = fill(RED)  # as merged cells are filled: one row across
    sheet["A25"] = "red = fail"
    assert looks(tmp_path, saved(book)) == {
        (5, 3, "filled", RED), (6, 3, "filled", GREEN), (2, 6, "filled", RED), (3, 6, "filled", GREEN),
        (24, 2, "filled", GREEN), *((25, c, "filled", RED) for c in range(7)),
    }  # fmt: skip


def tinted(colour: str, tint: float) -> str:
    """By the arithmetic of ISO/IEC 29500-1, 18.8.19, on the whole colour at once."""
    hue, light, saturation = colorsys.rgb_to_hls(*(b / 255 for b in bytes.fromhex(colour)))
    light = light * (1.0 + tint) if tint < 0 else light * (1.0 - tint) + (1.0 - (1.0 - tint))
    return bytes(round(255 * part) for part in colorsys.hls_to_rgb(hue, light, saturation)).hex().upper()


@pytest.mark.parametrize(
    ("told", "shown"),
    [
        (Color(rgb="80ff0000"), RED),
        (Color(theme=4), "4F81BD"),  # accent1 of the theme that openpyxl writes
        (Color(theme=3), "1F497D"),  # dark 2 is counted after light 2
        (Color(theme=4, tint=0.5999), tinted("4F81BD", 0.5999)),
        (Color(theme=0, tint=-0.25), "BFBFBF"),
        (Color(theme=0), ""),
        (Color(indexed=10), RED),
        (Color(indexed=64), ""),
        (Color(auto=True), ""),
        (Color(theme=77), ""),
    ],
)
def test_colours_however_they_are_told(tmp_path: Path, told: Color, shown: str) -> None:
    book, sheet = table()
    sheet["C4"].fill = fill(told)
    assert looks(tmp_path, saved(book)) == ({(4, 2, "filled", shown)} if shown else set())


def test_every_colour_of_the_palette(tmp_path: Path) -> None:
    book, sheet = table(70)
    for i in range(64):
        sheet[f"C{i + 2}"].fill = fill(Color(indexed=i))
    white = "FFFFFF"
    assert looks(tmp_path, saved(book)) == {
        (i + 2, 2, "filled", c[-6:]) for i, c in enumerate(COLOR_INDEX[:64]) if c[-6:] != white
    }


def test_patterns_and_gradients_take_the_first_colour_that_shows(tmp_path: Path) -> None:
    book, sheet = table()
    sheet["C4"].fill = PatternFill("lightUp", fgColor="FFFFFF", bgColor=RED)
    sheet["C5"].fill = PatternFill("lightUp", fgColor=GREEN, bgColor=RED)
    sheet["C6"].fill = PatternFill("solid", fgColor="FFFFFF", bgColor=RED)
    sheet["C7"].fill = GradientFill(stop=("FFFFFF", RED))
    assert looks(tmp_path, saved(book)) == {(r, 2, "filled", c) for r, c in ((4, RED), (5, GREEN), (7, RED))}


def test_no_fill_is_left_out_for_their_number(tmp_path: Path) -> None:
    """A quarter of the cells, each colour in a tenth of its column and never twice in a row."""
    book, sheet = table(3000)
    colours = [fill(f"0000{i:02X}") for i in range(16, 26)]
    for row in range(2, 3002):
        sheet.cell(row, 3).fill = colours[row % 10]
    assert len(looks(tmp_path, saved(book))) == 3000


def test_looks_in_old_workbooks(tmp_path: Path) -> None:
    book = xlwt.Workbook()
    sheet = book.add_sheet("Hall")
    red = xlwt.easyxf("pattern: pattern solid, fore_colour red")
    struck = xlwt.easyxf("font: struck_out on")
    off, on = xlwt.easyfont("bold on"), xlwt.easyfont("struck_out on")
    for row in range(10):
        sheet.write(row, 0, f"R{row}")
        sheet.write(row, 1, 20.0 + row, red if row == 4 else struck if row == 5 else xlwt.Style.default_style)
    sheet.write(6, 2, None, red)
    sheet.write_rich_text(7, 2, [("31", on), (" 28", off)])
    sheet.write_rich_text(8, 2, ["30 ", ("28", off)], struck)
    sheet.write_rich_text(9, 2, ["30 ", ("28", off)])
    assert looks(tmp_path, xls(book), "day.xls") == {
        (5, 1, "filled", RED), (6, 1, "struck", ""), (7, 2, "filled", RED), (8, 2, "struck", "31"),
        (9, 2, "struck", "30"),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("<v>30&#49;</v>", 301.0),
        ("<v>30&#x31;</v>", 301.0),
        ("<v>30<!-- of two --><!-- -->1</v>", 301.0),
        ("<v><![CDATA[30]]>1</v>", 301.0),
        ("<v>30<?note?>1</v>", 301.0),
        ("<v>&#45;3<!--&#49;-->1</v>", -31.0),
    ],
)
def test_numbers_written_roundabout(tmp_path: Path, written: str, meant: float) -> None:
    grid = only_sheet(
        tmp_path, worksheet(f'<sheetData><row r="1"><c r="A1">{written}</c><c r="B1"><v>7</v></c></row></sheetData>')
    )
    assert frame(grid).to_numpy().tolist() == [[meant, 7.0]]


def test_dates_flags_and_formulas_written_roundabout(tmp_path: Path) -> None:
    book = Workbook()
    book.worksheets[0]["A1"] = dt.datetime(2026, 11, 20)
    xml = (
        f'<worksheet xmlns="{SPACE}"><sheetData><row r="1"><c r="A1" s="1"><v>4<!-- -->6346</v></c>'
        '<c r="B&#49;" t="b"><v>&#49;</v></c><c r="C1"><f>A1&#43;1</f><v>2<!---->8</v></c></row>'
        "</sheetData></worksheet>"
    )
    grid = only_sheet(tmp_path, repacked(saved(book), {"xl/worksheets/sheet1.xml": xml.encode()}))
    assert frame(grid).to_numpy().tolist() == [[dt.datetime(2026, 11, 20), "TRUE", 28.0]]
    assert special(grid) == {(1, 2, "formula", "=A1+1")}


TEXTS = [("a&#49;b", "a1b"), ("&#38;lt; &#60;", "&lt; <"), ("a<!-- &#49; -->b", "ab"), ("a&#10;&#x2265;", "a\n≥")]
TEXTS += [("<![CDATA[a<&#49;]]>b", "a<&#49;b")]


@pytest.mark.parametrize(("written", "meant"), TEXTS)
def test_texts_written_roundabout(tmp_path: Path, written: str, meant: str) -> None:
    strings = f"<sst xmlns='{SPACE}'><si><t>{written}</t></si></sst>".encode()
    cells = f'<c r="A1" t="inlineStr"><is><t>{written}</t></is></c><c r="B1" t="s"><v>0</v></c>'
    cells += f'<c r="C1" t="str"><v>{written}</v></c>'
    sheet = worksheet(f'<sheetData><row r="1">{cells}</row></sheetData>')
    grid = only_sheet(tmp_path, repacked(sheet, {"xl/sharedStrings.xml": strings}))
    assert frame(grid).to_numpy().tolist() == [[meant] * 3]


def test_only_what_is_roundabout_is_written_anew() -> None:
    plain = b"<?xml version='1.0'?>\n<c t='str'><v>a&amp;b</v></c>"
    assert straight(plain) is plain
    lines = b"<c><f>A1&#10;+1</f></c>"
    assert straight(lines) is lines
    assert straight(b"<c r='&#34;&#39;'><!-- <v>1</v> --><v>1&#x32;</v></c>") == b"<c r='&quot;&apos;'><v>12</v></c>"


def test_entity_declarations_stay_refused(tmp_path: Path) -> None:
    """Also behind a comment that is longer than the part's head that is looked at first."""
    for before in ("", f"<!--{'x' * 70_000}-->"):
        xml = (
            f'{before}<!DOCTYPE worksheet [<!ENTITY one "1">]><worksheet xmlns="{SPACE}"><sheetData><row r="1">'
            '<c r="A1"><v>30&one;</v></c></row></sheetData></worksheet>'
        )
        one, _ = opened(tmp_path, repacked(plain_workbook(), {"xl/worksheets/sheet1.xml": xml.encode()}))
        assert one.input.status != "audited"
        assert "XML entities" in one.input.reason
