"""Looks of cells in old workbooks (.xls), as xlrd tells them."""

from __future__ import annotations

import itertools
from typing import Any

from rcdcheck.intake.opened.cell_fills import Fill
from rcdcheck.intake.opened.cell_styles import PLAIN, Look, fill_colour
from rcdcheck.intake.opened.rich_texts import RichText


def looks_in(book: Any, sheet: Any) -> tuple[list[list[Any]], list[Fill]]:
    """[row, column, "struck", text] of cells struck through, whole or in part, and all cells with a fill."""
    looks = {i: look for i, form in enumerate(book.xf_list) if (look := _look(book, form)) != PLAIN}
    runs = sheet.rich_text_runlist_map
    if not looks and not runs:
        return [], []
    struck: list[list[Any]] = []
    fills: list[Fill] = []
    for row, column in itertools.product(range(sheet.nrows), range(sheet.ncols)):
        look = looks.get(sheet.cell_xf_index(row, column), PLAIN)
        if look.colour:
            fills.append((row + 1, column, look.colour))
        if look.struck or (row, column) in runs:
            text = _rich(book, sheet.cell_value(row, column), runs.get((row, column), [])).struck(look.struck)
            struck += [] if text is None else [[row + 1, column, "struck", text]]
    return struck, fills


def _look(book: Any, form: Any) -> Look:
    fill = form.background
    places = {0: (), 1: (fill.pattern_colour_index,)}.get(
        fill.fill_pattern, (fill.pattern_colour_index, fill.background_colour_index)
    )
    colours = (book.colour_map.get(place) for place in places)  # None for the automatic ones
    colour = fill_colour("{:02X}{:02X}{:02X}".format(*rgb) if rgb else "" for rgb in colours)
    return Look(bool(book.font_list[form.font_index].struck_out), colour)


def _rich(book: Any, value: Any, runs: list[tuple[int, int]]) -> RichText:
    """A text from where its fonts change; up to the first change it looks as its cell does."""
    rich = RichText()
    if runs and isinstance(value, str):
        places = [0, *(at for at, _ in runs), len(value)]
        fonts = [None, *(bool(book.font_list[font].struck_out) for _, font in runs)]
        rich.runs = [(s, value[a:b]) for s, (a, b) in zip(fonts, itertools.pairwise(places), strict=True)]
    return rich
