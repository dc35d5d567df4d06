"""Pace and places from clock times. Thresholds: common practice, no source."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scrutiny_tables import audit, honest, sheet, tables

import rcdcheck
from rcdcheck.reports.html import credibility


def timed(
    seconds: list[float] | np.ndarray, who: str = "A. Stall", site: str | list[str] = "North row"
) -> pd.DataFrame:
    n = len(seconds)
    at = pd.Timestamp("2026-11-20 08:00:07") + pd.to_timedelta(np.asarray(seconds, dtype=np.float64), unit="s")
    devices = [f"{who[:1]}-{i}" for i in range(n)]
    return sheet(
        device=devices, technician=who, instrument="Meter 2", site=site, tested_at=at, **honest(n, sum(map(ord, who)))
    )


def codes(*sheets: pd.DataFrame) -> set[str]:
    _, findings = audit(tables(sheets))
    return set(findings["code"]) - {"credibility-partly-untested"}


@pytest.mark.parametrize(
    ("step", "expected"), [(29, {"tested-too-fast"}), (31, {"tested-fast"}), (44, {"tested-fast"}), (46, set())]
)
def test_ten_tests_at_a_steady_pace(step: int, expected: set[str]) -> None:
    assert codes(timed(step * np.arange(12))) == expected


def test_nine_tests_are_too_few_to_say() -> None:
    assert codes(timed(20 * np.arange(9))) == set()


def test_a_fast_stretch_in_a_quiet_day_is_named_with_its_tests() -> None:
    seconds = np.concatenate([300 * np.arange(10), 3600 + 12 * np.arange(14), 7200 + 300 * np.arange(10)])
    _, findings = audit(tables([timed(seconds)]))
    found = findings[findings["code"] == "tested-too-fast"].iloc[0]
    assert found["evidence"]["tests"] == list(range(10, 24))
    assert "10 tests in a row stand at a mean of 12 s each, from 2026-11-20 09:" in found["message"]
    assert "14 tests belong to stretches of ten that are as fast" in found["message"]
    assert found["severity"] == "note"  # times of typing look the same


def test_row_order_does_not_matter() -> None:
    shuffled = timed(20 * np.random.default_rng(1).permutation(12))
    assert codes(shuffled) == {"tested-too-fast"}


def test_whole_minutes_add_one_minute_to_a_span() -> None:
    """Ten tests from 8:00 to 8:04 may have taken 299 s: 33 s each, a note and no doubt."""
    minutes = timed(60 * np.array([0, 0, 1, 1, 2, 2, 2, 3, 3, 4]) - 7)
    assert codes(minutes) == {"tested-fast"}
    assert codes(minutes.assign(tested_at=minutes["tested_at"] + pd.Timedelta(seconds=1))) == {"tested-too-fast"}


def test_other_names_instruments_and_sites_do_not_add_up() -> None:
    assert codes(timed(40 * np.arange(12)), timed(40 * np.arange(12) + 20, "B. Booth")) == {"tested-fast"}
    two = [("North row", "South row")[i % 2] for i in range(12)]
    assert "tested-too-fast" not in codes(timed(25 * np.arange(12), site=two))


def test_one_name_with_one_instrument_at_two_sites_within_a_minute_is_a_note() -> None:
    """Two people under one team name show it honestly."""
    two = ["North row", "North row", "South row", "South row"] * 3
    _, findings = audit(tables([timed(50 * np.arange(12), site=two)]))
    (found,) = [row for row in findings.itertuples() if row.code == "instrument-at-two-sites"]
    assert "stands at two sites within a minute, 5 times" in found.message
    assert codes(timed(70 * np.arange(12), site=two)) == set()


def test_two_sites_in_turn_without_time_to_travel_are_a_doubt() -> None:
    turns = ["North row", "South row"] * 20
    _, findings = audit(tables([timed(120 * np.arange(40), site=turns)]))
    (found,) = [row for row in findings.itertuples() if row.code == "two-sites-at-once"]
    assert found.severity == "doubt"
    assert "40 tests of one name and instrument go from one site to another and back at every test" in found.message
    halls = (["North row"] * 10 + ["South row"] * 10) * 2  # a site after the other is a day's round
    assert codes(timed(120 * np.arange(40), site=halls)) == set()


@pytest.mark.parametrize("when", ["Tested at", "Date,Time"])
def test_a_doubt_of_two_sites_lists_the_cells_of_site_and_clock(when: str, tmp_path: Path) -> None:
    """The letters stand in the order of the headings: B is the site, G (and H) the clock, D to F the readings."""
    start, sign = pd.Timestamp("2026-11-20 08:00:07"), "," if "," in when else " "
    measured = [f"{20 + i / 8:.1f},{24 + i % 9},{22 + i % 5},{start + i * pd.Timedelta('2min')}" for i in range(40)]
    rows = [f"A{i},Site {i % 2},30,{told},A. Stall,Meter 1" for i, told in enumerate(measured)]
    text = "\n".join([f"Device,Site,Rated (mA),0° 1x (ms),180° 1x (ms),Ramp (mA),{when},Tested by,Instrument", *rows])
    path = tmp_path / "day.csv"
    path.write_text(re.sub(r"(2026-11-20) ", rf"\1{sign}", text), encoding="utf-8")
    audited = rcdcheck.audit([path])
    findings = audited.findings
    (listed,) = findings.loc[findings["code"] == "two-sites-at-once", "evidence"].iloc[0]["cells"]
    clock = ["G", "H"] if "," in when else ["G"]
    assert listed["cells"] == [f"{letter}{row}" for row in range(2, 42) for letter in ["B", "D", "E", "F", *clock]]
    (shown,) = credibility.doubts(audited, "doubt")
    assert [cells.columns for cells in shown.cells] == [f"B, D–{clock[-1]}"]


def test_one_instrument_under_two_names_is_a_note() -> None:
    seconds = 300 * np.arange(12)
    there = timed(seconds + 20, "B. Booth", "South row")
    assert codes(timed(seconds), there) == {"instrument-at-two-sites"}


def test_many_in_a_shift() -> None:
    assert codes(timed(60 * np.arange(351))) == {"many-in-a-shift"}
    pause = np.concatenate([60 * np.arange(200), 60 * np.arange(151) + 200 * 60 + 5 * 3600])
    assert codes(timed(pause)) == set()


def test_dates_alone_are_not_asked() -> None:
    questions, _ = audit(tables([timed(np.zeros(12)).assign(tested_at="2026-11-20")]))
    pace = questions[questions["question"] == "pace"].iloc[0]
    assert not pace["asked"]
    assert pace["why_not"] == "dates stand without clock times: nobody can tell how fast the tests were made"
