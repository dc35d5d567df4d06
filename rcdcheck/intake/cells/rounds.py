"""Which visit or round of tests words name: "Visit 2", "2nd round", "first"; words for both are in `words.toml`."""

from __future__ import annotations

import functools

from rcdcheck import data
from rcdcheck.intake.cells.words import known, plain

_JOINING = ("no", "nr", "n")  # "Round no. 2"


@functools.cache
def _ordinals() -> dict[str, int]:
    told = data.toml("words.toml")["cells"]["ordinals"]
    return {plain(word): n for n, words in enumerate(told.values(), 1) for word in words}


def names_round(text: str) -> bool:
    """Whether a text is the name of a visit or round, and nothing else: "2nd visit", "Round 3", "Besuch"."""
    words = plain(text).split(" ")
    rest = [w for w in words if w not in known("rounds")]
    return len(rest) < len(words) and all(w.isdigit() or w in _ordinals() or w in _JOINING for w in rest)


def round_of(text: str, *, bare: bool = False) -> int:
    """Number of the round that a text names, 0 where it names none; `bare`: a number or "second" alone names one."""
    words = plain(text).split(" ")
    if not bare and not any(w in known("rounds") for w in words):
        return 0
    numbers = [int(w) for w in words if w.isdigit() and len(w) == 1] + [
        _ordinals()[w] for w in words if w in _ordinals()
    ]
    return numbers[0] if len(numbers) == 1 else 0
