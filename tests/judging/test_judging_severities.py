"""What the severities of `schemas/findings.toml` say that they do, and every code held to it.

Codes of the judge by its own calls (read from its source), codes of intake by raising each in an audit of good devices.
"""

from __future__ import annotations

import ast
import csv
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from small_sheets import TODAY

import rcdcheck.judging
from rcdcheck import data, grading, identity, intake, pipeline, rules
from rcdcheck.audits import Grade
from rcdcheck.findings import SEVERITIES, Findings, catalogue
from rcdcheck.history import History
from rcdcheck.judging import outcomes, verdicts
from rcdcheck.options import Options
from rcdcheck.tables import Tables
from rcdcheck.terms import Outcome

ROOM = Path(rcdcheck.judging.__file__).parent
STATED = data.toml("findings.toml")["severities"]
OUTCOMES = {"FAIL": {"danger"}, "UNCLEAR": {"error"}, "INCOMPLETE": {"error"}}
VERDICTS = {"FAIL": {"danger"}, "UNCLEAR": {"error"}, "MARGINAL": {"caution"}, "PASS": {"caution", "note"},
            "NOT_JUDGED": {"note"}}  # fmt: skip
OPTIONS = Options(as_of=TODAY)


def calls() -> Iterator[tuple[str, str, set[str]]]:
    """Code, place and severities that fit, of every outcome and verdict that judging gives with a code."""
    for path in sorted(ROOM.glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            words = node.args if isinstance(node, ast.Call) else node.elts if isinstance(node, ast.Tuple) else []
            attributes = [w for w in words if isinstance(w, ast.Attribute) and isinstance(w.value, ast.Name)]
            codes = [w.value for w in words if isinstance(w, ast.Constant) and w.value in catalogue()]
            for one in attributes:
                assert isinstance(one.value, ast.Name)
                fits = {"Outcome": OUTCOMES, "Verdict": VERDICTS}.get(one.value.id, {}).get(one.attr)
                for code in codes if fits else ():
                    yield str(code), f"{path.name}:{one.lineno}", fits or set()


def test_every_severity_states_what_it_does() -> None:
    assert tuple(STATED) == SEVERITIES
    for does in STATED.values():
        assert set(does) == {"outcome", "device_grade", "exit_code", "means"}


def test_a_pass_that_follows_a_failure_is_kept_out_of_use() -> None:
    """Never a sentence that invites a remedy on paper only: what to do comes first, what to write down after it."""
    follows = (
        "pass-after-fail-without-remedy", "fail-still-open", "order-of-tests-unknown", "date-lost-among-others",
        "repeat-without-first", "failed-in-the-register", "declared-fail-contradicted", "remark-names-fault",
        "withdrawn-and-tested", "pass-after-fault-without-remedy",
    )  # fmt: skip
    assert [code for code in follows if "keep it out of use" not in catalogue()[code].do.lower()] == []
    on_paper = re.compile(r"^(record|put on record|write down|note|--remedied)", re.IGNORECASE)
    assert [kind.code for kind in catalogue().values() if on_paper.match(kind.do)] == []


def test_judging_gives_each_code_the_outcome_of_its_severity() -> None:
    found = list(calls())
    assert len({code for code, _, _ in found}) > 35, "the calls are found"
    wrong = [f"{code} at {place}: {catalogue()[code].severity}" for code, place, fits in found
             if catalogue()[code].severity not in fits]  # fmt: skip
    assert wrong == []


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Tables:
    """Three good devices."""
    path = tmp_path_factory.mktemp("good") / "good.csv"
    with path.open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows([
            ["Device", "Rated IΔn (mA)", "Visual", "1× 0° (ms)", "1× 180° (ms)", "Tested by", "Instrument", "Date"],
            *([f"A{i}", "30", "pass", *times, "A. Snowfield", "Meter A", "2026-11-20"]
              for i, times in enumerate((("24.3", "26.8"), ("24.4", "26.5"), ("24.9", "25.5")))),
        ])  # fmt: skip
    return intake.take_out(intake.open_all([str(path)], OPTIONS, Findings(), jobs=1), OPTIONS, Findings())


@pytest.fixture(scope="module")
def sheets(good: Tables) -> Tables:
    """Three good devices in an input and sheet for every code, and in one more."""
    times, steps = len(catalogue()) + 1, {"test": len(good.tests), "sheet": 1, "input": 1}

    def repeated(one: pd.DataFrame) -> pd.DataFrame:
        numbers = [name for name in steps if name in one and one[name].dtype.kind == "i"]
        moved = (one.assign(**{name: one[name] + n * steps[name] for name in numbers}) for n in range(times))
        return pd.concat(moved, ignore_index=True)

    tables = {name: repeated(one) for name, one in vars(good).items() if isinstance(one, pd.DataFrame)}
    return Tables(**{**vars(good), **tables, "inputs": good.inputs * times})


def judged_with(tables: Tables, found: Findings) -> tuple[pd.DataFrame, pd.DataFrame, tuple[Grade, ...]]:
    """Devices with outcome and grade, the findings, and the grades of the record, with these findings of intake."""
    rule_set = rules.load(OPTIONS.rules)
    judged, _ = verdicts.judge(tables, rule_set, OPTIONS)
    device = identity.number_devices(tables, OPTIONS)
    visit = identity.number_visits(tables.tests, device)
    counted = ~identity.listed_again(tables, device)
    got = outcomes.decide(tables, judged, rule_set, OPTIONS, found, device, visit)
    frame = pipeline._with_tests(found.frame(), tables)
    facts = grading.evidence(tables, judged, got.tests, counted, frame)
    grades = grading.grade_devices(tables, judged, got.devices, device, facts, frame)
    return got.devices.assign(grade=grades), frame, grading.grade_all(facts, tables)


def decided(tables: Tables, found: Findings) -> tuple[list[str], list[str], int]:
    """Outcomes, grades and exit code of the devices with these findings of intake."""
    devices, frame, grades = judged_with(tables, found)
    code = pipeline.exit_code(OPTIONS, tables, devices, frame, grades, History())
    return [Outcome(o).word for o in devices["outcome"]], list(devices["grade"]), int(code)


def raised(code: str, **place: Any) -> Findings:
    found = Findings()
    found.add(code, message="Said by a test.", **place)
    return found


def test_good_devices_pass_with_the_best_grade(good: Tables) -> None:
    assert decided(good, Findings()) == (["pass"] * 3, ["A"] * 3, 0)


def test_a_finding_at_a_cell_does_what_its_severity_says(sheets: Tables) -> None:
    """Each code at the cell of one device in a sheet of its own; a danger needs the failure of a device, which the
    calls above give."""
    kinds = [kind for kind in catalogue().values() if kind.severity != "danger"]
    found = Findings()
    for sheet, kind in enumerate(kinds):
        found.add(kind.code, message="Said by a test.", sheet=sheet, row=3, column=1)
    devices, frame, grades = judged_with(sheets, found)
    wrong = []
    for sheet, kind in enumerate(kinds):
        does, here = STATED[kind.severity], devices.iloc[3 * sheet : 3 * sheet + 3]
        code = pipeline.exit_code(OPTIONS, sheets, here, frame[frame["sheet"] == sheet], grades, History())
        got = ([Outcome(o).word for o in here["outcome"]], list(here["grade"]), int(code))
        marked = "unclear" if does["outcome"] else "pass"
        due = (["pass", marked, "pass"], ["A", does["device_grade"] or "A", "A"], does["exit_code"])
        if got != due:
            wrong.append((kind.code, got))
    assert wrong == []


@pytest.mark.parametrize("severity", [name for name in SEVERITIES if name != "danger"])
def test_a_finding_moves_the_exit_code_as_its_severity_says(good: Tables, severity: str) -> None:
    code = next(kind.code for kind in catalogue().values() if kind.severity == severity)
    assert decided(good, raised(code, sheet=0, row=3, column=1))[2] == STATED[severity]["exit_code"]


def test_an_error_of_a_column_concerns_every_device_of_its_sheet(sheets: Tables) -> None:
    """Each error at the column of a sheet of its own; the last of the sheets has none."""
    errors = [kind.code for kind in catalogue().values() if kind.severity == "error"]
    found = Findings()
    for sheet, code in enumerate(errors):
        found.add(code, message="Said by a test.", sheet=sheet, row=1, column=3)
    words, _, exit_code = decided(sheets, found)
    by_sheet = [set(words[3 * sheet : 3 * sheet + 3]) for sheet in range(len(catalogue()) + 1)]
    assert [code for code, got in zip(errors, by_sheet, strict=False) if got != {"unclear"}] == []
    assert (by_sheet[-1], exit_code) == ({"pass"}, 1)


def test_errors_past_a_thousand_concern_their_own_rows_as_those_before_do(good: Tables) -> None:
    found = Findings()
    rows = [3] * 1000 + [4] * 200
    n = len(rows)
    found.add_many("entry-not-understood", {"sheet": [0] * n, "row": rows, "column": [1] * n, "heading": ["x"] * n})
    assert decided(good, found)[0] == ["pass", "unclear", "unclear"]


def test_an_error_of_a_column_past_a_thousand_concerns_its_whole_sheet(good: Tables) -> None:
    found = Findings()
    for row in [3] * 1000:
        found.add("error-cell", message="Said by a test.", sheet=0, row=row, column=1)
    assert decided(good, found)[0] == ["pass", "unclear", "pass"]
    found.add("error-cell", message="Said by a test.", sheet=0, row=2, last_row=4, column=1)
    assert decided(good, found)[0] == ["unclear"] * 3


@pytest.mark.parametrize("severity", ["caution", "note"])
def test_what_is_no_error_is_none_past_a_thousand_either(good: Tables, severity: str) -> None:
    code = next(kind.code for kind in catalogue().values() if kind.severity == severity)
    found = Findings()
    for _ in range(1200):
        found.add(code, message="Said by a test.", sheet=0, row=3, column=1)
    assert decided(good, found)[0] == ["pass"] * 3


def test_an_error_of_a_row_that_names_no_column_concerns_its_test(good: Tables) -> None:
    assert decided(good, raised("error-cell", sheet=0, row=3))[0] == ["pass", "unclear", "pass"]


def test_an_error_of_no_sheet_still_moves_the_exit_code(good: Tables) -> None:
    assert decided(good, raised("reading-not-understood"))[2] == 1


def test_a_reason_that_is_known_at_the_cell_is_not_told_twice(good: Tables) -> None:
    unread = good.tests.assign(rated_unreadable=good.tests["row"] == 3)
    tables = Tables(**{**vars(good), "tests": unread})
    found = raised("rated-current-not-understood", sheet=0, row=3, column=1)
    rule_set = rules.load(OPTIONS.rules)
    judged, _ = verdicts.judge(tables, rule_set, OPTIONS)
    device = identity.number_devices(tables, OPTIONS)
    visit = identity.number_visits(tables.tests, device)
    got = outcomes.decide(tables, judged, rule_set, OPTIONS, found, device, visit)
    assert list(got.reasons["code"]) == ["rated-unreadable"]
    assert isinstance(got.reasons, pd.DataFrame)
