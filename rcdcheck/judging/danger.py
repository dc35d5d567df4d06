"""Which failure first: a rank for each failing reading by what it would let through.

The ranks and the points of curve c1 of IEC 60479-1 stand in `schemas/danger.toml` with their sources. It is a
ranking aid, statistical and for one current path; no rank says that a device is safe.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from rcdcheck import data
from rcdcheck.tables import Mask, Numbers
from rcdcheck.terms import current_of_test


def sentences() -> dict[int, str]:
    """One sentence for each rank, 1 the most dangerous."""
    return {int(rank): text for rank, text in data.toml("danger.toml")["ranks"].items()}


def notice() -> str:
    """What to print beside any ranking."""
    text: str = data.toml("danger.toml")["notice"]
    return text


def plateau_ma() -> float:
    """Current in mA below which curve c1 is not reached at any duration."""
    return float(_c1()[0][0])


def c1_time_ms(current_ma: npt.ArrayLike) -> Numbers:
    """How long (ms) a current may flow before it reaches curve c1; log-log between the points.

    Infinite below the plateau, 0 above the highest point, NaN where the current is NaN.
    """
    current = np.asarray(current_ma, dtype=np.float64)
    points, times = _c1()
    with np.errstate(divide="ignore", invalid="ignore"):
        inside = np.exp(np.interp(np.log(current), np.log(points), np.log(times)))
    return np.where(current < points[0], np.inf, np.where(current > points[-1], 0.0, inside))


def rank(
    *,
    ramp: Mask,
    held: Mask,
    low: Mask,
    value: Numbers,
    multiple: Numbers,
    rated: Numbers,
    test_current: Numbers,
) -> npt.NDArray[np.int8]:
    """Rank 1 to 6 of failing readings, shape (n,); give it failures only.

    `ramp`: a trip current (mA) rather than a time (ms). `held`: did not trip, or a lower bound (`>300`).
    `low`: failed for being below a minimum, or for tripping where that is forbidden. A timed test had
    `test_current` (mA) or, where that is NaN, `multiple` × `rated` (mA); unknown, it counts as reaching c1.
    """
    current = current_of_test(test_current, multiple, rated)
    steady = ramp & (value > plateau_ma())
    fibrillation = ~ramp & ~(value < c1_time_ms(current))  # also where either is NaN
    slow_at_rated = ramp | ~(multiple > 1)
    by_danger = [low, held, steady, fibrillation, slow_at_rated]
    return np.select(by_danger, [6, 1, 2, 3, 4], default=5).astype(np.int8)


def _c1() -> tuple[Numbers, Numbers]:
    points = sorted((p["current"], p["time"]) for p in data.toml("danger.toml")["c1"])
    currents, times = np.array(points, dtype=np.float64).T
    return currents, times
