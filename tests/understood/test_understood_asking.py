"""What a yes means below a heading that asks for a fault, and what tells devices apart: common practice, no source."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import pytest
from variants import audited

Outcomes = Callable[..., dict[str, str]]


@pytest.fixture
def outcomes(tmp_path: Path) -> Outcomes:
    """Outcome of each device, by board and name, of rows typed as a CSV file."""

    def of(rows: Sequence[str]) -> dict[str, str]:
        path = tmp_path / "day.csv"
        path.write_text("\n".join(rows) + "\n", encoding="utf-8")
        devices = audited(path)["devices"]
        return {f"{d['board']}|{d['device']}" if d["board"] else d["device"]: d["outcome"] for d in devices}

    return of


ASKED = [
    ("Damage?", "N", "pass"),
    ("Damage?", "none", "pass"),
    ("Damage?", "OK", "pass"),
    ("Damage?", "Y", "fail"),
    ("Damage?", "yes - lid cracked", "fail"),
    ("Schäden?", "nein", "pass"),
    ("Schäden?", "ja", "fail"),
    ("Do I need to do anything?", "no", "pass"),
    ("Do I need to do anything?", "yes", "unclear"),
    ("½ IΔn", "OK", "pass"),
    ("½ IΔn", "Fail", "fail"),
    ("½ IΔn", "tripped", "fail"),
    ("Holds at half?", "Y", "pass"),
    ("Stays in at half?", "Y", "pass"),
    ("Stays in at half?", "N", "fail"),
    ("Holds at half?", "N", "fail"),
    ("Trips at half?", "N", "pass"),
    ("Trips at half?", "Y", "fail"),
    ("No dispara a 1/2", "sí", "pass"),
    ("No dispara a 1/2", "no", "fail"),
]


@pytest.mark.parametrize(("heading", "cell", "outcome"), ASKED)
def test_a_yes_means_what_its_heading_asks(outcomes: Outcomes, heading: str, cell: str, outcome: str) -> None:
    good = cell if outcome == "pass" else next(c for h, c, o in ASKED if h == heading and o == "pass")
    rows = [f"D{i},30,{cell if i == 3 else good},{20 + i}.4,{21 + i}.9,8.3,9.{i}" for i in range(1, 7)]
    found = outcomes([f"Device,IΔn (mA),{heading},1x 0° (ms),1x 180° (ms),5x 0° (ms),5x 180° (ms)", *rows])
    assert found == {f"D{i}": outcome if i == 3 else "pass" for i in range(1, 7)}


def test_a_bare_no_at_half_rated_and_a_tick_under_damage_say_neither(outcomes: Outcomes) -> None:
    head = "Device,IΔn (mA),{},1x 0° (ms),1x 180° (ms)"
    half = outcomes([head.format("½ IΔn"), "D1,30,OK,20.1,21.4", "D2,30,N,23.8,22.6", "D3,30,OK,19.3,24.9"])
    damage = outcomes([head.format("Damage?"), "D1,30,N,20.1,21.4", "D2,30,✓,23.8,22.6", "D3,30,N,19.3,24.9"])
    assert half["D2"] == damage["D2"] == "unclear"
    assert half["D1"] == half["D3"] == damage["D1"] == damage["D3"] == "pass"


def test_each_check_may_have_two_columns_to_tick(outcomes: Outcomes) -> None:
    found = outcomes([
        "RCD,mA,Visual OK,Visual bad,Button OK,Button bad,0°,180°,Pass,Fail",
        "W1,30,x,,x,,26.1,26.9,x,",
        "W2,30,,x,x,,28.3,20.2,,x",
        "W3,30,x,,,x,27.7,20.4,x,",
        "W4,30,x,,x,,24.7,25.4,x,",
    ])  # fmt: skip
    assert found == {"W1": "pass", "W2": "fail", "W3": "fail", "W4": "pass"}


def test_a_board_above_each_table_or_beside_another_tells_their_circuits_apart(outcomes: Outcomes) -> None:
    head = "Cct,Rating,1x 0°,1x 180°"
    below = outcomes([
        "Board: DB-A Hall,,,", head, "1,30mA,17,20", "2,30mA,36,16", ",,,",
        "Board: DB-B Kitchen,,,", head, "1,30mA,25,312", "2,30mA,22,33",
    ])  # fmt: skip
    assert below["DB-A Hall|DB-A Hall / 1"] == "pass" and below["DB-B Kitchen|DB-B Kitchen / 1"] == "fail"
    beside = outcomes([
        "BOARD 1 (Ground),,,,,BOARD 2 (First),,,",
        "way,mA,0,180,,way,mA,0,180",
        "1,30,26,31,,1,30,17,340",
        "2,30,25,35,,2,30,25,38",
    ])  # fmt: skip
    assert beside["BOARD 1 (Ground)|BOARD 1 (Ground) / 1"] == "pass"
    assert beside["BOARD 2 (First)|BOARD 2 (First) / 1"] == "fail"


def test_names_that_come_again_in_each_flat_name_a_device_with_its_flat(outcomes: Outcomes) -> None:
    rows = [f"Flat {n},{name},30,{20 + n}.4,{340 if (n, name) == (2, 'sockets') else 25}.1" for n in (1, 2, 3)
            for name in ("main", "sockets")]  # fmt: skip
    found = outcomes(["Flat,RCD,mA,0° (ms),180° (ms)", *rows])
    assert len(found) == 6
    assert [name for name, outcome in found.items() if outcome == "fail"] == ["Flat 2|Flat 2 / sockets"]


def test_a_rating_in_a_row_of_its_own_decides_by_which_limits_a_long_table_is_judged(outcomes: Outcomes) -> None:
    def device(name: str, rated: int) -> list[str]:
        return [f"{name},rated,,{rated},mA", f"{name},visual,,ok,", f"{name},1x,0,28.4,ms", f"{name},1x,180,30.1,ms",
                f"{name},ramp,,22.5,mA"]  # fmt: skip

    found = outcomes(["Device,Test,Angle,Value,Unit", *device("P1", 30), *device("P2", 10)])
    assert found == {"P1": "pass", "P2": "fail"}  # 22.5 mA is below 30 mA and above 10 mA


def test_visits_beside_each_other_are_visits_and_the_last_one_counts(outcomes: Outcomes) -> None:
    found = outcomes([
        ",,12 May 2025,,11 May 2026,,",
        "Device,mA,0°,180°,0°,180°,Comment",
        "V1,30,18.2,28.4,27.1,27.9,",
        "V2,30,25.5,28.3,19.7,312,",
        "V3,30,20.6,20.1,,,busy",
    ])  # fmt: skip
    assert found["V1"] == "pass" and found["V2"] == "fail" and found["V3"] != "pass"


def test_a_spare_way_is_no_device_and_a_name_with_a_remark_alone_is_one(outcomes: Outcomes) -> None:
    found = outcomes([
        "DB,Way,Feeds,mA,0°,180°,Remarks",
        "DB1,1,Sockets,30,20.3,21.8,",
        "DB1,2,Lights,30,22.9,18.7,",
        "DB1,3,spare,,,,",
        "DB1,4,Oven,,,,in use",
    ])  # fmt: skip
    assert "DB1|DB1 / 3" not in found
    assert found["DB1|DB1 / 4"] != "pass"


def test_a_device_called_spare_or_a_spare_way_with_a_fault_is_not_passed_over(outcomes: Outcomes) -> None:
    found = outcomes([
        "Device,Board,mA,0°,180°,Remarks",
        "R1,A,30,20.3,21.8,",
        "R2,A,30,22.9,18.7,",
        "R3,A,,,,spare",
        ",,,,,",
        "R4,A,30,19.9,20.6,",
    ])  # fmt: skip
    assert found["A|R3"] not in ("pass", "") and len(found) == 4
    ways = outcomes(["DB,Way,Feeds,mA,0°,180°,Remarks", "DB1,1,Sockets,30,20.3,21.8,", "DB1,2,Lights,30,22.9,18.7,",
                     "DB1,3,spare,,,,cover burnt"])  # fmt: skip
    assert ways["DB1|DB1 / 3"] != "pass"


def test_the_last_device_of_a_page_is_no_section_of_the_next(outcomes: Outcomes) -> None:
    head = "Device,Place,mA,0°,180°"
    found = outcomes([head, "R1,Hall,30,20.3,21.8", "R2,Hall,30,22.9,18.7", "R3,Yard,,,", head,
                      "R4,Yard,30,19.9,20.6"])  # fmt: skip
    assert found["R3"] != "pass" and found["R1"] == found["R2"] == found["R4"] == "pass"


def test_between_half_and_all_of_the_rated_current_a_fail_is_heard(outcomes: Outcomes) -> None:
    found = outcomes([
        "Device,IΔn (mA),0.75x,1x 0° (ms),1x 180° (ms)",
        "D1,30,Fail,20.3,21.8",
        "D2,30,no trip,22.9,18.7",
        "D3,30,no trip,19.9,20.6",
    ])  # fmt: skip
    assert found["D1"] != "pass"


def test_a_type_among_the_remarks_is_the_type_and_a_denied_one_is_none(outcomes: Outcomes) -> None:
    found = outcomes([
        "Device,mA,0°,180°,0° x5,180° x5,comment",
        "Q1,300,335,222,93,77,type S",
        "Q2,300,24.1,22.6,19.3,18.8,",
        'Q3,100,385,372,17.2,19.4,"ordinary, not S"',
    ])  # fmt: skip
    assert found["Q1"] == "pass" and found["Q2"] == "pass" and found["Q3"] != "pass"
