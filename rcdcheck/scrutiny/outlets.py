"""One row for each device where the outlets of one device carry identifiers of their own.

The outlets of a board hang on one mechanism, so that their rows repeat its readings, honestly: within reading noise, or
to the last digit where one reading was typed for all. Rows that follow one another within the noise of two readings
(or one display step, where that is more) form a set; where many of all rows stand in sets of two to six, the first of
each set is asked. Copies of a row right below itself look the same and cannot be told from outlets.
"""

from __future__ import annotations

import numpy as np

from rcdcheck.scrutiny.preparation import Group, settings
from rcdcheck.tables import Mask

MOST = 3  # like boards in a row
TOGETHER = 4  # rows alike that a few new devices of one delivery make
TOLD = "rows stand in twos to sixes alike, as outlets of one device do: copies of a row below itself look the same"


def once(group: Group) -> Group:
    """The group with one row for each such set, or as it was."""
    number = _sets(group)
    sizes = np.bincount(number) if len(number) else np.zeros(0, dtype=np.int64)
    small = (sizes >= 2) & (sizes <= settings("preparation")["outlets"])
    if small.sum() < 3 or sizes[small].sum() < settings("preparation")["outlets_share"] * len(number):
        return group
    usual = int(np.bincount(sizes[small]).argmax())
    place = np.arange(len(number)) - np.concatenate([[0], np.cumsum(sizes)[:-1]])[number]
    boards = ~small & (sizes > usual) & (sizes % usual == 0) & (sizes <= MOST * usual)  # like boards side by side
    first = (place == 0) | (boards[number] & (place % usual == 0))
    return group.only(np.flatnonzero(first | ~(small | boards)[number]))


def standing_together(group: Group) -> Group:
    """The group with one row for each four or more that follow one another alike at a coarse display, not all equal."""
    if not group.coarse:
        return group
    number = _sets(group)
    readings = np.nan_to_num(np.column_stack([group.time0.values, group.time180.values, group.ramp.values]))
    first = np.diff(number, prepend=-1) > 0
    unequal = (readings != readings[first][number]).any(axis=1)
    many = (np.bincount(number) >= TOGETHER) & (np.bincount(number, unequal) > 0)
    return group.only(np.flatnonzero(first | ~many[number])) if many.any() else group


def _sets(group: Group) -> np.ndarray:
    """Number of the set of each row, shape (n,)."""
    alike: Mask = np.ones(max(0, len(group) - 1), dtype=bool)
    said = np.zeros(len(alike), dtype=np.int64)
    for column, noise in (
        (group.time0, "outlets_noise_ms"),
        (group.time180, "outlets_noise_ms"),
        (group.ramp, "outlets_noise_ma"),
    ):
        apart = np.abs(np.diff(column.values)) * column.step
        known = ~np.isnan(apart)
        reach = max(settings("preparation")[noise], column.step) + 1e-9
        alike &= ~known | (apart <= reach)
        said += known
    alike &= said >= 2
    return np.concatenate([[0], np.cumsum(~alike)]) if len(group) else np.zeros(0, dtype=np.int64)
