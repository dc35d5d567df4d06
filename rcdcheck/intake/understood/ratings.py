"""The rated residual current in a line of words: "All RCDs 30 mA unless noted", "thirty mA"."""

from __future__ import annotations

import functools
import re

from rcdcheck import data
from rcdcheck.intake.cells.currents import PREFERRED
from rcdcheck.intake.cells.phrases import folded, pattern

LOAD = 6000.0  # mA, from which a current is one of the load
CURRENT = re.compile(r"(?<![\d.,])(\d+(?:[.,]\d+)?)\s?(mA|milliamps?|A)(?![\w])", re.IGNORECASE)


def rating_in(text: str) -> str:
    """The one preferred rating that a line of words gives, as "30 mA"; empty where it gives none or several.

    "30 mA (100 mA where marked)" gives one: the rows that are marked say so themselves.
    """
    text = _spelled().sub(lambda word: _numbers()[word[0].casefold()], _LIMIT.sub("", _EXCEPTED.sub("", text)))
    found = CURRENT.findall(text)
    told = {float(number.replace(",", ".")) * (1000 if unit.upper() == "A" else 1) for number, unit in found}
    told = {milli for milli in told if milli < LOAD} or told  # "30 mA / 20 A curve C"
    if len(told) != 1 or len(text) > 120 or _MEASURED.search(text):
        return ""
    milli, unit = told.pop(), found[0][1]
    return f"{milli:g} mA" if round(milli, 6) in PREFERRED and (unit != "A" or milli < 1000) else ""


def rating_of_all(line: str) -> str:
    """The rating that a line states of every device: "All RCDs are 30 mA"; empty where it is of one, or states none."""
    return rating_in(line) if pattern("of_all").search(folded(line)) else ""


@functools.cache
def _numbers() -> dict[str, str]:
    """Ratings as words write them: "thirty" is 30."""
    table = data.toml("words.toml")["cells"]["rated_in_words"]
    spelled = ((form, number) for number, words in table.items() for w in words for form in (w, w.casefold()))
    return dict(spelled)  # "dreißig" folds to "dreissig", and either is typed


@functools.cache
def _spelled() -> re.Pattern[str]:
    words = "|".join(sorted(map(re.escape, _numbers()), key=len, reverse=True))
    return re.compile(rf"\b(?:{words})(?=[ -]?(?:mA|milli-?amps?)\b)", re.IGNORECASE)


# what was measured and not rated: "trips at 22 mA", and not "rated trip 30 mA", "30 mA trips", "trip times, all 30 mA"
_MEASURED = re.compile(
    r"\d\s?ms\b|\btest current"
    r"|(?<!rated )(?<!nominal )(?<!mA )(?<!milliamp )\btrips?\b(?! (?:times?|tests?|switch(?:es)?)\b)",
    re.IGNORECASE,
)
_LIMIT = re.compile(  # "limit 300 ms at rated, 40 ms at five times"
    r"\b(?:limits?|max\w*|within|under|below)[ .:=]*(?:of|is)?\s?\d+(?:[.,]\d+)?\s?ms\b(?:[^,;.]*[,;]\s*\d+\s?ms\b)*",
    re.IGNORECASE,
)
_EXCEPTED = re.compile(
    r"\([^)]*\b(?:where|others?|marked|if|wo|sonst)\b[^)]*\)"
    r"|\b(?:unless|except|apart from|other than|außer|sauf|salvo|excepto|tranne|behalve|exceto)\b.*",
    re.IGNORECASE,
)
