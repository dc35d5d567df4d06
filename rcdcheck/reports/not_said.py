"""What the grade does not say, in the same words on every face: what was not asked, what would hardly be seen, and how
to find out."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from rcdcheck.audits import Audit
from rcdcheck.scrutiny import method
from rcdcheck.terms import Bound, State
from rcdcheck.witness.drawing import latest
from rcdcheck.witness.sample_size import needed

OF_DEVICES = ("equal_phases", "repeated_sets", "copied_blocks", "one_value")  # count devices, not readings
SELDOM = 50  # per cent of fabricated records below which a style is hardly seen
FALSE, SURE = 0.1, 0.95  # a tenth of the record false, met with 95 in 100


def not_said(audit: Audit) -> str:
    """Sentences to stand beside the grade; empty where no device could be read."""
    n = len(latest(audit))
    if not n:
        return ""
    size = needed(n, max(1, math.ceil(FALSE * n)), SURE)
    witness = (
        f"of {n:,} devices {size:,} drawn at random and tested again would meet a false record with a chance of "
        f"{100 * SURE:.0f} in 100, if a tenth were false"
        if size < n
        else "with so few, only a re-test of every device would be sure to meet a false record"
    )
    told = " ".join(filter(None, (_not_asked(audit), _hardly_seen(audit))))
    spoken = f"{told} The grade does not speak of that: {witness}" if told else witness[0].upper() + witness[1:]
    return f"{spoken} (rcdcheck witness)."


def _not_asked(audit: Audit) -> str:
    if not _of_chance(audit)["asked"].any():
        return "No question of chance could be asked: credibility could not be tested."
    left = audit.questions[~audit.questions["asked"]]["question"].nunique()
    return f"Of {len(method.QUESTIONS)} questions of credibility {left} could not be asked of everyone." if left else ""


def hardly_seen(audit: Audit) -> list[tuple[str, str]]:
    """Ways of making readings up that raise a doubt in fewer than half of such records, and in how many."""
    return [(style, f"{share:.0f} in 100") for style, share in _power(audit).items() if share < SELDOM]


def _hardly_seen(audit: Audit) -> str:
    """How many ways of making readings up seldom raise a doubt in records of this size and display, as measured."""
    devices, seen = _largest(audit), _power(audit)
    if not seen:
        smallest = method.calibration()["sizes"][0]
        return f"Records of fewer than {smallest} devices show next to nothing." if devices else ""
    seldom = len(hardly_seen(audit))
    display = "whole milliseconds" if _whole_milliseconds(audit) else "tenths of a millisecond"
    return (
        f"Of {len(seen)} simulated ways of making readings up {seldom} raise a doubt in fewer than half of the records "
        f"that are as large as the largest here ({devices:,} devices) and in {display}."
        if seldom
        else ""
    )


def _power(audit: Audit) -> dict[str, float]:
    """In how many of 100 records of this size and display each way of making readings up raises a doubt."""
    measured, devices = method.calibration(), _largest(audit)
    sizes = [size for size in measured["sizes"] if size <= devices]
    step = 1.0 if _whole_milliseconds(audit) else 0.1
    of_step = [p for p in measured["power"] if p["step_ms"] == step] if sizes else []
    return {str(p["style"]): float(p["per_cent"]["any doubt"][len(sizes) - 1]) for p in of_step}


def _largest(audit: Audit) -> int:
    """Devices of the largest record that a question of chance was asked of."""
    asked = _of_chance(audit)
    return int(asked.loc[asked["asked"], "n"].max()) if asked["asked"].any() else 0


def _of_chance(audit: Audit) -> pd.DataFrame:
    return audit.questions[audit.questions["question"].isin(OF_DEVICES)]


def _whole_milliseconds(audit: Audit) -> bool:
    """Whether nine in ten trip times are whole numbers; of tenths one in ten is."""
    readings = audit.tables.readings
    times = [i for i, slot in enumerate(audit.tables.slots) if slot.quantity == "trip_time"]
    plain = readings["slot"].isin(times) & (readings["state"] == State.TRIPPED) & (readings["bound"] == Bound.EXACT)
    value = readings.loc[plain, "value"].to_numpy()
    return bool(len(value)) and float((value == np.rint(value)).mean()) >= 0.9
