"""What stands elsewhere than in a plain table counts too: notes, footnotes, other sheets, tables on their side.

Sheets are invented and their outcomes were decided before the first run; how they are typed is common practice, no
source.
"""

from __future__ import annotations

import shlex
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from variants import audited

Audited = Callable[..., dict[str, Any]]
HEADS = ("Device", "Rated mA", "Visual", "1x 0° ms", "1x 180° ms")


@pytest.fixture
def typed(tmp_path: Path) -> Audited:
    """The document of lines typed as a CSV file."""

    def of(*lines: str) -> dict[str, Any]:
        path = tmp_path / "day.csv"
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        return audited(path)

    return of


@pytest.fixture
def book(tmp_path: Path) -> Audited:
    """The document of a workbook with these sheets, each a name and its rows."""

    def of(*arguments: str, **sheets: Sequence[Sequence[object]]) -> dict[str, Any]:
        made = openpyxl.Workbook()
        made.remove(made.worksheets[0])
        for name, rows in sheets.items():
            sheet = made.create_sheet(name.replace("_", " "))
            for row in rows:
                sheet.append(list(row))
        path = tmp_path / "day.xlsx"
        made.save(path)
        return audited(path, *arguments)

    return of


def outcomes(document: dict[str, Any]) -> dict[str, str]:
    """Outcome of each device by its name."""
    return {device["device"]: device["outcome"] for device in document["devices"]}


# ── readings in words ──
def test_notes_that_hold_readings_with_their_labels_are_read(typed: Audited) -> None:
    document = typed(
        "Plug-in RCDs (30 mA);;",
        "Item;Colour;Remarks",
        "T1;black;0deg 24ms, 180deg 26ms, x5 12ms, button ok, looks ok",
        "T2;white;0deg 420ms, 180deg 29ms, x5 13ms, button ok, looks ok",
        "T3;white;0deg 25ms, 180deg no trip, x5 13ms, button ok, looks ok",
        "T4;white;0deg 25ms, x5 13ms, button ok, looks ok (180 not done, fuse went)",
        "T5;white;0deg 25ms, 180deg 26ms, x5 13ms, button jammed, looks ok",
    )
    assert outcomes(document) == {"T1": "pass", "T2": "fail", "T3": "fail", "T4": "incomplete", "T5": "fail"}
    assert {r["cell"] for d in document["devices"] for r in d["reasons"] if d["device"] == "T2"} == {"C4"}


def test_a_mail_pasted_into_one_column_is_read(typed: Audited) -> None:
    document = typed(
        "Hi - the 30mA sockets in the boat store.",
        "",
        '"BS1  -  1x 0deg 23 ms, 1x 180deg 26 ms, 5x 12 ms"',
        '"BS2  -  1x 0deg 28 ms, 1x 180deg 412 ms, 5x 13 ms"',
        '"BS3  -  1x 0deg 28 ms, 5x 13 ms (180deg on Monday)"',
        "",
        "Cheers",
    )
    assert outcomes(document) == {"BS1": "pass", "BS2": "fail", "BS3": "incomplete"}


def test_forms_of_several_labels_in_a_line_are_read(typed: Audited) -> None:
    read = [("24 ms", "26 ms", "OK"), ("28 ms", "> 300 ms", "OK"), ("22 ms", "21 ms", "FAILED"), ("26 ms", "", "OK")]
    slips = [
        (f"scan {n}", f"UNIT: LK-{n}   RATED 30 mA", f"X1 0 deg: {a}    X1 180 deg: {b}", f"BUTTON: {button}", "-" * 9)
        for n, (a, b, button) in enumerate(read, 1)
    ]
    document = typed(*(line for slip in slips for line in slip))
    assert outcomes(document) == {"LK-1": "pass", "LK-2": "fail", "LK-3": "fail", "LK-4": "incomplete"}


