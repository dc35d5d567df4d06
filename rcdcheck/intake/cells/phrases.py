"""The words of typed cells, from the `[cells…]` tables of `schemas/words.toml`, without case, accents and points."""

from __future__ import annotations

import functools
import itertools
import re
import unicodedata
from collections.abc import Iterator

from rcdcheck import data

_WORD = re.compile(r"\w+")
SEPARATORS = re.compile(r"[\s.,;:_\-–—−/\\()\[\]{}'’\"!|]+")
_SPELLED = re.compile(r"(?<!\w)[a-z](?: [a-z])+(?!\w)")  # "n i o"


def folded(text: str) -> str:
    """The text without case and accents, with plain spaces."""
    if text.isascii():
        return " ".join(text.lower().split())
    decomposed = unicodedata.normalize("NFKD", text.casefold().replace("º", "°").replace("ı", "i"))
    kept = "".join(c for c in decomposed if not unicodedata.combining(c) and unicodedata.category(c) != "Cf")
    return " ".join(kept.split())


@functools.lru_cache(maxsize=100_000)
def plain(text: str) -> str:
    """The text as words are compared: folded, points and strokes as spaces; a text of these alone keeps them.

    Single letters side by side are one word: "n.i.O.", "n. i. O." and "NIO" are "nio".
    """
    fold = folded(text)
    spaced = SEPARATORS.sub(" ", fold).strip()
    return _SPELLED.sub(lambda found: found.group().replace(" ", ""), spaced) or fold.replace(" ", "")


def listed(table: str) -> tuple[str, ...]:
    """All phrases of `[cells.TABLE]`, of every language, as they are typed."""
    return tuple(phrase for words in data.toml("words.toml")["cells"][table].values() for phrase in phrases_of(words))


def phrases_of(words: list[str] | list[list[str]]) -> Iterator[str]:
    """The phrases of one language: as they are listed, or one word of each list."""
    return (" ".join(filter(None, one if isinstance(one, tuple) else (one,)))
            for one in (words if isinstance(words[0], str) else itertools.product(*words)))  # fmt: skip


@functools.cache
def known(table: str) -> frozenset[str]:
    """All phrases of `[cells.TABLE]` as `plain` makes them."""
    return frozenset(filter(None, map(plain, listed(table))))


@functools.cache
def numbered(table: str) -> dict[str, int]:
    """Place from 1, in its list of lists, of each word of `[cells.TABLE]`: the number of a month by its name."""
    lists = data.toml("words.toml")["cells"][table].values()
    return {plain(word): number for number, words in enumerate(lists, 1) for word in words}


MILLIAMPERE = "mA"  # as a unit is written: no "má", which is bad


def says(table: str, text: str) -> bool:
    """Whether the whole text is one of the phrases of a table."""
    return plain(text) in known(table) and not (text == MILLIAMPERE and table == "fail")


def opens_with(table: str, text: str) -> bool:
    """Whether the text begins with a phrase of a table, as whole words."""
    words = plain(text).split(" ")
    return words[0] in first_words(table) and any(
        " ".join(words[:n]) in known(table) for n in range(1, min(len(words), 7) + 1)
    )


@functools.cache
def first_words(table: str) -> frozenset[str]:
    """The words with which phrases of a table begin, as `plain` parts them."""
    return frozenset(phrase.partition(" ")[0] for phrase in known(table))


@functools.cache
def _beginnings(table: str) -> frozenset[str]:
    return frozenset(_WORD.findall(phrase)[0] for phrase in known(table) if _WORD.search(phrase))


def may_hold(table: str, fold: str) -> bool:
    """Whether a folded text has a word that a phrase of the table begins with: cheap, and false for most remarks."""
    return not _beginnings(table).isdisjoint(_WORD.findall(fold))


@functools.cache
def pattern(table: str) -> re.Pattern[str]:
    """Matches any phrase of a table inside a folded text, at word boundaries, the longest first."""
    phrases = sorted(known(table), key=len, reverse=True)
    spelled = (r"[\W_]+".join(re.escape(word) for word in phrase.split()) for phrase in phrases)
    return re.compile(r"(?<!\w)(?:" + "|".join(spelled) + r")(?!\w)")


@functools.lru_cache(maxsize=20_000)
def slip_of_no_trip(text: str) -> bool:
    """Whether a text is a phrase for "did not trip" with one letter wrong in one word, or with a word cut short by a
    point: "did nto trip", "no trp", "pas de décl."."""
    words = plain(text).split(" ")
    if len(words) < 2 or not all(word.isalpha() for word in words):
        return False
    alike = (phrase for phrase in _no_trip_phrases(len(words)) if phrase[0][0] == words[0][0])
    return any(_one_wrong(words, phrase) or _cut_short(words, phrase, folded(text)) for phrase in alike)


@functools.cache
def _no_trip_phrases(length: int) -> list[list[str]]:
    return [words for words in (phrase.split(" ") for phrase in sorted(known("no_trip"))) if len(words) == length]


def _cut_short(words: list[str], phrase: list[str], typed: str) -> bool:
    """Whether the words are those of a phrase, but for beginnings that end in a point, one of three letters or more:
    "keine Ausl.", "k. Ausl."."""
    pairs = list(zip(words, phrase, strict=True))
    cut = [a for a, b in pairs if a != b and b.startswith(a) and f"{a}." in typed]
    return len(cut) == sum(a != b for a, b in pairs) and any(len(a) >= 3 for a in cut)


def _one_wrong(words: list[str], phrase: list[str]) -> bool:
    wrong = [(typed, meant) for typed, meant in zip(words, phrase, strict=True) if typed != meant]
    return len(wrong) == 1 and len(wrong[0][0]) > 2 and wrong[0][0][0] == wrong[0][1][0] and one_slip(*wrong[0])


def one_slip(a: str, b: str) -> bool:
    """Whether one letter is wrong, lacking, too many, or two have changed places."""
    short, long = (a, b) if len(a) <= len(b) else (b, a)
    if len(long) - len(short) > 1 or a == b:
        return False
    at = next((i for i, (x, y) in enumerate(zip(short, long, strict=False)) if x != y), len(short))
    if len(short) < len(long):
        return short[at:] == long[at + 1 :]
    swapped = a[at : at + 2] == b[at : at + 2][::-1] and a[at + 2 :] == b[at + 2 :]
    return swapped or a[at + 1 :] == b[at + 1 :]
