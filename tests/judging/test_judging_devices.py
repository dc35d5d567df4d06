"""What is told of each device beside its outcome: name, kind, danger, outlets, what to do and when it is due.

Two audits share all of it. Danger ranks by the points of IEC 60479-1 (curve c1, mostly from memory): 30 mA stay below
its plateau of 40 mA, 150 mA reach it in 0.31 s. Intervals of AS/NZS 3760 Table 4, from secondary sources.
"""

from __future__ import annotations

import datetime as dt
import re

import pandas as pd
import pytest
from small_sheets import audited, one

from rcdcheck.audits import Audit
from rcdcheck.terms import Outcome

HEAD = ("Site", "Board", "Device", "Outlet", "Portable/fixed", "Environment", "Rated IΔn (mA)", "Visual", "1× 0° (ms)",
        "1× 180° (ms)", "5× 0° (ms)", "Ramp (mA)", "Date", "Next due", "Calibration due")  # fmt: skip
COLUMNS = (("Next due", "retest_due"), ("Environment", "environment"))


def row(device: str, *times: str, board: str = "", site: str = "North pier", outlet: str = "", kind: str = "",
        where: str = "", visual: str = "pass", date: str = "2026-11-20", due: str = "",
        calibrated: str = "2027-04-30") -> list[str]:  # fmt: skip
    """A row of a 30 mA device: 1× at 0° and 180°, 5× at 0°, ramp."""
    times = (*times, *[""] * (4 - len(times)))
    return [site, board, device, outlet, kind, where, "30", visual, *times, date, due, calibrated]


@pytest.fixture(scope="module")
def audit() -> Audit:
    return audited(
        HEAD,
        row("A1", "24.1", "25.3", kind="portable", where="office", due="2028-11-20"),
        row("A2", "23.4", "26.1", kind="portable", where="office", due="2028-11-21"),
        row("B1", "no trip", "26.2", kind="portable", where="office"),
        row("B2", "24.4", "27.1", "", "31.5", kind="fixed"),
        row("B3", "23.8", "26.6", "", "41.5"),
        row("B4", "24.8", "26.9", "320.1"),
        row("B5", "301.2", "27.5"),
        row("B6", "24.9", "27.8", "44.4"),
        row("C1", "22.1", "25.7", board="DB1"),
        row("C1", "22.6", "25.1", board="DB2"),
        row("C2", "22.9", "25.9", board="DB1"),
        row("D1", "21.1", "24.7", site="South pier"),
        row("D1", "21.7", "24.2", site="East pier"),
        row("E-01", "21.4", "23.1"),
        row("E1", "21.9", "23.3"),
        row("F1", "22.2", "23.7", outlet="1"),
        row("F1", "22.4", "23.9", outlet="2", kind="portable"),
        row("F1", "22.7", "24.3", outlet="4"),
        row("G1", "20.2", "22.3", outlet="1", date="2026-03-02"),
        row("G1", "20.4", "22.5", outlet="2", date="2026-03-02"),
        row("G1", "20.6", "22.8", outlet="1"),
        row("H1", "20.8", "22.7", calibrated="2026-11-19"),
        row("H2", "20.9", "21.8", calibrated="2026-11-20"),
        columns=COLUMNS,
    )


def told(audit: Audit, what: str) -> dict[str, object]:
    return dict(zip(audit.devices["name"], audit.devices[what], strict=False))


def said_of(audit: Audit, code: str) -> pd.DataFrame:
    return audit.findings[audit.findings["code"] == code]


def test_a_board_names_a_device_only_where_the_identifier_stands_twice(audit: Audit) -> None:
    names = list(audit.devices["name"])
    assert "DB1 / C1" in names and "DB2 / C1" in names and "C2" in names and "A1" in names
    assert names.count("D1") == 2, "two sites tell them apart"


def test_the_most_dangerous_failures_come_first(audit: Audit) -> None:
    ranks = told(audit, "danger")
    assert {name: ranks[name] for name in ("B1", "B3", "B4", "B2", "B5", "B6", "A1")} == {
        "B1": 1,  # never trips
        "B3": 2,  # 41.5 mA may flow without end
        "B4": 3,  # 150 mA for 320 ms
        "B2": 4,  # 31.5 mA stay below the plateau
        "B5": 4,  # slow at rated
        "B6": 5,  # slow at five times, below the curve
        "A1": 0,
    }


def test_what_to_do_next_goes_by_kind_and_outcome(audit: Audit) -> None:
    to_do = {name: str(text) for name, text in told(audit, "next_action").items()}
    assert to_do["B1"] == "Take it out of service now and fit a failed tag."
    assert to_do["B2"].startswith("Keep it switched off and labelled until it is replaced; tell the person responsible")
    assert "part of a fixed installation, keep it switched off and labelled until it is replaced" in to_do["B5"]
    assert to_do["A1"] == "Nothing now; next test due 2028-11-20."
    assert to_do["C2"] == "Nothing now.", "kind and environment are not known"
    assert to_do["G1"].startswith("No pass tag until settled. ")


