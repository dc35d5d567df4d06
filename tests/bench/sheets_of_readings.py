"""Seeded sheets of readings, honest of sixteen kinds and fabricated in the styles that people use.

A fleet has one to three models with median trip times around 27 ms; devices, phases and readings scatter as stated
here. The figures are choices of a simulation, not published: published readings (12 to 40 ms at rated current,
ramp currents of 18 to 28 of 30 mA) lie inside them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from rcdcheck.scrutiny import preparation
from rcdcheck.scrutiny.preparation import Group
from rcdcheck.tables import Numbers

Rng = np.random.Generator
NOISE_MS, NOISE_MA = 0.3, 0.15


@dataclass(frozen=True)
class Kind:
    """One kind of honest fleet, instrument and technician."""

    name: str
    models: tuple[int, int] = (1, 3)
    device_spread: tuple[float, float] = (0.07, 0.20)
    phase_ms: tuple[float, float] = (1.5, 3.0)
    bimodal: bool = False  # half of the devices differ by +8 ms, half by −8 ms
    alike: float = 0.0  # share of devices whose phases differ by 0.3 ms only
    runs: bool = False  # devices stand in runs of 4 to 12 of one model
    stable: bool = False  # devices hardly changed since the last visit
    counter_ms: float = 0.0  # the instrument counts in steps of this size
    rounds: float = 0.0  # share of values that the technician rounds to whole ms and mA
    step: tuple[float, float] = (0.1, 0.1)  # display resolution, ms and mA


FINE, MIXED, COARSE = (0.1, 0.1), (1.0, 0.1), (1.0, 1.0)
TIGHT = Kind("", models=(1, 1), device_spread=(0.07, 0.07), phase_ms=(1.5, 1.5))
KINDS = (
    Kind("usual fleet, 0.1 ms and 0.1 mA"),
    Kind("usual fleet, 1 ms and 0.1 mA", step=MIXED),
    Kind("usual fleet, 1 ms and 1 mA", step=COARSE),
    replace(TIGHT, name="one tight model, 0.1 ms"),
    replace(TIGHT, name="one tight model, 1 ms", step=COARSE),
    Kind("phases 8 ms apart either way, 0.1 ms", bimodal=True),
    Kind("phases 8 ms apart either way, 1 ms", bimodal=True, step=COARSE),
    Kind("30 % alike at both phases, 0.1 ms", alike=0.3),
    Kind("30 % alike at both phases, 1 ms", alike=0.3, step=COARSE),
    Kind("all alike at both phases, 0.1 ms", alike=1.0),
    Kind("all alike at both phases, 1 ms", alike=1.0, step=COARSE),
    Kind("runs of one model, 0.1 ms", models=(3, 3), runs=True),
    Kind("runs of one model, 1 ms", models=(3, 3), runs=True, step=COARSE),
    Kind("instrument counts in 0.5 ms", counter_ms=0.5),
    Kind("technician rounds 30 % to whole ms", rounds=0.3),
    Kind("hardly changed since the last visit, 1 ms", stable=True, step=COARSE),
)

# Sheets to fabricate: three models whose phases differ by 3 ms, whose coincidences are known
# (at 1 ms and 1 mA about 18 of the 4,950 pairs of 100 devices are equal in both trip times, 3 in all readings).
TO_FABRICATE = Kind("three models, phases 3 ms apart", models=(3, 3), device_spread=(0.16, 0.20), phase_ms=(3.0, 3.0))


@dataclass(frozen=True, eq=False)
class Sheet:
    """Readings of now and of the last visit in ms, ms and mA, shape (n, 3) each, before display; and of what kind."""

    kind: Kind
    now: Numbers
    last: Numbers

    def shown(self, rng: Rng) -> Sheet:
        """The sheet as instrument and technician leave it."""
        return replace(self, now=_shown(self.now, self.kind, rng), last=_shown(self.last, self.kind, rng))


def fleet(kind: Kind, n: int, rng: Rng) -> Sheet:
    """An honest sheet, before display."""
    models = int(rng.integers(kind.models[0], kind.models[1] + 1))
    median = np.clip(rng.lognormal(np.log(27), 0.32, models), 14, 50)
    spread, phase = rng.uniform(*kind.device_spread, models), rng.uniform(*kind.phase_ms, models)
    level = rng.uniform(0.74, 0.82, models)
    model = _models_in_order(models, n, kind.runs, rng)
    base = median[model] * np.exp(rng.normal(0, 1, n) * spread[model])
    difference = _difference(kind, phase[model], rng)
    ramp = 30 * (level[model] + 0.05 * _bounded(n, rng))
    if kind.stable:
        base_last, difference_last, ramp_last = base, difference, ramp
    else:
        base_last = base * (1 + rng.normal(0, 0.03, n))
        difference_last = 0.8 * difference + 0.6 * _difference(kind, phase[model], rng)
        ramp_last = ramp * (1 + rng.normal(0, 0.03, n))
    return Sheet(kind, _read(base, difference, ramp, rng), _read(base_last, difference_last, ramp_last, rng))


def _bounded(n: int, rng: Rng) -> Numbers:
    """Normal deviates of at most 2.5 standard deviations, so that ramp currents stay within 0.55 to 0.98 of rated."""
    z = rng.normal(0, 1, n)
    return np.where(np.abs(z) > 2.5, rng.uniform(-2.5, 2.5, n), z)


def _models_in_order(models: int, n: int, runs: bool, rng: Rng) -> np.ndarray:
    if not runs:
        return rng.integers(models, size=n)
    lengths = rng.integers(4, 13, size=n)
    return np.repeat(rng.integers(models, size=n), lengths)[:n]


def _difference(kind: Kind, phase: Numbers, rng: Rng) -> Numbers:
    n = len(phase)
    difference = rng.normal(0, 1, n) * phase
    if kind.bimodal:
        difference = rng.choice([-8.0, 8.0], n) + rng.normal(0, 1, n)
    alike = rng.random(n) < kind.alike
    return np.where(alike, rng.normal(0, 0.3, n), difference)


def _read(base: Numbers, difference: Numbers, ramp: Numbers, rng: Rng) -> Numbers:
    noise = rng.normal(0, 1, (len(base), 3)) * [NOISE_MS, NOISE_MS, NOISE_MA]
    return np.column_stack([base + difference / 2, base - difference / 2, ramp]) + noise


def _shown(readings: Numbers, kind: Kind, rng: Rng) -> Numbers:
    if kind.counter_ms:
        readings = readings.copy()
        readings[:, :2] = np.rint(readings[:, :2] / kind.counter_ms) * kind.counter_ms
    step = np.array([kind.step[0], kind.step[0], kind.step[1]])
    shown = np.round(np.rint(readings / step) * step, 6)
    return np.where(rng.random(shown.shape) < kind.rounds, np.rint(shown), shown)


def groups_of(sheet: Sheet, reference: Sheet) -> tuple[Group, Group]:
    """What scrutiny asks: the sheet with its last visit beside it, and the last visit as a sheet of its own."""
    now, last = sheet.now.T, sheet.last.T
    changes = tuple((reference.now - reference.last).T[:2])
    return preparation.group(*now, earlier=tuple(last), changes_elsewhere=lambda: changes), preparation.group(*last)


# ── fabrication ──


@dataclass(frozen=True)
class Style:
    """A way to fabricate readings: what it does to a sheet that is shown, and the questions that should see it."""

    name: str
    make: Callable[[Sheet, Rng], Sheet]
    seen_by: tuple[str, ...]


def rows_copied(share: float) -> Callable[[Sheet, Rng], Sheet]:
    """Whole rows replaced by those of devices that were measured."""

    def make(sheet: Sheet, rng: Rng) -> Sheet:
        now = sheet.now.copy()
        order = rng.permutation(len(now))
        copies = max(1, round(share * len(now)))
        now[order[:copies]] = now[rng.choice(order[copies:], copies)]
        return replace(sheet, now=now)

    return make


def blocks_pasted(share: float, *, from_last: bool) -> Callable[[Sheet, Rng], Sheet]:
    """Blocks of 6 to 12 rows pasted elsewhere in the sheet, or taken from another place of the last visit."""

    def make(sheet: Sheet, rng: Rng) -> Sheet:
        now, source = sheet.now.copy(), sheet.last if from_last else sheet.now
        n, done = len(now), 0
        while done < share * n:
            length = int(rng.integers(6, min(12, n // 2 - 2) + 1))
            here = int(rng.integers(0, n - length + 1))
            there = int(rng.integers(0, n - length + 1))
            if abs(here - there) >= length:
                now[here : here + length] = source[there : there + length]
                done += length
        return replace(sheet, now=now)

    return make


def phase_copied(share: float) -> Callable[[Sheet, Rng], Sheet]:
    """The reading at 180° replaced by that at 0°."""

    def make(sheet: Sheet, rng: Rng) -> Sheet:
        now = sheet.now.copy()
        copied = rng.permutation(len(now)) < round(share * len(now))
        now[copied, 1] = now[copied, 0]
        return replace(sheet, now=now)

    return make


def dragged_down(share: float, *, series: bool) -> Callable[[Sheet, Rng], Sheet]:
    """Blocks of 5 to 15 rows in which every reading is the cell above, or climbs by one step a row."""

    def make(sheet: Sheet, rng: Rng) -> Sheet:
        now = sheet.now.copy()
        n, done = len(now), 0
        step = np.array([sheet.kind.step[0], sheet.kind.step[0], sheet.kind.step[1]])
        while done < share * n:
            length = int(rng.integers(5, 16))
            here = int(rng.integers(0, n - length + 1))
            climb = step * np.arange(length)[:, None] if series else np.zeros((length, 3))
            now[here : here + length] = np.round(now[here] + climb, 6)
            done += length
        return replace(sheet, now=now)

    return make


# Last digits of questioned cell counts as published (Pitt and Hill); from memory, counts agree with the statistics.
QUESTIONED = np.array([475, 613, 736, 416, 335, 732, 363, 425, 372, 718])


def invented(*, halves: bool) -> Callable[[Sheet, Rng], Sheet]:
    """Typed from the head: a usual spread, favourite last digits, perhaps many .0 and .5, too much up and down."""

    def make(sheet: Sheet, rng: Rng) -> Sheet:
        latent = _alternating(len(sheet.now), rng)
        typed = np.array([27.0, 27.0, 23.0]) + latent[:, 1:] * [2.0, 2.0, 1.5] + latent[:, :1] * [4.0, 4.0, 0.0]
        step = np.array([sheet.kind.step[0], sheet.kind.step[0], sheet.kind.step[1]])
        steps = np.rint(typed / step)
        if sheet.kind.step[0] < 1:
            steps = np.floor(steps / 10) * 10 + rng.choice(10, steps.shape, p=QUESTIONED / QUESTIONED.sum())
        if halves:
            steps = np.where(rng.random(steps.shape) < 0.4, np.rint(steps / 5) * 5, steps)
        return replace(sheet, now=np.round(steps * step, 6))

    return make


def _alternating(n: int, rng: Rng) -> Numbers:
    """Four normal series of unit variance with lag-1 correlation −0.3."""
    shocks = rng.normal(0, 1, (n, 4))
    out = shocks.copy()
    for i in range(1, n):
        out[i] = -0.3 * out[i - 1] + np.sqrt(1 - 0.09) * shocks[i]
    return out


def last_visit_shifted(share: float) -> Callable[[Sheet, Rng], Sheet]:
    """The last visit's readings moved by up to 0.3 ms and mA; in whole milliseconds by one step at most."""

    def make(sheet: Sheet, rng: Rng) -> Sheet:
        step = np.array([sheet.kind.step[0], sheet.kind.step[0], sheet.kind.step[1]])
        reach = np.maximum(np.rint(0.3 / step), 1)
        moved = sheet.last + np.rint(rng.uniform(-1, 1, sheet.last.shape) * (reach + 0.49)) * step
        taken = rng.permutation(len(moved)) < round(share * len(moved))
        now: Numbers = np.where(taken[:, None], moved, sheet.now)
        return replace(sheet, now=np.round(now, 6))

    return make


