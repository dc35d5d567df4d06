"""Permutation moments and near pairs against brute force."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rcdcheck.scrutiny import preparation, repeated_sets
from rcdcheck.scrutiny.cells import Keys
from rcdcheck.scrutiny.repeated_sets import near_pairs, neighbouring_pairs, shuffled
from rcdcheck.tables import Numbers


def equal_pairs(rows: Numbers) -> int:
    return sum(bool((a == b).all()) for a, b in itertools.combinations(rows, 2))


def keys(times: list[int], ramp: list[int], stratum: list[int] | None = None) -> Keys:
    values = np.column_stack([times, np.zeros(len(times)), ramp]).astype(np.float64)
    return Keys.of(values, np.array(stratum or [0] * len(times), dtype=np.int32))


@pytest.mark.parametrize(
    ("times", "ramp"), [([1, 1, 1, 2, 2, 3], [5, 5, 6, 6, 6, 7]), ([1, 1, 2, 2, 2, 2], [9, 9, 9, 9, 9, 8])]
)
def test_moments_are_those_of_every_permutation(times: list[int], ramp: list[int]) -> None:
    counts = [equal_pairs(np.column_stack([times, p])) for p in itertools.permutations(ramp)]
    moments = shuffled(keys(times, ramp))
    assert moments.mean == pytest.approx(np.mean(counts), rel=1e-12)
    assert moments.variance == pytest.approx(np.var(counts), rel=1e-9)


def test_strata_are_shuffled_within_themselves() -> None:
    times, ramp = [1, 1, 1, 2, 1, 1, 3], [5, 5, 6, 5, 5, 6, 6]
    counts = [
        equal_pairs(np.column_stack([times[:4], a])) + equal_pairs(np.column_stack([times[4:], b]))
        for a in itertools.permutations(ramp[:4])
        for b in itertools.permutations(ramp[4:])
    ]
    moments = shuffled(keys(times, ramp, [0, 0, 0, 0, 1, 1, 1]))
    assert (moments.mean, moments.variance) == pytest.approx((np.mean(counts), np.var(counts)), rel=1e-9)


def test_moments_of_a_sheet_are_those_of_many_shuffles() -> None:
    rng = np.random.default_rng(3)
    times, ramp = rng.integers(0, 12, 100), rng.integers(0, 5, 100)
    counts = [equal_pairs_fast(times, rng.permutation(ramp)) for _ in range(4000)]
    moments = shuffled(keys(list(times), list(ramp)))
    assert moments.mean == pytest.approx(np.mean(counts), abs=4 * np.std(counts) / 4000**0.5)
    assert moments.variance == pytest.approx(np.var(counts), rel=0.1)


def equal_pairs_fast(times: np.ndarray, ramp: np.ndarray) -> float:
    counts = np.unique(times * 100 + ramp, return_counts=True)[1]
    return float((counts * (counts - 1) / 2).sum())


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9), st.integers(0, 9), st.integers(0, 1)), min_size=2))
def test_near_pairs_are_those_of_comparing_every_row(rows: list[tuple[int, int, int, int]]) -> None:
    table = np.array(rows, dtype=np.float64)
    values, stratum = table[:, :3], table[:, 3].astype(np.int32)
    near = [
        bool((np.abs(values[i] - values[j]) <= 2).all() and stratum[i] == stratum[j])
        for i, j in itertools.combinations(range(len(rows)), 2)
    ]
    assert near_pairs(Keys.of(values, stratum)) == sum(near)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 4), st.integers(0, 4), st.integers(0, 4), st.integers(0, 1)), min_size=2))
def test_neighbouring_pairs_are_those_of_comparing_every_row(rows: list[tuple[int, int, int, int]]) -> None:
    table = np.array(rows, dtype=np.float64)
    values, stratum = table[:, :3], table[:, 3].astype(np.int32)
    beside = [
        bool(np.abs(values[i] - values[j]).sum() == 1 and stratum[i] == stratum[j])
        for i, j in itertools.combinations(range(len(rows)), 2)
    ]
    assert neighbouring_pairs(Keys.of(values, stratum)) == sum(beside)


def test_rounded_readings_stand_together_in_their_coarse_step() -> None:
    column = np.array([280.0, 290, 300, 281, 287, 293, 310, 260])
    values, stratum = repeated_sets.rounding_apart(column[:, None], np.zeros(8, dtype=np.int32))
    assert values[:, 0].tolist() == [28, 29, 30, 281, 287, 293, 31, 26]
    assert stratum.tolist() == [1, 1, 1, 0, 0, 0, 1, 1]


def test_average_frequency_of_values() -> None:
    """(11, 15, 15) has average frequency (1 + 2 + 2)/3 = 1.67: number bunching, Simonsohn 2019."""
    counts = np.bincount([11, 15, 15])
    pairs = repeated_sets._pairs(counts).sum()
    assert 1 + 2 * pairs / 3 == pytest.approx(5 / 3)


def test_copied_rows_are_seen_and_named() -> None:
    rng = np.random.default_rng(8)
    x = np.round(rng.normal(28, 5, (60, 3)), 1)
    x[50:] = x[:10]
    (answer,) = repeated_sets.ask(preparation.group(*x.T))
    assert answer.statistic == 10
    assert answer.chance < 1e-9
    assert list(answer.tests) == [*range(10), *range(50, 60)]


def test_the_question_says_why_it_is_not_asked() -> None:
    rng = np.random.default_rng(8)
    few = np.round(rng.normal(28, 5, (12, 3)), 1)
    assert repeated_sets.ask(preparation.group(*few.T))[0].why_not == "too few: 12 of 20 devices with both trip times"
    whole = np.rint(rng.normal(28, 2, (60, 2)))
    assert (
        "no ramp current"
        in repeated_sets.ask(preparation.group(whole[:, 0], whole[:, 1], np.full(60, np.nan)))[0].why_not
    )
    alike = np.round(rng.normal(28, 5, 60))
    one_column = preparation.group(alike, alike, np.rint(rng.normal(22, 3, 60)))
    assert "0° and 180°" in repeated_sets.ask(one_column)[0].why_not
