"""Whole runs over the samples: each slip of the messy day is pointed at, the doubtful month is told apart."""

from __future__ import annotations

import shutil
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from whole_runs import DAY, AuditJson, Run


@pytest.fixture(scope="module")
def messy(samples: Path, audit_json: AuditJson) -> dict[str, Any]:
    return audit_json(samples / "messy-day.xlsx", "--readings", "all")


def test_messy_day_outcomes(messy: dict[str, Any]) -> None:
    """As a careful colleague would decide; the slips are listed in samples/making/messy_day.py."""
    found = {d["device"]: d["outcome"] for d in messy["devices"]}
    north = {"N01": "unclear", "N03": "unclear", "N04": "unclear", "N05": "fail", "N06": "fail"}
    north |= {"N07": "incomplete", "N10": "fail", "N11": "unclear"}
    rink = {f"R{n:02d}": "unclear" for n in range(1, 15)} | {"R09": "fail", "R10": "fail", "R12": "fail"}
    assert {name: word for name, word in found.items() if word != "pass"} == north | rink | {"K04": "fail"}
    assert Counter(name[0] for name, word in found.items() if word == "pass") == {"N": 4, "2": 1, "K": 9}


@pytest.mark.parametrize(
    ("sheet", "cell", "slip"),
    [
        ("North row", "G7", "a decimal point left out"),
        ("North row", "H9", "ditto"),
        ("North row", "G10", "a limit in place of a reading"),
        ("North row", "H11", "beyond the instrument's range"),
        ("North row", "G12", "no trip"),
        ("North row", "I12", "OL"),
        ("North row", "E16", "a defect word under visual"),
        ("North row", "G17", "a note behind the number"),
        ("North row", "A20", "an identifier taken for a date"),
        ("Rink side", "H9", "a formula"),
        ("Rink side", "G10", "an error cell"),
        ("Rink side", "F11", "a letter O"),
        ("Rink side", "G13", "over the limit and declared a pass"),
        ("Rink side", "J15", "above rated on the ramp"),
        ("Kitchens", "G5", "keine Auslösung"),
    ],
)
def test_messy_day_points_at_each_slip(messy: dict[str, Any], sheet: str, cell: str, slip: str) -> None:
    pointed = {(one["sheet"], one["cell"]) for one in messy["findings"]}
    pointed |= {(one["sheet"], one["cell"]) for device in messy["devices"] for one in device["reasons"]}
    assert (sheet, cell) in pointed, slip


def test_messy_day_nothing_is_lost(messy: dict[str, Any]) -> None:
    """Row counts by hand from the sheets; a comma for a point is read, seconds under ms are not."""
    sheets = {s["sheet"]: s for s in messy["inputs"][0]["sheets"]}
    counted = {name: s["rows"] for name, s in sheets.items()}
    assert counted["North row"] == {"non_blank": 23, "heading": 2, "test": 16, "passed_over": 5}
    assert counted["Rink side"] == {"non_blank": 18, "heading": 1, "test": 14, "passed_over": 3}
    assert counted["Kitchens"] == {"non_blank": 11, "heading": 1, "test": 10, "passed_over": 0}
    assert sheets["Notes"]["reason"]
    readings = {(r["sheet"], r["cell"]): r for r in messy["readings"]}
    assert readings["North row", "H8"]["value"] == 28.4
    assert {readings["Rink side", f"I{row}"]["state"] for row in range(4, 18)} == {"unreadable"}
    hidden = [f for f in messy["findings"] if f["sheet"] == "Rink side" and "hidden" in f["code"]]
    assert [f["row"] for f in hidden] == [12]


@pytest.fixture(scope="module")
def month(samples: Path) -> list[Path]:
    return sorted((samples / "doubtful-month").iterdir())


def test_doubtful_month_doubts_one_technician_of_five(month: list[Path], audit_json: AuditJson) -> None:
    """Each thing that samples/making/doubtful_month.py did to the Friday sheets, and nothing else."""
    document = audit_json(*month)
    doubts = [f for f in document["findings"] if f["severity"] == "doubt"]
    assert {f["file"] for f in doubts} <= {path.name for path in month if "sleighbell" in path.name}
    grades = {g["name"]: g["grade"] for g in document["grades"]["technicians"]}
    assert grades.pop("E. Sleighbell") == "D"
    assert len(grades) == 4 and set(grades.values()) <= {"A", "B"}
    by_file: dict[str, set[str]] = {}
    for finding in doubts:
        by_file.setdefault(finding["file"][:10], set()).add(finding["code"])
    assert set(by_file) == {"2026-10-23", "2026-10-30", "2026-11-13"}
    noted = {f["code"] for f in document["findings"] if f["severity"] == "note" and f["file"].startswith("2026-11-06")}
    assert noted >= {"tested-too-fast", "saved-before-tested"}  # honest templates and times of typing look so too


@pytest.fixture(scope="module")
def untidy(samples: Path, audit_json: AuditJson) -> dict[str, Any]:
    return audit_json(samples / "untidy-month")


def test_untidy_month_reads_every_layout_and_its_gaps(untidy: dict[str, Any]) -> None:
    read = {i["name"]: sum(s["rows"]["test"] for s in i["sheets"]) for i in untidy["inputs"]}
    assert sorted(read.values()) == [24, 26, 26, 28, 30, 34, 44]
    assert not [f for f in untidy["findings"] if f["severity"] == "error"]
    open_ = {d["device"]: d["outcome"] for d in untidy["devices"] if d["outcome"] != "pass"}
    assert open_ == {"D-0004": "incomplete", "D-0005": "incomplete", "D-0021": "fail"}


def test_untidy_month_tells_strong_evidence_from_weak_and_doubts_no_honest_person(untidy: dict[str, Any]) -> None:
    """As samples/making/untidy_month.py made them; the near misses of G. Wreath are a note, and a thing not asked."""
    doubts = {(f["file"][5:10], f["code"], f["evidence"]["strength"]) for f in _of("doubt", untidy)}
    assert doubts == {
        ("10-06", "copied-block", "moderately strong"),
        ("10-08", "copied-block", "strong"),
        ("10-13", "phases-apart-by-one-value", "strong"),
    }
    grades = {g["name"]: g["grade"] for g in untidy["grades"]["technicians"]}
    assert grades == {"F. Mitten": "C", "G. Wreath": "A", "H. Ember": "C", "J. Tinsel": "D"}
    noted = {(f["code"], (f["file"] or "")[5:10]) for f in _of("note", untidy)}
    assert ("equal-phases-note", "09-24") in noted
    (partly,) = [f["message"] for f in _of("note", untidy) if f["message"].startswith("G. Wreath: some questions")]
    assert "devices are alike to the digits shown, as new devices of one delivery are" in partly


def _of(severity: str, document: dict[str, Any]) -> list[dict[str, Any]]:
    return [f for f in document["findings"] if f["severity"] == severity]


def test_same_input_same_audit(month: list[Path], run_rcdcheck: Run, tmp_path: Path) -> None:
    """Folder, --jobs and --quiet change no byte of the JSON."""
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    copies = [Path(shutil.copy2(path, elsewhere)) for path in month[:4]]
    plain = ("--as-of", DAY, "--write", "none", "--json")
    first = run_rcdcheck("audit", *month[:4], *plain, "-").stdout
    second = run_rcdcheck("audit", *copies, *plain, "-", "--jobs", "2").stdout
    run_rcdcheck("audit", elsewhere, *plain, "third.json", "--quiet")
    assert first and first == second == (tmp_path / "third.json").read_bytes()