def last_visit_copied(share: float) -> Callable[[Sheet, Rng], Sheet]:
    """The last visit's readings of some devices, as they were."""

    def make(sheet: Sheet, rng: Rng) -> Sheet:
        taken = rng.permutation(len(sheet.now)) < round(share * len(sheet.now))
        return replace(sheet, now=np.where(taken[:, None], sheet.last, sheet.now))

    return make


def one_reading(share: float) -> Callable[[Sheet, Rng], Sheet]:
    """One set of readings for many devices."""

    def make(sheet: Sheet, rng: Rng) -> Sheet:
        taken = rng.permutation(len(sheet.now)) < round(share * len(sheet.now))
        return replace(sheet, now=np.where(taken[:, None], sheet.now[int(rng.integers(len(sheet.now)))], sheet.now))

    return make


STYLES = (
    Style("rows copied from other devices, 10 %", rows_copied(0.10), ("repeated-sets",)),
    Style("rows copied from other devices, 30 %", rows_copied(0.30), ("repeated-sets",)),
    Style("blocks of 6 to 12 rows pasted elsewhere, 15 %", blocks_pasted(0.15, from_last=False), ("copied-block",)),
    Style(
        "blocks from another place of the last visit, 15 %",
        blocks_pasted(0.15, from_last=True),
        ("copied-block-elsewhere",),
    ),
    Style("180° copied from 0°, 10 %", phase_copied(0.10), ("equal-phases", "equal-phases-learned")),
    Style("180° copied from 0°, 30 %", phase_copied(0.30), ("equal-phases", "equal-phases-learned")),
    Style("180° copied from 0°, all", phase_copied(1.0), ("equal-phases",)),
    Style("dragged down, 15 %", dragged_down(0.15, series=False), ("filled-down-constant",)),
    Style("dragged down as a series, 15 %", dragged_down(0.15, series=True), ("filled-down-steps",)),
    Style("dragged down, 50 %", dragged_down(0.50, series=False), ("filled-down-constant",)),
    Style("dragged down as a series, 50 %", dragged_down(0.50, series=True), ("filled-down-steps",)),
    Style("invented, favourite digits", invented(halves=False), ("last-digits-uneven", "readings-take-turns")),
    Style(
        "invented, many .0 and .5",
        invented(halves=True),
        ("readings-rounded", "last-digits-uneven", "readings-take-turns"),
    ),
    Style("last visit moved by up to 0.3 ms, all", last_visit_shifted(1.0), ("closer-than-a-repeat",)),
    Style("last visit moved by up to 0.3 ms, half", last_visit_shifted(0.5), ("closer-than-a-repeat",)),
    Style("last visit copied, 20 %", last_visit_copied(0.2), ("unchanged-since-earlier-visit", "unchanged-together")),
    Style("last visit copied, 50 %", last_visit_copied(0.5), ("unchanged-since-earlier-visit", "unchanged-together")),
    Style("one reading for 30 %", one_reading(0.3), ("repeated-sets", "one-value")),
    Style("one reading for all", one_reading(1.0), ("one-value",)),
)
