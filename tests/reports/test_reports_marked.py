"""The marked copy: nothing of the person's workbook is changed but the looks and comments of marked cells."""

from __future__ import annotations

import datetime as dt
import io
import re
import shutil
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from excel_books import DAY, SAMPLES, audit_of, opened, parts_of, sample
from openpyxl.comments import Comment
from openpyxl.styles import Font, PatternFill
from python_calamine import CalamineWorkbook

from rcdcheck import pipeline
from rcdcheck.as_seen import column_letters
from rcdcheck.audits import Audit
from rcdcheck.errors import OutputError
from rcdcheck.findings import SEVERITIES
from rcdcheck.options import Options
from rcdcheck.reports.marked import copy as marked
from rcdcheck.reports.marked.package import Package
from rcdcheck.reports.marked.places import Mark, marks
from rcdcheck.reports.marked.plain import plain_workbook

MESSY = SAMPLES / "messy-day.xlsx"
FILLS = {"danger": "FFFBDDD0", "error": "FFFBDDD0", "doubt": "FFFFF3C4", "caution": "FFFFF3C4", "note": "FFECECEC"}


def copy_of(audit: Audit, number: int = 0) -> bytes:
    return marked.marked_copy(audit, number)[0]


def looks(cell: Any, *, filled: bool) -> tuple[object, ...]:
    """Everything that openpyxl knows of a cell but its comment, and its fill and edge where it is marked."""
    return (
        cell.value, cell.data_type, cell.number_format, repr(cell.font), repr(cell.alignment),
        repr(cell.protection), None if filled else (repr(cell.fill), repr(cell.border)),
    )  # fmt: skip


def sheet_facts(ws: Any) -> tuple[object, ...]:
    """Widths, heights, hidden rows and columns, merges, checks, freeze, visibility."""
    return (
        {k: (d.width, d.hidden) for k, d in ws.column_dimensions.items()},
        {k: (d.height, d.hidden) for k, d in ws.row_dimensions.items()},
        sorted(map(str, ws.merged_cells.ranges)),
        [(str(c.sqref), c.type, c.formula1) for c in ws.data_validations.dataValidation],
        ws.freeze_panes,
        ws.sheet_state,
    )


def test_the_persons_workbook_is_kept_and_every_finding_stands_at_its_cell() -> None:
    """Compared through openpyxl, which did not write the copy."""
    audit, before = sample("messy-day.xlsx"), opened(MESSY.read_bytes())
    after = opened(copy_of(audit))
    assert after.sheetnames == before.sheetnames
    for number, sheet in enumerate(audit.tables.sheets["sheet"]):
        old, new = before[sheet], after[sheet]
        wanted = placed(old, marks(audit, number))
        assert sheet_facts(new) == sheet_facts(old)
        for cell in (cell for row in old.iter_rows() for cell in row):
            copy, marked_here = new[cell.coordinate], cell.coordinate in wanted
            assert looks(copy, filled=marked_here) == looks(cell, filled=marked_here)
            texts = [mark.text for mark in wanted.get(cell.coordinate, ()) if mark.text]
            assert bool(copy.comment) == bool(cell.comment or texts)
            assert all(text in copy.comment.text for text in texts)
        for place, found in wanted.items():
            gravest = min(found, key=lambda mark: SEVERITIES.index(mark.severity))
            assert new[place].fill.fgColor.rgb == FILLS[gravest.severity]
    for f in audit.findings[(audit.findings["row"] > 0) & (audit.findings["column"] >= 0)].itertuples():
        new = after[audit.tables.sheets["sheet"][f.sheet]]
        heads = audit.tables.columns[audit.tables.columns["sheet"] == f.sheet].set_index("column")["row"]
        row = heads.get(f.column, f.row) if f.last_row > f.row and not f.evidence else f.row
        place = next(iter(placed(new, {(row, f.column): Mark(f.severity)})))
        assert f.message in new[place].comment.text
        assert f.severity.upper() in new[place].comment.text
    column = after["Rink side"]  # what a whole column says is said at its heading and at no cell again
    assert "Settle it with --column" in column["I3"].comment.text
    assert column["I5"].comment is None and column["I5"].fill.fgColor.rgb == FILLS["error"]


