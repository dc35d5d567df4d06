"""What a complete test needs, and which outlets of which visits lack it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.options import Options
from rcdcheck.rules import Need, RuleSet
from rcdcheck.tables import Mask, Tables, Texts
from rcdcheck.terms import Slot, Verdict

RAMP = Need("trip_current", ("any",), "asked for with --require ramp", "common practice", multiple=0.0)


@dataclass(frozen=True)
class Needs:
    """lacking: units that lack something, shape (units,); by_rules: those that lack what the rule set itself needs,
    whatever --require adds; words: what they lack; field: the slot that stands for it."""

    lacking: Mask
    by_rules: Mask
    words: Texts
    field: str


@dataclass(frozen=True)
class Supplied:
    """A need at one phase, and the tests with a reading that answers it, shape (tests,)."""

    need: Need
    phase: str
    by: Mask


def supplied_needs(tables: Tables, verdicts: pd.DataFrame, rules: RuleSet, options: Options) -> list[Supplied]:
    """What the rule set needs, and --require adds, each with the tests that have it."""
    test, n = tables.readings["test"].to_numpy(), len(tables.tests)
    return [
        Supplied(need, phase, np.bincount(test[_supplies(tables, verdicts, need, phase)], minlength=n) > 0)
        for need in (*rules.needs, *([RAMP] if "ramp" in options.require else []))
        for phase in need.phases
    ]


def missing_needs(
    tables: Tables, supplied: Sequence[Supplied], rules: RuleSet, unit: npt.NDArray[np.int64], units: int
) -> Needs:
    """Compare the readings of each unit (an outlet at a visit) with what is needed."""
    wanted = [(one.need, one.phase) for one in supplied]
    rated = np.full(units, np.nan)
    rated[unit] = tables.tests["rated_residual_current"].to_numpy()
    bits = np.zeros(units, dtype=np.int64)
    for i, one in enumerate(supplied):
        need, has = one.need, np.bincount(unit[one.by], minlength=units) > 0
        applies = np.isnan(rated) | (rated <= need.rated_to)
        bits |= np.where(applies & ~has, 1 << i, 0)
    patterns, back = np.unique(bits, return_inverse=True)
    texts: Texts = np.array([_in_words(wanted, int(p)) for p in patterns] or [""], dtype=object)
    first = rules.needs[0]
    field = Slot(first.quantity, first.multiple, "180" if "180" in first.phases else "none").name
    of_rules = (1 << sum(len(need.phases) for need in rules.needs)) - 1  # these come first
    return Needs(bits > 0, (bits & of_rules) > 0, texts[back], field)


def _supplies(tables: Tables, verdicts: pd.DataFrame, need: Need, phase: str) -> Mask:
    """Readings that answer a need: "worst of both" answers either phase, any phase answers "any".

    What no rule judges answers none, and at a test current of any size only what was held against a longest time.
    """
    fits = np.array(
        [
            s.quantity == need.quantity
            and s.waveform == need.waveform
            and (phase == "any" or s.phase in (phase, "worst"))
            for s in tables.slots
        ]
        or [False]
    )
    verdict = verdicts["verdict"].to_numpy()
    supplies: Mask = fits[tables.readings["slot"].to_numpy()] & (verdict != Verdict.NOT_JUDGED)
    if np.isnan(need.multiple):
        return supplies & ((verdict == Verdict.UNCLEAR) | np.isfinite(verdicts["limit"].to_numpy()))
    return supplies & (np.abs(verdicts["multiple"].to_numpy() - need.multiple) < 1e-6)


def _in_words(wanted: Sequence[tuple[Need, str]], pattern: int) -> str:
    """`trip time 1× at 0° and 180°`."""
    phases: dict[str, list[str]] = {}
    for i, (need, phase) in enumerate(wanted):
        if pattern >> i & 1:
            title = Slot(need.quantity, need.multiple, "none", need.waveform).title
            phases.setdefault(title, []).append("" if phase == "any" else f"{phase}°")
    return "; ".join(title + (f" at {' and '.join(p)}" if any(p) else "") for title, p in phases.items())
