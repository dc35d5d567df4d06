"""What a sheet says of its own marks: "B = bon, M = mauvais", "/ = good", "key: R = replaced".

Only marks for good, bad, no trip and not done are taken over, and only where the sheet itself says so outside its rows
of tests.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

import numpy as np

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.cells.phrases import says
from rcdcheck.intake.opened.grids import Grid
from rcdcheck.intake.understood.grammars import Kind, grammars
from rcdcheck.tables import Mask

Legend = Mapping[str, Kind]
_ENTRY = re.compile(
    r"(?<![^\s,;:(|])((?:[^\s,;:(|=]{1,10} )?[^\s=]{1,10})\s*(?:=|:=|->|→)\s*"
    r"([^=,;|()\n]{2,40}?)(?=\s*(?:[,;|()\n]|$|\s\S{1,10}\s*(?:=|→)))"
)


_PLACED = re.compile(r"(?<!\S)(\S{1,4})\s+in\s+(?:an?|the)\s+(?:\w+\s+){0,2}(?:box|cell|column)\s*=", re.IGNORECASE)


def legend_of(grid: Grid, rows: Mask) -> Legend:
    """The marks that these rows explain, folded, each with the grammar of what it stands for."""
    found: dict[str, Kind] = {}
    for at in np.flatnonzero(rows):
        text = _PLACED.sub(r"\1 =", " | ".join(as_typed(c) for c in grid.row(int(at)) if c != ""))
        for mark, meaning in [*_ENTRY.findall(text), *_listed(text)]:
            kind = Kind(0)
            for one in re.split(r"\s/\s", meaning.strip(" .")):  # "stayed in / button works"
                kind |= meaning_of(one)
            if kind:  # of "times in ms. n/t = not tested" the last word is the mark
                found[mark.casefold()] = found[mark.split()[-1].casefold()] = kind
    return found


def _listed(text: str) -> list[tuple[str, str]]:
    """Marks and meanings of "Codes: DNT did not trip / NA no access", where no sign stands between."""
    opened = _OPENED.match(text)
    parts = re.split(r"\s*[/,;|]\s*", text[opened.end() :]) if opened and "=" not in text else []
    pairs = [part.split(" ", 1) for part in parts if " " in part]
    return [(mark, meaning) for mark, meaning in pairs if len(mark) <= LONGEST_MARK]


LONGEST_MARK = 4
_OPENED = re.compile(
    r"\s*(?:codes?|key|legend[ae]?|légende|leyenda|abbreviations?|abkürzungen|afkortingen|marks?|zeichen|kürzel)\s*[:–-]\s*",
    re.IGNORECASE,
)


def meaning_of(meaning: str) -> Kind:
    """What a mark or colour that these words explain stands for: FAIL, NO_TRIP, UNMEASURED, PASS, or no flag."""
    kind = grammars(meaning)
    if says("not_measured", meaning) or kind & Kind.NO_ACCESS:
        return Kind.UNMEASURED
    if kind & (Kind.NO_TRIP | Kind.BOUND):  # "over 300"
        return Kind.NO_TRIP
    if kind & Kind.FAIL or kind & Kind.FAULT:
        return Kind.FAIL
    return Kind.PASS if kind & Kind.PASS else Kind(0)


def explained(cell: object, legend: Legend) -> Kind:
    """What a cell stands for by the legend; no flag where it says nothing of it."""
    return legend.get(as_typed(cell).strip().casefold(), Kind(0)) if legend else Kind(0)


def plain_words(cells: Iterable[object], legend: Legend) -> list[object]:
    """Cells with the marks of a legend replaced by plain words for what they stand for."""
    words = {Kind.PASS: "pass", Kind.FAIL: "fail", Kind.UNMEASURED: "-", Kind.NO_TRIP: "no trip"}
    marks = [(cell, explained(cell, legend)) for cell in cells]  # of "✓ = stayed in" the tick stays one among checks
    return [cell if k == Kind.NO_TRIP and grammars(cell) & Kind.PASS else words.get(k, cell) for cell, k in marks]
