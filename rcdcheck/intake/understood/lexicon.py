"""The words of headings, and which of them a typed word may be: itself, a beginning, its consonants, one slip away.

The lists of `words.toml` hold what a trade or a language really says. Abbreviations and slips come from rules, so that
nobody lists them: `vis`, `insp.`, `btn`, `rmk`, `P/B`, `T.B.`, `Resutl`.
"""

from __future__ import annotations

import functools
import re
import unicodedata
from collections import Counter, defaultdict
from collections.abc import Iterable
from typing import NamedTuple

from rcdcheck import data
from rcdcheck.intake.cells.phrases import known, one_slip
from rcdcheck.sheet_fields import FIELDS, RATED

_BEFORE = str.maketrans({
    "∆": "δ", "Δ": "δ", "△": "δ", "▵": "δ", "º": "°", "˚": "°", "½": "0.5", "×": "x", "✕": "x", "–": "-", "−": "-",
    "—": "-", "’": "'", "_": " ", "＠": "@",
})  # fmt: skip
_TOKEN = re.compile(r"\d+(?:[.,]\d+)?|[^\W\d_]+|[^\w\s]")
_RATED = re.compile(r"(?<![^\W\d_])[il1|]\s?[\s.]?(?:δ|d|delta)\s?n(?![^\W\d_])")  # IΔn, I dn, ldn with an l for I
_ORDINAL = {
    "1st": "first", "2nd": "second", "3rd": "third", "fifteen": "15", "thirty": "30", "one hundred and fifty": "150",
    "one fifty": "150",
}  # fmt: skip


@functools.cache
def fillers() -> frozenset[str]:
    """Words of a heading that say nothing by themselves: "no", "the", "test"."""
    return frozenset(data.toml("words.toml")["headings"]["fillers"]["any"])


class Part(NamedTuple):
    """One thing that a phrase of a heading can be: `kind` field, quantity, phase, … and which one."""

    kind: str
    value: str


class Fit(NamedTuple):
    """A part that words of a heading name: how well from 0 to 1, by which rule, and the words left over."""

    part: Part
    quality: float
    how: str
    rest: tuple[str, ...]


def normal(heading: str) -> str:
    """The heading as it is compared: compatibility forms folded, no case, single spaces, signs spelled one way."""
    text = unicodedata.normalize("NFKC", heading.translate(_BEFORE)).casefold().replace("∆", "δ")
    return " ".join(text.split())


def tokens(heading: str) -> list[str]:
    """Words, numbers and signs of a heading, with `x` cut from the number or rated current that it is glued to."""
    if heading.replace(" ", "").isalpha() and heading.islower():  # as nearly all of words.toml: no number, no sign
        text = _RATED.sub("iδn", normal(heading))
        words = text.split()
        return words if words and _SIGNED.isdisjoint(text) and _ORDINAL.keys().isdisjoint(words) else _parted(text)
    heading = _HALF_WAVE.sub(" half wave ", _LETTERED.sub(r"cycle \1 ", heading))
    heading = _SUBSCRIPT.sub("IΔn", _CAMEL.sub(" ", heading))
    return _parted(_RATED.sub("iδn", normal(heading).rstrip(" :;.,*")))


def _parted(text: str) -> list[str]:
    for pattern, put in _STEPS:
        text = pattern.sub(put, text)
    return _TOKEN.findall(text)


_LETTERED = re.compile(r"^([AB])\s+(?=x\s?[15]\b|[15]\s?x)")  # "A x1" beside "B x1"
_HALF_WAVE = re.compile(
    r"(?:½|(?<![\d/])1\s?/\s?2)[\s-]?(?:onde|cycle|cyc|wave|welle|periode|période|onda|golf|ciclo|ciclus|alternance|våg|bølge)\b",
    re.IGNORECASE,
)
# "In" for IΔn, where a multiple or a phase stands beside it; alone it is the rated current of a circuit
_SUBSCRIPT = re.compile(
    r"(?:(?<=\d)|(?<=\d\s)|(?<=[½×x]\s)|(?<=[½×x])|(?<=[Hh]alf\s))In\b|^In(?=\s*,|\s+(?:0|180)(?!\d))"
)


