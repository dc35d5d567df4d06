"""Words of a remark as letters: each word or phrase of the tables becomes one letter, which `clauses.py` reads.

"lid cracked, new plug fitted" becomes `hF.vpi`: a part, a fault, an end of clause, something new, a part, done. A word
is looked up once in its life; a remark costs one split and one look at each of its words.
"""

from __future__ import annotations

import functools
import re
from typing import NamedTuple

from rcdcheck import data
from rcdcheck.intake.cells.phrases import folded, phrases_of

# Where a phrase stands in several tables, the first of them decides; the letters of parts stand in PARTS.
LETTERS = {
    "negators": "N", "negators_after": "e", "no_access": "A", "not_tested": "B", "locked": "I", "locked_place": "q",
    "withdrawn": "W", "out_of_use": "U", "fault_innocent": "H", "fault_of_connection": "c", "fault": "F",
    "tightened": "u", "remedy": "R", "exchanged": "X",
    "remedy_verb": "r", "remedy_wanted": "P", "contrasts": ".", "conjunctions": "&", "accessories": "L", "new": "v",
    "done": "i", "after": "w", "past": "z", "well_now": "Z", "disconnected": "Y", "fault_of_part": "S", "acts": "T",
    "sound": "g", "no_access_whole": "a", "out_of_use_whole": "x", "still": "s", "only": "y", "half_rated": "5",
    "reading_names": "n", "ill_timed": "d", "first": "1", "counts": "O", "number_words": "C", "attempts": "G",
    "attempt": "J", "times": "j", "conductors": "K", "remedy_wanted_after": "V", "odd": "Q", "measured": "M",
    "took": "k", "to": "t", "faulty_parts": "", "negation_fillers": "m", "function_words": "f", "harmless": "H",
    "months": "H", "date_fillers": "f",
}  # fmt: skip
PARTS = {"whole": "E", "device": "D", "plug": "p", "lead": "l", "housing": "h", "button": "b", "outlet": "o"}
END, NUMBER, HALF, UNKNOWN = ".", "0", "5", "?"

NOT = re.compile(r"\b(did|does|do|wo|ca|could|would|should|is|was|are|were|has|have|had)n['’]?t\b")
_HALF = r"x ?0[.,]5|0[.,]5(?!\d) ?x?|1[/⁄]2|½|50 ?%|\b15 ?ma\b"
_TOKEN = re.compile(rf"{_HALF}|[^\W_]+|[,;!?()\[\]]|\.(?=\s|$)|(?<=\s)[-–—](?=\s)|[&+]")
_HALF_TOKEN = re.compile(_HALF)
_PERSON = re.compile(r"(?<=\bby )[A-Z]\. ?[A-Z][a-z]+|\b(?:Mrs?|Ms|Dr|Herr|Frau)\.? [A-Z][a-z]+")
_BOUND = re.compile(r">{1,2} ?(?:[3-9]\d\d|\d{4})(?!\d)(?! ?(?:m(?!s)|k|g|v|ω|ohm))")  # ">300", not ">500 MΩ"
_SINGLE = 1


class Spelled(NamedTuple):
    """Letters of a remark, and the word or phrase behind each of them."""

    letters: str
    words: tuple[str, ...]


class _Phrase(NamedTuple):
    tail: tuple[str, ...]  # the patterns of the words behind the first
    letter: str
    exact: int  # letters that stand in it: the longest wins


def tokens(text: str) -> list[str]:
    """Words and ends of clauses of a remark, folded; "didn't" is "did not"."""
    named = _PERSON.sub("Mr", text) if _PERSON.search(text) else text  # "tested by K. Burns" speaks of no burn
    fold = folded(named.replace("\n", " . ") if "\n" in named else named)
    fold = _BOUND.sub(" overrange ", fold) if ">" in fold else fold
    return _TOKEN.findall(NOT.sub(r"\1 not", fold) if "nt" in fold or "n'" in fold or "n’" in fold else fold)


def spell(text: str) -> Spelled:
    """The remark in letters."""
    typed = tokens(text)
    known = [_WORDS[token] for token in typed]
    letters = "".join([word.letter for word in known])
    for word in known:
        if word.phrases:
            return _with_phrases(typed, known)
    return Spelled(letters, tuple(typed))


class _Word(NamedTuple):
    letter: str
    phrases: tuple[_Phrase, ...]  # that it may begin, the longest first


def _with_phrases(typed: list[str], known: list[_Word]) -> Spelled:
    letters, words, at = [], [], 0
    while at < len(typed):
        letter, size = known[at].letter, 1
        if known[at].phrases and at + 1 < len(typed):
            phrase = _phrase_at(typed, at, _PAIRS[typed[at], typed[at + 1]])
            letter, size = (phrase.letter, 1 + len(phrase.tail)) if phrase else (letter, 1)
        letters.append(letter)
        words.append(typed[at] if size == 1 else " ".join(typed[at : at + size]))
        at += size
    return Spelled("".join(letters), tuple(words))