def placed(ws: Any, found: dict[tuple[int, int], Mark]) -> dict[str, list[Mark]]:
    """Marks by address; those inside merged cells at the upper left one, which alone shows anything."""
    out: dict[str, list[Mark]] = {}
    for (row, column), mark in found.items():
        merged = next((m for m in ws.merged_cells.ranges if (row, column + 1) in m.cells), None)
        top, left = (merged.min_row, merged.min_col) if merged else (row, column + 1)
        out.setdefault(f"{column_letters(left - 1)}{top}", []).append(mark)
    return out


def test_results_of_formulas_are_kept_and_the_original_is_not_touched() -> None:
    before = MESSY.read_bytes()
    copy = copy_of(sample("messy-day.xlsx"))
    assert MESSY.read_bytes() == before
    old, new = (CalamineWorkbook.from_filelike(io.BytesIO(data)) for data in (before, copy))
    for name in old.sheet_names:
        assert new.get_sheet_by_name(name).to_python() == old.get_sheet_by_name(name).to_python()


def test_parts_that_no_mark_touches_stay_byte_for_byte() -> None:
    before, after = parts_of(MESSY.read_bytes()), parts_of(copy_of(sample("messy-day.xlsx")))
    touched = {name for name in before if before[name] != after[name]}
    assert all(name.startswith(("xl/worksheets/", "xl/styles.xml", "[Content_Types]")) for name in touched), touched


@pytest.mark.parametrize("name", ["messy-day.xlsx", "honest-day.csv"])
def test_the_copy_reads_back_without_a_question(name: str, tmp_path: Path) -> None:
    audit = sample(name)
    path = tmp_path / "marked.xlsx"
    path.write_bytes(copy_of(audit))
    again = pipeline.run([str(path)], Options(as_of=DAY))
    assert again.devices[["name", "outcome", "row"]].equals(audit.devices[["name", "outcome", "row"]])
    for field in ("value", "state", "row", "column"):
        assert again.tables.readings[field].equals(audit.tables.readings[field]), field
    assert (
        again.tables.texts(again.tables.readings["text"]).tolist()
        == audit.tables.texts(audit.tables.readings["text"]).tolist()
    )
    assert again.tables.columns["meaning"].tolist() == audit.tables.columns["meaning"].tolist()
    assert again.tables.sheets[["non_blank", "test", "passed_over"]].equals(
        audit.tables.sheets[["non_blank", "test", "passed_over"]]
    )


def test_delimited_text_becomes_a_workbook_with_the_same_cells_in_the_same_places(tmp_path: Path) -> None:
    path = tmp_path / "day.csv"
    path.write_text(
        "Winter market\n\nDevice;Rated IΔn (mA);Trip time 1× 0° (ms);Trip time 1× 180° (ms);Remark\n"
        '007;30;28,4;2840;=1+1\n"WM;2";30;27,40;31,2;"two\nlines"\n',
        encoding="utf-8",
    )
    copy = copy_of(audit_of(str(path)))
    cells = opened(copy).active
    assert [cells.cell(4, n).value for n in range(1, 6)] == ["007", "30", "28,4", "2840", "=1+1"]
    assert [cells.cell(5, n).value for n in range(1, 6)] == ["WM;2", "30", "27,40", "31,2", "two\nlines"]
    assert all(cell.data_type == "s" for row in cells["A4:E5"] for cell in row)
    assert cells["A1"].value == "Winter market"
    assert marked.marked_copy(audit_of(str(path)), 0)[1] == ()


def test_equal_audits_give_equal_bytes() -> None:
    assert copy_of(sample("messy-day.xlsx")) == copy_of(sample("messy-day.xlsx"))
    assert copy_of(sample("honest-day.csv")) == copy_of(sample("honest-day.csv"))