_SIGNED = frozenset("δ°")
_CAMEL = re.compile(r"(?<=[a-zà-ÿ])(?=[A-Z][a-z])")
_STEPS = [
    *((re.compile(rf"\b{typed}\b"), word) for typed, word in _ORDINAL.items()),
    (re.compile(r"-\s*ve\b"), " negative "),
    (re.compile(r"\+\s*ve\b"), " positive "),
    (re.compile(r"(?<![\d/])1\s?/\s?2(?![\d/])|(?<=iδn)\s?/\s?2(?!\d)"), " 0.5 "),
    (re.compile(r"(?<=\d)\s?-\s?(?=fach)"), ""),
    (re.compile(r"(?<![^\W\d_])x(?=\d|iδn)"), "x "),
    (re.compile(r"(?<=\d)x(?=\b|iδn|\d)|(?<=iδn)x(?=\s*\d)"), " x "),
    (re.compile(r"(?<=\d)\s*(?:x\s?)?i(?![^\W_])"), " iδn"),  # "5I 0°", "1/2 I"
    (re.compile(r"^i(?=\s?\(?(?:0|180)(?!\d))"), "iδn "),  # "I (180)"
    (re.compile(r"(?<=\d)(?=iδn)"), " "),
]


def words_of(heading: str) -> list[str]:
    """The tokens that are words, numbers, or the signs ° and #."""
    return [t for t in tokens(heading) if t[0].isalnum() or t in "°#↑↓"]


# ── phrases ──
@functools.cache
def phrases() -> dict[tuple[str, ...], tuple[Part, ...]]:
    """Every known phrase as its words → all that it can be, over all languages."""
    table = data.toml("words.toml")["headings"]
    found: dict[tuple[str, ...], list[Part]] = defaultdict(list)
    for kind in ("quantity", "phase", "multiple", "unit", "waveform", "field", "row"):
        for value, languages in table[kind].items():
            _add(found, languages, (Part(kind, value),))
    for kind in ("other_test", "ignore", "times", "degrees", "half_wave"):
        _add(found, table[kind], (Part(kind, ""),))
    for entry in table["either"]:
        _add(found, {"any": entry["words"]}, tuple(Part("field", c) for c in entry["candidates"]))
    for name, headings in _declared().items():
        for words in headings:
            found[words].append(Part("field", name))
    return {words: tuple(dict.fromkeys(parts)) for words, parts in found.items()}


def _declared() -> dict[str, list[tuple[str, ...]]]:
    """Of each field that test-sheet.json declares the words of its title and `headings`, with and without its unit."""
    told = {name: [f["title"], *f.get("headings", ())] for name, f in FIELDS.items() if name != RATED}
    with_unit = {n: [*texts, *(f"{t} {FIELDS[n].get('unit', '')}" for t in texts)] for n, texts in told.items()}
    return {n: [tuple(w for w in words_of(t) if w not in "°#") for t in texts] for n, texts in with_unit.items()}


@functools.lru_cache(maxsize=20_000)
def further_field(heading: str) -> str:
    """The field that a heading names word for word, where only test-sheet.json knows its words; else empty."""
    named = (f.part.value for f in names(heading) if f.quality >= 1.0 and not f.rest and f.part.kind == "field")
    return next((field for field in named if field in further_fields()), "")


@functools.cache
def further_fields() -> frozenset[str]:
    """Fields of which words.toml says nothing."""
    table = data.toml("words.toml")["headings"]
    told = {*table["field"], *(field for entry in table["either"] for field in entry["candidates"])}
    return frozenset(FIELDS) - told


def _add(found: dict[tuple[str, ...], list[Part]], languages: dict[str, list[str]], parts: tuple[Part, ...]) -> None:
    for listed in languages.values():
        for phrase in listed:
            found[tuple(words_of(phrase))] += parts


@functools.cache
def longest() -> int:
    """Words of the longest phrase."""
    return max(map(len, phrases()))


ASKED = 4  # words of a heading that is a question: "Did the test button operate the device?"
NAMING = ("field", "row", "other_test", "ignore")  # kinds of part that name a column by themselves


@functools.cache
def _naming() -> dict[str, list[tuple[str, ...]]]:
    """Phrases that name a column, by each of their words."""
    by_word: dict[str, list[tuple[str, ...]]] = defaultdict(list)
    for phrase, parts in phrases().items():
        if any(p.kind in NAMING for p in parts):
            for word in phrase:
                by_word[word].append(phrase)
    return by_word


