"""Devices so alike that a coarse display cannot tell them apart, as new devices of one delivery are.

At a coarse display (0.5 ms or more) a few such devices share their readings honestly, and most of the others lie one
step away. Rows with both trip times (and ramp current, where there is one) make a crowd around a set of readings where

- three rows or more show that set, no set one step away stands more often, three sets or more stand there, and all
  of them on eight rows or more;
- the cells one step away hold three times as many rows, cell for cell, as those two steps away, while a fleet
  thins out slowly;
- equal rows are no more than the spread of new devices allows (the floors of one_value), at a chance of 0.01.

Copies of a row among such rows look the same and cannot be told from them: the crowd is left out of the questions on
repeated sets, blocks and runs. One reading typed for many devices is no crowd, since nothing lies beside it.
"""

from __future__ import annotations

import numpy as np

from rcdcheck.scrutiny import tails
from rcdcheck.scrutiny.cells import Keys, largest_near, near_rows
from rcdcheck.scrutiny.preparation import Group, largest_share, settings
from rcdcheck.tables import Mask, Numbers

TOLD = (
    "devices are alike to the digits shown, as new devices of one delivery are at a coarse display: "
    "copies among them look the same"
)


def left_out(group: Group) -> Group:
    """The group without the rows of a crowd, or as it was."""
    crowd = _crowded(group) if group.coarse else np.zeros(0, dtype=bool)
    return group.only(np.flatnonzero(~crowd)) if crowd.any() else group


def _crowded(group: Group) -> Mask:
    """Rows that belong to a crowd, shape (n,)."""
    out = np.zeros(len(group), dtype=bool)
    ramp = bool((~np.isnan(group.ramp.values)).sum() >= settings("crowds")["with_ramp"] * len(group))
    columns = (group.time0, group.time180, group.ramp) if ramp else (group.time0, group.time180)
    values = np.column_stack([c.values for c in columns])
    rows = np.flatnonzero(~np.isnan(values).any(axis=1))
    if len(rows):
        floors = [settings("one_value")[name] for name in ("floor_ms", "floor_phase_ms", "floor_ma")]
        share = float(np.prod([largest_share(c.step, f) for c, f in zip(columns, floors, strict=False)]))
        out[rows] = _around(values[rows], share)
    return out


def _around(values: Numbers, share: float) -> Mask:
    """Rows (n, columns) within two steps of the middle of a crowd; `share` may honestly be equal."""
    set_, k = settings("crowds"), values.shape[1]
    keys = Keys.of(values, np.zeros(len(values), dtype=np.int32))
    cells, place, counts = np.unique(keys.key, return_inverse=True, return_counts=True)
    crowd = np.zeros(len(values), dtype=bool)
    middle = np.flatnonzero(counts >= set_["equal"])
    if not len(middle):
        return crowd
    equal, of = counts[middle], cells[middle]
    one, two = (near_rows(cells, counts, keys.room, reach, of) for reach in (1, 2))
    sets = near_rows(cells, np.ones_like(counts), keys.room, 1, of) - 1
    dense = (one - equal) / (3**k - 1) >= set_["thinning"] * (two - one) / (5**k - 3**k)
    dense &= (one >= set_["rows"]) & (sets >= set_["beside"]) & (equal >= largest_near(cells, counts, keys.room, of))
    usual = np.array([float(tails.binomial(int(a), int(b), share)) for a, b in zip(equal, one, strict=True)])
    weight = np.zeros(len(cells), dtype=np.int64)
    weight[middle] = dense & (usual >= set_["level"])
    crowd[:] = near_rows(cells, weight, keys.room, 2, cells)[place] > 0 if weight.any() else False
    return crowd
