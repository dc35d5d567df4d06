"""The terms of readings and decisions: what an instrument showed, which reading it is, what was decided."""

from __future__ import annotations

import re
from enum import IntEnum
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from rcdcheck.tables import Numbers


class State(IntEnum):
    """What the instrument showed."""

    TRIPPED = 0
    NOT_TRIPPED = 1
    UNREADABLE = 2  # something stands in the cell, and it is not a reading


class Bound(IntEnum):
    """How the number limits the reading: `>300` is ABOVE 300."""

    EXACT = 0
    ABOVE = 1
    BELOW = 2


class Flag(IntEnum):
    """A yes/no cell; ABSENT means that the sheet has no such column."""

    ABSENT = 0
    BLANK = 1
    PASS = 2
    FAIL = 3
    UNCLEAR = 4


class Verdict(IntEnum):
    """Of one reading, in order of precedence: the highest stands."""

    NOT_JUDGED = 0
    PASS = 1
    MARGINAL = 2
    UNCLEAR = 3
    FAIL = 4

    @property
    def word(self) -> str:
        """The word that reports print."""
        return self.name.lower()


class Outcome(IntEnum):
    """Of a device, in order of precedence: the highest stands."""

    PASS = 0
    INCOMPLETE = 1
    UNCLEAR = 2
    FAIL = 3

    @property
    def word(self) -> str:
        """The word that reports print."""
        return self.name.lower()


def current_of_test(stated: Numbers, multiple: Numbers, rated: Numbers) -> Numbers:
    """Currents (mA) that trip times were taken at: stated, else the multiple of the rated current; NaN if unknown."""
    return np.where(np.isnan(stated), multiple * rated, stated)


class Slot(NamedTuple):
    """Which reading a number is: the quantity, at which multiple of IΔn, started at which phase, of which waveform.

    `multiple` is 0 for a ramp (trip_current) and NaN where only a test current in mA is known.
    """

    quantity: str  # "trip_time" in ms or "trip_current" in mA
    multiple: float = 0.0
    phase: str = "none"  # "0", "180", "worst" (of both), "none" (not said)
    waveform: str = "ac"  # "ac", "pulsating", "smooth_dc"

    @property
    def unit(self) -> str:
        """Unit of the value: ms or mA."""
        return "ms" if self.quantity == "trip_time" else "mA"

    @property
    def name(self) -> str:
        """Field name as test-sheet.json spells it: `trip_time_1x_0`, `trip_current`, `trip_time_5x_180_pulsating`."""
        parts = [self.quantity]
        if self.quantity == "trip_time":
            parts.append("x" if np.isnan(self.multiple) else f"{self.multiple:g}x")
        parts += [self.phase] if self.phase != "none" else []
        parts += [self.waveform] if self.waveform != "ac" else []
        return "_".join(parts)

    @property
    def title(self) -> str:
        """What a person calls it: `trip time 1× at 0°`, `ramp trip current`."""
        words = "trip time" if self.quantity == "trip_time" else "ramp trip current"
        if self.quantity == "trip_time" and not np.isnan(self.multiple):
            words += " at half rated" if self.multiple == 0.5 else f" {self.multiple:g}×"
        words += {"0": ", 0°", "180": ", 180°", "worst": ", worst of both phases", "none": ""}[self.phase]
        return words + {"ac": "", "pulsating": ", pulsating", "smooth_dc": ", smooth d.c."}[self.waveform]


def slot_named(name: str) -> Slot | None:
    """The slot that a field name stands for, or None where it names no reading (`device`, `trip_times`)."""
    quantity = next((q for q in ("trip_time", "trip_current") if name == q or name.startswith(q + "_")), None)
    if quantity is None:
        return None
    multiple, phase, waveform = (1.0 if quantity == "trip_time" else 0.0), "none", "ac"
    rest = name[len(quantity) :].replace("smooth_dc", "smooth-dc").strip("_")
    for part in filter(None, rest.split("_")):
        if part in ("0", "180", "worst"):
            phase = part
        elif part in ("pulsating", "smooth-dc"):
            waveform = part.replace("-", "_")
        elif quantity == "trip_time" and re.fullmatch(r"[0-9]+(\.[0-9]+)?x", part):
            multiple = float(part[:-1])
        else:
            return None
    return Slot(quantity, multiple, phase, waveform)
