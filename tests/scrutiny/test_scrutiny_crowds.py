"""Devices that a coarse display cannot tell apart are set aside, and nothing else is."""

from __future__ import annotations

import numpy as np
import pytest

from rcdcheck.scrutiny import ask_group, crowds, preparation
from rcdcheck.scrutiny.cells import Keys, largest_near, near_rows
from rcdcheck.tables import Numbers

FLEET, CARTON = 60, 25


def fleet(rng: np.random.Generator) -> Numbers:
    base, apart = rng.normal(27, 6, FLEET), rng.normal(0, 1.3, FLEET)
    return np.column_stack([base + apart, base - apart, rng.normal(22.5, 1.4, FLEET)])


def shown(readings: Numbers, step: float = 1.0) -> preparation.Group:
    return preparation.group(*(np.round(np.rint(readings / step) * step, 6)).T)


def carton(rng: np.random.Generator) -> Numbers:
    """Devices 0.45 ms and 0.2 mA apart."""
    return np.array([27.2, 27.3, 22.1]) + rng.normal(0, 1, (CARTON, 3)) * [0.45, 0.45, 0.2]


def doubted(group: preparation.Group) -> set[str]:
    return {a.doubt for a in ask_group(group) if a.asked and not a.direct and a.chance <= 1e-5}


@pytest.mark.parametrize("seed", range(20))
def test_new_devices_among_old_ones_are_set_aside_and_the_report_says_so(seed: int) -> None:
    rng = np.random.default_rng(seed)
    order = rng.permutation(FLEET + CARTON)
    group = shown(np.concatenate([fleet(rng), carton(rng)])[order])
    left = order[crowds.left_out(group).tests]
    assert (left >= FLEET).sum() <= 3  # of the carton
    assert (left < FLEET).sum() >= 0.6 * FLEET  # those old ones that read alike go with it
    assert not doubted(group)
    assert crowds.TOLD in {a.why_not for a in ask_group(group) if a.limits}


def test_one_reading_typed_for_as_many_is_no_crowd_and_is_doubted() -> None:
    """In nineteen fleets of twenty; in one the honest rows happen to thin out as those of one model do."""
    seen = 0
    for seed in range(20):
        rng = np.random.default_rng(seed)
        typed = np.tile([27.0, 27.0, 22.0], (CARTON, 1))
        group = shown(rng.permutation(np.concatenate([fleet(rng), typed])))
        assert len(crowds.left_out(group)) == len(group)
        seen += "repeated-sets" in doubted(group)
    assert seen >= 19


def test_a_fine_display_tells_them_apart() -> None:
    rng = np.random.default_rng(1)
    group = shown(np.concatenate([fleet(rng), carton(rng)]), step=0.1)
    assert crowds.left_out(group) is group


def test_near_rows_and_largest_counts_by_brute_force() -> None:
    rng = np.random.default_rng(2)
    values = np.rint(rng.normal(0, 1.5, (80, 3)))
    keys = Keys.of(values, np.zeros(80, dtype=np.int32))
    cells, first, counts = np.unique(keys.key, return_index=True, return_counts=True)
    distance = np.abs(values[first][:, None] - values[None]).max(axis=2)
    for reach in (1, 2):
        assert near_rows(cells, counts, keys.room, reach, cells).tolist() == (distance <= reach).sum(axis=1).tolist()
    between = np.abs(values[first][:, None] - values[first][None]).max(axis=2) <= 1
    assert largest_near(cells, counts, keys.room, cells).tolist() == (between * counts).max(axis=1).tolist()
