"""Runs on a machine or by a caller that fails: closed streams, full disks, kills, nights that follow one another."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from openpyxl import Workbook, load_workbook
from whole_runs import DAY, Run

from rcdcheck.cli import main

HEADINGS = "Device,Rated IΔn (mA),Visual,1× 0° (ms),1× 180° (ms),Tested by,Instrument,Date\n"
GOOD = HEADINGS + "A1,30,pass,24.1,25.0,A. Snowfield,Meter A,2026-11-20\n"
BAD = HEADINGS + "A1,30,pass,24.1,no trip,A. Snowfield,Meter A,2026-11-20\n"
PLAIN = ("--as-of", DAY, "--write", "none", "--quiet")
WRITTEN = ("--as-of", DAY, "--write", "html,xlsx,json", "--quiet")
RUN = f"{sys.executable} -m rcdcheck audit"


@pytest.fixture(autouse=True)
def sheets(tmp_path: Path) -> None:
    for name, text in {"good.csv": GOOD, "bad.csv": BAD}.items():
        (tmp_path / name).write_text(text, encoding="utf-8")


def shell(command: str, folder: Path) -> subprocess.CompletedProcess[bytes]:
    """A command line as a shell runs it."""
    ran = subprocess.run(["bash", "-c", command], cwd=folder, capture_output=True, check=False)
    assert b"Traceback" not in ran.stdout + ran.stderr
    return ran


@pytest.fixture
def run_here(monkeypatch: pytest.MonkeyPatch, capfdbinary: pytest.CaptureFixture[bytes], tmp_path: Path) -> Run:
    """The command line within this process, which costs no start."""

    def run(*arguments: str) -> subprocess.CompletedProcess[bytes]:
        monkeypatch.setattr(sys, "argv", ["rcdcheck", *arguments])
        monkeypatch.chdir(tmp_path)
        with pytest.raises(SystemExit) as end:
            main()
        said = capfdbinary.readouterr()
        return subprocess.CompletedProcess(arguments, int(end.value.code or 0), said.out, said.err)

    return run


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("{run} bad.csv {plain} >&-", 1),
        ("{run} bad.csv --write none --as-of {day} >&-", 1),
        ("{run} bad.csv {plain} 2>&-", 1),
        ("{run} - {plain} <&-", 3),
        ("{run} bad.csv --write none --as-of {day} >/dev/full", 5),
        ("{run} bad.csv {plain} --json - >/dev/full", 5),
        ("set -o pipefail; {run} bad.csv {plain} --json - | head -c 1 >/dev/null", 1),
        ("TMPDIR=/nonexistent {run} bad.csv {plain}", 1),
        ("env -u HOME TZ=Nowhere/At_All LC_ALL=xx_YY {run} bad.csv {plain}", 1),
    ],
)
def test_streams_that_are_closed_or_full_change_no_answer(tmp_path: Path, line: str, code: int) -> None:
    assert shell(line.format(run=RUN, plain=" ".join(PLAIN), day=DAY), tmp_path).returncode == code


def test_a_reader_who_has_left_changes_no_answer(run_here: Run, tmp_path: Path) -> None:
    for name in ("good", "bad"):
        run_here("audit", f"{name}.csv", *PLAIN, "--json", f"{name}.json", "--devices", "all")
    (tmp_path / "changed.json").write_bytes((tmp_path / "bad.json").read_bytes().replace(b"no trip", b"9.9 ms"))
    reading, writing = os.pipe()
    os.close(reading)
    for arguments, code in (
        (["difference", "good.json", "bad.json"], 1),
        (["verify", "changed.json", "bad.csv"], 1),
        (["compare", "good.csv", "--with", "bad.csv"], 1),
        (["columns", "missing.csv"], 3),
    ):
        command = [sys.executable, "-m", "rcdcheck", *arguments]
        ran = subprocess.run(command, cwd=tmp_path, stdout=writing, stderr=subprocess.PIPE, check=False)
        assert (ran.returncode, ran.stderr) == (code, b""), arguments
    for sheet, code in (("good.csv", 0), ("bad.csv", 1)):
        told = [sys.executable, "-m", "rcdcheck", "audit", sheet, *PLAIN, "--log-json", "--fail-on", "fail"]
        assert subprocess.run(told, cwd=tmp_path, stderr=writing, check=False).returncode == code, sheet
    os.close(writing)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--fail-on", ""], "--fail-on is empty"),
        (["--fail-on", " , "], "--fail-on is empty"),
        (["--write", ""], "--write is empty"),
        (["--require", ""], "--require is empty"),
        (["--assume", "rated=nan"], "names no rated residual current"),
        (["--assume", "rated=-30"], "names no rated residual current"),
        (["--as-of", "9999-12-31"], "is not a day of any test"),
        (["--column", "Date=trip_time_²x_0"], "trip_time_²x_0"),
    ],
)
def test_options_that_say_nothing_are_refused(run_here: Run, arguments: list[str], words: str) -> None:
    ran = run_here("audit", "bad.csv", *PLAIN, *arguments)
    assert ran.returncode == 2
    assert words in " ".join(ran.stderr.decode().split())


@pytest.mark.parametrize("text", ["x = " + "[" * 5000 + "]" * 5000, "x = " + "9" * 6000], ids=["deep", "long"])
@pytest.mark.parametrize("option", ["--options", "--rules", "--columns", "--firm"])
def test_toml_that_is_too_deep_or_too_long_is_refused(run_here: Run, tmp_path: Path, option: str, text: str) -> None:
    (tmp_path / "own.toml").write_text(text, encoding="utf-8")
    ran = run_here("audit", "good.csv", *PLAIN, option, str(tmp_path / "own.toml"))
    assert ran.returncode == 4
    assert b"nested too deeply" in ran.stderr


def test_names_that_are_too_long_are_refused(run_rcdcheck: Run) -> None:
    long = "x" * 300
    assert (
        run_rcdcheck("audit", "good.csv", "--as-of", DAY, "--write", "none", "--json", f"{long}.json").returncode == 5
    )
    assert run_rcdcheck("audit", f"{long}.csv", *PLAIN).returncode == 3


def test_names_of_files_come_out_plain(run_here: Run, tmp_path: Path) -> None:
    """A line break or an order to write from right to left in the name of an input is in no name that is written."""
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    for name in ("a\u202egnp.csv", "nl\nname.csv", "CON.csv", "=1+1.csv"):
        (inbox / name).write_text(BAD.replace("A1", f"A{len(name)}{name[0]}"), encoding="utf-8")
    run_here("audit", "inbox", *PLAIN, "--mark", "--out", "out")
    run_here("audit", "inbox/nl\nname.csv", *PLAIN[:2], "--write", "tags", "--quiet", "--out", "out")
    assert {path.name for path in (tmp_path / "out").iterdir()} == {
        "a_gnp-marked.xlsx", "nl_name-marked.xlsx", "CON-marked.xlsx", "=1+1-marked.xlsx", "nl_name-audit-tags.csv",
    }  # fmt: skip


@pytest.mark.parametrize("name", ["rules", "columns", "register", "firm", "remedied", "out", "json"])
def test_names_in_an_options_file_that_no_file_can_have_are_refused(run_here: Run, tmp_path: Path, name: str) -> None:
    for value in ("a\\u0000b", "n" * 300):
        (tmp_path / "own.toml").write_text(f'{name} = "{value}"', encoding="utf-8")
        ran = run_here("audit", "good.csv", *PLAIN[:2], "--write", "tags", "--quiet", "--options", "own.toml")
        assert ran.returncode in (2, 4, 5) and ran.stderr.startswith(b"rcdcheck: "), ran
    assert not list(tmp_path.rglob("*tags*"))


def test_a_folder_that_is_audited_into_itself_night_after_night(run_rcdcheck: Run, tmp_path: Path) -> None:
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    (inbox / "day.csv").write_text(BAD, encoding="utf-8")
    arguments = ("audit", str(inbox), "--out", str(inbox), "--mark", "--as-of", DAY, "--quiet")
    first = run_rcdcheck(*arguments)
    files = {path.name: path.read_bytes() for path in inbox.iterdir()}
    assert (first.returncode, first.stderr) == (1, b"")
    assert "day-marked.xlsx" in files
    for _ in range(2):
        assert run_rcdcheck(*arguments).returncode == 1
        assert set(files) == {path.name for path in inbox.iterdir()}
        assert files["day-marked.xlsx"] == (inbox / "day-marked.xlsx").read_bytes()


def test_a_marked_copy_that_was_worked_in_is_kept(run_rcdcheck: Run, tmp_path: Path) -> None:
    arguments = ("audit", "bad.csv", "--mark", "--as-of", DAY, "--write", "none", "--quiet")
    run_rcdcheck(*arguments)
    book = load_workbook(tmp_path / "bad-marked.xlsx")
    book.worksheets[0]["E2"] = 25.5
    book.save(tmp_path / "bad-marked.xlsx")
    worked = (tmp_path / "bad-marked.xlsx").read_bytes()
    again = run_rcdcheck(*arguments)
    assert (tmp_path / "bad-marked.xlsx").read_bytes() == worked
    assert (tmp_path / "bad-marked-2.xlsx").exists()
    assert b"was worked in" in again.stderr
    assert run_rcdcheck("audit", "bad-marked.xlsx", *PLAIN).returncode == 0  # and it is what is audited when named


@pytest.mark.parametrize("suffix", ["html", "xlsx", "json"])
def test_the_work_of_a_stranger_is_not_overwritten(run_rcdcheck: Run, tmp_path: Path, suffix: str) -> None:
    other = tmp_path / f"good-audit.{suffix}"
    if suffix == "xlsx":
        Workbook().save(other)
    else:
        other.write_text("mine", encoding="utf-8")
    before = other.read_bytes()
    ran = run_rcdcheck("audit", "good.csv", *WRITTEN)
    assert ran.returncode == 5
    assert b"was not written by this program" in ran.stderr
    assert other.read_bytes() == before
    assert {p.name for p in tmp_path.iterdir()} == {"good.csv", "bad.csv", other.name}


def test_our_own_reports_are_written_anew(run_rcdcheck: Run) -> None:
    for _ in range(2):
        assert run_rcdcheck("audit", "good.csv", *WRITTEN).returncode == 0


def test_one_sheet_that_cannot_be_marked_stops_no_other(run_rcdcheck: Run, tmp_path: Path) -> None:
    """Standard input cannot be marked; the file beside it is."""
    ran = subprocess.run(
        [sys.executable, "-m", "rcdcheck", "audit", "-", "bad.csv", "--mark", "--as-of", DAY, "--quiet"],
        cwd=tmp_path, input=BAD.replace("A1", "B1").encode(), capture_output=True, check=False,
    )  # fmt: skip
    assert b"Traceback" not in ran.stderr
    assert (tmp_path / "bad-marked.xlsx").exists()
    assert (tmp_path / "audit.html").exists()


def test_a_doubt_about_more_rows_than_it_lists_is_marked(run_rcdcheck: Run, tmp_path: Path) -> None:
    """Fifteen hundred rows that go round in a ring; the marked copy fills cells to the end of the sheet."""
    rows = "".join(f"K{i},30,pass,{24 + i % 7}.{i % 10},{25 + i % 5}.{i % 9},A. B,M,2026-11-20\n" for i in range(1500))
    (tmp_path / "many.csv").write_text(HEADINGS + rows, encoding="utf-8")
    ran = run_rcdcheck("audit", "many.csv", "--mark", "--as-of", DAY, "--write", "none", "--quiet")
    assert ran.returncode == 1, ran.stderr.decode()
    sheet = load_workbook(tmp_path / "many-marked.xlsx").worksheets[0]
    filled = [row for row in range(2, 1502) if sheet.cell(row, 4).fill.fill_type == "solid"]
    assert len(filled) > 100 and filled[-1] > 1000


@pytest.mark.skipif(not hasattr(signal, "SIGHUP"), reason="no such signals on this system")
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT])
def test_a_run_that_is_ended_leaves_no_litter(tmp_path: Path, number: signal.Signals) -> None:
    if signal.getsignal(number) == signal.SIG_IGN:  # behind `nohup` or `&` the shell of these tests hears none
        signal.signal(number, signal.SIG_DFL)
    rest = "A. Snowfield,Meter A,2026-11-20\n"
    rows = "".join(f"W-{i},30,pass,2{i % 10}.1,2{i % 7}.{i % 9},{rest}" for i in range(30_000))
    (tmp_path / "many.csv").write_text(HEADINGS + rows, encoding="utf-8")
    command = [*RUN.split(), "many.csv", *WRITTEN, "--out", "out"]
    for wait in (0.3, 1.2, 2.5):
        with subprocess.Popen(command, cwd=tmp_path, stderr=subprocess.PIPE) as process:
            time.sleep(wait)
            process.send_signal(number)
            _, said = process.communicate(timeout=60)
        assert b"Traceback" not in said
        assert not list(tmp_path.rglob("*.part"))
        names = {path.name for path in (tmp_path / "out").glob("*")}
        assert process.returncode in (1, 130, -number, -signal.SIGINT)  # done, cleaned up, or not yet begun
        assert names in (set(), {"many-audit.html", "many-audit.xlsx", "many-audit.json"})


def test_a_request_to_end_is_heard_where_nothing_can_be_raised() -> None:
    """In a callback of the garbage collector, where Python says "Exception ignored" and goes on."""
    code = (
        "import os, signal, time\nfrom rcdcheck.cli.streams import begin\nbegin()\n"
        "class Falls:\n    def __del__(self):\n        os.kill(os.getpid(), signal.SIGTERM)\n        time.sleep(0.1)\n"
        "falls = Falls()\ndel falls\ntime.sleep(20)\n"
    )
    run = subprocess.run([sys.executable, "-c", code], check=False, capture_output=True, text=True, timeout=15)
    assert run.returncode == -signal.SIGINT
    assert "ignored" not in run.stderr


def test_what_a_killed_run_left_behind_is_removed(run_rcdcheck: Run, tmp_path: Path) -> None:
    left, fresh = tmp_path / ".rcdcheck-old.part", tmp_path / ".rcdcheck-new.part"
    left.write_bytes(b"half"), fresh.write_bytes(b"half")
    os.utime(left, (1, 1))
    run_rcdcheck("audit", "good.csv", "--as-of", DAY, "--quiet")
    assert not left.exists()
    assert fresh.exists()  # perhaps of a run that is still writing


def test_a_folder_with_sheets_inside_a_folder_is_no_clean_answer(run_rcdcheck: Run, tmp_path: Path) -> None:
    inbox = tmp_path / "inbox"
    (inbox / "old" / "older").mkdir(parents=True)
    (inbox / "day.csv").write_text(GOOD, encoding="utf-8")
    assert run_rcdcheck("audit", str(inbox), *PLAIN).returncode == 0
    (inbox / "old" / "older" / "bad.csv").write_text(BAD, encoding="utf-8")
    assert run_rcdcheck("audit", str(inbox), *PLAIN).returncode == 1


def test_optimised_python_answers_the_same(tmp_path: Path) -> None:
    for folder, flags in (("plain", []), ("bare", ["-OO"])):
        command = [sys.executable, *flags, "-m", "rcdcheck", "audit", "bad.csv", *WRITTEN, "--out", folder]
        assert subprocess.run(command, cwd=tmp_path, check=False).returncode == 1
    for name in ("bad-audit.html", "bad-audit.json"):
        assert (tmp_path / "plain" / name).read_bytes() == (tmp_path / "bare" / name).read_bytes()
