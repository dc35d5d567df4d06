"""Ways in which people type multiples, angles, marks and visits: common practice, no source.

Each sheet holds a device that fails in the cell that the way of typing could hide.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import openpyxl
import pytest
from variants import audited

Row = list[str | int | None]


def workbook(path: Path, rows: Sequence[Row]) -> dict[str, str]:
    """Outcome of each device of these rows of a workbook."""
    book = openpyxl.Workbook()
    for at, row in enumerate(rows, 1):
        for column, value in enumerate(row, 1):
            book.worksheets[0].cell(at, column, value)
    book.save(path)
    return {device["device"]: device["outcome"] for device in audited(path)["devices"]}


def judged(folder: Path, *lines: str) -> dict[str, str]:
    """Outcome of each device of these lines of CSV."""
    (folder / "day.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return {device["device"]: device["outcome"] for device in audited(folder / "day.csv")["devices"]}


@pytest.mark.parametrize(("zero", "half"), [("0deg", "180deg"), ("0grad", "180grad"), ("0 °", "180 °"), ("0", "180")])
@pytest.mark.parametrize("five", ["5 times", "x5", "5fach", "five times", "5.0", "500%"])
def test_each_row_says_its_multiple_and_angle(tmp_path: Path, zero: str, half: str, five: str) -> None:
    """44 ms is no failure at the rated current and one at five times (AS/NZS 3760, from memory: 40 ms)."""
    tests = (("1", zero, 44), ("1", half, 45), (five, zero, 22))
    rows = [f"{name},30,{factor},{phase},{ms}" for name, last in (("A1", 44), ("A2", 29))
            for factor, phase, ms in (*tests, (five, half, last))]  # fmt: skip
    assert judged(tmp_path, "RCD ref,Rated mA,Factor,Phase,Trip time", *rows) == {"A1": "fail", "A2": "pass"}


def test_at_rated_current_heads_readings(tmp_path: Path) -> None:
    lines = ["RCD,IΔn,Start angle,At rated current,Outcome"]
    lines += [f"{name},30,{angle},{ms}," for name in ("R1", "R2")
              for angle, ms in (("0deg", 24), ("180deg", "no trip" if name == "R2" else 26))]  # fmt: skip
    assert judged(tmp_path, *lines) == {"R1": "pass", "R2": "fail"}


def test_a_row_of_multiples_over_bare_angles_is_no_title(tmp_path: Path) -> None:
    found = judged(
        tmp_path, ",,Trip time x1,,At half (must not trip),", "RCD,Rated mA,0,-ve,0,-ve", "S1,30,50,61,> 400,no trip",
        "S2,30,51,60,35,no trip", "S3,30,48,>300,no trip,no trip",
    )  # fmt: skip
    assert found == {"S1": "pass", "S2": "fail", "S3": "fail"}


def test_a_time_far_from_its_pair_keeps_its_own_multiple(tmp_path: Path) -> None:
    """98 ms is no failure at the rated current, and 573 ms one at five times."""
    found = judged(
        tmp_path, "ID,Sensib. (mA),Tiempo 0°,5xIΔn 180°,5xIΔn 0°,Tiempo 180°", "D1,30,20,34,29,98",
        "D2,30,137,30,573,98",
    )  # fmt: skip
    assert found == {"D1": "pass", "D2": "fail"}


def test_sentences_of_readings_name_the_multiple_once(tmp_path: Path) -> None:
    said = ("x1: 0deg 35, 180deg 32. x5: 0deg 15, 180deg 13", "x1: 0deg 24, 180deg 402. x5: 0deg 12, 180deg 15",
            "x1: 0deg 26, 180deg 25. x5: 0deg 12, 180deg 59")  # fmt: skip
    lines = [f'C{n},"{text}"' for n, text in enumerate(said, 1)]
    assert judged(tmp_path, "All RCDs 30 mA", "Cabin,What I measured", *lines) == {
        "C1": "pass",
        "C2": "fail",
        "C3": "fail",
    }


def test_a_rating_of_all_in_a_line_over_a_board_is_of_this_board(tmp_path: Path) -> None:
    """64 mA is no failure of a device of 100 mA and one of a device of 30 mA."""
    head = "No,Circuit,1x 0 ms,1x 180 ms,Ramp mA"
    rows = ("Board R1 - all 100 mA", head, "1,Q11,22,25,64", "", "Board R2 - all 30 mA", head, "1,Q31,22,25,64")
    (tmp_path / "day.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    told = audited(tmp_path / "day.csv")["devices"]
    found = [(d["site"] or d["board"], d["device"], d["outcome"]) for d in told]
    assert found == [("Board R1", "1", "pass"), ("Board R2", "1", "fail")]


def test_numbers_of_lines_name_no_device(tmp_path: Path) -> None:
    head = "Lp.,Oznaczenie,IΔn,Czas 1×IΔn (+) [ms],Czas 1×IΔn (-) [ms]"
    found = judged(
        tmp_path, head, "1.,Q11,30,22,25", "2.,Q12,30,23,26", "", head, "1.,Q21,30,22,388", "2.,Q22,30,21,24"
    )
    assert found == {"Q11": "pass", "Q12": "pass", "Q21": "fail", "Q22": "pass"}


def test_what_was_found_and_what_was_left_are_visits(tmp_path: Path) -> None:
    """A remedy between ends a failure; trying again ends none."""
    found = judged(
        tmp_path, ",As found,,What was done,As left,,,", "Outlet,x1 0°,x1 180°,,x1 0°,x1 180°,x5 0°,x5 180°",
        "B1,23,34,nothing needed,36,24,13,10", "B2,no trip,21,replaced RCD,33,24,10,15",
        "B3,34,341,tested again next day,27,29,8,9", "B4,19,21,nothing needed,23,28,15,82", "all RCDs 30 mA",
    )  # fmt: skip
    assert found == {"B1": "pass", "B2": "pass", "B3": "fail", "B4": "fail"}


@pytest.mark.parametrize("mark", ["Y", "N"])
def test_yes_and_no_where_nobody_asked_are_no_pass(tmp_path: Path, mark: str) -> None:
    """Below "Half" a yes may say that it held or that it tripped: where both stand there, neither passes."""
    lines = [f"R{n},30,24,25,{'Y' if n % 2 else 'N'}" for n in range(1, 7)]
    found = judged(tmp_path, "RCD,Rated mA,0°,180°,Half", *lines)
    assert "pass" not in {found[line[:2]] for line in lines if line.endswith(mark)}


def test_a_legend_beside_the_rows_is_of_no_row_and_its_marks_are_of_their_columns(tmp_path: Path) -> None:
    """ "Y" is good below the button and bad below half the rated current, as the sheet itself says."""
    rows: list[Row] = [["Ref", "x1 0", "x1 180", "HALF", "BTN", "VIS"], ["P1", 33, 17, "N", "Y", 1],
            ["P2", 34, 34, "Y", "Y", 1], ["P3", 27, 36, "N", "N", 1], ["P4", 30, 32, "N", "Y", 0],
            ["P5", 36, "X", "N", "Y", 1],
            ["P6", "Z", "Z", "Z", "Z", None]]  # fmt: skip
    key: list[Row] = [[], ["CODES"], ["HALF", "Y = went at half current, N = stayed on (good)"],
           ["BTN", "Y = trips on the button, N = does not"], ["VIS", "1 = looks sound, 0 = damage seen"],
           ["X", "did not trip"], ["Z", "not tested this round"]]  # fmt: skip
    lines: list[Row] = [[*row, None, None, *beside] for row, beside in zip(rows, key, strict=True)]
    found = workbook(tmp_path / "codes.xlsx", [*lines, [*[None] * 8, "All 30 mA"]])
    assert found == {"P1": "pass", "P2": "fail", "P3": "fail", "P4": "fail", "P5": "fail", "P6": "incomplete"}


def test_a_last_pair_of_columns_behind_a_blank_one_is_no_legend(tmp_path: Path) -> None:
    head: Row = ["RCD", "mA", None, "x1 0", "x1 180", None, "x5 0", "Button"]
    rows: list[Row] = [[f"D{n}", 30, None, 24, 26, None, 47 if n == 4 else 12, "yes"] for n in range(1, 6)]
    found = workbook(tmp_path / "gaps.xlsx", [head, *rows])
    assert found == {"D1": "pass", "D2": "pass", "D3": "pass", "D4": "fail", "D5": "pass"}


def test_a_column_of_numbered_notes_says_what_the_notes_say(tmp_path: Path) -> None:
    found = judged(
        tmp_path, "Alla 30 mA", "", "Grupp,Not,Tid 1x pos (ms),Tid 1x neg (ms)", "Stall,,25,28", "Loft,1),22,18",
        "Lada,2),,", "Hall,,27,411", "", "1) löser inte på provknappen", "2) ej provad",
    )  # fmt: skip
    assert found["Stall"] == "pass" and found["Hall"] == "fail"
    assert found["Loft"] != "pass" and found["Lada"] != "pass"


def test_a_line_below_two_tables_side_by_side_is_heard_in_both(tmp_path: Path) -> None:
    head: Row = ["RCD", "mA", "1x 0°", "1x 180°"]
    rows: list[Row] = [["DB-L1", *[None] * 4, "DB-L2"], [*head, None, *head]]
    rows += [[f"RCD {n}", 30, 25, 28, None, f"RCD {n}", 30, 29, 26] for n in range(1, 5)]
    book: list[Row] = [*rows, [], ["DB-L2 RCD 4: burn marks on the terminals, condemned"]]
    found = workbook(tmp_path / "abreast.xlsx", book)
    assert found["DB-L1 / RCD 3"] == found["DB-L2 / RCD 3"] == "pass" and len(found) == 8
    assert found["DB-L2 / RCD 4"] == "unclear"


def test_readings_of_last_year_are_not_those_of_this_one(tmp_path: Path) -> None:
    """What was not tested this year does not pass by the year before, and a failure then is heard."""
    rows: list[Row] = [["Houses - safety switches 30mA"], [None, "LAST YEAR (Nov 2025)", None, "THIS YEAR (Nov 2026)"],
            ["House", "1x 0°", "1x 180°", "1x 0°", "1x 180°", "Remarks"], ["No 1", 25, 27, 26, 28],
            ["No 2", 31, 30, 32, 29], ["No 3", ">300", ">300", 24, 23], ["No 4", 28, 33, 27, ">300"],
            ["No 5", 22, 24, None, None, "tenant away, locked"]]  # fmt: skip
    found = workbook(tmp_path / "years.xlsx", rows)
    assert found == {"No 1": "pass", "No 2": "pass", "No 3": "unclear", "No 4": "fail", "No 5": "incomplete"}


def test_cards_of_two_pairs_a_line_with_a_blank_value(tmp_path: Path) -> None:
    """A label beside a blank is no reading of it."""
    rows: list[Row] = []
    for name, first, second in (("North", 28, 31), ("South", 26, 24), ("Paint", 33, None), ("Yard", None, 412)):
        rows += [["RCD CARD"], ["Name", name, "Rated", "30 mA"], ["1x 0° ms", first, "1x 180° ms", second],
                 ["Ramp mA", 24, "Test button", "ok"], []]  # fmt: skip
    found = workbook(tmp_path / "cards.xlsx", rows)
    assert found == {"North": "pass", "South": "pass", "Paint": "incomplete", "Yard": "fail"}


def test_a_name_and_a_number_are_a_device_under_any_heading(tmp_path: Path) -> None:
    lines = [f"Power head {n},28,{311 if n == 3 else 25}" for n in range(1, 6)]
    found = judged(tmp_path, "RCD checks - everything on this list is 30mA", "", "Head,1x pos,1x neg", *lines)
    assert found == {f"Power head {n}": "fail" if n == 3 else "pass" for n in range(1, 6)}


def test_a_cell_of_words_makes_no_place_of_a_half_wave(tmp_path: Path) -> None:
    """ "+ve" is the positive half-wave, and no slip of "position"."""
    lines = [f"Stall {n},24,27" for n in range(1, 6)]
    found = judged(tmp_path, "all 30 mA", "Shop unit,+ve,-ve", *lines, "Stall 6,shutter stuck halfway,")
    assert [found[f"Stall {n}"] for n in range(1, 6)] == ["pass"] * 5 and found["Stall 6"] != "pass"
