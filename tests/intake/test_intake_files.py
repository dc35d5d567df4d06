"""Folders, standard input, names, the same file twice, files that are not there."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from files_made import (
    LINE,
    our_workbook,
    plain_workbook,
)
from whole_runs import Run

from rcdcheck.findings import Findings
from rcdcheck.intake.opened.files import open_inputs


def test_missing_files_folders_without_sheets_and_pipes(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "day.csv").write_text(LINE, encoding="utf-8")
    said = {
        "gone.csv": "no such file",
        "empty": "holds no sheet of readings",
        "pipe": "neither a file nor a folder",
        "day.csv": "",
        "day.csv/inside.csv": "could not be opened",
        "no\0name": "characters that no file name can hold",
        "n" * 300: "could not be opened",
    }
    found = open_inputs([str(tmp_path / n) for n in said], Findings())
    assert len(found) == len(said)
    for one in found:
        words = said[str(one.input.path).removeprefix(f"{tmp_path}/")]
        assert (one.input.status == "audited") == (not words)
        assert words in one.input.reason


def test_a_file_and_a_folder_that_may_not_be_read(tmp_path: Path) -> None:
    (tmp_path / "day.csv").write_text(LINE, encoding="utf-8")
    (tmp_path / "shut").mkdir()
    for name in ("day.csv", "shut"):
        (tmp_path / name).chmod(0)
    user = os.geteuid()
    if user == 0:  # who may read everything
        os.seteuid(65534)
    try:
        found = open_inputs([str(tmp_path / "day.csv"), str(tmp_path / "shut")], Findings())
    finally:
        os.seteuid(user)
        (tmp_path / "shut").chmod(0o700)
    assert len(found) == 2
    assert all("could not be opened: Permission denied" in one.input.reason for one in found)


def test_a_folder(tmp_path: Path) -> None:
    ours = our_workbook()
    files = {
        "b.csv": b"Device;ms\nR2;1\n", "a.csv": LINE.encode(), "c.csv": LINE.encode(), "scan.pdf": b"%PDF",
        "~$a.xlsx": b"lock", ".hidden.csv": b"x", "report.xlsx": ours, "z.xlsx": b"%PDF-1.4",
    }  # fmt: skip
    for name, content in files.items():
        (tmp_path / name).write_bytes(content)
    (tmp_path / "older").mkdir()
    findings = Findings()
    found = open_inputs([str(tmp_path)], findings)
    assert [(o.input.name, o.input.status) for o in found] == [
        ("a.csv", "audited"), ("b.csv", "audited"), ("z.xlsx", "not_audited"),
    ]  # fmt: skip
    assert dict(findings.frame()[["code", "message"]].itertuples(index=False)) == {
        "file-given-twice": "c.csv is the same as a.csv and was read once.",
        "file-passed-over": "scan.pdf is no sheet and was passed over.",
        "folder-passed-over": "older is a folder inside a folder and was not looked into.",
        "report-passed-over": "report.xlsx is a report that this program wrote and was passed over.",
    }
    (named,) = open_inputs([str(tmp_path / "report.xlsx")], Findings())
    assert named.input.status == "not_audited"


def test_a_name_that_tells_another_kind(tmp_path: Path) -> None:
    for name, content, said in (
        ("day.xlsx", LINE.encode(), "day.xlsx is delimited text, whatever its name says"),
        ("day.csv", plain_workbook(), "day.csv is a workbook of the kind .xlsx, whatever"),
        ("day.xls", plain_workbook(), "day.xls is a workbook of the kind .xlsx, whatever"),
        ("day.xlsm", plain_workbook(), ""),
        ("day", plain_workbook(), ""),
    ):
        (tmp_path / name).write_bytes(content)
        findings = Findings()
        (one,) = open_inputs([str(tmp_path / name)], findings)
        assert one.input.status == "audited"
        assert "".join(findings.frame()["message"]).startswith(said)
        assert bool(said) == ("kind-other-than-name" in set(findings.frame()["code"]))


def test_a_file_named_again_in_another_spelling(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("day.csv").write_text(LINE, encoding="utf-8")
    Path("link.csv").symlink_to("day.csv")
    Path("report.xlsx").write_bytes(our_workbook())
    findings = Findings()
    found = open_inputs(["day.csv", "./day.csv", ".", "link.csv", "./report.xlsx"], findings)
    assert [(o.input.name, o.input.status) for o in found] == [("day.csv", "audited"), ("report.xlsx", "not_audited")]
    assert findings.frame()["message"].tolist() == [
        f"{name} was named more than once and was read once." for name in ("day.csv", "link.csv", "report.xlsx")
    ]


def test_namesakes_are_told_apart_by_their_folders(tmp_path: Path) -> None:
    for folder, text in {"north": LINE, "south": LINE + "R2;1\n"}.items():
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "day.csv").write_text(text, encoding="utf-8")
    found = open_inputs([str(tmp_path / "north"), str(tmp_path / "south"), str(tmp_path / "north")], Findings())
    assert [o.input.name for o in found] == ["north/day.csv", "south/day.csv"]
    for folder in ("a/north", "b/north"):
        (tmp_path / folder).mkdir(parents=True)
        (tmp_path / folder / "day.csv").write_text(LINE + folder, encoding="utf-8")
    found = open_inputs([str(tmp_path / f) for f in ("a/north", "b/north", "south")], Findings())
    assert [o.input.name for o in found] == ["a/north/day.csv", "b/north/day.csv", "south/day.csv"]


@pytest.mark.parametrize(
    "content", [LINE.encode(), plain_workbook(), b"", b"%PDF"], ids=["text", "xlsx", "none", "PDF"]
)
def test_standard_input_in_a_process_of_its_own(content: bytes, run_rcdcheck: Run) -> None:
    ran = run_rcdcheck("columns", "-", stdin=content)
    assert "Traceback" not in ran.stderr.decode()
    assert ran.returncode == (0 if len(content) > 9 else 3)


def test_one_bad_file_beside_a_good_one_whatever_the_jobs(samples: Path, tmp_path: Path, run_rcdcheck: Run) -> None:
    (tmp_path / "cut.xlsx").write_bytes(plain_workbook()[:-900])
    answers = []
    for jobs in ("1", "4"):
        ran = run_rcdcheck(
            "audit", samples / "doubtful-month", "cut.xlsx", "--write", "none", "--json", "-", "--as-of", "2026-11-25",
            "--jobs", jobs, "--quiet",
        )  # fmt: skip
        assert ran.returncode == 3
        answers.append(ran.stdout)
    assert answers[0] == answers[1]
    assert b"cut off while copying" in answers[0]
