"""The longest block that stands twice, against comparing everything with everything.

Where a block stands more than twice a shorter one may be found, never one of half the length: cautious.
"""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from rcdcheck.scrutiny import blocks, copied_blocks, preparation

letters = st.lists(st.integers(0, 2), min_size=1, max_size=40)


def common(a: list[int], b: list[int]) -> int:
    n = 0
    while n < min(len(a), len(b)) and a[n] == b[n]:
        n += 1
    return n


@settings(max_examples=100, deadline=None)
@given(letters)
def test_longest_block_inside_a_sequence(x: list[int]) -> None:
    expected = max((common(x[i:], x[j:]) for i in range(len(x)) for j in range(i + 2, len(x))), default=0)
    lines = blocks.Lines.of([np.array(x)], [np.arange(len(x))])
    found = blocks.longest_within(blocks.levels(lines.code), 2).length
    assert expected / 2 < found <= expected or found == expected == 0


@settings(max_examples=100, deadline=None)
@given(letters, letters)
def test_longest_block_between_sequences(x: list[int], y: list[int]) -> None:
    expected = max(common(x[i:], y[j:]) for i in range(len(x)) for j in range(len(y)))
    lines = blocks.Lines.of([np.array(x), np.array(y)], [np.arange(len(x)), 100 + np.arange(len(y))])
    found = blocks.longest_between(lines, blocks.levels(lines.code), 2)
    for own, block in enumerate(found):
        assert expected / 2 < block.length <= expected or block.length == expected == 0
        assert expected == 0 or lines.sequence[block.there] != own


def test_a_device_is_not_compared_with_itself_at_another_visit() -> None:
    x = np.arange(20)
    lines = blocks.Lines.of([x, x], [np.arange(20), np.arange(20)])
    assert [b.length for b in blocks.longest_between(lines, blocks.levels(lines.code), 2)] == [0, 0]


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.integers(0, 14), st.sampled_from([0.1, 1.0]), st.booleans())
def test_a_way_that_is_asked_for_no_guard_could_not_be_the_least(
    seed: int, pasted: int, step: float, backwards: bool
) -> None:
    rng = np.random.default_rng(seed)
    day = np.round(rng.normal(28, 3, (40, 3)) / step) * step
    day[20 : 20 + pasted] = day[:pasted][::-1] if backwards else day[:pasted]
    mine = copied_blocks.sequence(preparation.group(*day.T))
    ways = [way for make in copied_blocks.WAYS for way in make(mine)]
    others = [way.chance(way.rate) * (len(ways) - 1) / (1 - 0.8) for way in ways[1:]]  # 0.8 of the level to the first
    assert copied_blocks._least(ways)[0] == min([ways[0].chance(ways[0].rate) / 0.8, *others])


def test_a_block_pasted_from_another_person_is_found_on_both_sides() -> None:
    rng = np.random.default_rng(4)
    a, b = (np.round(rng.normal(28, 4, (50, 3)), 1) for _ in range(2))
    b[30:38] = a[5:13]
    mine = preparation.group(*a.T)
    theirs = preparation.group(*b.T, device=np.arange(50, 100, dtype=np.int32))
    first, second = copied_blocks.ask_between((mine, theirs))
    assert (first.statistic, second.statistic) == (8, 8)
    assert max(first.chance, second.chance) < 1e-5
    assert list(first.tests) == list(range(5, 13))
    assert list(second.tests) == list(range(30, 38))


def test_pasted_blocks_are_found_in_a_hundred_thousand_rows() -> None:
    rng = np.random.default_rng(4)
    x = np.rint(rng.normal(28, 5, (100_000, 2)))
    x[70_000:70_040] = x[1_000:1_040]
    (answer,) = copied_blocks.ask(preparation.group(x[:, 0], x[:, 1], np.full(len(x), np.nan)))
    assert answer.statistic == 40
    assert answer.chance < 1e-9


def test_rows_sorted_by_their_readings_are_not_asked() -> None:
    rng = np.random.default_rng(4)
    x = np.sort(np.round(rng.normal(28, 5, 60), 1))
    (answer,) = copied_blocks.ask(preparation.group(x, rng.permutation(x), x))
    assert answer.why_not == copied_blocks.SORTED
