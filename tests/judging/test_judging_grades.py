"""Grades of records and devices at the edges of every line of `schemas/grades.toml`, typed here by hand.

The thresholds are this project's own (common practice, no source).
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from small_sheets import TODAY, audited

from rcdcheck.findings import KEPT
from rcdcheck.grading import Doubt, Evidence, _doubts, grade_record
from rcdcheck.options import Options
from rcdcheck.pipeline import run
from rcdcheck.terms import Outcome

N = 200
LINES = {  # most tests out of 200 for A, B and C
    "outcome": (0, 4, 40),
    "unreadable": (0, 2, 20),
    "contradicted": (0, 0, 4),
    "unsigned": (2, 20, 100),
    "no_instrument": (2, 20, 199),
    "out_of_calibration": (0, 0, 200),
}


def evidence(n: int = N) -> Evidence:
    """A record of which nothing can be said."""
    none = np.zeros(n, dtype=bool)
    return Evidence(
        outcome=np.zeros(n, dtype=np.int8), unreadable=none, contradicted=none, unsigned=none, no_instrument=none,
        out_of_calibration=none, no_visual=none, counted=~none, lost=np.zeros(0, dtype=np.int64),
        sheet=np.zeros(n, dtype=np.int32), doubts=(),
    )  # fmt: skip


def with_bad(name: str, count: int, n: int = N) -> Evidence:
    bad: Any = np.arange(n) < count
    if name == "outcome":
        bad = np.where(bad, Outcome.UNCLEAR, Outcome.PASS).astype(np.int8)
    return replace(evidence(n), **{name: bad})


def letter(facts: Evidence, **more: int) -> str:
    return grade_record(facts, np.ones(len(facts.outcome), dtype=bool), "batch", "all", **more).grade


def test_a_record_of_which_nothing_can_be_said() -> None:
    grade = grade_record(evidence(), np.ones(N, dtype=bool), "batch", "all")
    assert (grade.grade, grade.decided_by, grade.tests) == ("A", "nothing that was looked at stands against it", N)
    nothing = grade_record(evidence(), np.zeros(N, dtype=bool), "batch", "all")
    assert (nothing.grade, nothing.decided_by, nothing.tests) == ("D", "no test could be read", 0)


@pytest.mark.parametrize("name", list(LINES))
def test_each_line_at_its_edges(name: str) -> None:
    most = LINES[name]
    due = {count: next((g for g, m in zip("ABC", most, strict=True) if count <= m), "D")
           for edge in most for count in (edge, edge + 1) if count <= N}  # fmt: skip
    if name == "no_instrument":
        due |= {N: "B"}  # wholly absent
    assert {count: letter(with_bad(name, count)) for count in due} == due


def test_an_instrument_that_nobody_names_is_told_once() -> None:
    assert letter(with_bad("no_instrument", 1, 1)) == "B"
    lines = grade_record(with_bad("no_instrument", N), np.ones(N, dtype=bool), "batch", "all").lines
    figures = {title: figure for title, _, figure in lines if "instrument" in title and "calibration" not in title}
    assert figures == {
        "tests without the instrument, where others name it": f"0 of {N}",
        "tests without the instrument, where none names it": f"{N} of {N}",
    }


@pytest.mark.parametrize(("name", "n", "due"), [
    ("outcome", 20, "B"), ("unreadable", 30, "B"), ("contradicted", 20, "C"), ("unsigned", 20, "B"),
    ("outcome", 1, "B"),
])  # fmt: skip
def test_one_test_of_a_small_record(name: str, n: int, due: str) -> None:
    """ "2 %" means more than the larger of one test and 2 %; one unsigned test of twenty is 5 %."""
    assert letter(with_bad(name, 1, n)) == due


def test_two_contradicted_passes_of_a_small_record() -> None:
    assert [letter(with_bad("contradicted", count, 20)) for count in (2, 3)] == ["C", "D"]


def test_incomplete_counts_as_unclear_does_and_a_fail_costs_nothing() -> None:
    outcomes = np.zeros(N, dtype=np.int8)
    outcomes[:5] = Outcome.INCOMPLETE
    assert letter(replace(evidence(), outcome=outcomes)) == "C"
    assert letter(replace(evidence(), outcome=np.full(N, Outcome.FAIL, dtype=np.int8))) == "A"


def test_rows_lost_inputs_not_audited_and_sheets_without_inspection() -> None:
    for count, due in ((0, "A"), (1, "C"), (10, "C"), (11, "D")):
        assert letter(replace(evidence(), lost=np.zeros(count, dtype=np.int64))) == due
    assert letter(replace(evidence(), lost=np.ones(11, dtype=np.int64))) == "A", "lost in another sheet"
    assert [letter(evidence(), unaudited=count) for count in (0, 1, 2)] == ["A", "C", "D"]
    assert letter(replace(evidence(), no_visual=np.arange(N) < 1)) == "B"
    assert letter(replace(evidence(), no_visual=np.ones(N, dtype=bool))) == "B"


def test_each_line_counts_what_its_title_says() -> None:
    """A different number of tests for every line, in one whole audit."""
    head = ("Device", "Rated IΔn (mA)", "Visual", "1× 0° (ms)", "1× 180° (ms)", "Result", "Tested by", "Instrument",
            "Calibration due", "Date")  # fmt: skip
    rows = [[f"D{i}", "30", "pass", f"{21 + i * 7 % 9}.{i % 10}", f"{22 + i * 5 % 8}.{i * 3 % 10}", "", "A. Snowfield",
             "Meter A", "2027-04-30", "2026-11-20"] for i in range(30)]  # fmt: skip
    for i in range(3):
        rows[i][3] = "2&.4"
    for i in range(3, 5):
        rows[i][3] = ""
    rows[5][3:6] = ["no trip", "24.4", "pass"]
    for i in range(6, 10):
        rows[i][6] = ""
    for i in range(10, 16):
        rows[i][7] = ""
    for i in range(16, 23):
        rows[i][8] = "2026-11-19"
    rows[23][8] = "2026-11-20"
    lines = {title: figure for title, _, figure in audited(head, *rows).grades[0].lines}
    assert {title: figure for title, figure in lines.items() if figure not in ("0", "none", "0 of 30")} == {
        "tests with needed cells that cannot be read": "3 of 30",
        "tests incomplete or unclear": "5 of 30",
        "declared passes contradicted by a fail": "1 of 30",
        "tests without date or name of the person who tested": "4 of 30",
        "tests without the instrument, where others name it": "6 of 30",
        "tests made after the instrument's calibration ran out": "7 of 30",
    }


def doubt(strong: bool, count: int, question: str = "q", total: int = 0) -> Doubt:
    return Doubt(question, strong, np.arange(count), total or count, 0)


@pytest.mark.parametrize(
    ("doubts", "due"),
    [
        ((doubt(False, 150),), "C"),
        ((doubt(True, 39),), "C"),
        ((doubt(True, 40),), "D"),
        ((doubt(True, 3, total=40),), "D"),
        ((doubt(True, 3), doubt(True, 3, "other")), "D"),
        ((doubt(True, 3), doubt(True, 5)), "C"),
        ((doubt(True, 3), doubt(False, 100, "other")), "C"),
        ((doubt(True, 0),), "C"),
        ((Doubt("q", True, np.zeros(0, dtype=np.int64), 0, 1),), "A"),  # of another sheet
    ],
)
def test_doubts(doubts: tuple[Doubt, ...], due: str) -> None:
    assert letter(replace(evidence(), doubts=doubts)) == due


def test_a_doubt_on_other_tests_is_not_ours() -> None:
    facts = replace(evidence(), doubts=(Doubt("q", True, np.arange(100, 200), 100, 0),))
    assert grade_record(facts, np.arange(N) < 100, "technician", "A. Snowfield").grade == "A"


def test_a_test_listed_again_is_no_further_test() -> None:
    facts = replace(with_bad("outcome", 5), counted=np.arange(N) >= 5)
    grade = grade_record(facts, np.ones(N, dtype=bool), "batch", "all")
    assert (grade.grade, grade.tests) == ("A", N - 5)


def test_each_audited_file_of_several_is_graded_by_what_is_worst_in_it(tmp_path: Path) -> None:
    head = "Device,Rated IΔn (mA),Visual,1× 0° (ms),1× 180° (ms),Tested by,Instrument,Date\n"
    made = ",A. Snowfield,Meter A,2026-11-20\n"
    files = {
        "whole.csv": f"{head}A1,30,pass,24.1,25.3{made}",
        "unfinished.csv": f"{head}B1,30,pass,24.7,{made}B2,30,pass,23.8,26.1{made}",
        "damaged.xlsx": "PK\x03\x04",
    }
    for name, content in files.items():
        (tmp_path / name).write_text(content, encoding="utf-8")

    def graded(*names: str) -> list[tuple[str, str, str, int]]:
        grades = run([str(tmp_path / name) for name in names], Options(as_of=TODAY)).grades
        return [(Path(one.name).name, one.grade, one.decided_by, one.tests) for one in grades]

    whole = ("whole.csv", "A", "nothing that was looked at stands against it", 1)
    unfinished = ("unfinished.csv", "B", "tests incomplete or unclear: 1 of 2", 2)
    assert graded("whole.csv", "unfinished.csv")[1:] == [unfinished, whole]
    assert graded(*files) == [("all inputs", "C", "inputs that could not be audited: 1", 3), unfinished, whole]
    assert len(graded("whole.csv")) == 1


def test_people_and_instruments_are_graded_from_twenty_tests_up() -> None:
    """By name, each in the spelling that came first; tests that name nobody are nobody's."""
    head = ("Device", "Rated IΔn (mA)", "Visual", "1× 0° (ms)", "1× 180° (ms)", "Tested by", "Instrument", "Date")
    people = [*["B. Larch", "B. LARCH"] * 10, *["A. Snowfield"] * 20, *["C. Reed"] * 19, *[""] * 20]
    rows = [
        [f"D{i}", "30", "pass", f"{21 + i * 7 % 9}.{i % 10}", f"{22 + i * 5 % 8}.{i * 3 % 10}",
         person, "Meter A" if i < 21 else "", "2026-11-20"]
        for i, person in enumerate(people)
    ]  # fmt: skip
    assert [(g.scope, g.name, g.tests) for g in audited(head, *rows).grades] == [
        ("batch", "all inputs", 79), ("technician", "A. Snowfield", 20), ("technician", "B. Larch", 20),
        ("instrument", "Meter A", 21),
    ]  # fmt: skip


