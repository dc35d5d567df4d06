"""The file of a register: made on first use, one transaction a run, refused where it is damaged, never half written."""

from __future__ import annotations

import json
import resource
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from fleets import DEVICES, T180, held, outcomes, sheet, visit
from whole_runs import DAY, Run

from rcdcheck.errors import OutputError, SettingsError, UsageError
from rcdcheck.register import migrations, store
from rcdcheck.register.soundness import is_sound
from rcdcheck.register.store import opened
from rcdcheck.terms import Outcome

QUIET = ("--as-of", DAY, "--write", "none", "--quiet", "--fail-on", "fail")


def test_a_visit_is_its_hash_tests_readings_outcomes_and_grade(tmp_path: Path) -> None:
    register = tmp_path / "fleet.db"
    path = sheet(tmp_path / "a.csv", [*DEVICES, {"Device": "R-09", T180: "no trip"}])
    audit = visit(register, path)
    assert held(register, "SELECT sha256, file, grade, tests, devices, pass, fail, first_day FROM visits") == [
        (audit.tables.inputs[0].sha256, "a.csv", audit.grade.grade, 7, 7, 6, 1, "2026-01-20")
    ]
    readings = held(register, "SELECT s.name, count(*) FROM readings r JOIN slots s ON s.id = r.slot GROUP BY 1")
    assert dict(readings) == {"trip_time_1x_0": 7, "trip_time_1x_180": 7}
    assert held(register, "SELECT name, outcome FROM devices ORDER BY id") == list(outcomes(audit).items())


def test_the_same_bytes_are_counted_once_and_again_takes_their_place(tmp_path: Path) -> None:
    register = tmp_path / "fleet.db"
    path = sheet(tmp_path / "a.csv", DEVICES)
    visit(register, path)
    copy = tmp_path / "copy of a.csv"
    copy.write_bytes(path.read_bytes())
    again = visit(register, copy)
    assert again.exit_code == 0 and not again.tables.inputs
    assert again.history.counted == (("copy of a.csv", 1, "2026-11-25"),)
    assert held(register, "SELECT count(*) FROM tests") == [(6,)]
    visit(register, copy, again=True)
    assert held(register, "SELECT id, replaced_by FROM visits") == [(1, 2), (2, None)]
    assert held(register, "SELECT count(*), count(last_at) FROM devices") == [(6, 6)]


def test_a_corrected_sheet_takes_the_place_of_the_one_before_which_stays_readable(tmp_path: Path) -> None:
    register = tmp_path / "fleet.db"
    visit(register, sheet(tmp_path / "a.csv", [*DEVICES, {"Device": "R-09", T180: "no trip"}]))
    corrected = sheet(tmp_path / "b.csv", DEVICES)
    audit = visit(register, corrected, replaces="a.csv")
    assert audit.history.replaced == (1,)
    assert set(outcomes(audit).values()) == {int(Outcome.PASS)}
    assert held(register, "SELECT id, replaced_by FROM visits") == [(1, 2), (2, None)]
    assert held(register, "SELECT count(*) FROM tests") == [(13,)]
    assert held(register, "SELECT name FROM devices WHERE last_at IS NULL") == [("R-09",)]


@pytest.mark.parametrize("wanted", ["nowhere.csv", "7"])
def test_a_visit_to_replace_must_be_there(tmp_path: Path, wanted: str) -> None:
    register = tmp_path / "fleet.db"
    visit(register, sheet(tmp_path / "a.csv", DEVICES))
    with pytest.raises(UsageError, match=r"no visit is called that. `rcdcheck visits"):
        visit(register, sheet(tmp_path / "b.csv", DEVICES[:2]), replaces=wanted)
    assert held(register, "SELECT id, replaced_by FROM visits") == [(1, None)]


def test_a_replacement_that_cannot_be_read_replaces_nothing(tmp_path: Path) -> None:
    register = tmp_path / "fleet.db"
    visit(register, sheet(tmp_path / "a.csv", DEVICES))
    (tmp_path / "b.csv").write_text("felt pads\n", encoding="utf-8")
    assert visit(register, tmp_path / "b.csv", replaces="1").exit_code == 3
    assert held(register, "SELECT id, replaced_by FROM visits") == [(1, None)]


def test_a_fail_of_an_earlier_visit_stays_until_a_remedy_is_on_record(tmp_path: Path) -> None:
    register = tmp_path / "fleet.db"
    visit(register, sheet(tmp_path / "a.csv", [{"Device": "R-01", T180: "no trip"}, "R-02"]))
    unsaid = visit(register, sheet(tmp_path / "b.csv", ["R-01", "R-02"], Date="2026-03-02"))
    assert outcomes(unsaid) == {"R-01": Outcome.UNCLEAR, "R-02": Outcome.PASS}
    assert "failed-in-the-register" in set(unsaid.findings["code"])
    mended = sheet(tmp_path / "c.csv", [{"Device": "R-01", "Remarks": "RCD replaced 2 April"}], Date="2026-04-03")
    assert outcomes(visit(register, mended)) == {"R-01": Outcome.PASS}
    assert held(register, "SELECT outcome, open_since FROM devices WHERE name = 'R-01'") == [(0, None)]


