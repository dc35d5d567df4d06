"""Honest devices, the people who test them, and the rows that they leave.

Written from how such work is done, apart from the questions that scrutiny asks and apart from the first model. The
figures are choices of a simulation, `common practice, no source`: trip times at rated current of 12 to 45 ms, ramp
currents of 55 to 98 % of rated, a repeat within about 0.4 ms, half a minute to five minutes a device.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

Rng = np.random.Generator
Row = dict[str, str]
ZERO, HALF, RAMP, AT = "1× 0° (ms)", "1× 180° (ms)", "Ramp (mA)", "Tested at"
DAY = datetime(2026, 10, 5, 7, 30)  # a Monday
MONTH, YEAR = timedelta(days=28), timedelta(days=364)


@dataclass(frozen=True)
class Device:
    """What a device truly does: trip times at both phases in ms, ramp trip current in mA."""

    name: str
    site: str
    model: str
    zero: float
    half: float
    ramp: float


@dataclass(frozen=True)
class Way:
    """How one person works: names, display steps in ms and mA, seconds a device takes at the middle."""

    person: str = "A. Snowfield"
    instrument: str = "Meter A"
    step: tuple[float, float] = (0.1, 0.1)
    seconds: float = 150.0
    model_named: bool = False
    site_named: bool = True


COARSE = Way(step=(1.0, 1.0))


def fleet(
    rng: Rng,
    n: int,
    *,
    models: int = 3,
    spread: float = 0.14,
    phase: float = 2.5,
    ramp_spread: float = 1.4,
    site: str = "Lantern Street",
    first: int = 1,
    letter: str = "M",
) -> list[Device]:
    """Devices of a few models, mixed as they hang on the boards."""
    middle, level = rng.uniform(18, 38, models), rng.uniform(20.5, 24.5, models)
    devices = []
    for i in range(n):
        m = int(rng.integers(models))
        base = float(middle[m] * np.exp(rng.normal(0, spread)))
        apart = float(rng.normal(0, phase)) / 2
        ramp = float(np.clip(rng.normal(level[m], ramp_spread), 16.5, 29))
        devices.append(Device(f"{letter}-{first + i:04d}", site, f"model {m + 1}", base + apart, base - apart, ramp))
    return devices


def aged(devices: list[Device], rng: Rng, wear: float = 0.03) -> list[Device]:
    """The same devices at another visit: each changed by its own share, the phase a little."""
    return [
        replace(d, zero=d.zero * (1 + a), half=d.half * (1 + a) + b, ramp=min(29.0, d.ramp * (1 + c)))
        for d, a, b, c in zip(
            devices,
            rng.normal(0, wear, len(devices)),
            rng.normal(0, 20 * wear, len(devices)),
            rng.normal(0, wear, len(devices)),
            strict=True,
        )
    ]


def shown(value: float, step: float) -> str:
    """A reading as the instrument displays it."""
    return f"{round(value / step) * step:.{0 if step >= 1 else 1}f}"


def clock(rng: Rng, n: int, start: datetime = DAY, seconds: float = 150.0) -> list[datetime]:
    """When each device was tested: never under 50 s apart, now and then a walk or a talk, 90 a day at most."""
    times, now = [], start
    for i in range(n):
        times.append(now)
        took = max(50.0, float(rng.lognormal(np.log(seconds), 0.35)))
        now += timedelta(seconds=took + (600 if rng.random() < 0.04 else 0))
        if i % 90 == 89:
            now = (now + timedelta(days=1)).replace(hour=7, minute=30)
    return times


def rows(
    devices: list[Device], rng: Rng, way: Way | None = None, start: datetime = DAY, times: list[datetime] | None = None
) -> list[Row]:
    """One row a device, in the order in which they were tested."""
    way = way or Way()
    times = times or clock(rng, len(devices), start, way.seconds)
    return [_row(d, t, rng, way) for d, t in zip(devices, times, strict=True)]


def _row(d: Device, at: datetime, rng: Rng, way: Way) -> Row:
    noise = rng.normal(0, 1, 3) * [0.3, 0.3, 0.15]
    row = {"Asset": d.name}
    if way.site_named:
        row["Site"] = d.site
    if way.model_named:
        row["Model"] = d.model
    return row | {
        "Portable or fixed": "portable",
        "Environment": "hire",
        "Rated IΔn (mA)": "30",
        "RCD type": "A",
        ZERO: shown(d.zero + noise[0], way.step[0]),
        HALF: shown(d.half + noise[1], way.step[0]),
        RAMP: shown(min(29.4, d.ramp + noise[2]), way.step[1]),
        "Result": "pass",
        "Tested by": way.person,
        "Instrument": way.instrument,
        AT: f"{at:%Y-%m-%d %H:%M}",
    }


def without(rows: list[Row], *columns: str) -> list[Row]:
    """The rows, some columns left out."""
    return [{k: v for k, v in r.items() if k not in columns} for r in rows]
