"""Whole scrutiny of small batches, as an officer would hold them."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scrutiny_tables import audit, honest, sheet, tables

from rcdcheck.findings import catalogue
from rcdcheck.scrutiny import ask_group, method, preparation, raising, strength

READINGS = ["trip_time_1x_0", "trip_time_1x_180", "trip_current"]
PEOPLE = ("A. Stall", "B. Booth", "C. Tent", "D. Wagon", "E. Hut")


def day(n: int = 60, seed: int = 1, who: str = "A. Stall", decimals: int = 1, **more: object) -> pd.DataFrame:
    """One person's sheet; each device has a name of its own."""
    devices = [f"{who[:1]}-{seed}-{i:03}" for i in range(n)]
    columns = {"technician": who, "instrument": "Meter 2", "site": "North row", **honest(n, seed, decimals)}
    return sheet(device=devices, **{**columns, **more})


def doubts(findings: pd.DataFrame) -> set[str]:
    return set(findings.loc[findings["severity"] == "doubt", "code"])


def test_an_honest_day_raises_no_doubt() -> None:
    questions, findings = audit(tables([day()]))
    assert set(questions["strength"]) <= {"", "nothing unusual"}
    assert set(findings["code"]) == {"credibility-partly-untested"}


def test_every_question_answers_in_the_published_columns() -> None:
    questions, _ = audit(tables([day()]))
    assert list(questions.columns) == list(raising.QUESTIONS)
    assert set(questions["question"]) == set(method.QUESTIONS)
    assert (questions.loc[~questions["asked"], "why_not"] != "").all()
    assert (questions.loc[questions["asked"], "sentence"] != "").all()


@pytest.mark.parametrize(
    ("what", "code"),
    [
        ("phase copied", "equal-phases"),
        ("rows pasted", "copied-block"),
        ("cell dragged", "filled-down-constant"),
        ("series dragged", "filled-down-steps"),
        ("one value", "one-value"),
    ],
)
def test_each_trace_is_seen_with_its_rows_and_figures(what: str, code: str) -> None:
    read = day()
    rows = slice(0, 30) if what == "phase copied" else slice(30, 42)
    if what == "phase copied":
        read.loc[:29, "trip_time_1x_180"] = read.loc[:29, "trip_time_1x_0"]
    elif what == "rows pasted":
        read.loc[30:41, READINGS] = read.loc[3:14, READINGS].to_numpy()
    elif what == "cell dragged":
        read.loc[30:41, "trip_time_1x_0"] = 28.4
    elif what == "series dragged":
        read.loc[30:41, "trip_time_1x_0"] = np.round(20 + 0.3 * np.arange(12), 1)
    else:
        read["trip_time_1x_0"] = 28.4
    _, findings = audit(tables([read]))
    found = findings[findings["code"] == code].iloc[0]
    evidence = found["evidence"]
    assert found["message"].startswith("A. Stall, Meter 2: ")
    assert evidence["strength"] in ("moderately strong", "strong")
    assert evidence["statistic"] > evidence["expectation"]
    assert evidence["adjusted"] == 1e-4
    assert evidence["chance_in_words"] == f"fewer than 1 in 10,000 {strength.SHEETS}"
    assert set(range(60)[rows]) <= set(evidence["tests"])
    assert evidence["innocent"]
    assert catalogue()[code].do


def test_no_sentence_accuses() -> None:
    texts = [" ".join(vars(page).values()) for page in method.pages()]
    texts += [f"{k.message} {k.why} {k.do}" for k in catalogue().values() if "{who}" in k.message]
    for word in ("fraud", "cheat", "liar", "fake", "forged", "guilty"):
        assert not any(word in text.lower() for text in texts), word


def test_the_same_devices_listed_again_are_one_test_each() -> None:
    """A public data set of pipe defects fails the block question honestly: the defects were listed again."""
    once = day(40)
    again = pd.concat([once, once], ignore_index=True)
    _, findings = audit(tables([again]))
    assert doubts(findings) == set()
    again.loc[40:, "device"] = [f"other-{i}" for i in range(40)]
    _, findings = audit(tables([again]))
    assert doubts(findings) == {"copied-block"}  # one event is one doubt
    assert "repeated-sets-note" in set(findings["code"])


def test_outlets_of_one_device_are_repeats_and_no_copies() -> None:
    board = day(30, decimals=0)
    four = board.loc[board.index.repeat(4)].reset_index(drop=True)
    four["outlet"] = ["1", "2", "3", "4"] * 30
    _, findings = audit(tables([four]))
    assert doubts(findings) == set()


# ── limits are said ──


@pytest.mark.parametrize(
    ("sheets", "says"),
    [
        ([day(decimals=0)], "readings are in whole milliseconds: invented numbers cannot be told from measured ones"),
        ([day(12)], "too few: 12 of 20 devices"),
        ([day().sort_values("trip_time_1x_0", ignore_index=True)], "sorted by their readings"),
        ([day()], "dates stand without clock times"),
        ([day(tested_at="2026-11-20 09:15")], "one clock time stands on many tests each"),
    ],
)
def test_what_cannot_be_asked_is_said_with_a_way_out(sheets: list[pd.DataFrame], says: str) -> None:
    questions, findings = audit(tables(sheets))
    note = findings[findings["code"] == "credibility-partly-untested"].iloc[0]
    assert says in note["message"]
    assert "witness" in catalogue()["credibility-partly-untested"].do
    assert questions["why_not"].str.contains(says, regex=False).any()
    assert doubts(findings) == set()


# ── a month of five people ──