def test_what_is_missing_is_gone_back_for_and_what_is_out_of_use_is_not() -> None:
    cells = {"Rated IΔn (mA)": "30", "1× 0° (ms)": "24.1", "1× 180° (ms)": ""}
    (missing,), (idle,) = (one(cells | {"Remarks": said}).devices["next_action"] for said in ("", "out of use"))
    assert missing == "No pass tag until settled. Go back: still to be tested: trip time 1× at 180°."
    assert idle == "Out of use: take it off the list, or test it before it is used again."


def test_a_due_date_is_reckoned_for_a_pass_of_known_kind_and_held_against_the_typed_one(audit: Audit) -> None:
    due = told(audit, "retest_due")
    assert due["A1"] == due["A2"] == pd.Timestamp("2028-11-20"), "two years: office, portable"
    assert pd.isna(due["B1"]) and pd.isna(due["C2"])
    late = said_of(audit, "typed-due-date-too-late")
    assert list(late["row"]) == [3], "a day later than the interval allows; the very day is not"
    assert re.findall(r"2028[-\dT]*", late["message"].iloc[0]) == ["2028-11-21", "2028-11-20"]


def test_the_kind_of_a_device_is_what_any_of_its_rows_says(audit: Audit) -> None:
    kinds = dict(zip(audit.devices["name"], audit.tables.texts(audit.devices["kind"]), strict=True))
    assert {name: kinds[name] for name in ("A1", "B2", "C2", "F1")} == {
        "A1": "portable", "B2": "fixed", "C2": "", "F1": "portable",
    }  # fmt: skip


def test_outlets_that_are_left_out_are_told(audit: Audit) -> None:
    gaps = said_of(audit, "outlet-not-listed")
    assert [(r.row, "3" in r.message) for r in gaps.itertuples()] == [(19, True)]
    outcomes = told(audit, "outcome")
    assert outcomes["G1"] == Outcome.INCOMPLETE and outcomes["F1"] == Outcome.PASS
    assert list(said_of(audit, "outlet-not-tested-this-time")["row"]) == [21]
    assert [len(audit.outlets), int(told(audit, "tests")["F1"])] == [5, 3]  # type: ignore[call-overload]


def test_names_that_are_perhaps_one_device_are_asked_about(audit: Audit) -> None:
    assert "“E-01”, “E1”" in said_of(audit, "perhaps-the-same-device")["message"].iloc[0]
    assert len(said_of(audit, "perhaps-the-same-device")) == 1
    moved = said_of(audit, "device-at-two-sites")
    assert len(moved) == 1 and "South pier and East pier" in moved["message"].iloc[0]


def test_a_test_after_the_calibration_ran_out_is_told_from_the_next_day_on(audit: Audit) -> None:
    assert list(said_of(audit, "tested-after-calibration-due")["row"]) == [23]


def test_a_ramp_that_fails_beside_a_time_that_passes_is_told_in_one_sentence(audit: Audit) -> None:
    slow = audit.findings[audit.findings["message"].str.contains("Its trip time at the rated current passes")]
    assert list(slow["row"]) == [5, 6] and set(slow["severity"]) == {"danger"}


@pytest.mark.parametrize("rules", ["anz-in-service", "uk-present"])
def test_a_column_of_times_without_a_phase_is_told_where_the_rules_need_both(rules: str) -> None:
    audit = one({"Rated IΔn (mA)": "30", "Trip time 1× (ms)": "24.1"}, rules=rules)
    found = said_of(audit, "phase-not-stated")
    assert len(found) == (rules == "anz-in-service")
    assert audit.devices["outcome"].iloc[0] == (Outcome.INCOMPLETE if len(found) else Outcome.PASS)
    if len(found):
        assert "trip_time_1x_worst" in found["suggestion"].iloc[0]


def test_the_last_day_of_several_is_the_day_of_the_device(audit: Audit) -> None:
    assert pd.Timestamp(str(told(audit, "tested_at")["G1"])).date() == dt.date(2026, 11, 20)


def test_an_outlet_in_the_first_cell_of_a_sheet_is_one() -> None:
    audit = audited(("Outlet", "Device", "Visual", "1× 0° (ms)", "1× 180° (ms)"), ["A", "K1", "pass", "24.1", "25.3"])
    assert audit.tables.texts(audit.outlets["outlet"]).tolist() == ["A"]


def test_a_sheet_without_a_row_has_no_device() -> None:
    audit = audited(HEAD)
    assert audit.devices.empty and audit.outlets.empty and audit.reasons.empty and audit.test_outcomes.empty
