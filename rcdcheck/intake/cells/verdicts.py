"""What the words of a check say: pass, fail, both, or nothing that is understood.

Rules do the work that lists would never finish: endings ("conformes", "goedgekeurde"), words that add nothing ("all in
order", "sehr gut"), denials ("nicht i. O.", "does not comply", "unsafe"), one letter wrong ("pased"), and what is set
beside a verdict ("OK - JS", "Pass (12/03)"). Only a whole cell that is understood passes.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Iterable, Iterator
from typing import Any

from rcdcheck import data
from rcdcheck.intake.cells import remarks
from rcdcheck.intake.cells.phrases import MILLIAMPERE, SEPARATORS, folded, known, one_slip, plain, says
from rcdcheck.intake.cells.remark_words import NOT, spell

PASS, FAIL, BOTH, NOTHING = "pass", "fail", "both", ""
LONGEST = 80  # characters: more is a remark
SLIP = 5  # letters from which one may be wrong
_STEM = 4  # letters that an ending leaves
_ENDING = re.compile(rf"(?<=\w{{{_STEM}}})(?:os|as|es|er|en|em|[oaeis])$")
_ASIDE = re.compile(r"\s*[,;:()\[\]/|]\s*|\s+[-–—]\s*|\s*[–—]\s+|-\s+")
_INITIALS = re.compile(r"(?:[A-Z]\.?\s?){2,3}")
_DATE = re.compile(r"(?<![\d./-])(?:\d{1,4}([-./])\d{1,2}\1\d{2,4}|\d{1,2}/\d{1,2})(?![\d./-])")
_CURRENT = re.compile(r"(?<![\w.,])\d+(?:[.,]\d+)?\s?m?A(?!\w)")  # "100 mA" is neither "100 %" nor an Italian "but"
_DOUBLE = re.compile(r"(\w)\1")
_STRANGE = ("?", "g", "F")  # letters of words that nobody knows, or that praise or blame
_SHORT = 3
_HEAD = 6  # words
_PREFIXES = ("un", "in", "im", "ir", "non", "on")
_NO_INITIALS = ("fail", "no_trip", "no_trip_abbreviations", "over_range", "not_measured", "negators", "contrasts")


@functools.lru_cache(maxsize=100_000)
def verdict(text: str) -> str:
    """PASS, FAIL, BOTH where parts of the text contradict each other, NOTHING where it is not understood."""
    if not any(map(str.isalpha, text)) and sum(map(str.isdigit, text)) > 1:  # "1-1" names something
        return NOTHING
    if text == MILLIAMPERE or not may_tell(text):
        return NOTHING
    told = _listed(plain(text))
    if told or len(text) > LONGEST or "?" in text or says("not_measured", text) or says("undecided", text):
        return told
    parts = [part for part in _ASIDE.split(_CURRENT.sub("", _DATE.sub("", text))) if part.strip()]
    said = {_part(part) for part in parts if part is parts[0] or not (_is_initials(part) or _is_remedy(part))}
    if said == {PASS, FAIL}:
        return BOTH
    return said.pop() if len(said) == 1 else NOTHING


@functools.lru_cache(maxsize=1000)  # asked twice, one question after the other
def may_tell(text: str) -> bool:
    """Whether any word of a text may belong to a verdict: cheap, and false for most remarks."""
    fold = folded(text)
    words = list(filter(None, SEPARATORS.split(fold)))
    return not words or not all(map(_is_mute, words)) or NOT.search(fold) is not None


@functools.lru_cache(maxsize=50_000)
def _is_mute(word: str) -> bool:
    """Whether a folded word, wherever it stands, belongs to no verdict, nor is a slip of one that does."""
    if word.isdigit():
        return word not in _begin() and word not in _openings()
    return (
        len(word) > 1  # single letters side by side are one word
        and word.isalpha()
        and word not in _begin()
        and _stem(word) not in _openings()
        and not any(word.startswith(p) and _listed(word[len(p) :]) for p in _PREFIXES)
        and not (_mended(word) and _is_strange(word))
    )


def after_verdict(text: str) -> tuple[str, str]:
    """PASS or FAIL and the reading behind it: "P 29ms", "OK no trip"; empty and the whole text where there is none."""
    first, _, rest = text.partition(" ")
    word, rest = first.rstrip(":,;-"), rest.lstrip("-–:, ")
    said = verdict(word) if word and not word[:1].isdigit() else NOTHING
    if said in (PASS, FAIL) and (rest[:1].isdigit() or rest[:1] == ">" or says("no_trip", rest)):
        return said, rest
    return NOTHING, text


def one_denies_another(texts: Iterable[str]) -> bool:
    """Whether a few texts hold one of them with a word more ("UYGUN", "UYGUN DEĞİL"), as a verdict and its denial do in
    a language that nobody has listed."""
    spoken = {tuple(plain(text).split(" ")) for text in texts}
    return len(spoken) <= _FEW and any(
        short in (long[1:], long[:-1]) for long in spoken for short in spoken if len(long) == len(short) + 1
    )


_FEW = 4  # different texts in a column of verdicts


def opens_with_pass(text: str) -> bool:
    """Whether a text begins with words for a pass, whatever follows: "OK but cracked"."""
    return any(_listed(head) == PASS for head in _heads(text))


def opens_with_fail(text: str) -> bool:
    """ "failed: cracked", "voldoet niet aan de norm"; a word of up to three letters counts only alone: "no defects"."""
    if not may_tell(text):
        return False
    heads = _heads(text)
    return _may_say(heads[-1].split(" ")) and any(len(head) > _SHORT and _whole(head) == FAIL for head in heads)


def _heads(text: str) -> list[str]:
    words = plain(_CURRENT.sub("", text)).split(" ")
    return [" ".join(words[:n]) for n in range(1, min(len(words), _HEAD) + 1)]


def _is_initials(part: str) -> bool:
    """Whether a part is a person's initials, and no abbreviation that says something."""
    return bool(_INITIALS.fullmatch(part)) and not any(plain(part) in known(table) for table in _NO_INITIALS)


