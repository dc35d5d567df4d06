"""What a sheet says of its own colours: "Red row = failed, do not use", or a coloured cell beside "not tested".

Only what stands outside the rows of tests is asked, and a colour that is explained twice and differently is not.
"""

from __future__ import annotations

import colorsys
import functools
import re
from collections.abc import Iterator, Mapping

import numpy as np

from rcdcheck import data
from rcdcheck.as_seen import as_typed
from rcdcheck.intake.cells.phrases import folded
from rcdcheck.intake.cells.remarks import Said, loud, repeat_words, said
from rcdcheck.intake.opened.grids import Grid
from rcdcheck.intake.understood.grammars import Kind
from rcdcheck.intake.understood.legend import meaning_of
from rcdcheck.tables import Mask

Colours = Mapping[str, str]  # fill, as the workbook writes it → what the sheet says that it means
PALE = 0.12  # saturation below which a fill is grey or white


def colours_of(grid: Grid, tests: Mask) -> Colours:
    """The fills that lines outside the rows of tests explain; `tests`: which rows are tests, shape (height,)."""
    if not (grid.special["kind"] == "filled").any():
        return {}
    fills = grid.special[grid.special["kind"] == "filled"]
    at = grid.positions(fills["row"].to_numpy())
    told: dict[str, set[str]] = {}
    for row, column, colour in zip(at.tolist(), fills["column"].tolist(), fills["text"].astype(str), strict=True):
        if not tests[row] and (text := _beside(grid, row, column)):
            told.setdefault(colour, set()).add(text)
    named = dict(_named(grid, tests))
    for colour in fills["text"].astype(str).unique():
        if colour not in told and hue(colour) in named:
            told[colour] = {named[hue(colour)]}
    return {colour: texts.pop() for colour, texts in told.items() if len(texts) == 1}


def explains_colour(text: str) -> bool:
    """Whether a cell is a line of a legend of colours, and so heads no column: "blue row = locked"."""
    return any(folded(name) in _hues() for name, _ in _LINE.findall(text[:80])) and "=" in text


def not_tested(colours: Colours, fill: str) -> bool:
    """Whether the sheet says that what is filled so was not tested: "blue = locked"."""
    return meaning_of(colours.get(fill, "")) == Kind.UNMEASURED


def says_fail(colours: Colours, fill: str) -> bool:
    """Whether the sheet says that what is filled so failed."""
    return bool(meaning_of(colours.get(fill, "")) & (Kind.FAIL | Kind.NO_TRIP))


def harmless(colours: Colours, fill: str) -> bool:
    """Whether the sheet says something of this fill, and every word of it is understood and speaks of no trouble."""
    text = colours.get(fill, "")
    quiet = bool(text) and not loud(text) and not repeat_words(text) and said(text) == Said()
    return quiet and meaning_of(text) in (Kind(0), Kind.PASS)


def _beside(grid: Grid, row: int, column: int) -> str:
    """What a coloured cell of a legend says, or the cell to the right of a blank one."""
    cells = [as_typed(cell) for cell in grid.row(row)[column : column + 2]]
    return next((text.strip(" =:–-") for text in cells if re.search(r"[^\W\d_]{2}", text)), "")


def _named(grid: Grid, tests: Mask) -> Iterator[tuple[str, str]]:
    """Hue and meaning of each line such as "Red rows: failed", outside the rows of tests."""
    for at in np.flatnonzero(~tests & grid.filled.any(axis=1)):
        for cell in grid.row(int(at)):
            for name, meaning in _LINE.findall(as_typed(cell)) if isinstance(cell, str) else ():
                if folded(name) in _hues():
                    yield _hues()[folded(name)], meaning.strip(" .")


_LINE = re.compile(
    r"(?<!\w)([^\W\d_]{3,12})(?:\s+[^\W\d_]{2,12}){0,2}?\s*(?:=|:|\s[-–—]\s|\bmeans\b|\bis\b|\bare\b)\s*([^=;\n]{2,60})"
)


def hue(colour: str) -> str:
    """Name of a fill ("FFC7CE" is red) as words.toml lists it; empty for one without a hue, or of a theme."""
    if not re.fullmatch(r"(?:[0-9A-F]{2})?[0-9A-F]{6}", colour):
        return ""
    red, green, blue = (int(colour[-6:][i : i + 2], 16) / 255 for i in (0, 2, 4))
    angle, _, strength = colorsys.rgb_to_hsv(red, green, blue)
    saturated = max(red, green, blue) - min(red, green, blue)
    if saturated < PALE or not strength:
        return "grey"
    return next(name for name, until in _ANGLES if angle * 360 < until)


# where each hue ends on the circle of hues, in degrees
_ANGLES = (("red", 18), ("orange", 46.5), ("yellow", 70), ("green", 165), ("blue", 255), ("purple", 325), ("red", 361))


@functools.cache
def _hues() -> dict[str, str]:
    """The hue that each word for a colour means."""
    table = data.toml("words.toml")["colours"]
    return {folded(word): name for name, words in table.items() for word in words}
