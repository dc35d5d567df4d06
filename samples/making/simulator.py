"""Honest readings of residual current devices, made up from a stated model.

No study with a full distribution of trip times was found, so the shapes are choices that agree with single
published readings: ramp current about 0.73 of rated, trip times of about 24 ms at rated, 13 ms at five
times rated, some milliseconds between the two phases. Readings are shown to 0.1 ms and 0.1 mA.

Numbers come from numpy's RandomState, whose stream is frozen: the same seed gives the same sheets for ever.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

Numbers = npt.NDArray[np.float64]
Random = np.random.RandomState

READINGS = ("trip_time_1x_0", "trip_time_1x_180", "trip_time_5x_0", "trip_time_5x_180", "trip_current")


@dataclass(frozen=True)
class Devices:
    """What each of n devices is, apart from any one test of it; every array has shape (n,)."""

    rated: Numbers  # rated residual current, mA
    level_1x: Numbers  # typical trip time at rated, ms
    level_5x: Numbers  # typical trip time at five times rated, ms
    phase: Numbers  # trip time at 180° less that at 0°, ms
    trip_current: Numbers  # mA

    def part(self, which: slice) -> Devices:
        """Some of the devices."""
        return Devices(**{f.name: getattr(self, f.name)[which] for f in fields(self)})


def devices(random: Random, rated: Numbers, selective: npt.NDArray[np.bool_] | None = None) -> Devices:
    """Make devices with the rated currents given (mA); selective ones hold back for 150 ms and more."""
    n = len(rated)
    level_1x = np.maximum(24 * np.exp(0.35 * random.standard_normal(n)), 9)
    level_1x = np.where(rated <= 10, np.minimum(level_1x, 30), level_1x)  # type I has to be quicker
    level_5x = np.minimum(np.maximum(13 * np.exp(0.35 * random.standard_normal(n)), 6), level_1x)
    if selective is not None:
        level_1x = np.where(selective, 150 + 250 * random.random_sample(n), level_1x)
        level_5x = np.where(selective, 60 + 60 * random.random_sample(n), level_5x)
    phase = np.clip(3 * random.standard_normal(n), -10, 10)
    share = np.clip(0.73 + 0.073 * random.standard_normal(n), 0.52, 0.98)
    return Devices(rated, level_1x, level_5x, phase, share * rated)


def visit(random: Random, tested: Devices, drift: float = 0.03) -> dict[str, Numbers]:
    """Readings of one visit: devices near their own level (relative spread `drift`), 0.3 ms of noise."""
    n = len(tested.rated)

    def spread(relative: float) -> Numbers:
        return np.exp(relative * random.standard_normal(n))

    def time(level: Numbers, sign: float, floor: float) -> Numbers:
        phase = np.clip(tested.phase, -0.3 * level, 0.3 * level)
        shown = np.maximum(level + sign * phase / 2 + 0.3 * random.standard_normal(n), floor)
        return np.asarray(shown.round(1), dtype=np.float64)

    now_1x = tested.level_1x * spread(drift)
    now_5x = np.minimum(tested.level_5x * spread(drift), now_1x)
    times = (time(now_1x, -1, 6), time(now_1x, 1, 6), time(now_5x, -1, 4), time(now_5x, 1, 4))
    ramp: Numbers = np.clip(tested.trip_current * spread(drift / 3), 0.51 * tested.rated, 0.99 * tested.rated)
    return dict(zip(READINGS, (*times, ramp.round(1)), strict=True))


def minutes(random: Random, n: int, median: float = 2.4) -> npt.NDArray[np.int64]:
    """Minutes of the day after the start at which each of n tests was noted, from 80 s a test upward."""
    gaps = np.maximum(median * np.exp(0.35 * random.standard_normal(n)), 80 / 60)
    walks = np.where(random.random_sample(n) < 0.06, 12 * random.random_sample(n), 0)
    return np.cumsum(gaps + walks).astype(np.int64)
