"""Where tables stand in a sheet, what its other rows are, and how rows become tests: common practice, no source."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rcdcheck.as_seen import as_typed, column_letters
from rcdcheck.findings import Findings
from rcdcheck.intake import read
from rcdcheck.options import Options as RunOptions
from rcdcheck.tables import Tables
from rcdcheck.terms import State

TODAY = dt.date(2026, 11, 25)
Rows = list[list[Any]]


class Sheet:
    """A file read back: its tables, and what was noticed."""

    def __init__(self, path: Path, **options: Any) -> None:
        findings = Findings()
        self.path = path
        self.tables: Tables = read([str(path)], RunOptions(as_of=TODAY, **options), findings)
        self.findings = findings.frame()
        self.tests = self.tables.text_fields(self.tables.tests)
        readings = self.tables.text_fields(self.tables.readings)
        self.readings = readings.assign(slot=[self.tables.slots[s].name for s in readings["slot"]])
        self.account_adds_up()

    def account_adds_up(self) -> None:
        sheets, tables = self.tables.sheets, self.tables
        assert (sheets["non_blank"] == sheets["heading"] + sheets["test"] + sheets["passed_over"]).all()
        audited = sheets[sheets["reason"] == ""]
        assert sheets["passed_over"].sum() == len(tables.passed_over)
        assert audited["test"].sum() == len(tables.rows)
        assert not tables.rows.duplicated(["sheet", "row"]).any()
        both = tables.rows.merge(tables.passed_over, on=["sheet", "row"])
        assert both.empty

    def column(self, name: str) -> list[str]:
        return [str(v) for v in self.tests[name]]

    def of(self, slot: str) -> dict[str, float]:
        """Values of one slot by device and outlet."""
        some = self.readings[self.readings["slot"] == slot]
        named = [
            f"{self.tests['device'][t]}{'/' if self.tests['outlet'][t] else ''}{self.tests['outlet'][t]}"
            for t in some["test"]
        ]
        return dict(zip(named, some["value"].tolist(), strict=True))

    def passed(self) -> dict[int, str]:
        return dict(zip(self.tables.passed_over["row"].tolist(), self.tables.passed_over["reason"], strict=True))

    def said(self, code: str) -> list[str]:
        return self.findings.loc[self.findings["code"] == code, "message"].tolist()


Make = Callable[..., Sheet]


@pytest.fixture
def make(tmp_path: Path) -> Make:
    """Rows typed as a CSV file and read back; every reading must stand in the cell that its address names."""

    def made(rows: Sequence[str], name: str = "day.csv", **options: Any) -> Sheet:
        path = tmp_path / name
        path.write_text("\n".join(rows) + "\n", encoding="utf-8")
        sheet = Sheet(path, **options)
        for r in sheet.readings.itertuples():
            cell = rows[r.row - 1].split(",")[r.column].strip()
            assert cell == r.text, f"{column_letters(r.column)}{r.row}"
        return sheet

    return made


def workbook(path: Path, sheets: dict[str, Rows], merged: Sequence[str] = ()) -> Path:
    from openpyxl import Workbook

    book = Workbook()
    assert book.active is not None
    del book[book.active.title]
    for title, rows in sheets.items():
        page = book.create_sheet(title)
        for r in rows:
            page.append(r)
        for area in merged:
            page.merge_cells(area)
    book.save(path)
    return path


HEAD = "Asset,IΔn (mA),1x 0° (ms),1x 180° (ms),Visual"


# ── what stands around a table ──
def test_titles_totals_signatures_notes_and_blank_lines(make: Make) -> None:
    rows = ["Winter market,,,,", "Temporary power of the stalls,,,,", ",,,,", "12 Frost Lane, first gate,,,", ",,,,",
            HEAD, "WM-001,30,28.4,24.1,pass", ",,,,", "WM-002,30,21.4,19.3,pass", "Total,2,,,", "Average,,24.9,21.7,",
            "Signed: A. Snowfield,,,,", "All by daylight,,,,"]  # fmt: skip
    sheet = make(rows)
    assert sheet.of("trip_time_1x_0") == {"WM-001": 28.4, "WM-002": 21.4}
    assert sheet.passed() == {1: "above the table", 2: "above the table", 4: "above the table", 10: "total or average",
                              11: "total or average", 12: "signature line", 13: "note outside the table"}  # fmt: skip
    assert sheet.said("row-passed-over-holds-reading") == [
        "A row was passed over (total or average) that holds something like a reading: “Average | 24.9 | 21.7”."
    ]


def test_the_heading_may_be_repeated_on_each_page(make: Make) -> None:
    sheet = make([HEAD, "WM-001,30,28.4,24.1,pass", HEAD, "WM-002,30,21.4,19.3,pass", HEAD])
    assert sheet.column("device") == ["WM-001", "WM-002"]
    assert sheet.tables.sheets["heading"].tolist() == [3]
    assert sheet.passed() == {}


def test_a_row_of_units_below_the_headings_is_theirs(make: Make) -> None:
    sheet = make(["Asset,Rated,1x 0°,1x 180°,Ramp,Visual", ",A,(s),ms,A,", "WM-001,0.03,0.284,24.1,0.022,pass"])
    assert sheet.column("device") == ["WM-001"]
    assert sheet.tests["rated_residual_current"].tolist() == [30]
    assert sheet.readings["value"].tolist() == [284, 24.1, 22]
    assert sheet.tables.sheets["heading"].tolist() == [2]


def test_section_lines_name_sites_where_no_column_does(make: Make) -> None:
    sheet = make([HEAD, "Ice rink,,,,", "WM-001,30,28.4,24.1,pass", "Site: North row,,,,", "WM-002,30,21.4,19.3,pass"])
    assert sheet.column("site") == ["Ice rink", "North row"]
    assert sheet.passed() == {2: "section line", 4: "section line"}


def test_a_line_that_says_who_tested_is_no_site(make: Make) -> None:
    sheet = make([HEAD, "Ice rink,,,,", "WM-001,30,28.4,24.1,pass", "Tested by: B. Frost,,,,", "WM-002,30,21.4,19.3,"])
    assert sheet.column("site") == ["Ice rink", "Ice rink"]
    assert sheet.passed()[4] == "note outside the table"


def test_a_device_listed_without_readings_is_kept(make: Make) -> None:
    sheet = make([HEAD, "WM-001,30,28.4,24.1,pass", "WM-002,,,,", "WM-003,30,21.4,19.3,pass", "WM-004,,,,"])
    assert sheet.column("device") == ["WM-001", "WM-002", "WM-003", "WM-004"]
    assert sheet.of("trip_time_1x_0") == {"WM-001": 28.4, "WM-003": 21.4}


def test_readings_without_an_identifier_are_kept(make: Make) -> None:
    sheet = make([HEAD, "WM-001,30,28.4,24.1,pass", ",30,21.4,19.3,pass"])
    assert sheet.column("device") == ["WM-001", ""]
    assert len(sheet.readings) == 4


def test_stacked_tables_with_different_columns_are_all_read(make: Make) -> None:
    sheet = make([
        HEAD, "WM-001,30,28.4,24.1,pass", ",,,,", "Fixed devices,,,,",
        "Board,Circuit,IΔn (mA),5x 0° (ms),Ramp (mA)", "DB1,4,30,9.1,22.5", "DB1,5,30,8.8,21.9",
    ])  # fmt: skip
    assert sheet.of("trip_time_1x_0") == {"WM-001": 28.4}
    assert [r.value for r in sheet.readings.itertuples() if r.slot == "trip_current"] == [22.5, 21.9]
    assert sheet.column("board") == ["", "DB1", "DB1"]
    assert sheet.tables.sheets["heading"].tolist() == [2]


@pytest.mark.parametrize(
    "rows", [["Asset,Rated", "WM-001,30"], ["1x 0° (ms),1x 180° (ms)", "28.4,24.1"], ["a,b", "c,d"]]
)
def test_a_sheet_without_device_or_result_is_refused_with_what_is_missing(make: Make, rows: list[str]) -> None:
    sheet = make(rows)
    assert sheet.tables.inputs[0].status == "not_audited"
    assert "no table of tests was found" in sheet.tables.inputs[0].reason
    assert len(sheet.readings) == 0


def test_headings_without_rows_below_are_said(make: Make) -> None:
    sheet = make([HEAD, "All quiet today,,,,"])
    assert "no row of tests below them" in sheet.tables.inputs[0].reason


# ── headings of two rows ──
TWO_ROWS: Rows = [
    ["Asset", "Rated", "Trip time (ms)", None, "5x IΔn", None, "Ramp"],
    [None, "mA", "0°", "180°", "0°", "180°", "mA"],
    ["WM-001", 30, 28.4, 24.1, 9.1, 8.2, 22.5],
]
OF_TWO_ROWS = {"trip_time_1x_0": 28.4, "trip_time_1x_180": 24.1, "trip_time_5x_0": 9.1, "trip_time_5x_180": 8.2,
               "trip_current": 22.5}  # fmt: skip


@pytest.mark.parametrize("merged", [["C1:D1", "E1:F1"], ["C1:D1", "E1:F1", "A1:A2"], []])
def test_headings_of_two_rows_in_a_workbook(tmp_path: Path, merged: list[str]) -> None:
    sheet = Sheet(workbook(tmp_path / "day.xlsx", {"North row": TWO_ROWS}, merged))
    assert dict(zip(sheet.readings["slot"], sheet.readings["value"], strict=True)) == OF_TWO_ROWS
    assert sheet.tests["rated_residual_current"].tolist() == [30]
    assert sheet.tables.sheets["heading"].tolist() == [2]


def test_headings_of_two_rows_in_text(make: Make) -> None:
    sheet = make([",".join(as_typed(c) for c in row) for row in TWO_ROWS])
    assert dict(zip(sheet.readings["slot"], sheet.readings["value"], strict=True)) == OF_TWO_ROWS


def test_a_group_row_that_names_fields_is_no_title_line(make: Make) -> None:
    sheet = make(["Asset,Date,Trip time (ms),", ",,0°,180°", "WM-001,20/11/2026,28.4,24.1"])
    assert sheet.readings["slot"].tolist() == ["trip_time_1x_0", "trip_time_1x_180"]
    assert sheet.said("stated-above-the-table") == []


def test_a_merged_asset_speaks_for_all_its_outlets(tmp_path: Path) -> None:
    rows: Rows = [
        ["Asset", "Outlet", "1x 0° (ms)"],
        ["WM-001", 1, 28.4],
        [None, 2, 24.1],
        [None, 3, 22.2],
        ["WM-002", 1, 19.9],
    ]
    sheet = Sheet(workbook(tmp_path / "day.xlsx", {"Day": rows}, ["A2:A4"]))
    assert sheet.of("trip_time_1x_0") == {"WM-001/1": 28.4, "WM-001/2": 24.1, "WM-001/3": 22.2, "WM-002/1": 19.9}


def test_every_sheet_with_a_table_is_read_and_others_are_named(tmp_path: Path) -> None:
    table: Rows = [["Asset", "1x 0° (ms)", "1x 180° (ms)"], ["WM-001", 28.4, 24.1]]
    book = workbook(tmp_path / "day.xlsx", {"North row": table, "Notes": [["Bring gloves"]], "Ice rink": table})
    sheet = Sheet(book)
    assert sheet.column("site") == ["North row", "Ice rink"]
    assert sheet.tables.sheets["reason"].ne("").tolist() == [False, True, False]
    assert sheet.said("sheet-passed-over")[0].startswith("Sheet “Notes” was passed over")


# ── layouts ──
def test_long_layout_with_a_row_for_each_reading(make: Make) -> None:
    sheet = make([
        "Asset,IΔn (mA),Multiple,Phase,Value (ms)",
        "WM-001,30,1,0,28.4", "WM-001,30,1,180,24.1", "WM-001,30,5,0,9.1", "WM-002,30,½,0,no trip",
        "WM-002,30,x1,180°,19.9",
    ])  # fmt: skip
    assert sheet.column("device") == ["WM-001", "WM-002"]
    assert sheet.of("trip_time_1x_0") == {"WM-001": 28.4}
    assert sheet.of("trip_time_1x_180") == {"WM-001": 24.1, "WM-002": 19.9}
    assert sheet.of("trip_time_5x_0") == {"WM-001": 9.1}
    half = sheet.readings[sheet.readings["slot"] == "trip_time_0.5x_0"]
    assert half["state"].tolist() == [State.NOT_TRIPPED]


def test_a_reading_that_would_stand_twice_begins_a_second_test(make: Make) -> None:
    sheet = make(["Asset,Phase,1x (ms)", "WM-001,0,28.4", "WM-001,180,24.1", "WM-001,0,27.9", "WM-001,180,23.8"])
    assert sheet.column("device") == ["WM-001", "WM-001"]
    assert sheet.readings["value"].tolist() == [28.4, 24.1, 27.9, 23.8]
    assert sheet.readings["test"].tolist() == [0, 0, 1, 1]


def test_mixed_layout_with_a_row_for_each_phase(make: Make) -> None:
    sheet = make(["Asset,Phase,½x (ms),1x (ms),5x (ms)", "WM-001,0,>300,28.4,9.1", "WM-001,180,>300,24.1,8.2"])
    assert len(sheet.tests) == 1
    assert sorted(sheet.readings["slot"]) == sorted(f"trip_time_{m}x_{p}" for m in ("0.5", "1", "5") for p in (0, 180))


def test_pairs_in_one_cell_and_the_two_headings_they_stand_for_agree(make: Make) -> None:
    pair = make(["Asset,1x 0°/180° (ms)", "WM-001,28.4", "WM-002,21.4"], name="alone.csv")
    assert set(pair.readings["slot"]) == {"trip_time_1x"}  # one number under a pair: its phase is not known


def test_pairs_in_one_cell(tmp_path: Path) -> None:
    path = tmp_path / "pairs.csv"
    path.write_text("Asset,1x 0°/180° (ms)\nWM-001,28.4/24.1\nWM-002,OL / 19.3\n", encoding="utf-8")
    sheet = Sheet(path)
    assert sheet.of("trip_time_1x_180") == {"WM-001": 24.1, "WM-002": 19.3}
    assert sheet.readings.loc[sheet.readings["slot"] == "trip_time_1x_0", "state"].tolist() == [0, State.NOT_TRIPPED]
    assert set(sheet.readings["text"]) == {"28.4/24.1", "OL / 19.3"}


def test_a_stated_column_is_read_as_stated(make: Make) -> None:
    rows = ["Asset,T1,T2", "WM-001,0.0284,24.1", "WM-002,0.0214,19.3"]
    sheet = make(rows, columns=(("T1", "trip_time_1x_0 [s]"), ("T2", "trip_time_1x_180")))
    assert sheet.of("trip_time_1x_0") == {"WM-001": 28.4, "WM-002": 21.4}
    assert sheet.of("trip_time_1x_180") == {"WM-001": 24.1, "WM-002": 19.3}


def test_a_column_of_numbers_that_says_nothing_is_never_dropped_in_silence(make: Make) -> None:
    sheet = make(["Asset,1x 0° (ms),T1", "WM-001,28.4,24.1"])
    assert sheet.said("column-not-understood-holds-numbers") == [
        "Column “T1” was not understood and holds numbers (for instance 24.1). "
    ]


def test_a_column_without_a_heading_is_not_dropped_in_silence(make: Make) -> None:
    sheet = make(["Asset,1x 0° (ms),", "WM-001,28.4,24.1"])
    assert sheet.said("column-not-understood-holds-numbers") == [
        "Column “(no heading)” was not understood and holds numbers (for instance 24.1). "
    ]


# ── a column headed only "class" ──
def classes(make: Make, *rows: str) -> tuple[list[str], list[str]]:
    sheet = make(["Asset,Class,IΔn (mA),1x 0° (ms)", *rows])
    codes = [c for c in sheet.findings["code"] if c.startswith("class-read")]
    return sheet.column("rcd_type"), codes


def test_class_is_the_rcd_type_where_every_row_agrees_with_its_rating(make: Make) -> None:
    rows = ("A1,I,10,28.4", "A2,II,30,24.1", "A3,III,100,80.2", "A4,IV,100,95.3", "A5,,30,20.1")
    assert classes(make, *rows) == (["I", "II", "III", "IV", ""], ["class-read-as-rcd-type"])


@pytest.mark.parametrize("odd", ["A2,I,30,24.1", "A2,II,10,24.1", "A2,II,100,24.1", "A2,III,30,24.1", "A2,II,,24.1"])
def test_class_is_insulation_where_one_row_disagrees_said_once(make: Make, odd: str) -> None:
    assert classes(make, "A1,II,30,28.4", odd, "A3,I,30,22.2") == (["", "", ""], ["class-read-as-insulation"])


# ── title lines ──
BODY = [HEAD, "WM-001,30,28.4,24.1,pass", "WM-002,30,21.4,19.3,pass"]


@pytest.mark.parametrize(
    "lines",
    [
        ["Tested by: A. Snowfield,,,,", "Date: 20/11/2026,,,,", "Instrument: Meter A,,,,", "Site: North row,,,,",
         "Cal due 2027-04-30,,,,"],
        ["Tested by,A. Snowfield,,Date,20/11/2026", "Instrument:,Meter A,,Cal. due:,30.04.2027", "Site,,North row,,"],
        ["Geprüft von: A. Snowfield,,Datum: 20.11.2026,,", "Messgerät: Meter A,Kalibriert bis 30.04.2027,,,",
         "Standort: North row,,,,"],
    ],
)  # fmt: skip
def test_title_lines_supply_what_no_column_states(make: Make, lines: list[str]) -> None:
    sheet = make(["Winter market,,,,", *lines, ",,,,", *BODY])
    assert sheet.column("technician") == ["A. Snowfield"] * 2
    assert sheet.column("instrument") == ["Meter A"] * 2
    assert sheet.column("site") == ["North row"] * 2
    assert (sheet.tests["tested_at"] == pd.Timestamp("2026-11-20")).all()
    assert (sheet.tests["calibration_due"] == pd.Timestamp("2027-04-30")).all()
    assert set(sheet.passed().values()) == {"above the table"}
    said = sheet.said("stated-above-the-table")
    assert len(said) == 1
    assert "technician “A. Snowfield” (row 2)" in said[0]
    assert sheet.said("row-passed-over-holds-reading") == []


def test_a_column_beats_the_title_line(make: Make) -> None:
    sheet = make(["Tested by: A. Snowfield,,", "Asset,Tested by,1x 0° (ms)", "WM-001,B. Frost,28.4", "WM-002,,21.4"])
    assert sheet.column("technician") == ["B. Frost", ""]
    assert sheet.said("stated-above-the-table") == []


def test_a_stated_site_beats_the_title_line_and_the_title_line_the_sheet(make: Make, tmp_path: Path) -> None:
    lines = ["Site: North row,,,,", *BODY]
    assert make(lines, site="Ice rink").column("site") == ["Ice rink"] * 2
    rows: Rows = [["Site: North row"], ["Asset", "1x 0° (ms)"], ["WM-001", 28.4]]
    assert Sheet(workbook(tmp_path / "b.xlsx", {"Ice rink": rows})).column("site") == ["North row"]


def test_below_a_title_site_section_lines_name_places_within_it(make: Make) -> None:
    sheet = make(["Site: North row,,,,", ",,,,", HEAD, "Kitchen,,,,", *BODY[1:]])
    assert sheet.column("site") == ["North row"] * 2
    assert sheet.column("location") == ["Kitchen"] * 2


def test_dates_of_a_workbook_stay_dates(tmp_path: Path) -> None:
    rows: Rows = [["Date", dt.datetime(2026, 11, 20)], ["Tester", "M-014"], ["Asset", "1x 0° (ms)"], ["WM-001", 28.4]]
    sheet = Sheet(workbook(tmp_path / "day.xlsx", {"Day": rows}))
    assert sheet.tests["tested_at"].tolist() == [pd.Timestamp("2026-11-20")]
    assert sheet.column("instrument") == ["M-014"]


def test_a_title_date_is_held_to_what_dates_are_held_to(make: Make) -> None:
    sheet = make(["Date: 20/11/2029,,,,", *BODY])
    assert sheet.findings.loc[sheet.findings["code"] == "date-in-future", "row"].tolist() == [1]
    assert sheet.tests["tested_at"].isna().all()
    assert len(make(["Date: 05/11/2026,,,,", *BODY]).said("date-order-assumed")) == 1


@pytest.mark.parametrize(
    "line",
    ["Name: Winter market,,,,", "Winter market site record,,,,", "Date,Tested by,Site,,",
     "Date of issue: 20/11/2026,,,,", "Tested by:,,,,", "Next test due: 20/11/2027,,,,", "Site North row,,,,"],
)  # fmt: skip
def test_other_lines_above_a_table_state_nothing(make: Make, line: str) -> None:
    sheet = make([line, ",,,,", *BODY])
    assert sheet.said("stated-above-the-table") == []
    assert sheet.column("technician") == sheet.column("site") == ["", ""]
    assert sheet.tests["tested_at"].isna().all()


def test_a_field_stated_twice_and_differently_is_not_taken(make: Make) -> None:
    sheet = make(["Tested by: A. Snowfield,,,,", "Tested by: B. Frost,,,,", *BODY])
    assert sheet.column("technician") == ["", ""]


def test_later_tables_keep_the_title_unless_lines_over_them_differ(make: Make) -> None:
    later = ["Asset,IΔn (mA),5x 0° (ms),5x 180° (ms),Ramp (mA)", "WM-003,30,9.1,8.2,22.2"]
    again = ["Asset,IΔn (mA),½x 0° (ms),Ramp (mA),Visual", "WM-004,30,>300,22.1,pass", "Signed: A. Snowfield,,,,"]
    sheet = make(["Tested by: A. Snowfield,,,,", *BODY, ",,,,", "Tested by: B. Frost,,,,", *later, ",,,,", *again])
    assert sheet.column("technician") == ["A. Snowfield", "A. Snowfield", "B. Frost", "A. Snowfield"]
    assert sheet.passed()[6] == "above the table"


# ── columns that have changed places, test buttons ──
TIMES, RAMPS = [284.1, 41.2, 38.4, 52.2, 61.3, 47.7, 35.5], [22.1, 24.5, 21.9, 23.3, 22.2, 24.4, 25.1]


def test_columns_that_have_changed_places_are_both_refused_and_said_once(make: Make) -> None:
    rows = [f"WM-{i},30,{r},{t}" for i, (t, r) in enumerate(zip(TIMES, RAMPS, strict=True))]
    sheet = make(["Asset,IΔn (mA),1x 0° (ms),Ramp (mA)", *rows])
    assert (sheet.readings["state"] == State.UNREADABLE).all()
    assert sheet.readings["value"].isna().all()
    assert len(sheet.said("columns-perhaps-swapped")) == 1
    assert len(sheet.findings) == 1
    stated = make(["Asset,IΔn (mA),1x 0° (ms),Ramp (mA)", *rows],
                  columns=(("1x 0° (ms)", "trip_current [mA]"), ("Ramp (mA)", "trip_time_1x_0 [ms]")))  # fmt: skip
    assert stated.said("columns-perhaps-swapped") == []
    assert stated.readings["value"].notna().all()


def test_columns_in_their_places_are_left_alone(make: Make) -> None:
    rows = [f"WM-{i},30,{t},{r}" for i, (t, r) in enumerate(zip(TIMES, RAMPS, strict=True))]
    sheet = make(["Asset,IΔn (mA),1x 0° (ms),Ramp (mA)", *rows])
    assert sheet.said("columns-perhaps-swapped") == []
    assert (sheet.readings["state"] == State.TRIPPED).all()


def test_only_the_column_that_states_amperes_is_taken_for_the_swapped_one(make: Make) -> None:
    rows = [f"WM-{i},30,{t},{r} mA,{t} ms" for i, (t, r) in enumerate(zip(TIMES, RAMPS, strict=True))]
    sheet = make(["Asset,IΔn (mA),1x 0° (ms),1x 180° (ms),Ramp (mA)", *rows])
    assert len(sheet.said("columns-perhaps-swapped")) == 1
    assert len(sheet.of("trip_time_1x_0")) == 7
    assert all(np.isfinite(v) for v in sheet.of("trip_time_1x_0").values())


def test_under_a_test_button_tripped_is_a_pass_and_elsewhere_it_is_unclear(make: Make) -> None:
    sheet = make(["Asset,Test button,Visual,1x 0° (ms)", "WM-001,tripped,tripped,28.4"])
    assert sheet.tests["push_button"].tolist() == [2]
    assert sheet.tests["visual"].tolist() == [4]


# ── the account adds up whatever is typed ──
CELL = st.sampled_from(["", "", "WM-001", "28.4", "30", "pass", "Total", "Signed", "Site: Ice rink", "Kitchen",
                        "1x 0° (ms)", "Date: 20/11/2026", "OL", "Tested by", "x", "180"])  # fmt: skip


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.lists(CELL, min_size=4, max_size=4), max_size=9),
    st.lists(st.lists(CELL, min_size=4, max_size=4), max_size=9),
)
def test_every_row_is_accounted_for(tmp_path_factory: pytest.TempPathFactory, above: Rows, below: Rows) -> None:
    rows = [
        ",".join(r)
        for r in [*above, ["Asset", "IΔn (mA)", "1x 0° (ms)", "Visual"], *below, ["WM-9", "30", "28.4", "ok"]]
    ]
    path = tmp_path_factory.mktemp("any") / "any.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    sheet = Sheet(path)  # which holds the account to its sum
    assert sheet.tables.sheets["non_blank"].tolist() == [sum(r.strip(",") != "" for r in rows)]
    assert "WM-9" in [*sheet.column("device"), *sheet.column("outlet")]  # under a row of words it may name either


def test_a_row_of_formulas_without_values_is_a_row_and_each_is_pointed_at(tmp_path: Path) -> None:
    from openpyxl import Workbook

    from rcdcheck import audit as audit_files

    book = Workbook()
    rows: list[list[Any]] = [
        ["Device", "IΔn (mA)", "1x 0° (ms)", "1x 180° (ms)"],
        ["R1", 30, 22.1, 23.1],
        ["=A2", "=B2", "=C2+1", "=D2+1"],
    ]
    for row in rows:
        book.worksheets[0].append(row)
    book.save(tmp_path / "formulas.xlsx")
    audit = audit_files([tmp_path / "formulas.xlsx"])
    assert audit.tables.sheets[["non_blank", "heading", "test"]].iloc[0].tolist() == [3, 1, 2]
    pointed = audit.findings[audit.findings["code"] == "formula-without-value"]
    assert set(pointed["column"]) == {0, 1, 2, 3} and set(pointed["row"]) == {3}


def test_readings_that_happen_to_rise_by_one_are_readings(make: Make) -> None:
    sheet = make(["Device,Rated (mA),0° (ms),180° (ms)", "A1,30,24,", "A2,30,22,410", "A3,30,21,411", "A4,30,23,412"])
    assert [v for v in sheet.tables.readings["value"] if v > 400] == [410.0, 411.0, 412.0]
