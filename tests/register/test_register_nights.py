"""The nightly recipe of the README, as a process: run twice, killed midway, with a bad file, empty, two at once."""

from __future__ import annotations

import json
import os
import re
import shlex
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

from fleets import DEVICES, T180, held, sheet
from whole_runs import DAY, ROOT, valid

NIGHT = ("audit", "INBOX", "--register", "fleet.db", "--out", "AUDITS", "--json", "AUDITS/last.json", "--quiet")


def command(*more: str) -> list[str]:
    return [sys.executable, "-m", "rcdcheck", *NIGHT, "--as-of", DAY, "--fail-on", "new", "--log-json", *more]


def night(folder: Path, *more: str) -> tuple[int, list[dict[str, Any]]]:
    """Exit code and log lines of one night; each line must be JSON, and the last is that of the run.

    That one says in words where nothing is new.
    """
    ran = subprocess.run(command(*more), cwd=folder, capture_output=True, timeout=300, check=False)
    assert ran.stdout == b""
    lines = [json.loads(line) for line in ran.stderr.decode().splitlines()]
    assert lines[-1]["event"] == "run" and lines[-1]["exit_code"] == ran.returncode, lines
    assert lines[-1]["message"] == ("" if lines[-1]["audited"] + lines[-1]["not_audited"] else "nothing new.")
    return ran.returncode, lines[:-1]


def arrive(folder: Path, name: str, day: str, *rows: dict[str, str] | str, age: float = 3600) -> Path:
    """A sheet in the inbox, last changed `age` seconds ago."""
    (folder / "INBOX").mkdir(exist_ok=True)
    path = sheet(folder / "INBOX" / name, rows or DEVICES, Date=day)
    os.utime(path, (time.time() - age, time.time() - age))
    return path


def last(folder: Path) -> dict[str, Any]:
    document: dict[str, Any] = json.loads((folder / "AUDITS" / "last.json").read_text(encoding="utf-8"))
    valid(document)
    return document


def counted(folder: Path) -> list[tuple[Any, ...]]:
    """File, tests and how often each visit stands."""
    return held(folder / "fleet.db", "SELECT file, tests, count(*) FROM visits GROUP BY sha256 ORDER BY file")


def test_the_readme_gives_the_recipe_that_is_tested_here() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    lines = [line for line in readme.splitlines() if "--register" in line and "INBOX" in line]
    cron = next(line for line in lines if re.match(r"\d+ \d+ \* \* \*", line))
    unit = next(line for line in lines if line.startswith("ExecStart="))
    for line in (cron, unit):
        words = shlex.split(line[line.index(".venv/bin/rcdcheck") :].rstrip("'"))
        assert words[1:3] == ["audit", "INBOX"]
        assert {"--register", "--out", "--name", "--json", "--quiet", "--fail-on", "new"} <= set(words)
    assert "OnCalendar=" in readme and "[Timer]" in readme


def test_a_night_again_is_nothing_new(tmp_path: Path) -> None:
    arrive(tmp_path, "a.csv", "2026-01-20", *DEVICES, {"Device": "R-09", T180: "no trip"})
    code, lines = night(tmp_path)
    assert code == 1
    assert [(one["file"], one["status"], one["tests"], one["failed"]) for one in lines] == [("a.csv", "audited", 7, 1)]
    page = (tmp_path / "AUDITS" / "a-audit.html").read_bytes()
    assert last(tmp_path)["counts"]["devices"]["fail"] == 1
    code, lines = night(tmp_path)
    assert code == 0
    assert [(one["file"], one["status"]) for one in lines] == [("a.csv", "counted_before")]
    assert last(tmp_path)["devices"] == [] and last(tmp_path)["history"]["counted_before"][0]["name"] == "a.csv"
    assert (tmp_path / "AUDITS" / "a-audit.html").read_bytes() == page, "the page of the last visit stays"
    ran = subprocess.run([c for c in command() if c != "--log-json"], cwd=tmp_path, capture_output=True, check=False)
    assert (ran.returncode, ran.stdout) == (0, b"") and ran.stderr.decode().splitlines()[-1] == "rcdcheck: nothing new."


