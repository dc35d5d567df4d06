"""What falls due, what was left open, what is missing, unexpected or moved; read back from every form of the list."""

from __future__ import annotations

import csv
import datetime as dt
import io
from pathlib import Path

import icalendar
import openpyxl
import pytest
from fleets import DEVICES, T180, sheet, visit
from whole_runs import Run

from rcdcheck.register.due import Listed, due
from rcdcheck.register.store import opened
from rcdcheck.reports.calendar import due_calendar

TODAY, BY = "2026-11-25", "2027-01-24"
LATER = dt.date(2026, 12, 1)


def listed(register: Path, today: str = TODAY, by: str = BY, site: str = "") -> Listed:
    with opened(register, writing=False) as known:
        return due(known, today, by, site)


def statuses(register: Path, today: str = TODAY, by: str = BY) -> dict[str, str]:
    return {d.device: d.status for d in listed(register, today, by).devices}


@pytest.mark.parametrize(
    ("kind", "environment", "tested", "expected"),
    [  # months of the Queensland regulator's tables and of AS/NZS 3760 Table 4, as schemas/rules cites them
        ("portable", "construction", "2026-11-30", "2027-02-28"),  # 3 months, and no 30 February
        ("fixed", "construction", "2026-01-20", "2027-01-20"),  # 12
        ("portable", "office", "2024-02-29", "2026-02-28"),  # 24, from a leap day
        ("portable", "hire", "2026-10-01", "2027-01-01"),  # 3
    ],
)
def test_the_due_day_is_the_interval_of_kind_and_environment(
    tmp_path: Path, kind: str, environment: str, tested: str, expected: str
) -> None:
    register = tmp_path / "fleet.db"
    visit(register, sheet(tmp_path / "a.csv", ["R-01"], Kind=kind, Environment=environment, Date=tested), day=LATER)
    before = (dt.date.fromisoformat(expected) - dt.timedelta(days=1)).isoformat()
    assert [d.due for d in listed(register, tested, expected).devices] == [expected]
    assert not listed(register, tested, before).devices
    assert statuses(register, "2030-01-01", "2030-01-02") == {"R-01": "overdue"}


def test_kind_and_environment_are_remembered_where_a_later_sheet_leaves_them_out(tmp_path: Path) -> None:
    register = tmp_path / "fleet.db"
    visit(register, sheet(tmp_path / "a.csv", DEVICES[:2], Environment="construction"))
    visit(register, sheet(tmp_path / "b.csv", DEVICES[:2], Environment="", Kind="", Date="2026-10-20"))
    assert {d.due for d in listed(register).devices} == {"2027-01-20"}


def test_what_cannot_be_told_a_day_is_counted(tmp_path: Path) -> None:
    register = tmp_path / "fleet.db"
    visit(register, sheet(tmp_path / "a.csv", DEVICES, Environment=""))
    assert (listed(register).devices, listed(register).without_interval) == ((), 6)
    visit(register, tmp_path / "a.csv", again=True, environment="construction")
    assert statuses(register) == dict.fromkeys(DEVICES, "overdue")


def test_failed_and_unfinished_devices_stay_until_they_pass(tmp_path: Path) -> None:
    register = tmp_path / "fleet.db"
    rows: list[dict[str, str] | str] = [{"Device": "R-01", T180: "no trip"}, {"Device": "R-02", T180: ""}, "R-03"]
    visit(register, sheet(tmp_path / "a.csv", rows))
    assert statuses(register) == {"R-01": "withdrawn", "R-02": "unfinished"}
    (first, second) = listed(register).devices
    assert "failed on 2026-01-20" in first.why and "did not trip" in first.why
    assert "trip time 1× at 180°" in second.why
    remedy = {"Device": "R-01", "Remarks": "replaced RCD"}
    visit(register, sheet(tmp_path / "b.csv", [remedy, "R-02", "R-03"], Date="2026-02-01"))
    assert statuses(register) == {}


def test_out_of_use_is_no_longer_listed_and_seen_again_is_an_error(tmp_path: Path) -> None:
    register = tmp_path / "fleet.db"
    gone = {"Device": "R-01", "Remarks": "scrapped", "Trip time 1× 0° (ms)": "", T180: ""}
    visit(register, sheet(tmp_path / "a.csv", DEVICES, Date="2025-01-20"))
    visit(register, sheet(tmp_path / "b.csv", [gone, *DEVICES[1:]], Environment="construction"))
    assert "R-01" not in statuses(register, "2030-01-01", "2030-01-01")
    assert listed(register).out_of_use == 1
    again = visit(register, sheet(tmp_path / "c.csv", ["R-01"], Date="2026-06-01", Site="South yard"))
    found = again.findings[again.findings["code"] == "withdrawn-seen-again"]
    assert list(found["severity"]) == ["error"] and "2026-01-20" in found["message"].iloc[0]
    assert list(again.devices["outcome"]) == [2], "an error of a device leaves it unclear"


def test_missing_unexpected_and_perhaps_moved(tmp_path: Path) -> None:
    register = tmp_path / "fleet.db"
    visit(register, sheet(tmp_path / "a.csv", DEVICES, Date="2026-01-20"))
    visit(register, sheet(tmp_path / "s.csv", ["S-01", "S-02"], Site="South yard", Date="2026-01-21"))
    visit(register, sheet(tmp_path / "b.csv", [*DEVICES[:4], "R-40"], Date="2026-07-20"))
    assert statuses(register) == {"R-05": "missing", "R-06": "missing", "R-40": "unexpected"}
    visit(register, sheet(tmp_path / "c.csv", ["S-01", "S-02", "R-05"], Site="South yard", Date="2026-07-21"))
    assert statuses(register) == {"R-05": "perhaps moved", "R-06": "missing", "R-40": "unexpected"}
    assert len(listed(register).devices) == 3
    moved = next(d for d in listed(register).devices if d.status == "perhaps moved")
    assert (moved.site, "2026-07-21 at South yard" in moved.why) == ("North yard", True)


