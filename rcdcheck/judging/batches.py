"""Readings prepared for judging: multiples from test currents, display steps, and batches that are judged together."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.rules import RuleSet
from rcdcheck.tables import Mask, Numbers, Tables
from rcdcheck.terms import Slot, State, current_of_test

# Instruments set currents of 0 to +10 % at rated and more, of -10 % to 0 below: IEC 61557-6, from memory.
NEAR = 0.10
EDGE = 1e-6  # room for a float's edge: 33 mA on 30 are 1×


@dataclass(frozen=True)
class Batch:
    """Readings judged together; arrays of shape (n,)."""

    slot: Slot
    value: Numbers
    state: npt.NDArray[np.int8]
    bound: npt.NDArray[np.int8]
    rated: Numbers
    current: Numbers  # mA that flowed, NaN where not known
    says_ok: Mask  # an unreadable cell that says "OK" or "pass"
    step: Numbers  # display step of the reading, for the uncertainty


@dataclass(frozen=True)
class Whole:
    """All readings of a run with what judging needs of each; arrays of shape (readings,)."""

    slot: npt.NDArray[np.int16]
    multiple: Numbers
    value: Numbers
    state: npt.NDArray[np.int8]
    bound: npt.NDArray[np.int8]
    rated: Numbers
    current: Numbers
    says_ok: Mask
    step: Numbers
    figure: npt.NDArray[np.int64]  # equal where the values are, 0 where there is none

    def only(self, at: npt.NDArray[np.int64]) -> Whole:
        """These readings."""
        return Whole(*(getattr(self, field.name)[at] for field in fields(self)))

    def batch(self, at: npt.NDArray[np.int64], slot: Slot) -> Batch:
        """The readings at these places, which are of one slot."""
        return Batch(
            slot,
            self.value[at],
            self.state[at],
            self.bound[at],
            self.rated[at],
            self.current[at],
            self.says_ok[at],
            self.step[at],
        )


def prepare(tables: Tables, rules: RuleSet) -> Whole:
    """Multiples as judged (from test currents where only those are stated), currents in mA, display steps."""
    readings = tables.readings
    rated = tables.tests["rated_residual_current"].to_numpy()[readings["test"].to_numpy()]
    slot = readings["slot"].to_numpy()
    multiple = np.array([s.multiple for s in tables.slots])[slot]
    stated = readings["test_current"].to_numpy()
    from_current = np.isnan(multiple) & np.isfinite(stated)
    wave = np.array([s.waveform for s in tables.slots])
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = stated[from_current] / rated[from_current]
        multiple[from_current] = nearest_multiple(ratio, wave[slot[from_current]], rules)
    current = current_of_test(stated, multiple, rated)
    state, value = readings["state"].to_numpy(), readings["value"].to_numpy()
    figure, distinct = pd.factorize(value)
    return Whole(
        slot, multiple, value, state, readings["bound"].to_numpy(), rated, current,
        _says_ok(tables, state), _display_step(tables, figure, distinct), figure + 1,
    )  # fmt: skip


def nearest_multiple(ratio: Numbers, wave: npt.NDArray[np.str_], rules: RuleSet) -> Numbers:
    """Ratio of test current to rated current as a multiple that the rules use for its waveform, else to 3 digits.

    From 1× on up to 10 % more than the multiple counts as it, below 1× up to 10 % less.
    """
    out = np.round(ratio, 3)
    for waveform in np.unique(wave):
        for m in (1.0, *rules.multiples_of(str(waveform))):
            low, high = (m, m * (1 + NEAR)) if m >= 1 else (m * (1 - NEAR), m)
            out = np.where((wave == waveform) & (ratio >= low - EDGE) & (ratio <= high + EDGE), m, out)
    return out


def _says_ok(tables: Tables, state: npt.NDArray[np.int8]) -> Mask:
    """Unreadable cells whose text is a plain pass word; a bare yes answers a question that nobody knows here."""
    from rcdcheck.intake.cells.phrases import says
    from rcdcheck.intake.cells.whole_columns import read_flags
    from rcdcheck.terms import Flag

    out = np.zeros(len(state), dtype=bool)
    at = np.flatnonzero(state == State.UNREADABLE)
    if len(at):
        codes, distinct = pd.factorize(tables.readings["text"].to_numpy()[at])
        texts = tables.texts(distinct)
        answers = np.array([says("yes", text) for text in texts], dtype=bool)
        out[at] = ((read_flags(texts).flag == Flag.PASS) & ~answers)[codes]
    return out


def _display_step(tables: Tables, figure: npt.NDArray[np.int64], distinct: Numbers) -> Numbers:
    """Display step of each reading: 1 where all readings of its column are whole, else 0.1 or 0.01 (ms or mA).

    figure: place of each reading's value among the distinct ones, -1 where it has none.
    """
    readings = tables.readings
    sheet, column = tables.tests["sheet"].to_numpy()[readings["test"].to_numpy()], readings["column"].to_numpy()
    distinct = np.append(distinct, np.nan)  # at -1
    tenths = np.abs(distinct - np.round(distinct, 1)) < 1e-9
    whole = np.isnan(distinct) | (np.abs(distinct - np.round(distinct)) < 1e-9)
    fine = np.select([whole, tenths], [1.0, 0.1], 0.01)[figure]
    steps = np.ones((int(sheet.max(initial=-1)) + 1, int(column.max(initial=-1)) + 1))
    np.minimum.at(steps, (sheet, column), fine)
    return steps[sheet, column]
