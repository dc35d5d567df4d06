"""Visits that a column counts, sheets under the same headings, titled cards, and headings of other people's making.

Sheets are invented and their outcomes were decided before the first run; how they are typed is common practice, no
source.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import openpyxl
import pytest
from variants import audited


def typed(folder: Path, *lines: str) -> dict[str, str]:
    """Outcome of each device of lines typed as a CSV file."""
    path = folder / "day.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return outcomes(audited(path))


def outcomes(document: dict[str, Any]) -> dict[str, str]:
    return {device["device"]: device["outcome"] for device in document["devices"]}


def test_a_column_of_visits_tells_which_test_came_later(tmp_path: Path) -> None:
    lines = ("RCD,Visit,mA,1x 0 ms,1x 180 ms,Remarks", "T1,1,30,318,327,", "T2,1,30,25,28,", "T3,1,30,24,26,",
             "T1,2,30,24,26,RCD replaced", "T2,2,30,31,>300,", "T3,2,30,22,27,")  # fmt: skip
    told = {"T1": "pass", "T2": "fail", "T3": "pass"}
    assert typed(tmp_path, *lines) == told
    assert typed(tmp_path, lines[0], *reversed(lines[1:])) == told


def test_a_later_visit_without_a_remedy_ends_no_failure(tmp_path: Path) -> None:
    lines = (
        "RCD,Round,mA,1x 0 ms,1x 180 ms",
        "T1,1st,30,318,327",
        "T2,1st,30,25,28",
        "T1,2nd,30,24,26",
        "T2,2nd,30,31,29",
    )
    assert typed(tmp_path, *lines) == {"T1": "fail", "T2": "pass"}


def test_a_small_sheet_is_read_like_a_large_one_under_the_same_headings(tmp_path: Path) -> None:
    """ "Quay" over letters that repeat is no outlet, which two rows alone would not tell."""
    head = ("Mooring", "Quay", "mA", "x1 0", "x1 180", "Comment")
    rows = [(f"{quay}{n}", quay, 30, 20 + n, 24 + n, "") for quay in "ABC" for n in range(1, 5)]
    rows[2] = ("A3", "A", 30, 412, 388, "")
    book = openpyxl.Workbook()
    for name, lines in (("First test", rows), ("Retest 20 March", [("A3", "A", 30, 24, 21, "RCD replaced")])):
        sheet = book.create_sheet(name)
        for line in (head, *lines):
            sheet.append(line)
    book.remove(book.worksheets[0])
    book.save(tmp_path / "quays.xlsx")
    told = outcomes(audited(tmp_path / "quays.xlsx"))
    assert len(told) == len(rows) and set(told.values()) == {"pass"}


def test_a_card_whose_label_was_typed_over_is_not_lost(tmp_path: Path) -> None:
    """Two cards abreast; over the first label of the second stands a word for a fail."""
    lines = [
        line
        for n in (1, 3, 5)
        for line in (
            f"RCD:,Bench {n},,{'failed' if n == 1 else 'RCD:'},Bench {n + 1}",
            "Rating:,30 mA,,Rating:,30 mA",
            f"x1 0°,2{n} ms,,x1 0°,3{n} ms",
            f"x1 180°,2{n + 1} ms,,x1 180°,3{n + 1} ms",
            "Button:,works,,Button:,works",
            ",,,,",
        )
    ]
    came_out = typed(tmp_path, "Garage RCD cards,,,,", ",,,,", *lines)
    assert {name: came_out[name] for name in came_out if name.startswith("Bench")} == {
        f"Bench {n}": "pass" for n in (1, 3, 4, 5, 6)
    }
    (nameless,) = (outcome for name, outcome in came_out.items() if not name.startswith("Bench"))
    assert nameless == "unclear"


def test_titles_over_cards_name_the_devices_below_them(tmp_path: Path) -> None:
    """The readings of a card are those of the title above it, and never of the next one."""
    lines = ['"Checks, guest house, winter"']
    for name, at_180 in (
        ("DB1 Kitchen RCD 30mA", "28 ms"),
        ("DB2 Bar RCD 30mA", "no trip"),
        ("DB3 Loft RCD 30mA", "31 ms"),
    ):
        lines += ["", name, "x1 0,24 ms", f"x1 180,{at_180}", "x5 0,15 ms", "x5 180,17 ms"]
    told = typed(tmp_path, *lines)
    assert [(name.split()[0], outcome) for name, outcome in told.items()] == [
        ("DB1", "pass"), ("DB2", "fail"), ("DB3", "pass")]  # fmt: skip


def test_numbered_forms_hold_what_stands_below_their_number(tmp_path: Path) -> None:
    lines = ["Round of the lodge"]
    for n, (name, at_180) in enumerate((("Sauna", "did not trip"), ("Desk", "18"), ("Garage", "22")), 1):
        lines += [
            "",
            f"Device {n} of 3",
            f"Which RCD?,{name}",
            "Rated?,30 mA",
            "1x at 0° (ms)?,23",
            f"1x at 180° (ms)?,{at_180}",
        ]
    assert typed(tmp_path, *lines) == {"Sauna": "fail", "Desk": "pass", "Garage": "pass"}


@pytest.mark.parametrize("heads", ["tick/X", "✓ / ✗", "OK / not OK", "y/n"])
def test_a_heading_of_two_verdicts_asks_for_the_result(tmp_path: Path, heads: str) -> None:
    good, bad = {"tick/X": "✓X", "✓ / ✗": "✓✗", "OK / not OK": ("ok", "not ok"), "y/n": "yn"}[heads]
    lines = (f"RCD,mA,1x 0,1x 180,{heads}", f"R1,30,24,25,{good}", f"R2,30,28,22,{bad}", f"R3,30,21,24,{good}")
    assert typed(tmp_path, *lines) == {"R1": "pass", "R2": "unclear", "R3": "pass"}


def test_words_that_pass_under_a_strange_heading_ask_nothing_and_fails_are_heard(tmp_path: Path) -> None:
    lines = ("RCD,mA,1x 0,1x 180,Zork", "R1,30,24,25,P", "R2,30,28,22,F", "R3,30,21,24,P", "R4,30,21,26,P")
    assert typed(tmp_path, *lines) == {"R1": "pass", "R2": "unclear", "R3": "pass", "R4": "pass"}


def test_plus_and_minus_below_one_heading_are_its_half_waves(tmp_path: Path) -> None:
    lines = ("RCD,IΔn [mA],Trip time [ms] at 1×IΔn,", ",,+,−", "R1,30,38,41", "R2,30,28,", "R3,30,19,>300")
    assert typed(tmp_path, *lines) == {"R1": "pass", "R2": "incomplete", "R3": "fail"}


def test_a_number_beyond_any_ramp_makes_both_half_waves_times(tmp_path: Path) -> None:
    lines = ("name,rating,trip 0,trip 180", "Hall,30mA,24,26", "Hut,30mA,33,378", "Loft,30mA,21,25")
    assert typed(tmp_path, *lines) == {"Hall": "pass", "Hut": "fail", "Loft": "pass"}


def test_amperes_of_a_circuit_say_nothing_of_its_device(tmp_path: Path) -> None:
    lines = ("Board,RCD,Calibre,Sensitivity,1x 0,1x 180", "DB1,Q1,40 A,30 mA,24,26", "DB1,Q2,63 A,30 mA,>300,26",
             "DB2,Q3,125 A,300 mA,98,120")  # fmt: skip
    assert typed(tmp_path, *lines) == {"Q1": "pass", "Q2": "fail", "Q3": "pass"}


@pytest.mark.parametrize(
    "title", ["Portable RCDs, rated trip 30 mA", "Hall, 30 milliamp trips", "Site: Barn, all RCDs 30 mA"]
)
def test_a_title_states_the_rating(tmp_path: Path, title: str) -> None:
    """A trip of 33 mA is above it; where none were stated nothing could be said of that."""
    lines = (f'"{title}"', "", "RCD,1x 0 ms,1x 180 ms,Ramp mA", "R1,24,25,22", "R2,28,22,33", "R3,21,24,21")
    assert typed(tmp_path, *lines) == {"R1": "pass", "R2": "fail", "R3": "pass"}


def test_codes_of_circuits_beside_a_description_name_the_devices(tmp_path: Path) -> None:
    lines = ("Circuit,Description,mA,1x 0,1x 180", "F1,Sockets ground floor,30,24,25",
             "F2,Sockets first floor,30,>300,26", "F3,Workshop,30,21,24", "F4,Cellar,30,22,26")  # fmt: skip
    assert typed(tmp_path, *lines) == {"F1": "pass", "F2": "fail", "F3": "pass", "F4": "pass"}


@pytest.mark.parametrize(("first", "second"), [("1st", "2nd"), ("Before", "After"), ("First test", "Retest")])
def test_a_first_and_a_second_test_beside_each_other_are_visits(tmp_path: Path, first: str, second: str) -> None:
    """The second ends a failure where a remedy is on record, and no failure where none is."""
    heads = f"Room,RCD rating,{first} 0,{first} 180,What was done,{second} 0,{second} 180"
    lines = (heads, "A,30 mA,27,33,,,", "B,30 mA,317,29,RCD replaced with new,24,28",
             "C,30 mA,no trip,29,tried again,35,41",
             "D,30 mA,29,412,RCD replaced with new,28,377")  # fmt: skip
    assert typed(tmp_path, *lines) == {"A": "pass", "B": "pass", "C": "fail", "D": "fail"}


def test_a_bound_of_a_further_outlet_is_read_and_not_doubted(tmp_path: Path) -> None:
    lines = ("RCBO 30 mA each pillar; 2 outlets off the one RCBO, each tested at 30 mA", "",
             "Pillar,Outlet 1 0°,Outlet 1 180°,Outlet 2 0°,Outlet 2 180°", "P1,27,32,28,33",
             "P2,31,36,>300,>300")  # fmt: skip
    (tmp_path / "day.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    document = audited(tmp_path / "day.csv")
    assert outcomes(document) == {"P1": "pass", "P2": "fail"}
    assert "cell-says-failed" not in {finding["code"] for finding in document["findings"]}


def test_rooms_with_numbers_are_places_and_days_are_none(tmp_path: Path) -> None:
    """ "Lab 2.04" is no 2 April: its first bench is not that of the next lab."""
    head = ("Position", "IΔn", "1x 0°", "1x 180°")
    book = openpyxl.Workbook()
    for name, at_180 in (("Lab 2.04", 31), ("Lab 2.05", 312), ("Lab 3.11", 27)):
        sheet = book.create_sheet(name)
        for line in (head, ("Bench 1", "30 mA", 28, at_180), ("Bench 2", "30 mA", 26, 33)):
            sheet.append(line)
    book.remove(book.worksheets[0])
    book.save(tmp_path / "labs.xlsx")
    told = audited(tmp_path / "labs.xlsx")["devices"]
    assert [(d["site"], d["device"]) for d in told if d["outcome"] == "fail"] == [("Lab 2.05", "Bench 1")]
    assert len(told) == 6


def test_a_title_rates_the_rows_that_leave_their_rating_blank(tmp_path: Path) -> None:
    lines = ("all 30mA unless it says other", "", "Where,Rated,Trip 0 deg,Trip 180 deg,Ramp mA", "Parlour,,34,29,22.5",
             "Calf house,,38,44,34.5", "Incomer (S type),300mA,212,198,230")  # fmt: skip
    assert typed(tmp_path, *lines) == {"Parlour": "pass", "Calf house": "fail", "Incomer (S type)": "pass"}


def test_a_title_with_other_words_beside_it_is_no_heading(tmp_path: Path) -> None:
    lines = ("RCD check of the school;Caretaker;all RCDs 30 mA", "Name;Place;Test 0 deg;Test 180 deg;Remarks",
             "A1;Gym;27 ms;33 ms;", "A2;Hall;338 ms;352 ms;", "A3;Loft;25 ms;31 ms;")  # fmt: skip
    assert typed(tmp_path, *lines) == {"A1": "pass", "A2": "fail", "A3": "pass"}


def test_a_place_that_comes_again_on_a_later_day_names_its_device(tmp_path: Path) -> None:
    lines = ("30 mA RCDs in every flat", "", "Flat,Date,x1 0°,x1 180°,Works done", "Flat 1,3/9/24,26,32,",
             "Flat 2,3/9/24,>300,>300,", "Flat 3,3/9/24,27,322,", "Flat 2,17/9/24,24,29,RCD replaced",
             "Flat 3,17/9/24,28,330,none yet")  # fmt: skip
    assert typed(tmp_path, *lines) == {"Flat 1": "pass", "Flat 2": "pass", "Flat 3": "fail"}


def test_a_name_that_is_a_fault_in_another_language_says_nothing(tmp_path: Path) -> None:
    lines = ("Shed,RCD,mA,0deg,180deg", "Home,Vat wash,30,28ms,35ms", "Home,Heater,30,31ms,27ms",
             "Top,Vat wash,30,26ms,33ms", "Top,Heater,30,no trip,29ms")  # fmt: skip
    (tmp_path / "day.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    told = [d["outcome"] for d in audited(tmp_path / "day.csv")["devices"]]
    assert sorted(told) == ["fail", "pass", "pass", "pass"]


def test_sheets_of_one_site_and_day_that_name_the_same_devices_are_boards(tmp_path: Path) -> None:
    """What one board's F1 passes says nothing of the F1 of the next, which nobody reached."""
    head = ("RCD", "IΔn (mA)", "1x 0°", "1x 180°", "Remarks")
    book = openpyxl.Workbook()
    for name, row in (("R1", ("F1", 30, 25, 30, "")), ("R2", ("F1", 30, 25, ">300", "")),
                      ("R3", ("F1", 30, "", "", "no access, not tested"))):  # fmt: skip
        sheet = book.create_sheet(name)
        for line in (("Site:", "Ice rink", "Date:", "11/06/2025"), (), head, row, ("F2", 30, 22, 24, "")):
            sheet.append(line)
    book.remove(book.worksheets[0])
    book.save(tmp_path / "boards.xlsx")
    told = audited(tmp_path / "boards.xlsx")["devices"]
    assert {d["device"]: d["outcome"] for d in told} == {
        "R1 / F1": "pass", "R2 / F1": "fail", "R3 / F1": "incomplete", "R1 / F2": "pass", "R2 / F2": "pass",
        "R3 / F2": "pass"}  # fmt: skip


