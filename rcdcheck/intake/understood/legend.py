"""What a sheet says of its own marks: "B = bon, M = mauvais", "/ = good", "key: R = replaced".

Only marks for good, bad, no trip and not done are taken over, and only where the sheet itself says so outside its rows
of tests.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.cells.phrases import opens_with
from rcdcheck.intake.opened.grids import Grid
from rcdcheck.intake.understood.grammars import Kind, grammars
from rcdcheck.intake.understood.lexicon import normal
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
        found |= entries_of([as_typed(c) for c in grid.row(int(at)) if c != ""])
    return found


def entries_of(cells: Sequence[str]) -> Legend:
    """The marks that one line explains; of "Half | Y = tripped" those of the column so headed only."""
    found: dict[str, Kind] = {}
    heading, rest = _heading_before(cells)
    text = _PLACED.sub(r"\1 =", " | ".join(rest))
    for mark, meaning in [*_ENTRY.findall(text), *_listed(text)]:
        kind = Kind(0)
        for one in re.split(r"\s/\s", meaning.strip(" .")):  # "stayed in / button works"
            kind |= meaning_of(one)
        if kind:  # of "times in ms. n/t = not tested" the last word is the mark
            for key in (mark.casefold(), mark.split()[-1].casefold()):
                found[f"{heading}{_OF}{key}" if heading else key] = kind
    return found


_OF = "\n"  # between the heading of a column and a mark that means something in this column only


def _heading_before(cells: Sequence[str]) -> tuple[str, Sequence[str]]:
    """The heading that the marks of a line are of, folded, and its other cells: "VIS" | "1 = sound, 0 = damaged"."""
    if len(cells) == 2 and "=" in cells[1] and "=" not in cells[0] and not opens_legend(cells[0]):
        return normal(cells[0].rstrip(" :")), cells[1:]
    return "", cells


def of_column(legend: Legend, heading: str) -> Legend:
    """What marks mean in a column headed so: those explained for it before those of the whole sheet."""
    own = f"{normal(heading)}{_OF}"
    scoped = {key.removeprefix(own): kind for key, kind in legend.items() if key.startswith(own)}
    return {**legend, **scoped} if scoped else legend


def explains(text: str) -> bool:
    """Whether a line explains marks, be it with words that nobody here understands."""
    return bool(_ENTRY.search(text))


def opens_legend(text: str) -> bool:
    """Whether a text is such as "Codes" or "Key:", under or behind which marks are explained."""
    return bool(_OPENED.fullmatch(f"{text.strip().rstrip(':')}:"))


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
    """What a mark or colour that these words explain stands for: FAIL, NO_TRIP, UNMEASURED, PASS, TRIPPED,
    or no flag."""
    kind = grammars(meaning)
    if opens_with("not_measured", meaning) or kind & Kind.NO_ACCESS:  # "not tested this round"
        return Kind.UNMEASURED
    if kind & (Kind.NO_TRIP | Kind.BOUND):  # "over 300"
        return Kind.NO_TRIP
    if kind & Kind.FAIL or kind & Kind.FAULT:
        return Kind.FAIL
    if kind & Kind.PASS:
        return Kind.PASS
    return Kind.TRIPPED if opens_with("tripped", meaning) else Kind(0)  # good for a test button, bad at half rated


def explained(cell: object, legend: Legend) -> Kind:
    """What a cell stands for by the legend; no flag where it says nothing of it."""
    return legend.get(as_typed(cell).strip().casefold(), Kind(0)) if legend else Kind(0)


def plain_words(cells: Iterable[object], legend: Legend) -> list[object]:
    """Cells with the marks of a legend replaced by plain words for what they stand for."""
    words = {Kind.PASS: "pass", Kind.FAIL: "fail", Kind.UNMEASURED: "-", Kind.NO_TRIP: "no trip",
             Kind.TRIPPED: "tripped"}  # fmt: skip
    marks = [(cell, explained(cell, legend)) for cell in cells]  # of "✓ = stayed in" the tick stays one among checks
    return [cell if k == Kind.NO_TRIP and grammars(cell) & Kind.PASS else words.get(k, cell) for cell, k in marks]