def test_an_empty_inbox_is_nothing_new_and_a_missing_one_an_error(tmp_path: Path) -> None:
    (tmp_path / "INBOX").mkdir()
    assert night(tmp_path) == (0, [])
    (tmp_path / "INBOX" / "plan.pdf").write_bytes(b"%PDF-1.7\n")
    code, lines = night(tmp_path)
    assert code == 0 and "plan.pdf" in lines[0]["message"]
    (tmp_path / "INBOX" / "plan.pdf").unlink()
    (tmp_path / "INBOX").rmdir()
    code, lines = night(tmp_path)
    assert (code, lines[0]["status"]) == (3, "not_audited")


def test_a_bad_file_stops_nothing_and_one_still_being_written_waits(tmp_path: Path) -> None:
    arrive(tmp_path, "good.csv", "2026-01-20")
    bad = arrive(tmp_path, "bad.csv", "2026-01-20")
    bad.write_text("felt pads\n", encoding="utf-8")
    os.utime(bad, (0, 0))
    arrive(tmp_path, "young.csv", "2026-06-20", age=5)
    code, lines = night(tmp_path)
    assert code == 3
    assert {one["file"]: one["status"] for one in lines} == {
        "bad.csv": "not_audited", "good.csv": "audited", "young.csv": "left_for_the_next_run",
    }  # fmt: skip
    os.utime(tmp_path / "INBOX" / "young.csv", (0, 0))
    assert night(tmp_path)[0] == 3
    assert counted(tmp_path) == [("good.csv", 6, 1), ("young.csv", 6, 1)]
    bad.unlink()
    assert night(tmp_path)[0] == 0


def test_killed_midway_every_good_file_is_counted_once_by_the_next_night(tmp_path: Path) -> None:
    """SIGKILL as soon as the register is there, then as soon as the first report is, which is before visits go in."""
    arrive(tmp_path, "a.csv", "2026-01-20")
    arrive(tmp_path, "b.csv", "2026-07-20")
    for sign in ("fleet.db", "AUDITS/*.html"):
        process = subprocess.Popen(command(), cwd=tmp_path, stderr=subprocess.DEVNULL)
        until = time.monotonic() + 120
        while not any(tmp_path.glob(sign)):
            assert process.poll() is None and time.monotonic() < until, "the night was over before it could be killed"
            time.sleep(0.002)
        process.send_signal(signal.SIGKILL)
        assert process.wait() == -signal.SIGKILL
        assert counted(tmp_path) == [], "wholly out"
    assert night(tmp_path)[0] == 0
    assert counted(tmp_path) == [("a.csv", 6, 1), ("b.csv", 6, 1)]
    assert last(tmp_path)["counts"]["inputs"]["not_audited"] == 0
    assert not list((tmp_path / "AUDITS").glob("*.part")) and not list(tmp_path.glob("*-journal"))


def test_two_nights_at_once(tmp_path: Path) -> None:
    arrive(tmp_path, "a.csv", "2026-01-20")
    arrive(tmp_path, "b.csv", "2026-06-20", *DEVICES, {"Device": "R-09", T180: "no trip"})
    runs = [subprocess.Popen(command(), cwd=tmp_path, stderr=subprocess.PIPE) for _ in range(2)]
    ended = []
    for run in runs:
        said = run.communicate(timeout=300)[1].decode().splitlines()
        ended.append((run.returncode, sorted(json.loads(line).get("status", "") for line in said)))
    assert sorted(ended) == [(0, ["", "counted_before", "counted_before"]), (1, ["", "audited", "audited"])]
    assert counted(tmp_path) == [("a.csv", 6, 1), ("b.csv", 7, 1)]


def test_a_run_that_comes_to_no_audit_says_so_in_a_line(tmp_path: Path) -> None:
    arrive(tmp_path, "a.csv", "2026-01-20")
    (tmp_path / "fleet.db").write_bytes(b"no register")
    ran = subprocess.run(command(), cwd=tmp_path, capture_output=True, timeout=300, check=False)
    (line,) = map(json.loads, ran.stderr.decode().splitlines())
    assert (ran.returncode, line["event"], line["exit_code"]) == (4, "error", 4)