def test_a_sheet_that_comes_late_stands_where_its_day_belongs(tmp_path: Path) -> None:
    register = tmp_path / "fleet.db"
    visit(register, sheet(tmp_path / "july.csv", ["R-01"], Date="2026-07-01"))
    late = sheet(tmp_path / "january.csv", [{"Device": "R-01", T180: "no trip"}], Date="2026-01-05")
    visit(register, late)
    stands = held(register, "SELECT first_at, last_at, outcome, open_since, due FROM devices")
    assert stands == [("2026-01-05", "2026-07-01", int(Outcome.UNCLEAR), "2026-01-05", None)]


def test_killed_at_any_statement_a_run_is_wholly_in_or_wholly_out(tmp_path: Path) -> None:
    """Kills by SIGKILL at every fifth statement of a run with two files; what is left is nothing, or both files."""
    register = tmp_path / "fleet.db"
    first = sheet(tmp_path / "a.csv", DEVICES[:3])
    second = sheet(tmp_path / "b.csv", DEVICES[:2], Date="2026-02-20")
    with opened(register, writing=True) as known:
        known.commit()
    script = Path(__file__).with_name("killed_runs.py")
    command = [sys.executable, str(script), str(register), str(first), str(second)]
    ran = subprocess.run(command, capture_output=True, timeout=500, check=False, text=True)
    assert ran.returncode == 0, ran.stderr
    *killed, whole = map(json.loads, ran.stdout.splitlines())
    assert len(killed) >= 10
    assert all(counts == [0, 0, 0, 0, 0] for counts in killed), killed
    assert whole == [2, 5, 5, 10, 3]
    assert sqlite3.connect(register).execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_two_runs_at_once_wait_for_each_other(tmp_path: Path) -> None:
    """Both name the same two sheets; each sheet is counted once, by whichever run came first."""
    for name, day in (("a.csv", "2026-01-20"), ("b.csv", "2026-06-20")):
        sheet(tmp_path / name, DEVICES, Date=day)
    command = [sys.executable, "-m", "rcdcheck", "audit", "a.csv", "b.csv", "--register", "fleet.db", *QUIET]
    runs = [subprocess.Popen(command, cwd=tmp_path, stderr=subprocess.PIPE) for _ in range(2)]
    said = sorted(run.communicate(timeout=300)[1].decode().count("nothing new") for run in runs)
    assert [run.returncode for run in runs] == [0, 0]
    assert said == [0, 1]
    assert held(tmp_path / "fleet.db", "SELECT file FROM visits ORDER BY id") == [("a.csv",), ("b.csv",)]