def test_libreoffice_shows_the_comments(saved_again: dict[str, bytes]) -> None:
    audit, shown = sample("messy-day.xlsx"), opened(saved_again["marked"])
    for number, sheet in enumerate(audit.tables.sheets["sheet"]):
        for place, found in placed(shown[sheet], marks(audit, number)).items():
            texts = [mark.text for mark in found if mark.text]
            comment = shown[sheet][place].comment
            assert bool(comment) == bool(texts)
            assert all(text.replace("\n", " ") in comment.text.replace("\n", " ") for text in texts)


def test_a_file_that_changed_or_came_from_standard_input_is_not_marked(tmp_path: Path) -> None:
    path = tmp_path / "day.xlsx"
    shutil.copy(MESSY, path)
    audit = audit_of(str(path))
    path.write_bytes(path.read_bytes() + b" ")
    with pytest.raises(OutputError, match=r"day\.xlsx has changed or vanished since it was audited"):
        copy_of(audit)
    path.unlink()
    with pytest.raises(OutputError, match=r"day\.xlsx vanished or changed while it was read"):
        copy_of(audit)


# ── workbooks with what the samples have not, marked directly ──


def persons(parts: dict[str, bytes] | None = None) -> bytes:
    """A workbook with a comment, a styled empty column and row, a check; `parts` are added to the archive."""
    book = openpyxl.Workbook()
    ws = book.worksheets[0]
    ws.title = "Day"
    ws.append(["Device", "Trip time"])
    ws.append(["WM-1", 28.4])
    ws["A2"].comment = Comment("mine", "A. Snowfield")
    ws["B2"].font, ws["B2"].fill = Font(bold=True), PatternFill("solid", fgColor="FF00FF00")
    ws.column_dimensions["D"].number_format = "0.0"
    file = io.BytesIO()
    book.save(file)
    with zipfile.ZipFile(file, "a") as package:
        for name, data in (parts or {}).items():
            package.writestr(name, data)
    return file.getvalue()


def test_a_comment_that_is_there_goes_on_and_new_ones_join_it() -> None:
    wanted = {(2, 0): Mark("error", "ERROR: a"), (2, 1): Mark("note", "NOTE: b"), (9, 3): Mark("caution", "CAUTION: c")}
    ws = opened(b"".join(marked.mark(Package(persons()), {"Day": wanted})))["Day"]
    assert ws["A2"].comment.text == "mine\nrcdcheck: ERROR: a"
    assert (ws["B2"].comment.text, ws["D9"].comment.text) == ("NOTE: b", "CAUTION: c")
    assert (ws["B2"].font.bold, ws["B2"].value, ws["B2"].fill.fgColor.rgb) == (True, 28.4, FILLS["note"])
    assert (ws["D9"].number_format, ws["D9"].value) == ("0.0", None)


def test_what_openpyxl_would_lose_is_kept_and_macros_and_signatures_are_named() -> None:
    """Text boxes and sparklines live in parts and extensions that openpyxl drops; here they are left alone."""
    unwanted = {"xl/vbaProject.bin": b"macro", "_xmlsignatures/sig1.xml": b"<s/>"}
    raw = persons({"xl/drawings/drawing9.xml": b"<box/>"} | unwanted)
    sparkline = b'<extLst><ext uri="{05C60535-1F16-4fd2-B633-F4F36F0B64E0}"/></extLst></worksheet>'
    changed = io.BytesIO()
    with zipfile.ZipFile(changed, "w") as package:
        for name, data in parts_of(raw).items():
            package.writestr(name, data.replace(b"</worksheet>", sparkline) if name.endswith("sheet1.xml") else data)
    after = parts_of(b"".join(marked.mark(Package(changed.getvalue()), {"Day": {(2, 1): Mark("note", "NOTE: b")}})))
    assert after["xl/drawings/drawing9.xml"] == b"<box/>"
    sheet = after["xl/worksheets/sheet1.xml"]
    assert b"05C60535" in sheet
    assert sheet.index(b"legacyDrawing") < sheet.index(b"extLst")
    assert not set(unwanted) & set(after)