def test_grades_of_devices() -> None:
    """A remark that nobody understands is a caution, also of the first test; a test listed twice is a note."""
    head = ("Device", "Rated IΔn (mA)", "Visual", "1× 0° (ms)", "1× 180° (ms)", "Result", "Remarks", "Tested by",
            "Date")  # fmt: skip
    rows = [["B0", "30", "pass", "24.9", "26.4", "", "zorbled"], ["A1", "30", "pass", "24.1", "25.3", "pass", ""],
            ["B1", "30", "pass", "24.7", "299", "pass", ""], ["C1", "30", "pass", "23.9", "", "", ""],
            ["C2", "30", "pass", "24.4", "28.4?", "", ""], ["D1", "30", "pass", "24.0", "no trip", "pass", ""],
            ["A2", "30", "pass", "23.1", "no trip", "fail", ""], ["", "30", "pass", "26.1", "25.2", "pass", ""],
            ["A1", "30", "pass", "24.1", "25.3", "pass", ""]]  # fmt: skip
    audit = audited(head, *([*row, "A. Snowfield", "2026-11-20"] for row in rows))
    assert "same-test-listed-again" in set(audit.findings["code"])
    graded = dict(zip(audit.devices["name"], audit.devices["grade"], strict=True))
    assert graded == {
        "B0": "B", "A1": "A", "B1": "B", "C1": "C", "C2": "C", "D1": "D", "A2": "B", "(no identifier)": "D",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("test", "seen", "tests", "total"),
    [
        (0, None, [0], 0),  # of one test, the first of all
        (-1, None, [], 0),  # of a whole sheet
        (-1, {"tests": [4, 5], "tests_total": 2}, [4, 5], 0),  # all that it concerns are listed
        (-1, {"tests": [4, 5], "tests_total": 3}, [4, 5], 3),
    ],
)
def test_what_a_doubt_concerns(test: int, seen: dict[str, Any] | None, tests: list[int], total: int) -> None:
    row = {"severity": "doubt", "code": "q", "test": test, "sheet": 0, "evidence": seen}
    (one,) = _doubts(pd.DataFrame([row]))
    assert (one.question, one.tests.tolist(), one.total) == ("q", tests, total)


