"""`rcdcheck verify`: a document that is what it was, and documents and files that are not."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from whole_runs import DAY, ROOT, Run

PLAIN = ("--as-of", DAY, "--write", "none", "--quiet", "--json", "audit.json")


@pytest.fixture(autouse=True)
def audited(run_rcdcheck: Run, tmp_path: Path) -> None:
    for name in ("honest-day.csv", "messy-day.xlsx"):
        shutil.copy(ROOT / "samples" / name, tmp_path)
    run_rcdcheck("audit", "messy-day.xlsx", "honest-day.csv", *PLAIN)


def test_the_same_files_in_any_order_give_the_same_answer(run_rcdcheck: Run) -> None:
    assert run_rcdcheck("verify", "audit.json").returncode == 0
    for files in (["honest-day.csv", "messy-day.xlsx"], ["messy-day.xlsx", "honest-day.csv"]):
        ran = run_rcdcheck("verify", "audit.json", *files)
        assert (ran.returncode, ran.stdout.count(b"same answer")) == (0, 1)


def test_a_file_that_has_changed_or_is_not_there_is_named(run_rcdcheck: Run, tmp_path: Path) -> None:
    with (tmp_path / "honest-day.csv").open("a", encoding="utf-8") as file:
        file.write("\n")
    ran = run_rcdcheck("verify", "audit.json", "honest-day.csv", "messy-day.xlsx")
    assert ran.returncode == 1
    assert b"honest-day.csv is not among the files, or has changed" in ran.stdout
    assert b"messy-day.xlsx" not in ran.stdout


@pytest.mark.parametrize(
    "part", ["devices", "counts", "readings", "findings", "grades", "run", "inputs", "tests", "questions", "limits"]
)
def test_a_document_that_was_changed_anywhere_is_found_out(run_rcdcheck: Run, tmp_path: Path, part: str) -> None:
    path = tmp_path / "audit.json"
    read = json.loads(path.read_text(encoding="utf-8"))
    at = read[part]
    while isinstance(at, dict | list) and not isinstance(_leaf(at), str | int | float):
        at = _inside(at)
    key = next(
        k for k, v in (at.items() if isinstance(at, dict) else enumerate(at)) if isinstance(v, str | int | float)
    )
    at[key] = "changed" if isinstance(at[key], str) else at[key] + 1
    path.write_text(json.dumps(read), encoding="utf-8")
    ran = run_rcdcheck("verify", "audit.json", "honest-day.csv", "messy-day.xlsx")
    assert ran.returncode == 1, ran.stdout
    assert b"Traceback" not in ran.stderr


def _values(at: object) -> list[object]:
    return list(at.values()) if isinstance(at, dict) else list(at) if isinstance(at, list) else []


def _leaf(at: object) -> object:
    return next((v for v in _values(at) if isinstance(v, str | int | float)), None)


def _inside(at: object) -> object:
    return next(v for v in _values(at) if isinstance(v, dict | list) and v)


def test_what_is_no_document_is_refused(run_rcdcheck: Run, tmp_path: Path) -> None:
    (tmp_path / "other.json").write_text("[" * 100_000, encoding="utf-8")
    for name in ("other.json", "no.json", "honest-day.csv"):
        ran = run_rcdcheck("verify", name)
        assert ran.returncode == 3
        assert b"Traceback" not in ran.stderr
