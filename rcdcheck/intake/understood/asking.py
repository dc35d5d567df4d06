"""What the heading of a column of yes and no asks: for a fault ("Damage?"), or whether it tripped ("Trips at half?").

Under such a heading a yes is no pass. Words for pass and fail keep their sense; "yes", "no", "none" are answers.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Iterable

from rcdcheck.intake.cells.phrases import known, plain, says
from rcdcheck.intake.cells.verdicts import FAIL, PASS, verdict
from rcdcheck.intake.understood.reading_headings import parts_of

_ASIDE = re.compile(r"^\s*\w+\s*[-–,;:(]")  # "yes - contacts burnt"
YES, NO, NOTHING = "yes", "no", ""


@functools.lru_cache(maxsize=2_000)
def asks_for_fault(heading: str) -> str:
    """The check of which a yes under this heading is a fail: "visual" for "Damage?", "declared" for "Needs attention?".

    Empty where the heading asks for no fault.
    """
    asked = plain(heading.strip(" ?:.!¿"))
    if _denies(asked):  # "no damage", "free from defects"
        return ""
    tables = {"visual": "asks_for_damage", "declared": "asks_for_action"}
    return next((c for c, t in tables.items() if any(f" {p} " in f" {asked} " for p in known(t))), "")


@functools.lru_cache(maxsize=2_000)
def asks_for_trip(heading: str) -> bool:
    """Whether a yes under this heading says that the device let go: "Trips at half?" and not "No trip at half"."""
    return bool({"trip", "trip_time"} & {*parts_of(heading).of("quantity")}) and not _denies(plain(heading))


def below_rated(cell: object, heading: str) -> str:
    """ "tripped", "held" or nothing, for a word at a fraction of the rated current.

    A pass held and a fail tripped. A yes or no answers what the heading asks: whether it held, or whether it tripped;
    where that asks neither, a yes is taken for a pass and a no says nothing.
    """
    if not isinstance(cell, str) or not cell.strip():
        return NOTHING
    said = answer(cell)
    if said and asks_for_trip(heading):
        return "tripped" if said == YES else "held"
    if says("tripped", cell) or (said == NO and _asks_to_hold(heading)):
        return "tripped"
    if said == NO or cell.strip().casefold() in ("x", "✗", "✘", "❌", "✕", "×"):
        return NOTHING
    return {PASS: "held", FAIL: "tripped"}.get(verdict(cell), NOTHING)


def answers_unasked(cells: Iterable[object], heading: str) -> list[bool]:
    """Which cells answer yes or no, where some say yes and others no below a heading that asks neither whether it held
    nor whether it tripped: nobody can tell which of them failed."""
    said = [answer(cell) if isinstance(cell, str) else NOTHING for cell in cells]
    open_ = {YES, NO} <= set(said) and not asks_for_trip(heading) and not _asks_to_hold(heading)
    return [open_ and told != NOTHING for told in said]


def _asks_to_hold(heading: str) -> bool:
    return _denies(plain(heading)) or not known("holding").isdisjoint(plain(heading).split(" "))


def _denies(text: str) -> bool:
    return any(f" {phrase} " in f" {text} " for phrase in known("negators") | known("deniers"))


@functools.lru_cache(maxsize=20_000)
def answer(text: str) -> str:
    """YES or NO where a cell is, or begins with, a bare answer; NOTHING for all else."""
    first, _, rest = plain(text).partition(" ")
    whole = plain(text)
    for told in (YES, NO):
        if whole in known(told) or (
            rest and first in known(told) and text.strip()[len(first) :].lstrip()[:1] in "-–,;:("
        ):
            return told
    return NOTHING
