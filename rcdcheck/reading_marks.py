"""One number for all readings of a test, the same in every run, by which a test is recognised when it comes again."""

from __future__ import annotations

import zlib

import numpy as np
import numpy.typing as npt

from rcdcheck.tables import Tables

_GOLDEN, _MIX = np.uint64(0x9E3779B97F4A7C15), np.uint64(0xBF58476D1CE4E5B9)


def reading_marks(tables: Tables) -> npt.NDArray[np.int64]:
    """Shape (tests,); 0 for a test without readings. Rows may list equal readings in any order."""
    n = len(tables.tests)
    ends = np.cumsum(np.bincount(tables.readings["test"].to_numpy(), minlength=n))
    totals = np.concatenate([np.zeros(1, np.uint64), np.cumsum(_of_each(tables), dtype=np.uint64)])
    return np.diff(totals[np.concatenate([[0], ends])]).view(np.int64)


def _of_each(tables: Tables) -> npt.NDArray[np.uint64]:
    """One 64-bit number for slot, value, state and bound of each reading; equal readings have equal numbers."""
    readings = tables.readings
    slots = np.array([zlib.crc32(slot.name.encode()) for slot in tables.slots] or [0], dtype=np.uint64)
    mixed = np.nan_to_num(readings["value"].to_numpy(), nan=-1.0).view(np.uint64).copy()
    for part in (slots[readings["slot"].to_numpy()], *(readings[n].to_numpy() for n in ("state", "bound"))):
        mixed ^= (part.astype(np.uint64) + np.uint64(1)) * _GOLDEN
        mixed *= _MIX
        mixed ^= mixed >> np.uint64(31)
    return mixed
