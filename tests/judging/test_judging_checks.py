"""Findings that no single reading shows: one a column, a sheet or a test, and where each points; names of devices."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from small_sheets import TODAY

from rcdcheck.audits import Audit
from rcdcheck.options import Options
from rcdcheck.pipeline import run

R, T0, T180 = "Rated IΔn (mA)", "1× 0° (ms)", "1× 180° (ms)"
GOOD = {T0: "24.1", T180: "25.3"}


def audit_of(folder: Path, *sheets: list[dict[str, str]]) -> Audit:
    """The audit of files with these rows, each with the headings of its first row."""
    for i, rows in enumerate(sheets):
        lines = [",".join(row.get(name, "") for name in rows[0]) for row in rows]
        (folder / f"{i}.csv").write_text("\n".join([",".join(rows[0]), *lines]) + "\n", encoding="utf-8")
    return run([str(folder / f"{i}.csv") for i in range(len(sheets))], Options(as_of=TODAY))


def said(audit: Audit, code: str, *words: str) -> list[tuple[Any, ...]]:
    """Sheet, first and last row and column of each finding of a code, and these columns of it."""
    found = audit.findings[audit.findings["code"] == code]
    return sorted(tuple(row) for row in found[["sheet", "row", "last_row", "column", *words]].to_numpy().tolist())


def test_readings_that_no_rule_judges_are_told_once_a_column(tmp_path: Path) -> None:
    """Between half and all of the rated current a device may trip or not: IEC 61008-1, 0.5 IΔn and IΔn."""
    near, far = "0.9× 0° (ms)", "0.8× 0° (ms)"
    first = [{"Device": f"A{i}", R: "30", "Visual": "pass", **GOOD, near: "no trip" if i else "", far: "61.2"}
             for i in range(4)]  # fmt: skip
    second = [
        {"Device": f"B{i}", R: "30", "Visual": "pass", far: "no trip", T0: f"24.{i}", T180: "25.3"} for i in range(3)
    ]
    audit = audit_of(tmp_path, first, second)
    assert said(audit, "not-in-rules") == [(0, 2, 5, 6), (0, 3, 5, 5), (1, 2, 4, 3)]
    for *_, column, message in said(audit, "not-in-rules", "message"):
        assert (near in message, far in message) == (column == 5, column != 5)


def test_rows_without_a_rating_are_told_once_a_sheet(tmp_path: Path) -> None:
    ratings = ["30", "", "", "3O?", "30", "30", "30", "30", "30", "30", "30", "30", "30"]
    first = [
        {"Device": f"A{i}", R: one, "Visual": "pass", T0: f"2{i % 7}.4", T180: "25.3"} for i, one in enumerate(ratings)
    ]
    second = [{"Device": f"B{i}", "Visual": "pass", T0: f"2{i}.1", T180: "25.3"} for i in range(3)]
    third = [{"Device": "C1", R: "30", "Visual": "pass", T0: "22.2", T180: "25.3"}]
    audit = audit_of(tmp_path, first, second, third)
    assert said(audit, "rated-not-stated", "suggestion") == [
        (0, 3, 4, -1, "--assume rated=30mA"),
        (1, 2, 4, -1, "--assume rated=30mA"),
    ]


def test_a_test_after_the_calibration_ran_out_is_told_with_its_cell(tmp_path: Path) -> None:
    dates = [("2026-11-20", "2026-11-19"), ("2026-11-20", "2026-11-20"), ("2026-11-20", ""), ("", "2026-11-19")]
    rows = [{"Device": f"A{i}", R: "30", "Visual": "pass", T0: f"2{i}.4", T180: "25.3", "Date": at,
             "Calibration due": due}
            for i, (at, due) in enumerate(dates)]  # fmt: skip
    assert [one[:2] + one[3:] for one in said(audit_of(tmp_path, rows), "tested-after-calibration-due")] == [(0, 2, 6)]


def test_a_sheet_without_a_look_over_and_a_test_that_is_listed_again_are_told(tmp_path: Path) -> None:
    first = [{"Device": "A1", R: "30", **GOOD}, {"Device": "A2", R: "30", T0: "22.1", T180: "23.3"}]
    second = [{"Device": "B1", R: "30", "Visual": "pass", **GOOD}] * 2
    audit = audit_of(tmp_path, first, second)
    assert said(audit, "no-visual-inspection") == [(0, 2, 3, -1)]
    assert [one[:2] + one[3:] for one in said(audit, "same-test-listed-again")] == [(1, 3, 0)]


def test_times_without_a_phase_are_told_once_a_column_with_options_where_no_row_says_one(tmp_path: Path) -> None:
    """Both phases are needed: AS/NZS 3760:2010, as three secondary sources quote it."""
    plain = [{"Device": f"A{i}", R: "30", "Visual": "pass", "Trip time 1× (ms)": f"24.{i}", "Ramp (mA)": f"22.{i}",
              "5× (ms)": f"12.{i}"} for i in range(3)]  # fmt: skip
    by_rows = [{"Device": f"B{i}", R: "30", "Visual": "pass", "Phase": phase, "Trip time (ms)": f"2{i}.1"}
               for i in range(5) for phase in ("0°", "180°" if i else "")]  # fmt: skip
    beside = [
        {"Device": f"C{i}", R: "30", "Visual": "pass", T0: f"24.{i}", "Time 1× (ms)": f"25.{i}"} for i in range(3)
    ]
    audit = audit_of(tmp_path, plain, by_rows, beside)
    told = said(audit, "phase-not-stated", "suggestion")
    assert [one[:4] for one in told] == [(0, 2, 4, 3), (1, 3, 3, 4), (2, 2, 4, 4)]
    assert ["Trip time 1× (ms)=trip_time_1x_worst" in told[0][4], told[1][4]] == [True, ""]
    assert '"Time 1× (ms)=trip_time_1x_worst"' in told[2][4]


@pytest.mark.parametrize("first", ["Device", "Site"])
def test_names_that_are_alike_and_names_at_two_sites_are_told_at_one_row(first: str, tmp_path: Path) -> None:
    """That K1 and K01 of one site may be one device, and K1 of two sites one that moved: common practice, no source."""
    named = [("K1", "North"), ("K7", "South"), ("K01", "North"), ("", "North"), ("k-1", "North"), ("", "South"),
             ("K7", "North"), ("K1", "South"), ("K10", ""), ("K10", "North")]  # fmt: skip
    rows = [{first: "", "Device": name, "Site": site, R: "30", "Visual": "pass", T0: f"2{i}.4", T180: "25.3"}
            for i, (name, site) in enumerate(named)]  # fmt: skip
    audit = audit_of(tmp_path, rows)
    alike = audit.findings[audit.findings["code"] == "perhaps-the-same-device"]
    assert alike["row"].tolist() == [2] and all(
        f"“{name}”" in alike["message"].iloc[0] for name in ("K1", "K01", "k-1")
    )
    moved = audit.findings[audit.findings["code"] == "device-at-two-sites"].sort_values("message")
    assert [name in told for name, told in zip(("K1", "K7"), moved["message"], strict=True)] == [True, True]
    assert moved["row"].tolist() == [9, 8] and moved["suggestion"].tolist() == ["--identity fleet"] * 2


@pytest.mark.parametrize("first", ["Device", "Board", "Kind"])
def test_a_device_has_the_name_of_its_board_where_another_has_its_own(first: str, tmp_path: Path) -> None:
    rows = [
        {
            first: "",
            "Device": name,
            "Board": board,
            "Kind": kind,
            R: "30",
            "Visual": "pass",
            T0: f"2{i}.4",
            T180: "25.3",
        }
        for i, (name, board, kind) in enumerate([("K1", "B1", "fixed"), ("K1", "", "portable"), ("K2", "B1", "fixed")])
    ]
    audit = audit_of(tmp_path, rows)
    assert audit.devices["name"].tolist() == ["B1 / K1", "K1", "K2"]
    assert audit.tables.texts(audit.devices["kind"]).tolist() == ["fixed", "portable", "fixed"]


def test_outlets_that_a_count_leaves_out_are_told_at_its_last_row(tmp_path: Path) -> None:
    listed = {"K1": "1 2 4", "K2": "A 1 3", "K3": "A 2", "K4": "1 2", "K5": "1 1002", "K6": "A B", "K7": "1 4 998"}
    each = [(name, one) for name, of_device in listed.items() for one in of_device.split()]
    rows = [{"Device": name, "Outlet": one, R: "30", "Visual": "pass", T0: f"2{i % 7}.4", T180: f"25.{i % 10}"}
            for i, (name, one) in enumerate(each)]  # fmt: skip
    audit = audit_of(tmp_path, [*rows, {"Device": "K8", **GOOD}])
    found = audit.findings[audit.findings["code"] == "outlet-not-listed"].sort_values("row")
    assert found["row"].tolist() == [4, 7, 8, 18]
    for message, absent in zip(found["message"], ("3", "2", "1", "2, 3, 5, 6"), strict=True):
        assert f" {absent}" in message
