"""Whether a typed cell says that something failed, also where it is abbreviated or mistyped.

Faults, plans and whole phrases are heard where remarks are read (`cells/remarks.py`). What is added here follows the
rules by which headings are abbreviated: a beginning, consonants, one slip (`lexicon.likeness`).
"""

from __future__ import annotations

import functools
import itertools

from rcdcheck.intake.cells import remarks
from rcdcheck.intake.cells.phrases import known, plain
from rcdcheck.intake.understood.lexicon import bare, likeness

NEAR = 0.75  # likeness below which a word stands for no other
LONGEST = 5  # words of a cell that is a mark and no sentence
SHORTEST = 6  # letters of a fail word that a slip may have changed: "Falls" is no "falla"


@functools.lru_cache(maxsize=50_000)
def says_failed(text: str) -> bool:
    """Whether the text, wherever it stands, says that something failed; a bare "no" does not."""
    return bool(remarks.loud(text)) or nearly_failed(text)


def nearly_failed(text: str) -> bool:
    """Whether a short text is a mark of failure cut short or mistyped: "no trp", "keine Ausl."."""
    typed = plain(text).split()
    if not typed or len(typed) > LONGEST or any(not word.isalpha() for word in typed):
        return False
    if len(typed) == 1:
        return len(typed[0]) >= SHORTEST and any(_slipped(typed[0], word) for word in _fail_words())
    return any(_stands_for(typed, phrase) for phrase in _phrases(bare(typed[0])[0]))


def _stands_for(typed: list[str], phrase: tuple[str, ...]) -> bool:
    """Whether the words of a phrase stand in the text in its order, each by itself or nearly, and nothing that matters
    stands between them: "no trp", "keine Ausl.", "no ha saltado"."""
    left = iter(typed)
    matched = [next((w for w in left if _near(w, word)), "") for word in phrase]
    return all(matched) and all(len(w) <= 2 or w in _AUXILIARIES for w in _without(typed, matched))


def _without(typed: list[str], matched: list[str]) -> list[str]:
    left = list(typed)
    for word in matched:
        left.remove(word)
    return left


_AUXILIARIES = frozenset(
    {"did", "does", "has", "was", "the", "hat", "ist", "est", "ete", "sido", "stato", "werd", "heeft", "foi"}
)


def _near(typed: str, word: str) -> bool:
    if len(typed) <= 2 or len(word) <= 2:
        return typed == word
    return likeness(typed, word)[0] >= NEAR or _neighbours_changed(typed, word)


def _neighbours_changed(typed: str, word: str) -> bool:
    """ "nto" for "not": short words too are typed in the wrong order."""
    return len(typed) == len(word) and any(
        typed == word[:i] + word[i + 1] + word[i] + word[i + 2 :] for i in range(len(word) - 1)
    )


def _slipped(typed: str, word: str) -> bool:
    quality, how = likeness(typed, word)
    return quality >= NEAR and how.startswith("a slip")


@functools.cache
def _fail_words() -> tuple[str, ...]:
    return tuple(word for word in sorted(known("fail")) if " " not in word and len(word) >= SHORTEST)


@functools.cache
def _phrases(first: str) -> tuple[tuple[str, ...], ...]:
    """Phrases of two words or more that say "no trip" or "fail" and begin with this letter."""
    whole = itertools.chain(known("no_trip"), known("fail"))
    split = (tuple(phrase.split()) for phrase in sorted(whole))
    return tuple(words for words in split if len(words) > 1 and bare(words[0])[0] == first)
