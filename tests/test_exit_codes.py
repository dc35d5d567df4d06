"""Each row of the table of exit codes, through a real process."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from whole_runs import DAY, ROOT, Run

HEADINGS = "Device,Rated IΔn (mA),Visual,1× 0° (ms),1× 180° (ms),Tested by,Instrument,Date\n"
GOOD = HEADINGS + "A1,30,pass,24.1,25.0,A. Snowfield,Meter A,2026-11-20\n"
BAD = HEADINGS + "A1,30,pass,24.1,no trip,A. Snowfield,Meter A,2026-11-20\n"
PLAIN = ("--as-of", DAY, "--write", "none", "--quiet")


@pytest.fixture(autouse=True)
def sheets(tmp_path: Path) -> None:
    for name, text in {"good.csv": GOOD, "bad.csv": BAD, "notes.csv": "felt pads\n", "empty.csv": ""}.items():
        (tmp_path / name).write_text(text, encoding="utf-8")


def sentence(ran: subprocess.CompletedProcess[bytes]) -> str:
    """What was said on stderr, which is never a traceback."""
    said = ran.stderr.decode()
    assert "Traceback" not in said
    return said


def test_0_nothing_needs_attention(run_rcdcheck: Run) -> None:
    ran = run_rcdcheck("audit", "good.csv", *PLAIN)
    assert (ran.returncode, ran.stdout, sentence(ran)) == (0, b"", "")


def test_1_something_does_and_the_level_is_the_users(run_rcdcheck: Run) -> None:
    assert run_rcdcheck("audit", "bad.csv", *PLAIN).returncode == 1
    assert run_rcdcheck("audit", "bad.csv", *PLAIN, "--fail-on", "fail").returncode == 1
    assert run_rcdcheck("audit", "bad.csv", *PLAIN, "--fail-on", "incomplete,doubt").returncode == 0
    assert run_rcdcheck("audit", "bad.csv", *PLAIN, "--fail-on", "never").returncode == 0


@pytest.mark.parametrize(
    "arguments",
    [
        ["audit"],
        ["audit", "good.csv", "--no-such-option"],
        ["audit", "good.csv", "--fail-on", "sometimes"],
        ["audit", "good.csv", "--as-of", "yesterday"],
        ["audit", "good.csv", "--name", "../elsewhere"],
        ["no-such-command"],
    ],
    ids=" ".join,
)
def test_2_the_command_line_is_wrong(run_rcdcheck: Run, tmp_path: Path, arguments: list[str]) -> None:
    before = set(tmp_path.iterdir())
    ran = run_rcdcheck(*arguments)
    assert ran.returncode == 2 and sentence(ran)
    assert set(tmp_path.iterdir()) == before


@pytest.mark.parametrize("broken", ["empty.csv", "notes.csv", "missing.csv"])
def test_3_a_hole_wins_and_the_rest_is_audited(run_rcdcheck: Run, broken: str) -> None:
    ran = run_rcdcheck("audit", broken, "bad.csv", *PLAIN[:4], "--json", "-")
    assert ran.returncode == 3
    sentence(ran)
    document = json.loads(ran.stdout)
    assert {one["name"]: one["status"] for one in document["inputs"]} == {
        broken: "not_audited",
        "bad.csv": "audited",
    }
    assert [device["outcome"] for device in document["devices"]] == ["fail"]


@pytest.mark.parametrize(
    ("option", "text"),
    [
        ("--rules", "title = 'no limits in it'\n"),
        ("--rules", "this is no TOML"),
        ("--columns", "this is no TOML"),
        ("--remedied", "neither,of,the,columns\n"),
    ],
)
def test_4_a_settings_file_is_invalid(run_rcdcheck: Run, tmp_path: Path, option: str, text: str) -> None:
    (tmp_path / "settings.toml").write_text(text, encoding="utf-8")
    ran = run_rcdcheck("audit", "good.csv", *PLAIN, option, "./settings.toml")
    assert ran.returncode == 4
    assert "settings.toml" in sentence(ran)


def test_5_an_output_cannot_be_written(run_rcdcheck: Run, tmp_path: Path) -> None:
    ran = run_rcdcheck("audit", "good.csv", "--quiet", "--out", "notes.csv")
    assert ran.returncode == 5
    assert "notes.csv" in sentence(ran)
    ran = run_rcdcheck("audit", "good.csv", "--quiet", "--write", "none", "--json", "good.csv")
    assert ran.returncode == 5, "an input was overwritten"
    assert (tmp_path / "good.csv").read_text(encoding="utf-8") == GOOD


def test_70_a_fault_of_ours_is_never_a_pass(tmp_path: Path) -> None:
    """A copy of the program whose catalogue of findings has lost an entry that a failed device needs."""
    for part in ("rcdcheck", "schemas"):
        shutil.copytree(ROOT / part, tmp_path / "copy" / part, ignore=shutil.ignore_patterns("__pycache__"))
    catalogue = tmp_path / "copy" / "schemas" / "findings.toml"
    text = catalogue.read_text(encoding="utf-8")
    assert "[did-not-trip]" in text
    catalogue.write_text(text.replace("[did-not-trip]", "[lost]"), encoding="utf-8")
    environment = os.environ | {"PYTHONPATH": str(tmp_path / "copy"), "TMPDIR": str(tmp_path)}
    ran = subprocess.run(
        [sys.executable, "-m", "rcdcheck", "audit", "bad.csv", *PLAIN],
        cwd=tmp_path,
        env=environment,
        capture_output=True,
        timeout=60,
        check=False,
    )
    assert ran.returncode == 70
    said = sentence(ran)
    details = Path(said.rpartition(" ")[2].strip())
    assert details.parent == tmp_path and "A1" not in details.read_text(encoding="utf-8")


def test_130_interrupted(tmp_path: Path) -> None:
    """Interrupted in the middle of its input: more was written to it than a pipe holds, so it is reading."""
    signal.signal(signal.SIGINT, signal.default_int_handler)  # a process started in the background ignores it
    process = subprocess.Popen(
        [sys.executable, "-m", "rcdcheck", "audit", "-", *PLAIN],
        cwd=tmp_path,
        stdin=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert process.stdin and process.stderr
    with process.stdin, process.stderr:
        process.stdin.write(GOOD.encode() * 4000)
        process.stdin.flush()
        process.send_signal(signal.SIGINT)
        try:
            assert process.wait(timeout=20) == 130
        finally:
            process.kill()
            process.wait()
        said = process.stderr.read().decode()
    assert "Traceback" not in said and "nterrupted" in said


def test_a_reader_that_goes_away_is_no_error(tmp_path: Path) -> None:
    """`rcdcheck rules anz-in-service | head -1` ends quietly."""
    command = f"{sys.executable} -m rcdcheck rules anz-in-service | head -1; exit ${{PIPESTATUS[0]}}"
    ran = subprocess.run(["bash", "-c", command], capture_output=True, cwd=tmp_path, timeout=60, check=False)
    assert ran.returncode in (0, 141), ran.stderr.decode()
    assert ran.stderr == b""


def test_help_lists_every_code(run_rcdcheck: Run) -> None:
    from rcdcheck.errors import ExitCode

    said = run_rcdcheck("--help").stdout.decode()
    listed = {line.split()[0] for line in said.splitlines() if line.strip()[:1].isdigit()}
    assert listed == {str(int(code)) for code in ExitCode}