def test_a_month_asks_each_question_of_each_person() -> None:
    month = [day(12, 10 * k + d, who) for k, who in enumerate(PEOPLE) for d in range(6)]
    month[8].loc[2:9, READINGS] = month[25].loc[3:10, READINGS].to_numpy()
    questions, findings = audit(tables(month))
    per_person = questions[questions["technician"] != ""].groupby("technician")["question"].agg(set)
    assert set(per_person.index) == set(PEOPLE)
    of_people = {"equal_phases", "repeated_sets", "copied_blocks", "one_value", "filled_down", "pace", "failure_rate"}
    assert all(of_people <= asked for asked in per_person)
    assert doubts(findings) == {"copied-block-elsewhere"}
    who = {e["technician"]: e for e in findings.loc[findings["severity"] == "doubt", "evidence"]}
    assert set(who) == {"B. Booth", "E. Hut"}
    assert who["B. Booth"]["tests"] == list(range(8 * 12 + 2, 8 * 12 + 10))
    assert "E. Hut" in findings.loc[findings["severity"] == "doubt", "message"].iloc[0]


def test_days_of_one_person_are_pooled_however_the_name_is_typed() -> None:
    read = [day(15, 1, "A. Stall"), day(15, 2, "a. stall")]
    questions, _ = audit(tables(read))
    phases = questions[questions["question"] == "equal_phases"]
    assert set(phases["n"]) == {30}


def test_files_that_name_nobody_are_asked_one_by_one() -> None:
    questions, _ = audit(tables([day(30, 1, ""), day(30, 2, "")]))
    groups = questions.loc[questions["question"] == "one_value", "group"]
    assert [g.split(",")[0] for g in groups] == ["sheet-1.xlsx", "sheet-2.xlsx"]


def test_last_years_readings_are_seen_beside_other_peoples_changes() -> None:
    rng = np.random.default_rng(5)
    last = [day(50, k, who, tested_at="2025-11-20", model="one make") for k, who in enumerate(PEOPLE)]
    now = []
    for read in last:
        moved = read[READINGS] * rng.normal(1, 0.04, (50, 3)) + rng.normal(0, 0.5, (50, 3))
        now.append(read.assign(tested_at="2026-11-20", **moved.round(1)))
    now[1] = last[1].assign(tested_at="2026-11-20")
    now[2].loc[:7, READINGS] = last[2].loc[:7, READINGS]
    now[3] = last[3].assign(tested_at="2026-11-20", **(last[3][READINGS] + 0.1 * rng.choice([-1, 1], (50, 3))).round(1))
    _, findings = audit(tables(last + now))
    doubted = findings[findings["severity"] == "doubt"]
    by = {who: set(doubted.loc[[e["technician"] == who for e in doubted["evidence"]], "code"]) for who in PEOPLE}
    assert len(by["B. Booth"]) == 1 and by["B. Booth"] <= {"unchanged-since-earlier-visit", "closer-than-a-repeat"}
    assert by["C. Tent"] == {"unchanged-together"}
    assert len(by["D. Wagon"]) == 1 and by["D. Wagon"] <= {"moved-since-earlier-visit", "closer-than-a-repeat"}
    assert [by[w] for w in ("A. Stall", "E. Hut")] == [set(), set()]


# ── the tables say what the benchmark measures ──


def test_a_sheet_asked_through_the_tables_is_answered_as_in_the_benchmark() -> None:
    sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))
    import sheets_of_readings as bench

    rng = np.random.default_rng(9)
    shown = bench.fleet(bench.KINDS[0], 60, rng).shown(rng)
    read = day().assign(**dict(zip(READINGS, shown.now.T, strict=True)))
    questions, _ = audit(tables([read]))
    for answer in ask_group(preparation.group(*shown.now.T)):
        if answer.asked and not answer.direct:
            same = questions[(questions["question"] == answer.question) & (questions["sentence"] == answer.sentence)]
            assert same["chance"].iloc[0] == pytest.approx(max(answer.chance, 1e-4))


def test_one_time_for_both_phases_throughout_is_not_asked_and_said() -> None:
    """An instrument that shows the longer time, typed twice, is honest, and 180° filled with 0° looks the same."""
    read = day()
    read["trip_time_1x_180"] = read["trip_time_1x_0"]
    questions, findings = audit(tables([read]))
    assert doubts(findings) == set()
    assert "equal-phases-note" in set(findings["code"]) and "equal-phases-learned" not in set(findings["code"])
    left = questions[~questions["asked"] & (questions["question"] == "equal_phases")]
    assert left["why_not"].str.contains("whether a second test was made cannot be told").all() and len(left) == 1
    said = findings.loc[findings["code"] == "credibility-partly-untested", "message"].item()
    assert left["why_not"].item() in said


def test_last_visit_moved_a_little_is_not_asked_of_one_person_alone_and_said() -> None:
    """With nobody else's devices to compare with, devices that hardly age look the same."""
    before, now = day(tested_at="2025-11-20"), day(tested_at="2026-11-20")
    moved = np.random.default_rng(3).integers(-3, 4, (60, 2)) / 10
    now[READINGS[:2]] = (before[READINGS[:2]].to_numpy(dtype=float) + moved).round(1)
    _, findings = audit(tables([before, now]))
    said = findings.loc[findings["code"] == "credibility-partly-untested", "message"].item()
    assert "0 of 30 devices of other people with an earlier visit to compare with (earlier visit)" in said


def test_the_innocent_explanations_are_of_the_doubt_and_not_of_its_neighbours() -> None:
    read = day()
    read["trip_time_1x_180"] = (read["trip_time_1x_0"].astype(float) + 0.9).round(1)
    _, findings = audit(tables([read]))
    found = findings[findings["code"] == "phases-apart-by-one-value"].iloc[0]["evidence"]
    assert found["innocent"] == catalogue()["phases-apart-by-one-value"].innocent != ""
    assert "alike" not in found["innocent"]  # what explains phases that are equal
