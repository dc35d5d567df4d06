"""`rcdcheck columns --save` and `audit --columns`: what was understood, written down, is understood the same again."""

from __future__ import annotations

import csv
import datetime as dt
import re
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner
from whole_runs import ROOT

from rcdcheck.audits import Audit
from rcdcheck.cli import group
from rcdcheck.intake.understood.stated import column_file, option, stated
from rcdcheck.options import Options
from rcdcheck.pipeline import run
from rcdcheck.reports.columns_table import column_file_text, columns_text
from rcdcheck.terms import Outcome

DAY = dt.date(2026, 11, 25)
SHEETS = [
    *sorted((ROOT / "samples").glob("*-day.*")),
    *(p for name in ("one-row-a-reading", "a-multiple-told-by-its-test-current", "pair-under-a-heading-of-both-phases",
                     "german-sheet-with-decimal-commas", "insulation-class-is-not-the-rcd-type")
      for p in sorted((ROOT / "tests" / "cases" / name).glob("*.csv"))),
]  # fmt: skip


def outcomes(audit: Audit) -> dict[str, int]:
    return dict(zip(audit.devices["name"], audit.devices["outcome"].astype(int), strict=True))


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda path: path.stem)
def test_saved_columns_are_understood_the_same_again(sheet: Path, tmp_path: Path) -> None:
    first = run([str(sheet)], Options(as_of=DAY))
    saved = tmp_path / "columns.toml"
    saved.write_text(column_file_text(first.tables), encoding="utf-8")
    again = run([str(sheet)], Options(as_of=DAY, columns=column_file(saved)))
    assert outcomes(again) == outcomes(first)


def test_a_heading_with_two_meanings_is_written_with_its_sheet(tmp_path: Path) -> None:
    from openpyxl import Workbook

    book = Workbook()
    for name, kind in (("North", "AC"), ("South", "portable")):
        sheet = book.create_sheet(name)
        sheet.append(["Device", "Type", "1x 0° (ms)", "1x 180° (ms)"])
        sheet.append([f"{name}1", kind, 24.1, 25.2])
    book.save(tmp_path / "two.xlsx")
    text = column_file_text(run([str(tmp_path / "two.xlsx")], Options(as_of=DAY)).tables)
    assert '"North!Type" = "waveform_type"' in text and '"South!Type" = "kind"' in text


AMBIGUOUS = "Device,IΔn (mA),1x 0° (ms),1x 180° (ms),Zeta,Position,Class,\n" + "".join(
    f"D{i},{rated},{20 + i}.5,{19 + i}.1,{'P' if i % 3 else 'F'},{i * 7 + 4},{kind},note {i}\n"
    for i, (rated, kind) in enumerate([(10, "I"), (30, "II")] * 6)
)


@pytest.fixture
def ambiguous(tmp_path: Path) -> Path:
    path = tmp_path / "ambiguous.csv"
    path.write_text(AMBIGUOUS, encoding="utf-8")
    return path


def test_columns_tell_what_speaks_for_each_meaning_and_what_each_could_also_be(ambiguous: Path) -> None:
    text = columns_text(run([str(ambiguous)], Options(as_of=DAY)).tables)
    lines = text.splitlines()
    assert re.search(r"A {2}Device +device", text)
    at = next(i for i, line in enumerate(lines) if "1x 0° (ms)" in line)
    assert lines[at].endswith("trip_time_1x_0 [ms]")
    assert lines[at + 1].strip().startswith(("sure: its heading", "likely: its heading"))
    assert any(line.strip().startswith("could also be") for line in lines)
    assert re.search(r"E {2}Zeta +NOT UNDERSTOOD", text) and re.search(r"H {2}\(no heading\) +", text)
    assert all(len(line) <= 80 for line in lines)