@functools.cache
def _by_letter() -> dict[str, list[tuple[str, str]]]:
    """Words of phrases that name a column by their first letter, with and without their accents."""
    letters: dict[str, list[tuple[str, str]]] = defaultdict(list)
    for word in _naming():
        letters[bare(word[0])].append((word, bare(word)))
    return letters


def language_of(headings: Iterable[str]) -> str:
    """The one language that lists most of these headings, two of them at least; empty where none stands out."""
    counts = Counter(language for h in headings for language in _languages().get(tuple(words_of(h)), ()))
    (first, most), (_, next_most) = [*counts.most_common(2), ("", 0), ("", 0)][:2]
    return first if most >= 2 and most > next_most else ""


@functools.cache
def _languages() -> dict[tuple[str, ...], frozenset[str]]:
    """The languages that list each phrase that names a column."""
    table, found = data.toml("words.toml")["headings"], defaultdict(set)
    for languages in (*table["field"].values(), *table["quantity"].values(), table["other_test"], table["ignore"]):
        for language, listed in languages.items():
            for phrase in listed:
                found[tuple(words_of(phrase))].add(language)
    return {phrase: frozenset(languages - {"any"}) for phrase, languages in found.items()}


# ── one typed word ──
def bare(word: str) -> str:
    """A word without its accents."""
    if word.isascii():
        return word
    return "".join(c for c in unicodedata.normalize("NFKD", word) if not unicodedata.combining(c))


_UNITS = frozenset({"ma", "ms", "a", "s"})  # the beginnings of nothing
_CONSONANTS = "its consonants"
_VOWELS = frozenset("aeiouy")


SLIP = "a slip of one letter"


@functools.lru_cache(maxsize=100_000)
def likeness(typed: str, word: str) -> tuple[float, str]:
    """How well a typed word may stand for a word, and by which rule; 0 where it may not."""
    return _likeness(bare(typed), bare(word))


def _likeness(a: str, b: str) -> tuple[float, str]:
    """`likeness` of words without accents."""
    if a == b:
        return 1.0, ""
    if not a[0].isalpha() or not b[0].isalpha() or a in _UNITS:
        return 0.0, ""
    if a[0] == b[0]:
        alike = _begun_alike(a, b)
        if alike[0]:
            return alike
    return (0.8, "") if len(b) >= 6 and b in a else (0.0, "")


def _begun_alike(a: str, b: str) -> tuple[float, str]:
    """`likeness` of different words that begin with one letter."""
    if len(b) >= 4 and a.startswith(b) and len(a) - len(b) <= 2:
        return 0.95, ""
    if len(a) >= 2 and b.startswith(a):
        return (0.85 if len(a) >= 3 else 0.6), "a beginning"
    if len(a) >= 5 and len(b) >= 5 and one_slip(a, b):
        return 0.85, SLIP
    if 2 <= len(a) < len(b) and _consonants(a, b):
        return 0.75, _CONSONANTS
    return 0.0, ""


def _consonants(short: str, word: str) -> bool:
    """Whether `short` is the first letter and further consonants of the word, in order: btn, rmk, tst, insp'n."""
    if len(short) * 3 < len(word) or not _VOWELS.isdisjoint(short[1:]):
        return False
    letters = iter(word)
    return all(c in letters for c in short)


# ── a whole heading against the phrases that name columns ──
@functools.lru_cache(maxsize=20_000)
def names(heading: str) -> tuple[Fit, ...]:
    """Every part that names a column and that the heading may name, each with its best fit."""
    typed = [w for w in words_of(heading) if w not in ("°", "#")]
    best: dict[Part, Fit] = {}
    for phrase, fit in (*_phrased(typed), *_initials(typed)):
        for part in phrases()[phrase]:
            if part.kind in NAMING and (part not in best or fit[0] > best[part].quality):
                best[part] = Fit(part, *fit)
    return tuple(sorted(best.values(), key=lambda f: (-f.quality, f.part)))


def device_apart(label: str) -> bool:
    """Whether a label calls a device by what tells it from its neighbours: "RCD 2", "RCD left"."""
    return any(0.8 <= f.quality < 1.0 and f.part.value == "device" for f in names(label))