def _phrase_at(typed: list[str], at: int, candidates: tuple[_Phrase, ...]) -> _Phrase | None:
    for phrase in candidates:
        tail = phrase.tail
        if len(tail) == 1 or (
            at + len(tail) < len(typed) and all(map(_fits, tail[1:], typed[at + 2 : at + 1 + len(tail)]))
        ):
            return phrase
    return None


def _fits(wanted: str, typed: str) -> bool:
    if wanted[-1] != "*":
        return wanted == typed
    return typed.startswith(wanted[:-1]) and (len(wanted) > 1 or typed[0].isalnum())


@functools.cache
def _single_words() -> dict[str, str]:
    """Letter by the pattern of one word: "plug", "crack*", "*raum", "*schmor*"."""
    return {pattern[0]: letter for letter, pattern in _lexicon() if len(pattern) == _SINGLE}


@functools.cache
def _phrases() -> dict[str, tuple[_Phrase, ...]]:
    """Phrases of several words by the pattern of their first."""
    by_first: dict[str, list[_Phrase]] = {}
    for letter, pattern in _lexicon():
        if len(pattern) > _SINGLE:
            by_first.setdefault(pattern[0], []).append(_Phrase(pattern[1:], letter, len("".join(pattern))))
    return {first: tuple(phrases) for first, phrases in by_first.items()}


@functools.cache
def _lexicon() -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Letter and word patterns of every phrase of the tables."""
    cells = data.toml("words.toml")["cells"]
    listed = [
        (letter or PARTS[key], phrase)
        for table, letter in LETTERS.items()
        for key, phrases in cells[table].items()
        for phrase in phrases_of(phrases)
    ]
    spelled = [(letter, _patterns(phrase)) for letter, phrase in listed]
    first = {pattern: letter for letter, pattern in reversed(spelled) if pattern}
    return tuple((letter, pattern) for pattern, letter in first.items())


def _patterns(phrase: str) -> tuple[str, ...]:
    """A listed phrase as patterns of tokens: "trips when*" → ("trips", "when*")."""
    stars = tokens(phrase.replace("*", "0star0").rstrip("."))
    return tuple(token.replace("0star0", "*") for token in stars)


class _Words(dict[str, _Word]):
    """What is known of each word; looked up when it is met first."""

    def __missing__(self, word: str) -> _Word:
        if len(word) > 2 * _HALF_WORD:  # no stem is so long: its two ends tell all there is to tell
            return self[word[:_HALF_WORD] + word[-_HALF_WORD:]]
        if word.isdigit() and len(word) > _SINGLE and word not in _single_words():
            return _A_NUMBER
        entry = _Word(_letter(word), tuple(sorted(_begun_by(word), key=lambda p: -p.exact)))
        if len(self) < _REMEMBERED:
            self[word] = entry
        return entry


class _Pairs(dict[tuple[str, str], tuple[_Phrase, ...]]):
    """The phrases that two words in a row may begin."""

    def __missing__(self, pair: tuple[str, str]) -> tuple[_Phrase, ...]:
        found = tuple(phrase for phrase in _WORDS[pair[0]].phrases if _fits(phrase.tail[0], pair[1]))
        if len(self) < _REMEMBERED:
            self[pair] = found
        return found


_HALF_WORD = 30  # letters, more than any listed stem has
_REMEMBERED = 200_000
_A_NUMBER = _Word(NUMBER, ())
_WORDS = _Words()
_PAIRS = _Pairs()


def _letter(word: str) -> str:
    """The letter of one word: as it is listed, else by the longest stem that fits, else a number or unknown."""
    single = _single_words()
    if word in single:
        return single[word]
    if _HALF_TOKEN.fullmatch(word):
        return HALF
    if not word[0].isalnum():
        return "&" if word in "&+" else END
    heads = [stem for stem in _endings(word) if stem in single]
    if any(single[stem] == "F" for stem in heads):  # a compound is what its last part is: "Gehäuseriss"
        return "F"
    stems = heads + [stem for stem in _beginnings(word) if stem in single]
    stems += [stem for stem in _inner_stems() if stem[1:-1] in word]
    if stems:
        return single[max(stems, key=len)]
    return NUMBER if any(c.isdigit() for c in word) or len(word) <= _SINGLE else UNKNOWN


def _beginnings(word: str) -> list[str]:
    return [f"{word[:n]}*" for n in range(2, len(word) + 1)]


def _endings(word: str) -> list[str]:
    return [f"*{word[n:]}" for n in range(0, len(word) - 2)]


@functools.cache
def _inner_stems() -> tuple[str, ...]:
    return tuple(stem for stem in _single_words() if stem[0] == stem[-1] == "*" and len(stem) > 2)


def _begun_by(word: str) -> list[_Phrase]:
    phrases = _phrases()
    return [p for first in (word, *_beginnings(word)) for p in phrases.get(first, ())]