@pytest.mark.parametrize(("strength", "strong"), [("strong", True), ("moderate", False), (None, False)])
def test_a_doubt_is_strong_where_its_evidence_is(strength: str | None, strong: bool) -> None:
    seen = {"tests": [0], **({"strength": strength} if strength else {})}
    row = {"severity": "doubt", "code": "q", "test": -1, "sheet": 0, "evidence": seen}
    note = row | {"severity": "note", "evidence": seen | {"strength": "strong"}}
    assert [one.strong for one in _doubts(pd.DataFrame([note, row]))] == [strong]


def test_a_record_of_some_tests_has_the_doubts_of_these_and_of_the_whole() -> None:
    concerned = {"theirs": [3, 7], "of others": [9], "of all": []}
    doubts = tuple(Doubt(name, True, np.array(at, dtype=np.int64), 0, 0) for name, at in concerned.items())
    theirs = replace(evidence(), doubts=doubts).only(np.array([3, 5]))
    assert {one.question: one.tests.tolist() for one in theirs.doubts} == {"theirs": [0], "of all": []}


def test_a_caution_lowers_the_grade_of_devices_that_are_no_longer_listed_with_it() -> None:
    random = np.random.RandomState(1)
    times = np.round(random.normal(26, 3, size=(KEPT + 200, 2)), 1).astype(str)
    rows = [[f"D{i:04d}", "pass", *pair, "zorbled"] for i, pair in enumerate(times.tolist())]
    audit = audited(("Device", "Visual", "Trip time 0° (ms)", "Trip time 180° (ms)", "Remarks"), *rows)
    assert (audit.findings["code"] == "remark-not-understood").sum() == KEPT + 1
    assert "A" not in set(audit.devices["grade"])
    assert (audit.devices["grade"][KEPT:] == "B").any()