def _phrased(typed: list[str]) -> list[tuple[tuple[str, ...], tuple[float, str, tuple[str, ...]]]]:
    near = {w: _alike(w) for w in typed}
    tried = {p for w in typed for known, _, _ in near[w] for p in _naming()[known]}
    out = []
    for phrase in sorted(tried):  # a set has no order of its own
        fit = _fit(phrase, typed, near)
        if fit is not None:
            out.append((phrase, fit))
    return out


@functools.lru_cache(maxsize=20_000)
def _alike(word: str) -> tuple[tuple[str, float, str], ...]:
    """Words of the tables that a typed word may stand for, how well, and by which rule."""
    found = []
    typed = bare(word)
    itself = word in _naming()  # a word of the trade is no abbreviation of another: RCD, btn
    for listed, plain in _by_letter().get(bare(word[0]), ()):
        quality, how = _likeness(typed, plain)
        if quality and not (itself and how == _CONSONANTS):
            found.append((listed, quality, how))
    if len(word) >= 9:  # a compound may hold a known word further in
        found += [(k, 0.8, "") for k in _naming() if len(k) >= 6 and k in word and k[0] != word[0]]
    return tuple(found)


def _fit(
    phrase: tuple[str, ...], typed: list[str], near: dict[str, tuple[tuple[str, float, str], ...]]
) -> tuple[float, str, tuple[str, ...]] | None:
    """Quality of the fit: every word of the phrase but its fillers has to be named, in any order."""
    left = list(typed)
    qualities, hows, telling = [], set(), all(w in fillers() for w in phrase)
    for word in phrase:
        options = [(q, how, w) for w in left for known, q, how in near[w] if known == word]
        if options:
            quality, how, used = max(options)
            qualities.append(quality)
            hows.add(how)
            telling |= word not in fillers() and (used not in fillers() or quality == 1.0)
            left.remove(used)
        elif word not in fillers() or len(phrase) == 1:
            return None
        else:
            qualities.append(0.93 if len(word) < 4 else 0.87 if len(phrase) > 2 else 0.72)
    wordless = len(phrase) == 1 and phrase[0] in fillers()  # "No." alone is a heading; in "RCD No." it says nothing
    if not telling or len(left) == len(typed) or (wordless and set(left) - fillers()):
        return None
    if all(w in fillers() for w in phrase) and any(w not in fillers() for w in left):
        qualities.append(0.85)  # the number of something that nobody knows
    in_order = [w for w in typed if w not in left] == sorted((w for w in typed if w not in left), key=typed.index)
    rest = tuple(w for w in left if w not in fillers() and not (len(typed) >= ASKED and w in known("function_words")))
    quality = min(qualities) * (1.0 if in_order else 0.95) * 0.82 ** len(rest) * (1.01 ** (len(phrase) - 1))
    return quality, "; ".join(sorted(hows - {""})), rest


def _initials(typed: list[str]) -> list[tuple[tuple[str, ...], tuple[float, str, tuple[str, ...]]]]:
    """`P/B`, `T.B.`, `VI`: the first letters of a phrase of two words or more."""
    letters = "".join(bare(w) for w in typed if w[0].isalpha())
    single = all(len(w) == 1 for w in typed) or (len(typed) == 1 and len(letters) <= 3)
    if set(typed) <= _UNITS or not single or not 2 <= len(letters) <= 4 or not letters.isalpha():
        return []
    how = "its first letters"
    return [(phrase, (0.62, how, ())) for phrase in _by_initials().get(letters, ())]


_NO_INITIALS = frozenset(["il", "el", "em", "am", "op", "le", "au", "da", "por", "bis", "tot", "fino", "al"])


@functools.cache
def _by_initials() -> dict[str, list[tuple[str, ...]]]:
    found: dict[str, list[tuple[str, ...]]] = defaultdict(list)
    for phrase, parts in phrases().items():
        words = [w for w in phrase if w[0].isalpha() and len(w) > 1 and w not in _NO_INITIALS]
        if len(words) >= 2 and any(p.kind in NAMING for p in parts):
            found["".join(bare(w[0]) for w in words)].append(phrase)
    return found
