"""The five faces agree: outcomes, counts and grades read back from page, workbook, document and terminal are equal."""

from __future__ import annotations

import datetime as dt
import html
import io
import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from jsonschema import Draft202012Validator

from rcdcheck.audits import Audit
from rcdcheck.options import Options
from rcdcheck.pipeline import run
from rcdcheck.reports import report_bytes
from rcdcheck.reports.console import summary
from rcdcheck.reports.heading import Heading
from rcdcheck.reports.not_said import not_said

ROOT = Path(__file__).parents[2]
WORDS = ("fail", "unclear", "incomplete", "pass")
CASES = sorted(p for p in (ROOT / "tests" / "cases").iterdir() if p.is_dir())
SETS: dict[str, list[str]] = {
    "honest day": [str(ROOT / "samples" / "honest-day.csv")],
    "messy day": [str(ROOT / "samples" / "messy-day.xlsx")],
    "doubtful month": [str(ROOT / "samples" / "doubtful-month")],
    "untidy month": [str(ROOT / "samples" / "untidy-month")],
    "all cases": [
        str(f) for case in CASES for f in sorted(case.iterdir()) if f.name not in ("case.toml", "expected.json")
    ],
}
SCHEMA = json.loads((ROOT / "schemas" / "audit.json").read_text(encoding="utf-8"))


DAY = Options(as_of=dt.date(2026, 11, 25))


@dataclass(frozen=True)
class Faces:
    """One audit and what it looks like on each face."""

    audit: Audit
    document: dict[str, Any]
    page: str
    workbook: Any
    terminal: str


@pytest.fixture(scope="module", params=SETS, ids=lambda name: name.replace(" ", "-"))
def faces(request: pytest.FixtureRequest) -> Faces:
    audit = run(SETS[request.param], DAY)
    document = json.loads(bytes_of("json", audit), parse_constant=lambda name: pytest.fail(f"{name} in JSON"))
    book = openpyxl.load_workbook(io.BytesIO(bytes_of("xlsx", audit)), read_only=True)
    return Faces(audit, document, bytes_of("html", audit).decode(), book, summary(audit, []))


def bytes_of(kind: str, audit: Audit) -> bytes:
    return b"".join(report_bytes(kind, audit, Heading()))


def test_the_document_keeps_to_its_schema(faces: Faces) -> None:
    assert not [error.message for error in Draft202012Validator(SCHEMA).iter_errors(faces.document)]


def test_outcomes_counts_and_grades_are_the_same_on_every_face(faces: Faces) -> None:
    told = faces.document
    counts = {word: told["counts"]["devices"][word] for word in WORDS}
    assert counts == on_the_terminal(faces) == on_the_page(faces) == in_the_workbook(faces)
    listed = [device["outcome"] for device in told["devices"]]
    assert counts == {word: listed.count(word) for word in WORDS}
    grade = told["grades"]["batch"]["grade"]
    assert f"Record grade {grade}:" in faces.terminal
    assert f"Record grade {grade}:" in faces.workbook["Summary"]["A2"].value


def test_what_the_grade_does_not_say_stands_beside_it_on_every_face(faces: Faces) -> None:
    """In the same words: what was not asked of everyone, what would hardly be seen, and the sample that would tell."""
    unsaid = not_said(faces.audit)
    assert "rcdcheck witness" in unsaid and "could not be asked" in unsaid
    assert unsaid in " ".join(faces.terminal.split())
    beside = faces.page[faces.page.index("letter-mark") :]
    assert unsaid in html.unescape(beside[: beside.index("</section>")])
    for sheet in ("Summary", "Credibility"):
        assert unsaid in {cell for row in faces.workbook[sheet].iter_rows(values_only=True) for cell in row}


def on_the_terminal(faces: Faces) -> dict[str, int]:
    last = faces.terminal.splitlines()[-1]
    found = {
        word: int(n.replace(",", "")) for n, word in re.findall(r"([\d,]+) (fail|unclear|incomplete|pass)\b", last)
    }
    return {word: found[word] for word in WORDS}


def on_the_page(faces: Faces) -> dict[str, int]:
    found = dict(re.findall(r'data-count="devices\.(\w+)"[^>]*>([\d,]+)<', faces.page))
    return {word: int(found[word].replace(",", "")) for word in WORDS}


def in_the_workbook(faces: Faces) -> dict[str, int]:
    rows = list(faces.workbook["Devices"].iter_rows(values_only=True))
    head = next(row for row in rows if row and "Outcome" in row)
    at = head.index("Outcome")
    listed = [row[at] for row in rows[rows.index(head) + 1 :]]
    return {word: sum(str(cell).split()[-1:] == [word] for cell in listed if cell) for word in WORDS}


def test_findings_and_rows_of_the_document_add_up(faces: Faces) -> None:
    told = faces.document
    for severity, n in told["counts"]["findings"].items():
        assert n == sum(f["count"] for f in told["findings"] if f["severity"] == severity)
    for one in told["inputs"]:
        for sheet in one["sheets"]:
            rows = sheet["rows"]
            assert rows["non_blank"] == rows["heading"] + rows["test"] + rows["passed_over"]
            assert len(sheet["rows_passed_over"]) == min(1000, rows["passed_over"])


def test_the_same_input_gives_the_same_bytes_whatever_the_jobs() -> None:
    paths = SETS["messy day"] + SETS["honest day"]
    first, again = run(paths, DAY), run(paths, DAY, jobs=3)
    assert all(bytes_of(kind, again) == bytes_of(kind, first) for kind in ("json", "html", "xlsx"))
