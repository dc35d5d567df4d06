"""The terminal: as wide as it is, the verdict last, nothing that cannot be known."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from excel_books import SAMPLES, audit_of

from rcdcheck.reports.console import Screen, summary
from rcdcheck.reports.text import width

HEAD = "Device,Site,Rated IΔn (mA),Trip time 1× 0° (ms),Trip time 1× 180° (ms)\n"


def failing(folder: Path, n: int) -> str:
    """A sheet of so many devices that all fail."""
    path = folder / f"{n}.csv"
    path.write_text(HEAD + "".join(f"W-{i},Yard,30,20.1,no trip\n" for i in range(n)), encoding="utf-8")
    return str(path)


@pytest.mark.parametrize("columns", [60, 80, 140])
@pytest.mark.parametrize("name", ["honest-day.csv", "messy-day.xlsx"])
def test_no_line_is_wider_than_the_terminal_and_the_rule_set_is_unbroken(name: str, columns: int) -> None:
    audit = audit_of(str(SAMPLES / name))
    text = summary(audit, [], verbose=True, on=Screen(columns))
    assert max(map(width, text.splitlines())) <= columns
    assert "Rules anz-in-service: " in text and audit.rules.document in " ".join(text.split())


@pytest.mark.parametrize("columns", ["60", "100"])
def test_columns_of_the_environment_decide_where_it_is_set(columns: str, tmp_path: Path) -> None:
    ran = subprocess.run(
        [sys.executable, "-m", "rcdcheck", "audit", str(SAMPLES / "messy-day.xlsx"), "--write", "none"],
        env=os.environ | {"COLUMNS": columns}, cwd=tmp_path, capture_output=True, text=True, check=False,
    )  # fmt: skip
    widest = max(map(width, ran.stdout.splitlines()))
    assert int(columns) - 12 < widest <= int(columns)


def test_every_failed_device_is_listed_last_and_the_counts_close(tmp_path: Path) -> None:
    text = summary(audit_of(failing(tmp_path, 60)), [], on=Screen(80, 24))
    assert all(f"W-{i}  Yard" in text for i in range(60))
    assert "WITHDRAW NOW: all 60 are listed above." in text
    assert text.splitlines()[-1].startswith("60 fail, 0 unclear")


def test_a_list_that_no_screen_holds_is_told_by_site_with_the_report_that_holds_it(tmp_path: Path) -> None:
    audit = audit_of(failing(tmp_path, 300))
    text = summary(audit, [Path("day-audit.xlsx")], on=Screen(80, 24))
    assert "all 300 stand in: day-audit.xlsx" in text and "Yard: 300" in text
    for written in ([], [Path("day-audit-tags.csv")]):  # no report holds the list
        text = summary(audit, written, on=Screen(80, 24))
        assert "W-299" in text and "all 300 are listed above." in text


def test_the_last_lines_point_at_the_report_where_the_sites_alone_fill_the_screen(tmp_path: Path) -> None:
    path = tmp_path / "fleet.csv"
    path.write_text(HEAD + "".join(f"W-{i},Yard {i % 40},30,20.1,no trip\n" for i in range(300)), encoding="utf-8")
    last = summary(audit_of(str(path)), [Path("day-audit.xlsx")], on=Screen(80, 24)).splitlines()[-2:]
    assert last[0] == "WITHDRAW NOW: all 300 stand in: day-audit.xlsx." and last[1].startswith("300 fail")


def test_what_could_not_be_read_is_never_no_failure(tmp_path: Path) -> None:
    (tmp_path / "inbox").mkdir()
    for path in ("inbox", "missing.csv"):
        text = summary(audit_of(str(tmp_path / path)), [])
        assert "NOT AUDITED" in text and "No device failed" not in text


def test_calibration_that_had_run_out_and_a_missing_visual_are_said(tmp_path: Path) -> None:
    path = tmp_path / "late.csv"
    path.write_text(
        "Device,Rated IΔn (mA),1× 0° (ms),1× 180° (ms),Date,Instrument,Calibration due\n"
        "A1,30,20.1,21.4,2026-11-20,Meter A,2026-10-01\nA2,30,20.4,22.4,2026-11-20,Meter A,2026-10-01\n",
        encoding="utf-8",
    )
    text = summary(audit_of(str(path)), [], on=Screen(140))
    assert "2 tests were made after the calibration of the instrument had run out (“Meter A”)." in text
    assert "judged from measured readings only" in text


def test_colour_is_never_alone(tmp_path: Path) -> None:
    audit = audit_of(str(SAMPLES / "messy-day.xlsx"))
    plain, coloured = summary(audit, []), summary(audit, [], colour=True)
    assert "\x1b[31m" in coloured and "\x1b" not in plain
    import click

    assert click.unstyle(coloured) == plain