def test_a_visit_to_a_corner_of_a_site_makes_nothing_missing(tmp_path: Path) -> None:
    register = tmp_path / "fleet.db"
    visit(register, sheet(tmp_path / "a.csv", DEVICES, Date="2026-01-20"))
    visit(register, sheet(tmp_path / "b.csv", DEVICES[:2], Date="2026-07-20"))
    assert statuses(register) == {}


@pytest.fixture
def register(tmp_path: Path) -> Path:
    """Something of most kinds, with texts that calendars and spreadsheets must not take for their own."""
    register = tmp_path / "fleet.db"
    site = "Nördlicher Hof; Halle 3"
    rows = [
        {
            "Device": "R-01",
            T180: "no trip",
            "Location": "behind the curtain of the third stall on the left, ground floor",
        },
        {"Device": "=1+1", "Location": "stall; 4"},
        {"Device": "R-03"},
    ]
    visit(register, sheet(tmp_path / "a.csv", rows, Site=site, Environment="construction", Date="2026-09-20"))
    visit(register, sheet(tmp_path / "b.csv", ["K-1"], Environment="construction", Date="2026-03-01"))
    return register


def test_the_calendar_is_read_back_by_another_library(register: Path) -> None:
    """RFC 5545, read by the icalendar library: escapes, folding, all-day events, one for each site and day."""
    data = b"".join(due_calendar(listed(register), TODAY))
    assert all(len(line) <= 75 for line in data.split(b"\r\n")), "section 3.1"
    assert data.count(b"\n") == data.count(b"\r\n")
    calendar = icalendar.Calendar.from_ical(data)
    assert (str(calendar["VERSION"]), bool(calendar["PRODID"])) == ("2.0", True)
    events = {(str(e["SUMMARY"]), e.decoded("DTSTART"), e.decoded("DTEND")) for e in calendar.walk("VEVENT")}
    today, later = dt.date(2026, 11, 25), dt.date(2026, 12, 20)
    one = dt.timedelta(days=1)
    assert events == {
        ("RCDs failed and not passed since: Nördlicher Hof; Halle 3 (1)", today, today + one),
        ("RCD tests due: Nördlicher Hof; Halle 3 (2)", later, later + one),
        ("RCD tests overdue: North yard (1)", today, today + one),
    }
    by_summary = {str(e["SUMMARY"])[:13]: e for e in calendar.walk("VEVENT")}
    told = str(by_summary["RCD tests due"]["DESCRIPTION"])
    assert told.splitlines() == ["=1+1 / stall; 4: due 2026-12-20", "R-03: due 2026-12-20"]
    assert str(by_summary["RCD tests due"]["LOCATION"]) == "Nördlicher Hof; Halle 3"
    assert len({str(e["UID"]) for e in calendar.walk("VEVENT")}) == 3
    again = icalendar.Calendar.from_ical(b"".join(due_calendar(listed(register, "2026-11-26"), "2026-11-26")))
    assert {str(e["UID"]) for e in again.walk("VEVENT")} == {str(e["UID"]) for e in calendar.walk("VEVENT")}


def test_csv_workbook_and_terminal_list_the_same(run_rcdcheck: Run, register: Path, tmp_path: Path) -> None:
    options = ("due", "--register", register.name, "--as-of", TODAY)
    ran = run_rcdcheck(*options, "--out", "due.csv", "--out", "due.xlsx", "--out", "due.ics")
    assert ran.returncode == 0, ran.stderr.decode()
    rows = list(csv.DictReader(io.StringIO((tmp_path / "due.csv").read_text(encoding="utf-8-sig"))))
    expected = [(d.status, d.device) for d in listed(register).devices]
    assert [(row["status"], row["device"].removeprefix("'")) for row in rows] == expected
    assert [row["device"] for row in rows if "1+1" in row["device"]] == ["'=1+1"], "no formula in a spreadsheet"
    book = openpyxl.load_workbook(tmp_path / "due.xlsx")
    cells = [(s.title.lower(), row[3], row[0]) for s in book for row in s.iter_rows(min_row=5, values_only=True)]
    assert [(status, device) for status, device, _ in cells] == expected
    assert dt.datetime(2026, 12, 20) in [day for _, _, day in cells]
    said = run_rcdcheck(*options).stdout.decode()
    assert all(f"{status.upper()} (" in said for status, _ in expected)
    assert all(device in said for _, device in expected)
    assert said.splitlines()[-1] == f"4 devices need something as of {TODAY}, up to {BY}."


def test_a_site_is_asked_for_by_name(run_rcdcheck: Run, register: Path) -> None:
    options = ("due", "--register", register.name, "--as-of", TODAY, "--site")
    said = run_rcdcheck(*options, "NORTH  yard").stdout.decode()
    assert "K-1" in said and "R-03" not in said
    ran = run_rcdcheck(*options, "East yard")
    assert ran.returncode == 2 and "North yard" in ran.stderr.decode()
    assert run_rcdcheck("due", "--register", "nowhere.db").returncode == 4
    assert run_rcdcheck("due", "--register", register.name, "--out", "due.pdf").returncode == 2
    assert run_rcdcheck("due", "--register", register.name, "--by", "soon").returncode == 2