# ── footnotes and words in other cells ──
def test_what_a_footnote_says_is_said_of_the_rows_that_bear_its_mark(typed: Audited) -> None:
    document = typed(
        ",".join(HEADS),
        "R1,30,ok,26,28",
        "R2,30,ok,22,24 (a)",
        "R3,30,ok (b),27,29",
        "",
        "(a) taken after the bellows were switched off,,,,",
        "(b) case is cracked right through,,,,",
    )
    assert outcomes(document) == {"R1": "pass", "R2": "pass", "R3": "unclear"}
    (reason,) = next(d for d in document["devices"] if d["device"] == "R3")["reasons"]
    assert "case is cracked right through" in reason["message"]


def test_what_a_check_says_beside_its_verdict_stands_in_its_reason(typed: Audited) -> None:
    document = typed(",".join(HEADS), "R1,30,cracked lid,26,28", "R2,30,ok,22,24")
    (reason,) = document["devices"][0]["reasons"]
    assert (reason["code"], reason["cell"]) == ("visual-failed", "C2") and "“cracked lid”" in reason["message"]
    assert document["tests"][0]["visual_words"] == "cracked lid"


def test_locked_under_a_check_is_no_access_and_no_verdict(typed: Audited) -> None:
    document = typed(",".join(HEADS), "R1,30,locked,,", "R2,30,ok,22,24")
    assert outcomes(document) == {"R1": "incomplete", "R2": "pass"}
    assert "no-access" in {r["code"] for r in document["devices"][0]["reasons"]}


@pytest.mark.parametrize(("where", "outcome"), [("Plant", "fail"), ("Plant (100 mA)", "pass")])
def test_a_rating_in_the_words_of_a_row_is_its_own(typed: Audited, where: str, outcome: str) -> None:
    document = typed(
        "RCD rated 30 mA (100 mA where marked)", "Ref,Location,1x 0,1x 180,Ramp mA", f"L1,{where},25,26,74",
        "L2,Desk,25,26,21",
    )  # fmt: skip
    assert outcomes(document) == {"L1": outcome, "L2": "pass"}


def test_a_description_that_names_another_rating_is_a_contradiction(typed: Audited) -> None:
    document = typed(
        "Ref,Description,mA,1x 0,1x 180", "R1,2P RCCB 100mA,30,25,26", "R2,2P RCCB 30mA,30,25,26",
        "R3,4P RCCB 300mA selective,300,220,236",
    )  # fmt: skip
    assert outcomes(document) == {"R1": "unclear", "R2": "pass", "R3": "pass"}
    told = next(f for f in document["findings"] if f["code"] == "rating-contradicts-words")
    assert told["suggestion"] == '--column "Description=ignore" or --column "mA=ignore"'


def test_a_comma_that_may_part_thousands_leaves_only_its_own_device_open(typed: Audited) -> None:
    document = typed("Ref;mA;1x 0;1x 180", "R1;30;24;25", "R2;30;1,204;25")
    assert outcomes(document) == {"R1": "pass", "R2": "unclear"}


def test_a_cross_beside_ticks_is_a_fail(typed: Audited) -> None:
    assert outcomes(typed(",".join(HEADS), "R1,30,✓,26,28", "R2,30,X,22,24")) == {"R1": "pass", "R2": "fail"}


def test_a_no_with_words_behind_it_is_heard_among_yes(typed: Audited) -> None:
    lines = [f"R{n},30,ok,26,28,yes" for n in range(1, 6)]
    document = typed(",".join((*HEADS, "Back on shelf?")), *lines, "R6,30,ok,26,28,NO - bin it", "R7,30,ok,26,28,no")
    assert outcomes(document) == {f"R{n}": "pass" for n in range(1, 6)} | {"R6": "unclear", "R7": "unclear"}


# ── other sheets ──
TIMES = (HEADS, ("L1", 30, "ok", 24, 25), ("L2", 30, "ok", 24, 25), ("L3", 30, "ok", 24, 25))


OTHER = (("ref", "wobble"), ("L1", 33), ("L2", "see the wall"))