def test_a_saved_file_asks_what_a_person_should_decide_and_ignores_nothing_in_its_place(ambiguous: Path) -> None:
    audit = run([str(ambiguous)], Options(as_of=DAY))
    saved = tomllib.loads(column_file_text(audit.tables))["columns"]
    assert saved["Zeta"] == "?" and saved["1x 0° (ms)"] == "trip_time_1x_0 [ms]"
    loud = set(zip(audit.tables.unsettled["sheet"], audit.tables.unsettled["column"], strict=True))
    for column in audit.tables.columns.itertuples():
        if column.meaning == "" or (column.sheet, column.column) in loud:
            assert "ignore" not in saved.get(column.heading, "?")


def test_no_heading_and_no_cell_writes_a_line_of_the_saved_file(tmp_path: Path) -> None:
    put = '"\n[options]\nrules = "evil"\r"Device" = "site"\x85\u2028k = 1 #\u202e\x1b[31m'
    headings = ["Device", "IΔn (mA)", "1x 0° (ms)", "1x 180° (ms)", "Zeta" + put, 'b\\"]', "a.b"]
    path, saved = tmp_path / "put.csv", tmp_path / "columns.toml"
    with path.open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows([headings, *([f"D{i}", 30, 24.5 + i, 25.5, put, "note", put] for i in range(6))])
    text = column_file_text(run([str(path)], Options(as_of=DAY)).tables)
    told = tomllib.loads(text)
    assert list(told) == ["columns"] and told["columns"]["Device"] == "device"
    assert len(told["columns"]) == len(headings) == len(text.splitlines()) - 2 and set(told["columns"].values()) >= {
        "?"
    }
    assert all(c.isprintable() for line in text.split("\n") for c in line)
    saved.write_text(text.replace('"?"', '"ignore"'), encoding="utf-8")
    assert len(outcomes(run([str(path)], Options(as_of=DAY, columns=column_file(saved))))) == 6


def test_two_columns_of_one_heading_are_saved_by_their_letters(tmp_path: Path) -> None:
    path = tmp_path / "same.csv"
    path.write_text(
        "Device,IΔn (mA),0°,180°,Note,Note\nA1,30,21.5,22.5,dusty,\nA2,30,23.5,24.5,,ok\n", encoding="utf-8"
    )
    first = run([str(path)], Options(as_of=DAY))
    text = column_file_text(first.tables)
    assert '"E" = ' in text and '"F" = ' in text and '"Note"' not in text
    saved = tmp_path / "columns.toml"
    saved.write_text(text, encoding="utf-8")
    assert outcomes(run([str(path)], Options(as_of=DAY, columns=column_file(saved)))) == outcomes(first)


def test_every_name_that_is_listed_is_a_meaning() -> None:
    said = CliRunner().invoke(group, ["columns", "--fields"], standalone_mode=False).stdout
    names = [line.split()[0] for line in said.partition("\n\n")[0].splitlines()]
    assert {"device", "trip_time_1x_0", "visual", "remark"} <= set(names)
    for name in names:
        assert stated(name).field


def test_what_is_set_aside_goes_on_being_heard_after_it_was_saved(ambiguous: Path, tmp_path: Path) -> None:
    saved = tmp_path / "columns.toml"
    saved.write_text(column_file_text(run([str(ambiguous)], Options(as_of=DAY)).tables), encoding="utf-8")
    text = AMBIGUOUS.replace(",4,", ",did not trip,", 1)
    ambiguous.write_text(text, encoding="utf-8")
    audit = run([str(ambiguous)], Options(as_of=DAY, columns=column_file(saved)))
    assert outcomes(audit)["D0"] != Outcome.PASS


def test_a_letter_names_a_column_and_its_sheet_where_the_heading_cannot() -> None:
    assert option("Trip 0°", "C", "trip_time_1x_0", "North") == '--column "Trip 0°=trip_time_1x_0"'
    assert option("", "C", "remark") == '--column "C=remark"'
    assert option("Cost $", "C", "ignore", "North") == '--column "North!C=ignore"'
    assert option("NO", "F", "ignore") == '--column "F=ignore"'
    assert option("Trip\ntime", "C", "trip_time_1x_0") == '--column "Trip time=trip_time_1x_0"'