def _is_remedy(part: str) -> bool:
    """Whether a part says that the device was replaced or mended, and nothing else: "pass (new unit)"."""
    told = remarks.said(part)
    return bool(told.of_device) and not (told.open_fault or told.unknown or told.no_access or told.out_of_use)


def _part(part: str) -> str:
    """What one part says by itself."""
    spoken = plain(NOT.sub(r"\1 not", folded(part)))
    return _whole(spoken) or _slip(spoken)


@functools.lru_cache(maxsize=20_000)
def _whole(spoken: str) -> str:
    """What plain words say without any slip."""
    words = spoken.split(" ")
    if not _may_say(words):
        return NOTHING
    cores = list(_cores(words))
    told = next(filter(None, map(_listed, map(" ".join, cores))), NOTHING)
    return told or next(filter(None, map(_glued, map("".join, cores))), NOTHING) or _denied(words) or _twice(words)


def _may_say(words: list[str]) -> bool:
    """Whether any word denies, or begins what is listed, however it is written: most words of most remarks do not."""
    return (
        not _begin().isdisjoint(words)
        or not _openings().isdisjoint(map(_stem, words))
        or words[0].startswith(_PREFIXES)
    )


@functools.cache
def _begin() -> frozenset[str]:
    """Words that deny, and those with which anything that is listed begins when it is written as one word."""
    return known("deniers").union(word[:n] for word in _glued_words() for n in range(1, len(word) + 1))


def _cores(words: list[str]) -> Iterator[list[str]]:
    """The words, and what is left when words that add nothing are taken from their ends; a bare "no" is never left."""
    start, end = 0, len(words)
    yield words
    while start < end - 1 and words[start] in known("verdict_fillers"):
        start += 1
        yield words[start:end]
    while end > start + 1 and words[end - 1] in known("verdict_fillers"):
        end -= 1
        if words[start:end] != words[start : start + 1] or words[start] not in known("deniers"):
            yield words[start:end]


def _twice(words: list[str]) -> str:
    """What both halves say: "works fine", "OK ✓"."""
    for at in range(1, len(words)) if _stem(words[0]) in _openings() else ():
        first, second = (_listed(" ".join(half)) for half in (words[:at], words[at:]))
        if first and first == second:
            return first
    return NOTHING


def _listed(spoken: str) -> str:
    """PASS or FAIL where the words are listed, in any inflection; NOTHING where both or neither."""
    if _stem(spoken.partition(" ")[0]) not in _openings():
        return NOTHING
    for form, tables in ((spoken, known), (_stems(spoken), _stemmed)):
        passed, failed = form in tables(PASS), form in tables(FAIL)
        if passed or failed:
            return NOTHING if passed and failed else PASS if passed else FAIL
    return NOTHING


@functools.cache
def _stemmed(table: str) -> frozenset[str]:
    return frozenset(map(_stems, known(table)))


@functools.cache
def _openings() -> frozenset[str]:
    """The first words, without endings, of all that is listed: most words of most remarks open nothing."""
    return frozenset(phrase.partition(" ")[0] for table in (PASS, FAIL) for phrase in _stemmed(table))


def _stems(spoken: str) -> str:
    return " ".join(map(_stem, spoken.split(" ")))


@functools.lru_cache(maxsize=50_000)
def _stem(word: str) -> str:
    return _ENDING.sub("", word)


def _glued(spoken: str) -> str:
    """ "goed gekeurd", "inorde": words written together or apart."""
    return _glued_words().get(spoken, NOTHING) if len(spoken) >= SLIP else NOTHING


@functools.cache
def _glued_words() -> dict[str, str]:
    found = {phrase.replace(" ", ""): PASS for phrase in known(PASS)}
    return found | {phrase.replace(" ", ""): FAIL for phrase in known(FAIL)}