def test_a_sheet_that_nobody_understood_keeps_its_devices_from_passing(book: Audited) -> None:
    document = book(times=TIMES, other=OTHER)
    assert outcomes(document) == {"L1": "unclear", "L2": "pass", "L3": "pass"}
    assert [r["code"] for r in document["devices"][0]["reasons"]] == ["sheet-left-aside-names-device"]
    told = next(f for f in document["findings"] if f["code"] == "sheet-left-aside-names-device")
    assert told["suggestion"] == '--column "other!B=ignore"'
    again = book(*shlex.split(told["suggestion"]), times=TIMES, other=OTHER)
    assert set(outcomes(again).values()) == {"pass"}


PLACED = ((*HEADS, "Where"), ("L1", 30, "ok", 24, 25, "Pool plant"), ("L2", 30, "ok", 24, 25, "Kiosk"),
          ("L3", 30, "ok", 24, 25, "Roof"))  # fmt: skip


def test_a_list_of_defects_is_heard_by_place_and_within_its_sentences(book: Audited) -> None:
    defects = [("Found at", "What", "Done"), ("Pool plant", "housing melted", "isolated, do not turn on")]
    assert outcomes(book(times=PLACED, defects=defects)) == {"L1": "unclear", "L2": "pass", "L3": "pass"}
    told = outcomes(book(times=PLACED, notes=[("RCD L2 did not trip, out of order",), ("Roof repainted in May",)]))
    assert told == {"L1": "pass", "L2": "unclear", "L3": "pass"}


def test_a_list_of_places_without_a_fault_says_nothing(book: Audited) -> None:
    keys = [("Where", "Key held by"), ("Pool plant", "office"), ("Roof", "caretaker, 2 keys")]
    assert set(outcomes(book(times=PLACED, keys=keys)).values()) == {"pass"}


# ── colours ──
LEGENDS = {"Red row = failed, not in use": "fail", "Red = new this year": "pass", "Red - watch this one": "unclear",
           "": "unclear"}  # fmt: skip


@pytest.mark.parametrize(("legend", "outcome"), LEGENDS.items())
def test_a_coloured_row_is_what_the_sheet_says_of_its_colour(tmp_path: Path, legend: str, outcome: str) -> None:
    made = openpyxl.Workbook()
    sheet = made.active
    assert sheet is not None
    for row in (("RCD checks", legend), (), HEADS, *(("R" + str(n), 30, "ok", 24 + n, 25 + n) for n in range(9))):
        sheet.append(list(row))
    for cell in sheet[6]:
        cell.fill = openpyxl.styles.PatternFill("solid", fgColor="FFC7CE")
    made.save(tmp_path / "day.xlsx")
    wanted = {f"R{n}": outcome if n == 2 else "pass" for n in range(9)}
    assert outcomes(audited(tmp_path / "day.xlsx")) == wanted


def test_a_legend_beside_the_titles_heads_no_table_and_explains_its_rows(tmp_path: Path) -> None:
    made = openpyxl.Workbook()
    sheet = made.active
    assert sheet is not None
    rows: list[tuple[object, ...]] = [
        ("Boat sheds, RCD round", "", "", "", "blue row = locked, not tested"),
        ("12 Nov 2026, tested by P. Rowan", "", "", "", "red row = failed, off"),
        (),
        HEADS,
    ]
    for row in (*rows, *((f"S{n}", 30, "ok", *((24 + n, 25 + n) if n != 2 else ("", ""))) for n in range(9))):
        sheet.append(list(row))
    for at, colour in ((7, "9DC3E6"), (8, "FF7C80"), (9, "FFE699")):
        for cell in sheet[at]:
            cell.fill = openpyxl.styles.PatternFill("solid", fgColor=colour)
    sheet["E11"].fill = sheet["F11"].fill = openpyxl.styles.PatternFill("solid", fgColor="FFE699")
    made.save(tmp_path / "day.xlsx")
    document = audited(tmp_path / "day.xlsx")
    told = {"S2": "incomplete", "S3": "fail", "S4": "unclear", "S6": "unclear"}
    assert outcomes(document) == {f"S{n}": told.get(f"S{n}", "pass") for n in range(9)}
    painted = {f["row"] for f in document["findings"] if f["code"] == "cell-stands-out"}
    assert painted == {9, 11}  # the colour that nobody explained