def test_cells_without_addresses_and_a_workbook_without_styles_are_marked_too() -> None:
    """ECMA-376 part 1, 18.3.1.4 and 18.3.1.73: the address of a cell or row may be left out; styles are optional."""
    sheet = (
        '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
        "<row><c><v>1</v></c><c><v>2</v></c></row><row><c><v>3</v></c></row></sheetData></worksheet>"
    )
    parts = parts_of(persons())
    for name in ("xl/styles.xml", "xl/comments/comment1.xml", "xl/worksheets/_rels/sheet1.xml.rels"):
        parts.pop(name)
    parts["xl/worksheets/sheet1.xml"] = sheet.encode()
    for name in ("xl/_rels/workbook.xml.rels", "[Content_Types].xml"):
        parts[name] = re.sub(rb"<(Relationship|Override)[^>]*(styles|comments)[^>]*/>", b"", parts[name])
    bare = io.BytesIO()
    with zipfile.ZipFile(bare, "w") as package:
        for name, data in parts.items():
            package.writestr(name, data)
    wanted = {(1, 1): Mark("danger", "DANGER: x"), (2, 2): Mark("note", "NOTE: y")}
    ws = opened(b"".join(marked.mark(Package(bare.getvalue()), {"Day": wanted})))["Day"]
    assert [[cell.value for cell in row] for row in ws["A1:C2"]] == [[1, 2, None], [3, None, None]]
    assert (ws["B1"].comment.text, ws["C2"].comment.text) == ("DANGER: x", "NOTE: y")
    assert ws["B1"].fill.fgColor.rgb == FILLS["danger"]


def test_dates_of_other_formats_stay_dates(libreoffice: Any, tmp_path: Path) -> None:
    ods = libreoffice([MESSY], "ods")[0]
    audit = audit_of(str(ods))
    copy = copy_of(audit)
    old = CalamineWorkbook.from_path(str(ods))
    new = CalamineWorkbook.from_filelike(io.BytesIO(copy))
    assert new.sheet_names == old.sheet_names
    for name in old.sheet_names:
        ours, theirs = (_dates(book.get_sheet_by_name(name).to_python()) for book in (new, old))
        # where the library reads an error as a blank cell, we keep its name
        assert [[v if v != "#N/A" else "" for v in row] for row in ours] == theirs
    assert "plain workbook" in marked.marked_copy(audit, 0)[1][0]


def _dates(rows: list[list[Any]]) -> list[list[Any]]:
    return [[v.date() if isinstance(v, dt.datetime) and v.time() == dt.time() else v for v in row] for row in rows]


def test_a_workbook_with_macros_keeps_what_one_without_keeps(tmp_path: Path) -> None:
    """Widths, merges, checks, frozen panes, values and looks, compared through openpyxl; the macros are left out."""
    path = tmp_path / "messy-day.xlsm"
    with zipfile.ZipFile(path, "w") as package:
        for name, data in (parts_of(MESSY.read_bytes()) | {"xl/vbaProject.bin": b"macro"}).items():
            package.writestr(name, data)
    audit = audit_of(str(path))
    before, copy = opened(MESSY.read_bytes()), copy_of(audit)
    after = opened(copy)
    assert "xl/vbaProject.bin" not in parts_of(copy)
    for number, sheet in enumerate(audit.tables.sheets["sheet"]):
        marked_here = placed(before[sheet], marks(audit, number))
        assert sheet_facts(after[sheet]) == sheet_facts(before[sheet])
        for cell in (cell for row in before[sheet].iter_rows() for cell in row):
            filled = cell.coordinate in marked_here
            assert looks(after[sheet][cell.coordinate], filled=filled) == looks(cell, filled=filled)


def test_a_sheet_that_changes_after_its_first_reading_is_not_marked(tmp_path: Path) -> None:
    """Its cells are read again for the copy, and are no longer those that were judged."""
    (tmp_path / "day.csv").write_text("Device,1× 0° (ms)\nR1,no trip\n", encoding="utf-8")
    audit = audit_of(str(tmp_path / "day.csv"))
    (tmp_path / "day.csv").write_text("Device,1× 0° (ms)\nR1,20\n", encoding="utf-8")
    with pytest.raises(OutputError, match=r"day\.csv has changed"):
        plain_workbook(audit, 0)
