"""Rows that are parts of the device above them: what a box states once holds for its outlets, phases and checks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.intake.opened.grids import Coded
from rcdcheck.intake.taken_out.context import Context
from rcdcheck.numbering import combined, first_places
from rcdcheck.tables import Mask

PARTS = ("outlet", "phase", "multiple", "quantity", "test_current")
# What is true of a whole box and of one day's work at it; checks, readings and remarks belong to their own row.
OF_THE_BOX = (
    "site", "location", "environment", "model", "kind", "rcd_type", "waveform_type", "delay",
    "technician", "instrument", "setup",
)  # fmt: skip
FARTHEST = 2  # rows down from the one before: a single blank row may stand between the outlets of a box


@dataclass(frozen=True)
class Boxes:
    """head: place of the first row of each row's box, shape (n,); carried: rows that take the box's name from it."""

    head: npt.NDArray[np.int64]
    carried: Mask


def boxes_of(context: Context, device: Coded) -> Boxes:
    """Which rows are parts of which box, by a device named once above its outlets, phases or checks.

    A row without a name is a part where it names an outlet, a phase, a multiple or a measurement that the device above
    has not had yet; a row that repeats the name of the row above is one too, and takes only what it leaves blank.
    """
    n = len(context.at)
    columns = context.table.of(*PARTS)
    if not columns or not n:
        return Boxes(np.arange(n), np.zeros(n, dtype=bool))
    told = [context.cells(c) for c in columns]
    blank = np.logical_and.reduce([cells.blank for cells in told])
    named = ~device.blank
    above = pd.Series(np.where(named, np.arange(n), -1)).cummax().to_numpy()  # nearest named row
    name = np.where(above >= 0, device.codes[above], -1)
    changed = np.r_[True, name[1:] != name[:-1]]
    far = np.r_[True, np.diff(context.numbers) > FARTHEST]
    run = np.cumsum(named & (changed | far))
    again = ~first_places(combined(run, *(cells.codes for cells in told)))
    begins = named & (changed | far | again | blank)
    head = np.maximum.accumulate(np.where(begins, np.arange(n), 0))
    stray = ~named & (far | blank | again | (above < 0))  # and every nameless row after it, up to the next name
    lost = np.cumsum(stray)
    since = np.maximum.accumulate(np.where(named, lost, 0))
    carried = ~named & (lost == since) & (above >= 0)
    return Boxes(np.where(named | carried, head, np.arange(n)), carried)


def name_parts(context: Context, boxes: Boxes, identifiers: dict[str, Coded]) -> None:
    """The names of a box in the rows that are parts of it, and said."""
    if not boxes.carried.any():
        return
    for name, texts in identifiers.items():
        take = boxes.carried & texts.blank
        identifiers[name] = texts.taken(np.where(take, boxes.head, np.arange(len(take))))
    if not context.quiet:
        context.findings.add("device-carried-down", sheet=context.sheet, rows=int(boxes.carried.sum()))


def describe_parts(context: Context, boxes: Boxes, out: dict[str, Any]) -> None:
    """What the first row of a box states of the whole box, in the rows of it that leave it blank."""
    head = boxes.head
    if (head == np.arange(len(head))).all():
        return
    for name in OF_THE_BOX:
        out[name] = np.where(out[name] == 0, out[name][head], out[name]).astype(np.int32)
    lacking = np.isnan(out["rated_residual_current"]) & ~out["rated_unreadable"]
    out["rated_unreadable"] |= lacking & out["rated_unreadable"][head]
    out["rated_residual_current"] = np.where(
        lacking, out["rated_residual_current"][head], out["rated_residual_current"]
    )
    undated = np.isnat(out["tested_at"])
    out["clock_known"] = np.where(undated, out["clock_known"][head], out["clock_known"])
    for name in ("tested_at", "retest_due"):
        out[name] = np.where(np.isnat(out[name]), out[name][head], out[name])
    _carry_outlets(context, head, out)


def _carry_outlets(context: Context, head: npt.NDArray[np.int64], out: dict[str, Any]) -> None:
    """An outlet named once above its phases or measurements holds for the rows of its box below it."""
    others = [c for c in context.table.of(*PARTS) if c.meaning.field != "outlet"]
    if not context.table.of("outlet") or not others:
        return
    speaks = ~np.logical_and.reduce([context.cells(c).blank for c in others])
    said = pd.Series(out["outlet"]).where(lambda codes: codes > 0)
    below = said.groupby(head).ffill().fillna(0).to_numpy().astype(np.int32)
    out["outlet"] = np.where((out["outlet"] == 0) & speaks, below, out["outlet"])
