"""What a column may mean whose heading nobody knows, or that has none."""

from __future__ import annotations

import functools
import re

import numpy as np

from rcdcheck import data
from rcdcheck.intake.cells.classes import class_cell
from rcdcheck.intake.cells.verdicts import one_denies_another
from rcdcheck.intake.understood.candidates import Candidate, weights
from rcdcheck.intake.understood.grammars import Kind
from rcdcheck.intake.understood.lexicon import device_apart, normal
from rcdcheck.intake.understood.meaning import Meaning
from rcdcheck.intake.understood.profiles import AGAIN, Profile
from rcdcheck.terms import Slot


@functools.cache
def _totals() -> frozenset[str]:
    """What columns of sums and counts are headed."""
    return frozenset(map(normal, data.toml("words.toml")["rows"]["total"]))


def by_cells_alone(cells: Profile, heading: str = "?") -> list[Candidate]:
    """What a column may mean whose heading nobody knows, or that has none: cells of one clear kind that few hold."""
    told = weights()["heading"]
    out = []
    if (device_by_cells(cells) and normal(heading) not in _totals()) or (
        not heading and (_titles(cells) or _called_devices(cells))
    ):
        out.append(Candidate(Meaning("device"), told["unknown_device"], why=(BY_CELLS,)))
    for field, kind in _CLEAR.items():
        if cells.filled > 2 and cells.share(kind) >= told["unknown_share"]:
            out.append(Candidate(Meaning(field), told["unknown_heading"], why=(ONLY_CELLS,)))
    if cells.named_share >= told["unknown_share"] and 2 <= cells.distinct <= MOST_NAMES:
        out.append(Candidate(Meaning("quantity"), told["unknown_heading"], why=(ONLY_CELLS,)))
    if cells.multiples_share >= told["unknown_share"] and cells.distinct > 1:
        out.append(Candidate(Meaning("multiple"), told["unknown_heading"], why=(ONLY_CELLS,)))
    if min(cells.share(Kind.RATED), cells.share(Kind.CURRENT)) >= told["unknown_share"]:
        out.append(Candidate(Meaning("rated_residual_current"), told["unknown_heading"], why=(ONLY_CELLS,)))
    if cells.share(Kind.CURRENT) >= told["unknown_share"] and not cells.share(Kind.RATED) > 0.5:
        ramp = Meaning("reading", Slot("trip_current", 0.0), multiple_said=True)
        out.append(Candidate(ramp, told["unknown_heading"], why=(ONLY_CELLS,)))
    if cells.share(Kind.PAIR | Kind.UNMEASURED) >= told["unknown_share"] and cells.share(Kind.PAIR) > 0.5:
        both = Meaning("pair", Slot("trip_time", 1.0), how="two readings in a cell read as 0° and 180°")
        out.append(Candidate(both, told["unknown_heading"], why=(ONLY_CELLS,)))
    if remarks(cells) and not (cells.repeats >= AGAIN and one_denies_another(cells.texts)):
        why = (
            "its heading is not known, and its cells are words"
            if heading
            else "it has no heading, and its cells are words"
        )
        out.append(Candidate(Meaning("remark"), told["words"], why=(why,)))
    if cells.explained_share == 1.0:
        out.append(Candidate(Meaning("declared"), told["words"], why=("the sheet says what its marks mean",)))
    if {_delay(text) for text in cells.texts} == {"selective", "general"} and cells.filled == cells.rows:
        out.append(Candidate(Meaning("delay"), told["words"], why=(ONLY_CELLS,)))
    if cells.counts:
        out.append(Candidate(Meaning("outlet"), told["unknown_heading"], why=(ONLY_CELLS,)))
    return out


def _delay(text: str) -> str:
    """The delay that is all that a cell says ("S", "gen", "type S"); empty for anything else."""
    kind, wave, delay, problem, _ = class_cell(text)
    return delay if not (kind or wave or problem) else ""


def _titles(cells: Profile) -> bool:
    """Whether cells are the titles of cards: words in every row, no two alike, none that says what was found."""
    found = Kind.PASS | Kind.FAIL | Kind.FAULT | Kind.NO_ACCESS | Kind.DATE | Kind.UNMEASURED
    worded = cells.share(Kind.WORDS | Kind.NAME | Kind.CODE) == 1.0
    return worded and cells.filled == cells.rows > 1 and not cells.repeats and not cells.share(found)


def _called_devices(cells: Profile) -> bool:
    """Whether most cells call a device by its number, over which boards stand in lines of their own: "RCD 1"."""
    called = [device_apart(text) for text in cells.texts if any(map(str.isdigit, text))]
    return len(called) > 1 and sum(called) > 0.7 * len(cells.texts)


def remarks(cells: Profile) -> bool:
    """Whether cells are words, several in a cell here and there, as remarks are and names of people and places too."""
    return (
        cells.share(Kind.WORDS) > 0.8 and any(" " in text for text in cells.texts) and not cells.share(Kind.CODE) > 0.5
    )


_CLEAR = {"tested_at": Kind.DATE, "phase": Kind.PHASE, "time": Kind.CLOCK, "unit": Kind.UNIT,
          "value": Kind.NUMBER | Kind.BOUND | Kind.NO_TRIP | Kind.PASS | Kind.FAIL}  # fmt: skip


BY_CELLS, ONLY_CELLS = "its cells tell rows apart", "its heading is not known, and its cells are"


REPEATING = 0.15  # share of names that come again, as those of devices do that were tested again


MOST_NAMES = 40  # different names of measurements in a column


def device_by_cells(cells: Profile, repeating: float = REPEATING) -> bool:
    """Whether the cells tell the rows apart as names of devices do, whatever their heading says.

    repeating: share of cells that may stand above already.
    """
    named = cells.share(Kind.CODE | Kind.NAME | Kind.WHOLE) > 0.75 and cells.filled >= 0.15 * cells.rows
    bare = np.array([k & Kind.NUMBER and not k & (Kind.WHOLE | Kind.WORDS) for k in cells.kinds], dtype=bool)
    said = np.array([k & (Kind.PASS | Kind.FAIL | Kind.DATE) and not (k & Kind.CODE and any(map(str.isdigit, t)))
                     for k, t in zip(cells.kinds, cells.texts, strict=True)], dtype=bool)  # fmt: skip
    decimals = cells.weight[bare].sum() > 0.1 * cells.filled  # and not "4 Alder Row"
    plain = not decimals and not cells.weight[said].sum() > 0.1 * cells.filled
    return (named and plain and cells.repeats < repeating) or in_series(cells)


def in_series(cells: Profile) -> bool:
    """Whether most cells are one name with a number of its own each: "Power head 1", "Distro A"."""
    stems = [re.sub(r"\d+\w?$|\w$", "", text) for text in cells.texts if _NUMBERED.fullmatch(text)]
    often = max(map(stems.count, set(stems)), default=0)
    return cells.filled > 3 and not cells.repeats and often >= SERIES * len(cells.texts)


SERIES = 0.7  # share of the cells that are one name and a number
_NUMBERED = re.compile(r"[^\W\d_][^\d=<>]*(?:[\s.-]*\d{1,3}[a-zA-Z]?|\s[A-Z])")