def test_a_painted_blank_cell_is_heard(tmp_path: Path) -> None:
    made = openpyxl.Workbook()
    sheet = made.active
    assert sheet is not None
    for row in ((*HEADS, "Notes"), *((f"S{n}", 30, "ok", 24 + n, 25 + n, "") for n in range(9))):
        sheet.append(list(row))
    sheet["F4"].fill = openpyxl.styles.PatternFill("solid", fgColor="FF0000")
    made.save(tmp_path / "day.xlsx")
    assert outcomes(audited(tmp_path / "day.xlsx")) == {f"S{n}": "unclear" if n == 2 else "pass" for n in range(9)}


# ── words that nobody listed ──
def test_a_verdict_and_its_denial_in_a_language_that_is_not_known_are_asked_about(typed: Audited) -> None:
    rows = [f"K{n};30;2{n};25;{'LULUS' if n != 3 else 'TIDAK LULUS'}" for n in range(1, 6)]
    document = typed("Device;Rated mA;1x 0° ms;1x 180° ms;Hasil", *rows)
    assert set(outcomes(document).values()) == {"unclear"}
    places = [f"K{n};30;2{n};25;{'north' if n % 2 else 'south'}" for n in range(1, 6)]
    assert set(outcomes(typed("Device;Rated mA;1x 0° ms;1x 180° ms;Wing", *places)).values()) == {"pass"}


# ── lines between ──
def test_a_line_between_states_rating_and_class_of_the_rows_below_it(typed: Audited) -> None:
    document = typed("Device,1x 0° ms,1x 180° ms", "30 mA RCDs,,", "A1,24,25", "A2,260,250",
                     '"100 mA RCDs, type S (time delayed)",,', "B1,341,329", "B2,36,38",
                     '"100 mA RCDs, general type",,', "C1,36,38", "C2,341,329")  # fmt: skip
    told = {"A1": "pass", "A2": "pass", "B1": "pass", "B2": "fail", "C1": "pass", "C2": "fail"}
    assert outcomes(document) == told


def test_boards_over_their_tables_keep_their_names_apart_from_their_ratings(typed: Audited) -> None:
    head = "DDR,1×IΔn + (ms),1×IΔn - (ms)"
    document = typed("TGBT – DDR 300 mA sélectif (type S),,", head, "D1,338,321", "D2,256,247", ",,",
                     "TD1 – DDR 30 mA,,", head, "D1,46,57", "D2,42,ne déclenche pas")  # fmt: skip
    assert outcomes(document) == {
        "TGBT / D1": "pass", "TGBT / D2": "pass", "TD1 / D1": "pass", "TD1 / D2": "fail",
    }  # fmt: skip


# ── rows that say what they are ──
def test_tripped_at_half_rated_fails_whichever_way_its_row_says_so(typed: Audited) -> None:
    rows = [f"T-{n};{test};{phase};{value}" for n in (1, 2)
            for test, phase, value in (("15 mA (no trip)", 0, "tripped" if n == 2 else "held"),
                                       ("30 mA (1x)", 0, 24.5), ("30 mA (1x)", 180, 25.5))]  # fmt: skip
    document = typed("All RCDs 30 mA;;;", "Device;Test current;Angle;Reading", *rows)
    assert outcomes(document) == {"T-1": "pass", "T-2": "fail"}


def test_a_ramp_is_a_row_between_those_of_both_phases(typed: Audited) -> None:
    rows = [row for name, ramp in (("V1", "24.4"), ("V2", "33.5"))
            for row in (f"{name};1 x IΔn;24;25;ms", ";5 x IΔn;14;15;ms", f";Rampe;{ramp};;mA")]  # fmt: skip
    document = typed("FI 30 mA;;;;", "Verteiler;Prüfung;0°;180°;Einheit", *rows)
    assert outcomes(document) == {"V1": "pass", "V2": "fail"}


def test_a_list_of_years_and_prices_says_nothing_of_devices(book: Audited) -> None:
    document = book(times=TIMES, stock=[("ref", "bought", "price"), ("L1", 2019, 45.5), ("L2", 2020, 47.5)])
    assert set(outcomes(document).values()) == {"pass"}


