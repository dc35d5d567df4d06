"""What rows of a long table name that is no reading: "Visual", "button", "rated", each with its value beside it."""

from __future__ import annotations

import functools

from rcdcheck.intake.cells.phrases import says
from rcdcheck.intake.understood.lexicon import further_field, names
from rcdcheck.sheet_fields import CHECKED_FIELDS

RATED = "rated_residual_current"
NAMED = {"visual": "quantity_visual", "push_button": "quantity_button"}
ALIKE = 0.6  # how well a cell must name the check, as a heading would
LONGEST = 40  # characters


@functools.lru_cache(maxsize=20_000)
def check_named(text: str) -> str:
    """ "visual", "push_button", a further check that the schema declares, or RATED where a cell is its name, else
    empty."""
    further = further_field(text)
    if further in CHECKED_FIELDS:
        return further
    for check, words in NAMED.items():
        if says(words, text):
            return check
    if len(text) > LONGEST or any(c.isdigit() for c in text):
        return ""
    best = next(iter(names(text)), None)
    return best.part.value if best and best.part.value in (*NAMED, RATED) and best.quality >= ALIKE else ""
