"""Crude inventions, six of which were once believed, each over a sheet that was honest: 0.1 ms and 0.1 mA."""

from __future__ import annotations

from collections.abc import Callable

from habits import Files, one
from people import DAY, HALF, RAMP, YEAR, ZERO, Rng, Way, aged, clock, fleet, rows

Style = Callable[[Rng, int], Files]
READINGS = (ZERO, HALF, RAMP)


def series(rng: Rng, n: int) -> Files:
    """The first row dragged down all columns of readings in steps of 0.1."""
    day = rows(fleet(rng, n), rng)
    return one([r | {k: f"{float(day[0][k]) + 0.1 * i:.1f}" for k in READINGS[:2]} for i, r in enumerate(day)])


def constant_apart(rng: Rng, n: int) -> Files:
    """180° always 0° and a constant."""
    apart = float(rng.choice([-1.2, -0.7, 0.4, 0.9, 1.3]))
    return one([r | {HALF: f"{float(r[ZERO]) + apart:.1f}"} for r in rows(fleet(rng, n), rng)])


def one_column_pasted(rng: Rng, n: int) -> Files:
    """0° of a block pasted lower down beside fresh 180°."""
    return _pasted(rng, n, (ZERO,), lambda block: block)


def reversed_block(rng: Rng, n: int) -> Files:
    """A block pasted in reverse."""
    return _pasted(rng, n, READINGS, lambda block: block[::-1])


def every_second_off(rng: Rng, n: int) -> Files:
    """A block pasted, every second row one step off in each reading."""

    def off(block: list[dict[str, str]]) -> list[dict[str, str]]:
        return [r | {k: f"{float(r[k]) + 0.1 * (i % 2):.1f}" for k in READINGS} for i, r in enumerate(block)]

    return _pasted(rng, n, READINGS, off)


def _pasted(
    rng: Rng, n: int, columns: tuple[str, ...], change: Callable[[list[dict[str, str]]], list[dict[str, str]]]
) -> Files:
    day = rows(fleet(rng, n), rng)
    length = int(rng.integers(12, 21))
    source, target = int(rng.integers(0, n // 2 - length + 1)), int(rng.integers(n // 2, n - length + 1))
    for i, pasted in enumerate(change(day[source : source + length])):
        day[target + i] = day[target + i] | {k: pasted[k] for k in columns}
    return one(day)


def sites_in_turn(rng: Rng, n: int) -> Files:
    """Two towns in turn, device by device, with no time to travel between."""
    devices = [
        d
        for pair in zip(fleet(rng, n // 2), fleet(rng, n // 2, site="Mill Lane", first=501), strict=True)
        for d in pair
    ]
    return one(rows(devices, rng, Way(), times=clock(rng, len(devices), DAY, 100)))


def last_visit_shifted(rng: Rng, n: int) -> Files:
    """Both trip times of the last visit and a constant, on every device."""
    devices = fleet(rng, n)
    last, now = rows(devices, rng, start=DAY - YEAR), rows(aged(devices, rng), rng)
    by = float(rng.choice([-0.6, -0.3, 0.2, 0.4, 0.7]))
    moved = [r | {k: f"{float(old[k]) + by:.1f}" for k in (ZERO, HALF)} for r, old in zip(now, last, strict=True)]
    return one(last, "last.csv") | one(moved)


STYLES: dict[str, Style] = {
    "a series dragged down in steps of 0.1 ms": series,
    "180° always 0° plus a constant": constant_apart,
    "0° of a block pasted beside fresh 180°": one_column_pasted,
    "a block pasted in reverse": reversed_block,
    "a block pasted, every second row one step off": every_second_off,
    "two sites in turn, no time to travel": sites_in_turn,
    "both trip times of the last visit, moved by a constant": last_visit_shifted,
}
