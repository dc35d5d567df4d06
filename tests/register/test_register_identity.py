"""Identity across years: by evidence, shown, and settled in a file. The cases are common practice, no source."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from fleets import DEVICES, T0, T180, held, outcomes, sheet, visit
from openpyxl import Workbook
from whole_runs import Run

from rcdcheck.register.keys import counting, name_key, plain_key
from rcdcheck.register.settled import ONE_SITE, taken_for_the_same
from rcdcheck.register.store import opened
from rcdcheck.reports.history_facts import history_of

NAMES = ("K-01", "K-02", "K-03", "K-04", "K-05", "K-06")


def histories(register: Path) -> dict[str, int]:
    """How often each device of the register was seen."""
    return dict(
        held(
            register,
            "SELECT d.name, count(*) FROM devices d JOIN sightings s ON s.device = d.id"
            " JOIN visits v ON v.id = s.visit WHERE v.replaced_by IS NULL GROUP BY d.id",
        )
    )


def month(path: Path, title: str, day: str, names: tuple[str, ...]) -> Path:
    """A workbook whose one sheet is called after a month; no column names a site."""
    book = Workbook()
    tests = book.active
    assert tests is not None
    tests.title = title
    tests.append(["Device", "Rated IΔn (mA)", "Visual", T0, T180, "Tested by", "Instrument", "Date"])
    for number, name in enumerate(names):
        tests.append([name, 30, "pass", 21.3 + number * 1.7, 23.9 + number, "A. Snowfield", "Meter A", day])
    book.save(path)
    return path


def test_sheets_named_by_month_are_visits_of_one_fleet(tmp_path: Path) -> None:
    register = tmp_path / "fleet.db"
    visit(register, month(tmp_path / "2025.xlsx", "Depot Jan", "2025-01-10", NAMES))
    visit(register, month(tmp_path / "2026.xlsx", "Depot Jul", "2026-07-10", NAMES))
    assert histories(register) == dict.fromkeys(NAMES, 2)


def test_files_without_a_site_are_one_fleet_where_they_share_most_names(tmp_path: Path) -> None:
    register = tmp_path / "fleet.db"
    visit(register, sheet(tmp_path / "first round.csv", NAMES, Site=""))
    audit = visit(register, sheet(tmp_path / "another.csv", NAMES[1:], Site="", Date="2026-07-20"))
    assert histories(register) == {"K-01": 1, **dict.fromkeys(NAMES[1:], 2)}
    assert set(audit.history.devices["how"]) == {ONE_SITE}
    with opened(register, writing=False) as known:
        (line,) = taken_for_the_same(known)
    assert line == ("same", "first round.csv", "", "another.csv", "", f"5 devices: {ONE_SITE}")


def test_twelve_files_of_a_year_in_one_run_are_one_fleet(tmp_path: Path) -> None:
    register = tmp_path / "fleet.db"
    paths = [sheet(tmp_path / f"{m:02d}.csv", NAMES, Site="", Date=f"2026-{m:02d}-10") for m in range(1, 11)]
    visit(register, *paths)
    assert histories(register) == dict.fromkeys(NAMES, 10)


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ({"names": ("1", "2", "3", "4", "5", "6")}, {"names": ("1", "2", "3", "4", "5", "6")}),
        ({"names": NAMES}, {"names": NAMES, "Rated IΔn (mA)": "100"}),
        ({"names": NAMES[:3]}, {"names": NAMES[:3]}),
        ({"names": NAMES, "Site": "North yard"}, {"names": NAMES, "Site": "South yard"}),
    ],
    ids=["bare numbers", "other ratings", "too few", "two sites that are named"],
)
def test_what_says_too_little_joins_nothing(tmp_path: Path, first: dict[str, str], second: dict[str, str]) -> None:
    register = tmp_path / "fleet.db"
    for number, asked in enumerate((first, second)):
        told = {"Site": "", "Date": f"2026-0{number + 3}-20", **asked}
        visit(register, sheet(tmp_path / f"{number}{number}.csv", told.pop("names"), **told))
    assert held(register, "SELECT count(*) FROM devices") == [(2 * len(first["names"]),)]


def test_a_device_written_in_three_ways_is_one_and_shown(tmp_path: Path) -> None:
    register = tmp_path / "fleet.db"
    for number, name in enumerate(("RCD-07", "rcd 7", "R.C.D. 007")):
        visit(register, sheet(tmp_path / f"{number}.csv", [name, "RCD-08"], Date=f"2026-0{number + 1}-20"))
    assert histories(register) == {"RCD-07": 3, "RCD-08": 3}
    told = history_of(visit(register, tmp_path / "2.csv", again=True))["taken_for_the_same"]
    assert [(one["device"], one["called_before"]) for one in told] == [("R.C.D. 007", "RCD-07")]
    assert [plain_key(n) for n in ("1.12", "11.2", "1-12")] == ["1.12", "11.2", "1.12"], "a board and its circuit"
    assert counting(" No. 12 ") and not counting("K-12") and name_key(" K  1") == "k 1"


def test_two_spellings_in_one_sheet_stay_two_devices(tmp_path: Path) -> None:
    register = tmp_path / "fleet.db"
    visit(register, sheet(tmp_path / "a.csv", ["RCD-07"]))
    visit(register, sheet(tmp_path / "b.csv", ["RCD-07", "RCD 7"], Date="2026-07-20"))
    assert histories(register) == {"RCD-07": 2, "RCD 7": 1}


def test_an_equal_serial_number_is_the_same_device_wherever_it_is(tmp_path: Path) -> None:
    register = tmp_path / "fleet.db"
    serials = [{"Device": name, "RCD serial": f"SN{number}44"} for number, name in enumerate(DEVICES)]
    visit(register, sheet(tmp_path / "a.csv", serials))
    moved = [{"Device": "S-90", "RCD serial": "SN344"}]
    visit(register, sheet(tmp_path / "b.csv", moved, Site="South yard", Date="2026-07-20"))
    assert histories(register) == {**dict.fromkeys(DEVICES, 1), "R-04": 2}


def test_another_serial_number_under_the_old_name_is_another_device(tmp_path: Path) -> None:
    """The failed one is replaced: its fail is history, and the new one has none."""
    register = tmp_path / "fleet.db"
    visit(register, sheet(tmp_path / "a.csv", [{"Device": "R-01", "RCD serial": "SN1", T180: "no trip"}, "R-02"]))
    new: list[dict[str, str] | str] = [{"Device": "R-01", "RCD serial": "SN2"}, "R-02"]
    audit = visit(register, sheet(tmp_path / "b.csv", new, Date="2026-07-20"))
    assert outcomes(audit) == {"R-01": 0, "R-02": 0}
    for _ in range(2):
        assert [(c.kind, c.device, c.why) for c in audit.history.changes] == [
            ("appeared", "R-01", "in place of the one with serial number SN1")
        ]
        chain = held(register, "SELECT id, serial, replaces, replaced_by FROM devices WHERE name = 'R-01' ORDER BY id")
        assert chain == [(1, "SN1", None, 3), (3, "SN2", 1, None)]
        audit = visit(register, tmp_path / "b.csv", again=True)
    back = [{"Device": "R-01", "RCD serial": "SN1"}]
    visit(register, sheet(tmp_path / "c.csv", back, Date="2026-09-20"))
    assert held(register, "SELECT replaced_by FROM devices WHERE serial = 'SN1'") == [(None,)], "seen again: not gone"


def test_what_was_taken_for_the_same_is_printed_and_can_be_settled(run_rcdcheck: Run, tmp_path: Path) -> None:
    register = tmp_path / "fleet.db"
    visit(register, sheet(tmp_path / "a.csv", [{"Device": "RCD-07", T180: "no trip"}, "RCD-08"]))
    visit(register, sheet(tmp_path / "b.csv", ["RCD 7", "RCD-08"], Date="2026-07-20"))
    visit(register, sheet(tmp_path / "s.csv", ["Q-55"], Site="South yard", Date="2026-07-21"))
    visit(register, sheet(tmp_path / "e.csv", ["Q-55"], Site="East yard", Date="2026-08-21"))
    printed = run_rcdcheck("visits", "--register", "fleet.db", "--same").stdout.decode()
    lines = [tuple(row.values())[:5] for row in csv.DictReader(io.StringIO(printed))]
    assert lines == [
        ("same", "North yard", "RCD-07", "North yard", "RCD 7"),
        ("perhaps", "South yard", "Q-55", "East yard", "Q-55"),
    ]
    corrected = printed.replace("same,North", "different,North").replace("perhaps,South", "same,South")
    (tmp_path / "same.csv").write_text(corrected, encoding="utf-8")
    ran = run_rcdcheck("visits", "--register", "fleet.db", "--settle", "same.csv")
    assert (ran.returncode, ran.stdout.startswith(b"2 settled.")) == (0, True), ran.stderr.decode()
    assert histories(register) == {"RCD-07": 1, "RCD 7": 1, "RCD-08": 2, "Q-55": 2}
    visit(register, tmp_path / "b.csv", again=True)
    stands = held(register, "SELECT name, outcome, due FROM devices WHERE name LIKE 'RCD%7' ORDER BY id")
    assert stands == [("RCD-07", 3, None), ("RCD 7", 0, "2028-07-20")]
    audit = visit(register, sheet(tmp_path / "d.csv", ["RCD 7", "RCD-07"], Date="2026-10-20"))
    assert outcomes(audit) == {"RCD 7": 0, "RCD-07": 2}, "the fail is that of RCD-07 alone"
    visit(register, sheet(tmp_path / "f.csv", ["Q-55"], Site="East yard", Date="2026-10-21"))
    assert histories(register) == {"RCD-07": 2, "RCD 7": 2, "RCD-08": 2, "Q-55": 3}
    assert run_rcdcheck("visits", "--register", "fleet.db", "--settle", "same.csv").stdout.startswith(b"Nothing new")


def test_whole_sites_can_be_settled(run_rcdcheck: Run, tmp_path: Path) -> None:
    register = tmp_path / "fleet.db"
    visit(register, sheet(tmp_path / "a.csv", NAMES, Site="North yard"))
    visit(register, sheet(tmp_path / "b.csv", NAMES, Site="Yard (north)", Date="2026-07-20"))
    (tmp_path / "same.csv").write_text("same,North yard,,Yard (north),\n", encoding="utf-8")
    assert run_rcdcheck("visits", "--register", "fleet.db", "--settle", "same.csv").returncode == 0
    assert histories(register) == dict.fromkeys(NAMES, 2)
    visit(register, sheet(tmp_path / "c.csv", NAMES, Site="Yard (north)", Date="2026-09-20"))
    assert histories(register) == dict.fromkeys(NAMES, 3)
    printed = run_rcdcheck("visits", "--register", "fleet.db", "--same").stdout.decode().splitlines()[1:]
    assert printed == ["same,North yard,,Yard (north),,6 devices: settled"]
    (tmp_path / "apart.csv").write_text("different,North yard,,Yard (north),\n", encoding="utf-8")
    assert run_rcdcheck("visits", "--register", "fleet.db", "--settle", "apart.csv").returncode == 0
    seen = held(register, "SELECT p.name, count(DISTINCT d.id), count(*) FROM places p JOIN devices d ON d.place = p.id"
                " JOIN sightings s ON s.device = d.id GROUP BY p.id ORDER BY p.name")  # fmt: skip
    assert seen == [("North yard", 6, 6), ("Yard (north)", 6, 12)]
    visit(register, sheet(tmp_path / "d.csv", NAMES, Site="Yard (north)", Date="2026-10-20"))
    assert histories(register) and held(
        register, "SELECT max(n) FROM (SELECT count(*) n FROM sightings GROUP BY device)"
    )


@pytest.mark.parametrize("text", ["same,North yard\n", "equal,North yard,K-01,South yard,K-01\n", "same,A,B,C,D\n"])
def test_a_settling_file_that_cannot_be_followed_is_refused(run_rcdcheck: Run, tmp_path: Path, text: str) -> None:
    register = tmp_path / "fleet.db"
    visit(register, sheet(tmp_path / "a.csv", NAMES))
    (tmp_path / "same.csv").write_text(text, encoding="utf-8")
    ran = run_rcdcheck("visits", "--register", "fleet.db", "--settle", "same.csv")
    assert ran.returncode == 4 and ran.stderr.startswith(b"rcdcheck: ")
    assert histories(register) == dict.fromkeys(NAMES, 1)
