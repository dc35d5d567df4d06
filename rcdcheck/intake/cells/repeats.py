"""Words that call a reading or a test a repeat; "retest due 2027" and "not repeated" do not."""

from __future__ import annotations

import functools
import re

from rcdcheck.intake.cells.phrases import folded, may_hold, pattern


def repeat_words(text: str) -> str:
    """The first word that calls the reading a repeat; empty where there is none."""
    fold = folded(text.replace("\n", ". "))
    if not may_hold("repeat", fold):
        return ""
    clean = pattern("repeat_innocent").sub(" ", fold)
    for found in pattern("repeat").finditer(clean):
        if not _denied().search(clean[: found.start()]):
            return found.group()
    return ""


@functools.cache
def _denied() -> re.Pattern[str]:
    return re.compile(rf"{pattern('negators').pattern}[\s/]+$")