def test_a_register_in_use_too_long_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(store, "WAIT", 0.5)
    with (
        opened(tmp_path / "fleet.db", writing=True),
        pytest.raises(OutputError, match="in use by another run"),
        opened(tmp_path / "fleet.db", writing=True),
    ):
        raise AssertionError("both hold the lock")


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A register of one visit."""
    folder = tmp_path_factory.mktemp("whole")
    visit(folder / "fleet.db", sheet(folder / "a.csv", DEVICES))
    return (folder / "fleet.db").read_bytes()


@pytest.mark.parametrize(
    ("harm", "sentence"),
    [
        (lambda b: b"", "is empty"),
        (lambda b: b"Device,Date\nR-01,2026-01-20\n", "is no register"),
        (lambda b: b[: len(b) // 2], "is damaged"),
        (lambda b: b[:4096] + bytes(4096) + b[8192:], "is damaged"),
        (lambda b: b[:68] + bytes(4) + b[72:], "of another program"),
    ],
    ids=["empty", "another file", "cut short", "a page wiped", "another database"],
)
def test_a_damaged_or_foreign_file_is_refused_and_left_alone(
    run_rcdcheck: Run, tmp_path: Path, whole: bytes, harm: Callable[[bytes], bytes], sentence: str
) -> None:
    register = tmp_path / "fleet.db"
    sheet(tmp_path / "a.csv", DEVICES)
    harmed = harm(whole)
    register.write_bytes(harmed)
    for command in (["audit", "a.csv", *QUIET, "--again"], ["visits"]):
        ran = run_rcdcheck(*command, "--register", "fleet.db")
        assert (ran.returncode, ran.stdout) == (4, b"")
        assert sentence in ran.stderr.decode() and "Traceback" not in ran.stderr.decode()
        assert register.read_bytes() == harmed


def test_a_newer_register_is_refused_and_an_older_one_brought_up_to_date(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    register = tmp_path / "fleet.db"
    with monkeypatch.context() as old:
        old.setattr(store, "MIGRATIONS", migrations.MIGRATIONS[:1])
        with opened(register, writing=True) as known:
            known.commit()
    assert held(register, "SELECT version FROM schema_version") == [(1,)]
    with opened(register, writing=False) as known:
        assert known.one("SELECT version FROM schema_version") == len(migrations.MIGRATIONS)
    assert held(register, "SELECT version FROM schema_version") == [(len(migrations.MIGRATIONS),)]
    connection = sqlite3.connect(register)
    with connection:
        connection.execute("UPDATE schema_version SET version = 99")
    connection.close()
    with pytest.raises(SettingsError, match="newer rcdcheck"), opened(register, writing=True):
        raise AssertionError("opened")


@pytest.mark.parametrize(
    "sql",
    [
        "CREATE TRIGGER kind AFTER INSERT ON tests BEGIN UPDATE devices SET outcome = 0; END",
        "CREATE VIEW more AS SELECT * FROM visits",
        "ALTER TABLE visits RENAME COLUMN grade TO mark",
        "UPDATE schema_version SET version = 1",
        "UPDATE schema_version SET version = 'no trip'",
    ],
)
def test_a_register_with_other_tables_than_its_version_is_refused(tmp_path: Path, sql: str) -> None:
    register = tmp_path / "fleet.db"
    with opened(register, writing=True) as known:
        known.commit()
    with closing(sqlite3.connect(register, isolation_level=None)) as connection:
        connection.execute(sql)
    before = register.read_bytes()
    for writing in (True, False):
        with pytest.raises(SettingsError, match="damaged"), opened(register, writing=writing):
            raise AssertionError("opened")
    assert register.read_bytes() == before


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE sequences SET device = x'ff'",
        "UPDATE sequences SET time0 = 'no trip'",
        "UPDATE devices SET first_at = 0.5, outcome = 1, open_since = 0.5",
        "UPDATE devices SET outcome = 1, open_since = 'no trip'",
        "UPDATE devices SET place = 'no trip'",
    ],
)
def test_a_record_that_its_column_is_not_for_is_damage(tmp_path: Path, whole: bytes, sql: str) -> None:
    register = tmp_path / "fleet.db"
    register.write_bytes(whole)
    with closing(sqlite3.connect(register, isolation_level=None)) as connection:
        assert is_sound(connection)
        connection.execute(sql)
        assert not is_sound(connection)
    before = register.read_bytes()
    with pytest.raises(SettingsError, match="damaged"), opened(register, writing=True):
        raise ValueError("of what was read")
    assert register.read_bytes() == before


def test_a_fault_of_this_program_is_no_damage_of_a_sound_register(tmp_path: Path, whole: bytes) -> None:
    (tmp_path / "fleet.db").write_bytes(whole)
    with pytest.raises(ValueError, match="of this program"), opened(tmp_path / "fleet.db", writing=True):
        raise ValueError("of this program")


def test_a_full_disk_loses_nothing_that_was_in(tmp_path: Path) -> None:
    """The second run may write no file longer than the register is now, as on a disk without room."""
    register = tmp_path / "fleet.db"
    visit(register, sheet(tmp_path / "a.csv", DEVICES))
    before = held(register, "SELECT * FROM tests")
    sheet(tmp_path / "b.csv", [f"K-{i:03d}" for i in range(200)], Date="2026-05-05")
    room = register.stat().st_size

    def no_room() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))

    command = [sys.executable, "-m", "rcdcheck", "audit", "b.csv", "--register", "fleet.db", *QUIET]
    ran = subprocess.run(command, cwd=tmp_path, preexec_fn=no_room, capture_output=True, timeout=300, check=False)
    assert ran.returncode == 5 and b"What it held before still stands" in ran.stderr
    assert held(register, "SELECT * FROM tests") == before
    ran = subprocess.run(command, cwd=tmp_path, capture_output=True, timeout=300, check=False)
    assert ran.returncode == 0
    assert held(register, "SELECT count(*) FROM tests") == [(206,)]


def test_a_register_where_nobody_may_write_is_said(run_rcdcheck: Run, tmp_path: Path) -> None:
    sheet(tmp_path / "a.csv", DEVICES)
    ran = run_rcdcheck("audit", "a.csv", *QUIET, "--register", "a.csv/fleet.db")
    assert ran.returncode == 5 and b"a.csv" in ran.stderr
    ran = run_rcdcheck("audit", "a.csv", *QUIET, "--register", ".")
    assert ran.returncode == 4 and b"is a folder" in ran.stderr