def test_a_word_broken_over_two_rows_of_headings_is_one_word(tmp_path: Path) -> None:
    lines = (";;Prüf-;Auslösezeit 1x IΔn (ms);;Auslöse-", "FI;IΔn (mA);taste;0°;180°;strom (mA)", "F1;30;i.O.;24;29;22",
             "F2;30;n.i.O.;27;33;21", "F3;30;i.O.;31;26;33")  # fmt: skip
    assert typed(tmp_path, *lines) == {"F1": "pass", "F2": "fail", "F3": "fail"}


def test_a_column_of_kinds_of_device_names_none(tmp_path: Path) -> None:
    """Three circuits with an RCBO each are three devices, of which one was not tested."""
    lines = ("Circuit,Device,IΔn mA,x1 0° ms,x1 180° ms,Remarks", "Incomer,RCD type S 300mA,300,222,276,",
             "1L1,RCBO,30,,,not tested", "1L2,RCBO,30,28,24,", "2L2,RCBO,30,33,27,")  # fmt: skip
    told = typed(tmp_path, *lines)
    assert len(told) == 4 and sorted(told.values()) == ["incomplete", "pass", "pass", "pass"]


def test_a_first_and_a_second_go_over_both_half_waves_are_visits(tmp_path: Path) -> None:
    lines = ("all 30 mA plug-in RCDs", "", "Plot,Looks,Presses ok?,First go,,Second go,,Remarks", ",,,0,180,0,180,",
             "P1,tidy,yes,22,27,,,", "P2,tidy,yes,>300,31,24,26,swapped for a new one",
             "P3,cracked,yes,25,29,,,lid split",
             "P4,tidy,yes,no trip,no trip,28,27,pressed it twice and tried again",
             "P5,tidy,yes,31,,,,rain so 180 still to do")  # fmt: skip
    assert typed(tmp_path, *lines) == {"P1": "pass", "P2": "pass", "P3": "fail", "P4": "fail", "P5": "incomplete"}
