"""Numbers by looking up instead of sorting or hashing, against numpy's own sorting."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rcdcheck import numbering

codes = st.lists(st.integers(0, 40) | st.integers(0, 2**40), max_size=60).map(lambda x: np.array(x, dtype=np.int64))
rows = st.lists(st.tuples(st.integers(0, 3), st.integers(0, 5) | st.integers(0, 2**14)), max_size=60).map(
    lambda x: np.array(x, dtype=np.int64).reshape(len(x), 2)
)


def same_partition(one: np.ndarray, other: np.ndarray) -> bool:
    """Whether two arrays of numbers are equal at the same pairs of places."""
    return bool((np.equal.outer(one, one) == np.equal.outer(other, other)).all())


@given(codes)
def test_dense_numbers_leave_none_out(x: np.ndarray) -> None:
    found = numbering.dense(x)
    assert same_partition(found, x)
    assert sorted(set(found.tolist())) == list(range(len(set(x.tolist()))))


@given(codes)
def test_order_is_that_of_a_stable_sort(x: np.ndarray) -> None:
    assert numbering.in_order(x).tolist() == np.argsort(x, kind="stable").tolist()


@given(rows)
def test_pairs_of_codes(x: np.ndarray) -> None:
    first, second = x.T
    assert numbering.ranked(first, second).tolist() == np.unique(x, axis=0, return_inverse=True)[1].ravel().tolist()
    assert same_partition(numbering.row_numbers(first, second), numbering.ranked(first, second))
    places = np.unique(x, axis=0, return_index=True)[1]
    assert np.flatnonzero(numbering.first_pairs(first, second)).tolist() == sorted(places.tolist())


@given(rows)
def test_combined_numbers_count_in_order_of_first_places(x: np.ndarray) -> None:
    found = numbering.combined(*x.T)
    assert same_partition(found, numbering.row_numbers(*x.T))
    assert list(dict.fromkeys(found.tolist())) == list(range(len(set(found.tolist()))))


@pytest.mark.parametrize("n", [10, 100_000])
def test_wide_codes_ask_for_no_more_room_than_there_are_codes(n: int) -> None:
    """A column of readings in wild units would else ask for as many places as it is wide."""
    wide = np.arange(n, dtype=np.int64) * 2**40
    assert numbering.dense(wide).max() == numbering.ranked(wide, np.zeros(n, dtype=np.int64)).max() == n - 1
