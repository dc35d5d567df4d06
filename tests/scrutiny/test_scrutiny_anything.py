"""Whatever stands in the tables, scrutiny answers: nothing raises, and no number is printed that is none."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scrutiny_tables import audit, honest, sheet, tables

from rcdcheck.scrutiny import raising
from rcdcheck.terms import Slot

reading = st.one_of(
    st.none(), st.just("no trip"), st.sampled_from([0.0, 28.4, 30.0, 300.0, 1999.0, 9999.999, 1e-3]), st.floats(0.1, 60)
)
row = st.fixed_dictionaries(
    {
        "device": st.sampled_from(["", "a", "b", "c", "d"]),
        "technician": st.sampled_from(["", "A. Stall", "B. Booth"]),
        "instrument": st.sampled_from(["", "Meter 1"]),
        "site": st.sampled_from(["", "North", "South"]),
        "model": st.sampled_from(["", "lead"]),
        "tested_at": st.sampled_from(
            [None, "2025-11-20", "2026-11-20 09:00", "2026-11-20 09:01", "2026-11-20 09:01:30"]
        ),
        "trip_time_1x_0": reading,
        "trip_time_1x_180": reading,
        "trip_time_5x_0": reading,
        "trip_current": reading,
    }
)


def well_formed(questions: pd.DataFrame) -> None:
    assert list(questions.columns) == list(raising.QUESTIONS)
    asked = questions[questions["asked"]]
    assert (questions.loc[~questions["asked"], "why_not"] != "").all()
    assert (asked["sentence"] != "").all()
    assert set(asked["strength"]) <= {"nothing unusual", "note", "moderately strong", "strong"}
    assert asked[["chance", "adjusted"]].stack().dropna().between(1e-4, 1).all()


@settings(max_examples=40, deadline=None)
@given(st.lists(row, min_size=1, max_size=40), st.integers(1, 30))
def test_any_sheet_is_answered(rows: list[dict[str, object]], times: int) -> None:
    frame = pd.DataFrame(rows * times)
    frame["tested_at"] = pd.to_datetime(frame["tested_at"], format="mixed")
    questions, _ = audit(tables([frame]))
    well_formed(questions)


@pytest.mark.parametrize("columns", [["trip_current"], ["trip_time_1x_0"], ["trip_time_1x_0", "trip_current"], []])
def test_sheets_with_fewer_columns(columns: list[str]) -> None:
    held = honest(120, 3)
    read = sheet(device=[f"d-{i}" for i in range(120)], technician="A. Stall", **{c: held[c] for c in columns})
    questions, findings = audit(tables([read]))
    well_formed(questions)
    assert "doubt" not in set(findings["severity"])


@pytest.mark.parametrize(
    ("multiple", "phase"), [(1.0, "0"), (1.0, "none"), (1.0, "worst"), (5.0, "none"), (float("nan"), "none")]
)
def test_one_value_is_seen_in_whatever_column_the_times_stand(multiple: float, phase: str) -> None:
    read = tables([sheet(device=[f"d-{i}" for i in range(60)], technician="A. Stall", trip_time_1x=28.4)])
    read = dataclasses.replace(read, slots=(Slot("trip_time", multiple, phase),))
    assert "one-value" in set(audit(read)[1]["code"])


def test_no_tests_at_all() -> None:
    empty = tables([sheet(device=["x"], trip_current=[20.0])])
    none = pd.DataFrame({"device": []})
    questions, _ = audit(tables([none]))
    assert list(questions.columns) == list(raising.QUESTIONS)
    assert len(audit(empty)[0])


def test_wild_readings_beside_fine_ones() -> None:
    held = honest(60, 3)
    rng = np.random.default_rng(1)
    read = sheet(device=[f"d-{i}" for i in range(60)], technician="A. Stall", **held)
    read[list(held)] += np.round(rng.normal(0, 0.004, (60, 3)), 3)
    read.loc[5, ["trip_time_1x_0", "trip_time_1x_180", "trip_current"]] = [9999.999, 8888.881, 3e6]
    read.loc[41:50, list(held)] = read.loc[11:20, list(held)].to_numpy()
    assert {"repeated-sets-note", "copied-block"} <= set(audit(tables([read]))[1]["code"])  # one event, one doubt