def test_codes_that_another_sheet_explains_are_looked_up(book: Audited) -> None:
    head = ("Panel", "Type", "Time 1x 0 deg", "Time 1x 180 deg")
    rows = [
        ("Block A", "K1", 26, 28),
        ("Block B", "K1", 24, 23),
        ("Block C", "K1", 31, 29),
        ("Mess", "K2", 42, 45),
        ("Incomer", "K3", 210, 224),
        ("Generator", "K3", 35, 33),
    ]
    codes = [("Type code", "meaning", "mA"), ("K1", "RCCB instant", 30), ("K2", "RCCB instant", 100),
             ("K3", "RCCB selective", 300)]  # fmt: skip
    document = book(readings=[head, *rows], codes=codes)
    assert outcomes(document) == {name: "fail" if name == "Generator" else "pass" for name, *_ in rows}
    (reason,) = next(d for d in document["devices"] if d["device"] == "Generator")["reasons"][:1]
    assert reason["cell"] == "C7"


def test_later_rounds_on_sheets_of_their_own_end_what_was_mended(book: Audited) -> None:
    head = ("Asset", "Rated mA", "1x 0°", "1x 180°", "Outcome")
    document = book(
        round_1=[head, ("B1", 30, 402, 28, "fail"), ("B2", 30, 24, 329, "fail"), ("B3", 30, 24, 25, "ok")],
        round_2=[head, ("B1", 30, 23, 25, "ok, swapped for new"), ("B3", 30, 24, 308, "fail")],
    )
    assert outcomes(document) == {"B1": "pass", "B2": "fail", "B3": "fail"}


def test_a_sheet_for_each_device_of_questions_and_answers_is_read(book: Audited) -> None:
    def sheet(name: str, second: str, button: str) -> list[tuple[str, ...]]:
        asked = [("Which unit is this sheet for?", name), ("What is it rated at?", "30 mA"),
                 ("How quick at rated current, 0°?", "24 ms"), ("How quick at rated current, 180°?", second),
                 ("Does the button trip it?", button), ("Any damage?", "none")]  # fmt: skip
        return [("Touring kit, residual current check",), (), *(("", *pair) for pair in asked)]

    document = book(one=sheet("Rack A", "25 ms", "yes"), two=sheet("Rack B", "did not trip", "yes"),
                    three=sheet("Desk", "25 ms", "no"))  # fmt: skip
    assert outcomes(document) == {"Rack A": "pass", "Rack B": "fail", "Desk": "fail"}


# ── where it stands ──
def test_reasons_point_at_the_cells_of_a_sheet_on_its_side(typed: Audited) -> None:
    document = typed(
        "Device,A1,A2,A3", "Rated mA,30,30,30", "Visual,ok,cracked lid,ok", "Button,ok,ok,fail", "1x 0 ms,22,24,23",
        "1x 180 ms,24,25,28", "Remarks,,,plug melted",
    )  # fmt: skip
    cells = {d["device"]: {r["cell"] for r in d["reasons"]} for d in document["devices"]}
    assert cells == {"A1": set(), "A2": {"C3"}, "A3": {"D4", "D7"}}


def test_reasons_point_at_the_cells_of_the_second_table_of_a_sheet(typed: Audited) -> None:
    document = typed(
        "Device,Rated mA,Visual,1x 0,1x 180", "A1,30,ok,22,24", "A2,30,fail,22,24", "", "Yard",
        "Device,1x 0,1x 180,Rated mA,Visual", "B1,22,24,30,ok", "B2,22,24,30,fail",
    )  # fmt: skip
    cells = {d["device"]: {r["cell"] for r in d["reasons"]} for d in document["devices"]}
    assert cells == {"A1": set(), "A2": {"C3"}, "B1": set(), "B2": {"E8"}}


