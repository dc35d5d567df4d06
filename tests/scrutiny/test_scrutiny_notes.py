"""A little of what raises a doubt is a note: each trace grows row by row, and is a note before it is a doubt."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest
from scrutiny_tables import audit, honest, sheet, tables

READINGS = ["trip_time_1x_0", "trip_time_1x_180", "trip_current"]
N = 60


def day(
    seed: int, who: str = "A. Stall", prefix: str = "D", tested: str = "2026-11-20", decimals: int = 1
) -> pd.DataFrame:
    devices, shown = [f"{prefix}-{i:03}" for i in range(N)], honest(N, seed, decimals)
    return sheet(device=devices, technician=who, site="North row", model="Board 4", tested_at=tested, **shown)


def one_value_down(rows: int, seed: int) -> list[pd.DataFrame]:
    read = day(seed)
    read.loc[20 : 20 + rows, "trip_time_1x_0"] = read.loc[20, "trip_time_1x_0"]
    return [read]


def a_series_down(rows: int, seed: int) -> list[pd.DataFrame]:
    read = day(seed, decimals=0)
    read.loc[20 : 20 + rows, "trip_time_1x_0"] = 21.0 + np.arange(rows + 1)
    return [read]


def a_block_again(rows: int, seed: int) -> list[pd.DataFrame]:
    read = day(seed)
    read.loc[40 : 39 + rows, READINGS] = read.loc[10 : 9 + rows, READINGS].to_numpy()
    return [read]


def a_block_of_another(rows: int, seed: int) -> list[pd.DataFrame]:
    read, other = day(seed, decimals=0), day(seed + 50, "B. Booth", "E", decimals=0)
    other.loc[40 : 39 + rows, READINGS] = read.loc[10 : 9 + rows, READINGS].to_numpy()
    return [read, other]


def one_difference(rows: int, seed: int) -> list[pd.DataFrame]:
    read = day(seed)
    at = slice(0, rows)
    read.loc[at, "trip_time_1x_180"] = (read.loc[at, "trip_time_1x_0"] + 1.3).round(1)
    return [read]


def as_last_year(rows: int, seed: int) -> list[pd.DataFrame]:
    before, read = day(seed, tested="2025-11-20"), day(seed + 50)
    read.loc[: rows - 1, "trip_time_1x_0"] = before.loc[: rows - 1, "trip_time_1x_0"]
    return [before, read]


def moved_since_last_year(rows: int, seed: int) -> list[pd.DataFrame]:
    before, read = day(seed, tested="2025-11-20"), day(seed + 50)
    read.loc[: rows - 1, "trip_time_1x_0"] = (before.loc[: rows - 1, "trip_time_1x_0"] + 0.7).round(1)
    return [before, read]


@pytest.mark.parametrize(
    ("trace", "note"),
    [
        (one_value_down, "filled-down-constant-note"),
        (a_series_down, "filled-down-steps-note"),
        (a_block_again, "copied-block-note"),
        (a_block_of_another, "copied-block-elsewhere-note"),
        (one_difference, "phases-apart-by-one-value-note"),
        (as_last_year, "unchanged-since-earlier-visit-note"),
        (moved_since_last_year, "moved-since-earlier-visit-note"),
    ],
)
def test_it_is_a_note_before_it_is_a_doubt(trace: Callable[[int, int], list[pd.DataFrame]], note: str) -> None:
    """One row more may be too much for a note, so that several days are tried; never is a doubt taken back."""
    seen = set()
    for seed in range(1, 9):
        told = [""]
        while told[-1] != "doubt":
            codes = set(audit(tables(trace(len(told), seed)))[1]["code"])
            told.append("doubt" if note.removesuffix("-note") in codes else "note" if note in codes else "")
            assert len(told) < N
        assert told == sorted(told, key=["", "note", "doubt"].index), told
        seen |= set(told)
        if "note" in seen:
            return
    raise AssertionError(f"no day of eight shows {note}")


PEOPLE = ("A. Stall", "B. Booth", "C. Tent", "D. Wagon")


def two_years(rng: np.random.Generator) -> tuple[list[pd.DataFrame], list[pd.DataFrame]]:
    """Sheets of four people, and of the same devices a year later; no sheet names the models."""
    last = [day(k, who, who[:1], "2025-11-20").drop(columns="model") for k, who in enumerate(PEOPLE)]
    now = []
    for read in last:
        moved = read[READINGS] * rng.normal(1, 0.04, (N, 3)) + rng.normal(0, 0.5, (N, 3))
        now.append(read.assign(tested_at="2026-11-20", **moved.round(1)))
    return last, now


def test_readings_close_to_last_years_are_a_note_where_nobody_says_which_models_they_are() -> None:
    rng = np.random.default_rng(5)
    last, now = two_years(rng)
    near = last[3][READINGS] + rng.normal(0, 0.25, (N, 3))
    now[3] = last[3].assign(tested_at="2026-11-20", **near.round(1))
    _, findings = audit(tables(last + now))
    noted = findings[findings["code"] == "closer-than-a-repeat-note"]
    assert [seen["technician"] for seen in noted["evidence"]] == ["D. Wagon"]
    assert "closer-than-a-repeat" not in set(findings["code"])


def test_a_few_devices_unchanged_in_all_readings_are_a_note_and_more_a_doubt() -> None:
    told = []
    for rows in range(1, 9):
        last, now = two_years(np.random.default_rng(5))
        now[2].loc[: rows - 1, READINGS] = last[2].loc[: rows - 1, READINGS]
        codes = set(audit(tables(last + now))[1]["code"])
        doubt = "unchanged-together" in codes
        told.append("doubt" if doubt else "note" if "unchanged-together-note" in codes else "")
    assert list(dict.fromkeys(told)) == ["", "note", "doubt"], told