def _denied(words: list[str]) -> str:
    """FAIL where exactly one denial stands in words that would be a pass without it: "is not in order", "unsafe"."""
    if len(words) == 1:
        rests = [words[0][len(p) :] for p in _PREFIXES if words[0].startswith(p)]
        return FAIL if any(len(rest) >= _STEM and _listed(rest) == PASS for rest in rests) else NOTHING
    denials = [i for i, word in enumerate(words) if word in known("deniers")]
    if not denials:
        return NOTHING
    rest = [w for i, w in enumerate(words) if i != denials[0]]
    bare = [w for w in rest if w not in known("auxiliaries")]
    sound = (core for said in (rest, bare) if said for core in _cores(said))
    return FAIL if any(PASS in (_listed(" ".join(core)), _glued("".join(core))) for core in sound) else NOTHING


# ── one letter wrong ──
def _slip(spoken: str) -> str:
    """What words say in which one letter of one long word is wrong; never a pass where a fail word is as near.

    A denial is never mended, and a pass is read only where its first letter is right: "kleine Mängel" is no slip of
    "keine Mängel", nor "unsound" of "sound".
    """
    words = spoken.split(" ")
    found = set()
    for i, typed in enumerate(words):
        mended = _mended(typed) if len(typed) >= SLIP - 1 and typed.isalpha() else ()
        if mended and _is_strange(typed):
            told = {_whole(" ".join([*words[:i], word, *words[i + 1 :]])) for word in mended}
            found |= told | {FAIL} if PASS in told and _is_as_near_to_blame(typed, len(words)) else told
    found.discard(NOTHING)
    return found.pop() if len(found) == 1 else NOTHING


@functools.lru_cache(maxsize=50_000)
def _mended(typed: str) -> tuple[str, ...]:
    """Words of verdicts that begin like a typed word and differ from it by one slip.

    Words that do so are equal when a letter of one of them, or of both, is left out: few need to be looked at.
    """
    near = {word for key in (_DOUBLE.sub(r"\1", typed), *_lacking(typed)) for word in _lacked().get(key, ())}
    return tuple(word for word in sorted(near) if word[0] == typed[0] and _is_slip(typed, word))


def _lacking(word: str) -> set[str]:
    """The word, and what is left when any one of its letters is left out."""
    return {word} | {word[:i] + word[i + 1 :] for i in range(len(word))}


@functools.cache
def _lacked() -> dict[str, list[str]]:
    """Words that a slip may be mended to, by what is left when a letter is left out, double letters as one too."""
    found: dict[str, list[str]] = {}
    for word in _long_words():
        for key in _lacking(word) | _lacking(_DOUBLE.sub(r"\1", word)):
            found.setdefault(key, []).append(word)
    return found


def _is_slip(typed: str, word: str) -> bool:
    """One letter wrong, or lacking where double letters count as one: "pased", "Pasd"."""
    if one_slip(typed, word) and len(typed) >= SLIP:
        return True
    short, long = _DOUBLE.sub(r"\1", typed), _DOUBLE.sub(r"\1", word)
    return short == long or (len(short) < len(long) < len(word) and one_slip(short, long))


def _is_as_near_to_blame(typed: str, words: int) -> bool:
    """Whether a word may as well be one that does not praise; four letters are too few where other words stand by."""
    return (words > 1 and len(typed) < SLIP) or any(one_slip(typed, word) for word in _blamed())


@functools.cache
def _blamed() -> frozenset[str]:
    """Words of four letters or more that stand in phrases for anything but a pass."""
    tables = (FAIL, "no_trip", "over_range", "not_measured")
    words = {word for table in tables for phrase in known(table) for word in phrase.split(" ")}
    praising = {word for phrase in known(PASS) for word in phrase.split(" ")}
    return frozenset(w for w in (words - praising) | known("deniers") | known("negators") if len(w) >= _STEM)


def _is_strange(typed: str) -> bool:
    """Whether nobody knows the word: a word of its own is no slip of another ("past", "scattato")."""
    return typed not in _words_of_all_lists() and spell(typed).letters in _STRANGE


@functools.cache
def _words_of_all_lists() -> frozenset[str]:
    tables = (*data.toml("words.toml")["cells"].values(), *data.toml("words.toml")["headings"].values())
    return frozenset(word for phrase in _texts(tables) for word in plain(phrase).split(" "))


def _texts(branch: Any) -> Iterator[str]:
    """Every text of a tree of tables and lists."""
    if isinstance(branch, str):
        yield branch
    elif isinstance(branch, dict | list | tuple):
        for part in branch.values() if isinstance(branch, dict) else branch:
            yield from _texts(part)


@functools.cache
def _long_words() -> frozenset[str]:
    """Words of verdicts that a slip may be mended to."""
    words = {w for table in (PASS, FAIL) for phrase in known(table) for w in phrase.split(" ") if w.isalpha()}
    return frozenset(w for w in words - known("deniers") - known("negators") if len(w) >= SLIP)