def test_an_error_in_one_of_two_cards_beside_each_other_is_its_own(typed: Audited) -> None:
    card = ("Tag", "Rated", "x1 pos", "x1 neg", "Looks")
    values = [("H1", "30mA", "21 ms", "23 ms", "good"), ("H2", "30mA", "26 ms", "25 ms", "good"),
              ("H3", "30mA", "24 ms", "28 ms", "hmm"), ("H4", "30mA", "24 ms", "28 ms", "good")]  # fmt: skip
    lines = []
    for left, right in (values[:2], values[2:]):
        lines += [f"{label},{a},,{label},{b}" for label, a, b in zip(card, left, right, strict=True)] + [""]
    assert outcomes(typed(*lines)) == {"H1": "pass", "H2": "pass", "H3": "unclear", "H4": "pass"}


def test_ditto_marks_between_bars_are_no_quotation_marks(typed: Audited) -> None:
    document = typed("post|mA|look|1x up|1x down", "14|30|ok|25|24", '15|"|"|27|29', '16|"|"|22|410', '17|"|bad|26|25')
    assert outcomes(document) == {"14": "pass", "15": "pass", "16": "fail", "17": "fail"}


def test_ways_of_a_three_phase_board_are_named_with_their_lines(typed: Audited) -> None:
    document = typed("Board: DB-A", "Way,Ph,Circuit,mA,1x 0,1x 180", "1,L1,skts,30,24,26", "1,L2,skts,30,27,329",
                     "1,L3,skts,30,22,23", "2,TP,chiller,100,39,41")  # fmt: skip
    assert {name.rpartition(" / ")[2]: outcome for name, outcome in outcomes(document).items()} == {
        "1 L1": "pass", "1 L2": "fail", "1 L3": "pass", "2 TP": "pass",
    }  # fmt: skip


# ── ratings and types that cannot be read ──
OTHERS = tuple(f"D{n},30,A,pass,23,24" for n in range(2, 8))


@pytest.mark.parametrize("others", [(), OTHERS], ids=["alone", "among others"])
@pytest.mark.parametrize("typed_as", ["3O?,A", "illegible,A", "13,A", "30,VII", "30,?", "30,illegible"])
def test_a_rating_or_type_that_cannot_be_read_leaves_its_device_unclear(
    typed: Audited, typed_as: str, others: tuple[str, ...]
) -> None:
    document = typed("Device,Rated IΔn (mA),RCD type,Visual,1× 0°,1× 180°", f"D1,{typed_as},pass,23,24", *others)
    assert outcomes(document) == {"D1": "unclear"} | {line.split(",")[0]: "pass" for line in others}


@pytest.mark.parametrize("rated", ["3", "5", "7"])
def test_a_heading_that_says_rated_is_no_ramp(tmp_path: Path, rated: str) -> None:
    path = tmp_path / "day.csv"
    lines = ["Device,Rated IΔn (mA),Visual,Trip time 6 mA (ms)", *(f"D{n},{rated},pass,1500" for n in range(3))]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    document = audited(path, "--rules", "north-america-gfci")
    assert {r["quantity"] for r in document["readings"]} <= {"trip_time"}
    assert "fail" not in outcomes(document).values()


@pytest.mark.parametrize(
    ("first", "second"),
    [("½ onde +", "½ onde -"), ("1/2 cycle 0°", "1/2 cycle 180°"), ("+ Halbwelle", "- Halbwelle"),
     ("1x up", "1x down"), ("up-going half (ms)", "down-going half (ms)"), ("up 1/2 cyc", "down 1/2 cyc"),
     ("pos", "neg"), ("A x1", "B x1"), ("1st half of wave, 30mA (ms)", "2nd half of wave, 30mA (ms)"),
     ("In, A cycle (ms)", "In, B cycle (ms)"), ("1st half cycle", "2nd half cycle")],
)  # fmt: skip
def test_half_waves_are_phases_and_no_half_of_the_current(typed: Audited, first: str, second: str) -> None:
    document = typed(f'Device,mA,Visual,"{first}","{second}"', "D1,30,pass,23,24", "D2,30,pass,23,no trip")
    assert outcomes(document) == {"D1": "pass", "D2": "fail"}
