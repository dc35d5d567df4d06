"""What remarks, remedies and notes beside readings say: a fault, a remedy, no access, out of use, a repeat.

A phrase counts at word boundaries and where nothing in its clause negates it: "not cracked", "no signs of damage",
"keine Mängel" and "cracks: none" name no fault. What cannot be told apart counts as a fault, never as none.
"""

from __future__ import annotations

import functools
import re

from rcdcheck.intake.cells.words import folded, may_hold, pattern, says

_MARK = "§"
_CLAUSE_ENDS = re.compile(r"[,;.!?\n()\[\]]+| [-–—] ")


def fault_words(text: str) -> str:
    """The first word for a fault that nothing negates, folded; empty where there is none."""
    return _first_standing(text, "fault", "fault_innocent")


def repeat_words(text: str) -> str:
    """The first word that calls the reading a repeat; empty where there is none."""
    return _first_standing(text, "repeat", "repeat_innocent")


def no_access(text: str) -> str:
    """The first word saying that the device was not reached; empty where there is none."""
    return text.strip() if says("no_access_whole", text) else _first_standing(text, "no_access", "")


def out_of_use(text: str) -> str:
    """The first word saying that the device is no longer used; empty where there is none."""
    return text.strip() if says("out_of_use_whole", text) else _first_standing(text, "out_of_use", "")


def remedy_words(text: str) -> str:
    """The first word for something done about a fault; "not repaired" and "to be replaced" are none."""
    marked, found = _marked(_readied(text, "fault_innocent"), "remedy")
    for before, word, after in _occurrences(pattern("fault").sub(" ", marked) if found else "", found):
        wanted = pattern("remedy_wanted").search(before) or pattern("negators").search(before)
        if not wanted and not pattern("remedy_wanted_after").match(after.strip()):
            return word
    return ""


def _first_standing(text: str, table: str, innocent: str) -> str:
    marked, found = _marked(_readied(text, innocent), table)
    for before, word, after in _occurrences(marked, found):
        if not _negated_before().search(before) and not _denied_after().match(after):
            return word
    return ""


def _readied(text: str, innocent: str) -> str:
    ready = folded(text.replace("\n", ". ")).replace(_MARK, " ")
    return pattern(innocent).sub(" ", ready) if innocent and may_hold(innocent, ready) else ready


def _marked(text: str, table: str) -> tuple[str, list[str]]:
    """The text with each phrase of the table replaced by a mark, and the phrases in order."""
    if not may_hold(table, text):
        return text, []
    return pattern(table).sub(_MARK, text), pattern(table).findall(text)


def _occurrences(marked: str, found: list[str]) -> list[tuple[str, str, str]]:
    """Each phrase with what stands before and after it in its own clause."""
    out: list[tuple[str, str, str]] = []
    if not found:
        return out
    words = iter(found)
    for sentence in _CLAUSE_ENDS.split(marked):
        for clause in pattern("conjunctions").split(sentence):
            ends = [i for i, c in enumerate(clause) if c == _MARK]
            out += [(clause[:i], next(words), clause[i + 1 :]) for i in ends]
    return out


@functools.cache
def _negated_before() -> re.Pattern[str]:
    """A negator, then only words that may stand between it and the fault."""
    between = rf"(?:{pattern('negation_fillers').pattern}|{_MARK})[\s/]+"
    return re.compile(rf"{pattern('negators').pattern}[\s/]+(?:{between})*$")


@functools.cache
def _denied_after() -> re.Pattern[str]:
    return re.compile(rf"\s*[:=]?\s*{pattern('negators_after').pattern}\s*$")
