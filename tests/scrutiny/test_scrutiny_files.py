"""Traces in the file, contradictions with physics, and failure rates."""

from __future__ import annotations

import pandas as pd
import pytest
from scrutiny_tables import audit, honest, sheet, tables

from rcdcheck.scrutiny import file_traces
from rcdcheck.terms import Flag

TIME_0, TIME_180, RAMP = 2, 3, 4  # columns C, D, E


def day(n: int = 12, **more: object) -> pd.DataFrame:
    devices = [f"A-{i}" for i in range(n)]
    return sheet(device=devices, technician="A. Stall", **{**honest(n, 3), **more})


def found(*cells: tuple[int, int, int, str, str], kind: str = "xlsx", saved_at: str | None = None) -> pd.DataFrame:
    _, findings = audit(tables([day()], cells=cells, kind=kind, saved_at=saved_at))
    return findings[findings["code"] != "credibility-partly-untested"]


@pytest.mark.parametrize(
    ("formula", "code"),
    [
        ("=RANDBETWEEN(180,320)/10", "reading-from-random-formula"),
        ("=20+10*rand()", "reading-from-random-formula"),
        ("=C5", "reading-from-reading"),
        ("=$C$5+0.3", "reading-from-reading"),
        ("=D4+0.1", "reading-from-reading"),
        ("=G5*1000", "reading-from-formula"),
        ("=ROUND(0.0284*1000,1)", "reading-from-formula"),
        ("=VLOOKUP(A5,Readings!A:F,3,FALSE)", "reading-from-formula"),
        ("=Readings!C5", "reading-from-formula"),
        ("", "reading-from-formula"),
    ],
)
def test_readings_that_are_formulas(formula: str, code: str) -> None:
    findings = found((0, 5, TIME_180, "formula", formula))
    assert list(findings["code"]) == [code]
    assert findings.iloc[0][["row", "column"]].tolist() == [5, TIME_180]
    assert findings.iloc[0]["evidence"]["tests"] == [3]


def test_the_worse_of_two_phases_by_formula_is_no_doubt() -> None:
    read = day().assign(trip_time_1x_worst=lambda d: d[["trip_time_1x_0", "trip_time_1x_180"]].max(axis=1))
    _, findings = audit(tables([read], cells=[(0, 5, 5, "formula", "=MAX(C5:D5)")]))
    assert "reading-from-reading" not in set(findings["code"])


def test_formulas_elsewhere_are_nobodys_business() -> None:
    assert found((0, 5, 9, "formula", "=TODAY()"), (0, 1, TIME_0, "comment", "ms")).empty


def test_cells_that_a_formula_names() -> None:
    assert file_traces.references("=IF($B$12>AA3, D4 + LOG10(2), Other!C5 + 'A B'!D6)") == [(12, 1), (3, 26), (4, 3)]


def test_hidden_rows_columns_and_sheets_with_readings() -> None:
    assert list(found((0, 5, -1, "hidden_row", ""))["code"]) == ["hidden-readings"]
    assert "12 readings" in found((0, 0, RAMP, "hidden_column", "")).iloc[0]["message"]
    assert found((0, 40, -1, "hidden_row", "")).empty


def test_saved_before_the_tests_that_it_reports() -> None:
    late = found(saved_at="2026-11-18 23:00")
    assert list(late["code"]) == ["saved-before-tested"]
    assert "last saved on 2026-11-18, before 12 tests" in late.iloc[0]["message"]
    assert found(saved_at="2026-11-19 08:00").empty


def test_delimited_text_keeps_no_traces() -> None:
    questions, _ = audit(tables([day()], kind="text"))
    assert questions.set_index("question").loc["file_traces", "why_not"].startswith("delimited text keeps no formulas")


# ── plausibility ──


def test_very_fast_is_one_note_for_each_model_and_sheet() -> None:
    fast = day(40, model=["lead", "board"] * 20, trip_time_1x_0=6.5)
    _, findings = audit(tables([fast, fast.assign(device=[f"B-{i}" for i in range(40)])]))
    notes = findings[findings["code"] == "very-fast"]
    assert len(notes) == 4
    assert set(notes["message"]) == {
        f"sheet-{i}.xlsx, Tests: 20 trip times of model “{m}” are very fast, the fastest 6.5 ms."
        for i in (1, 2)
        for m in ("lead", "board")
    }


@pytest.mark.parametrize(
    ("columns", "code"),
    [
        ({"trip_time_1x_0": 20.0, "trip_time_5x_0": 30.5}, "slower-at-five-times"),
        ({"trip_time_1x_0": 45.5, "trip_time_1x_180": 25.0}, "phases-far-apart"),
    ],
)
def test_contradictions_are_cautions_on_each_row(columns: dict[str, float], code: str) -> None:
    read = day()
    for name, value in columns.items():
        read.loc[3, name] = value
    _, findings = audit(tables([read]))
    assert findings.loc[findings["code"] == code, ["severity", "row", "test"]].to_numpy().tolist() == [
        ["caution", 5, 3]
    ]


def test_the_edges_are_no_contradiction() -> None:
    read = day().assign(trip_time_1x_0=20.0, trip_time_1x_180=40.0, trip_time_5x_0=30.0, trip_current=30.0)
    _, findings = audit(tables([read]))
    assert not {"slower-at-five-times", "phases-far-apart"} & set(findings["code"])


# ── failure rate ──


def test_none_failed_of_a_thousand_is_a_note_and_never_a_doubt() -> None:
    read = day(1000)
    questions, findings = audit(tables([read]))
    note = findings[findings["code"] == "nothing-failed"].iloc[0]
    assert note["severity"] == "note"
    assert questions.set_index("question").loc["failure_rate", "expectation"] == pytest.approx(10)


FAILURES: list[dict[str, object]] = [
    {"trip_time_1x_0": "no trip"},
    {"trip_time_1x_0": 301.0},
    {"trip_current": 31.0},
    {"visual": int(Flag.FAIL)},
    {"declared": int(Flag.FAIL)},
]


@pytest.mark.parametrize("failure", FAILURES)
def test_one_failure_of_any_kind_settles_it(failure: dict[str, object]) -> None:
    read = day(1000, visual=int(Flag.PASS), declared=int(Flag.PASS)).astype({"trip_time_1x_0": object})
    for name, value in failure.items():
        read.loc[7, name] = value
    _, findings = audit(tables([read]))
    assert "nothing-failed" not in set(findings["code"])


def test_ninety_nine_devices_are_too_few() -> None:
    questions, _ = audit(tables([day(99)]))
    assert questions.set_index("question").loc["failure_rate", "why_not"] == "too few: 99 of 100 devices"
