"""What remarks, remedies and notes beside readings say: a fault, a remedy, no access, out of use, a repeat, or nothing
that is understood.

`remark_words.py` spells a remark in letters, one for each word; `clauses.py` reads them. A remark all of whose letters
are harmless is done with at once, and most are.
"""

from __future__ import annotations

import functools
import re
from typing import NamedTuple

from rcdcheck.intake.cells.clauses import told
from rcdcheck.intake.cells.phrases import folded, plain, says
from rcdcheck.intake.cells.remark_words import spell
from rcdcheck.intake.cells.repeats import repeat_words
from rcdcheck.intake.cells.unknown_words import unknown_word

__all__ = ["Said", "fault_words", "loud", "no_access", "out_of_use", "remedy_words", "repeat_words", "said"]

_HARMLESS = re.compile(r"[dHfgmMLKDEplhbo01nkOCvizwtTjyMY.&5]*")
_NOT_HARMLESS = re.compile(r"[TkOC][^.]*[GJj]|K.*[XY]|Y.*K|y.*w|T[fkt]{1,3}[O5]|T.{0,2}d|[OC]f*jf*T|v[H0]?[EDplhbo]")
_WHOLE = {kind: re.compile(rf"[f.0]*{letter}[f.0]*") for kind, letter in (("locked", "[aq]"), ("gone", "x"))}
_BARE_NO = frozenset({
    "no", "n", "f", "false", "falsch", "nein", "non", "nee", "nao", "nope", "falso", "faux",
    "nej", "nei", "ne", "nie", "0",
})  # fmt: skip
_MAY_BE_LOUD = re.compile(r"[^\W\d_].*[^\W\d_]|[>∞✗✘❌]")
_PERSON = re.compile(r"[A-Z]\. ?(?:[A-Z]\. ?)?[A-Z][a-z]+")  # "K. Burns" speaks of no burn


class Said(NamedTuple):
    """What a remark says: the words that say it, each empty where it does not."""

    fault: str = ""  # the first fault that nothing negates
    open_fault: str = ""  # the first fault, or plan to mend one, that no remedy in the remark mends
    remedy: str = ""  # done about a device or a part of it
    of_device: str = ""  # a remedy of the device itself, or of what nobody names: no plug or lead, no screw tightened
    no_access: str = ""
    unreached: str = ""  # no access in words that no reading can stand beside; "board locked" is not of these
    out_of_use: str = ""
    withdrawn: str = ""  # out of use by decision: taken away, scrapped
    unknown: str = ""  # the first word that is not understood and may tell of the device's state


_NOTHING, _TOLD_NOTHING = Said(), told("")


@functools.lru_cache(maxsize=200_000)  # each remark is asked for several times, with all others in between
def said(text: str) -> Said:
    """Everything that one remark says."""
    letters, words = spell(text)
    if _HARMLESS.fullmatch(letters) and not _NOT_HARMLESS.search(letters):
        return _NOTHING
    found = told(letters)
    whole = {kind: text.strip() if form.fullmatch(letters) else "" for kind, form in _WHOLE.items()}
    if found == _TOLD_NOTHING and not any(whole.values()):
        unknown = unknown_word(letters, words, text)
        return Said(unknown=unknown) if unknown else _NOTHING

    def word(at: int, end: int = 0) -> str:
        return " ".join(words[at : end or at + 1]) if at >= 0 else ""

    remedies = [r for r in found.remedies if words[r.at + 1 : r.at + 2] != ("?",)]  # "replaced?" is a question
    unmended = [f for f in found.faults if not any(r.mends(f, letters) for r in remedies)]
    return Said(
        fault=next((word(f.at, f.end) for f in found.faults if not f.implied), ""),
        open_fault=word(unmended[0].at, unmended[0].end) if unmended else "",
        remedy=word(remedies[0].at) if remedies else "",
        of_device=next((word(r.at) for r in remedies if r.of_device), ""),
        no_access=word(found.unreached) or word(found.locked) or whole["locked"],
        unreached=word(found.unreached),
        out_of_use=word(found.withdrawn) or word(found.gone) or whole["gone"],
        withdrawn=word(found.withdrawn),
        unknown="" if unmended else unknown_word(letters, words, text),
    )


def fault_words(text: str) -> str:
    """The first word for a fault that nothing negates, folded; empty where there is none."""
    return said(text).fault


def remedy_words(text: str) -> str:
    """The first word for a repair or replacement that is done; "not repaired" and "to be replaced" are none."""
    return said(text).remedy


def no_access(text: str) -> str:
    """The first word saying that the device was not reached; empty where there is none."""
    return said(text).no_access


def out_of_use(text: str) -> str:
    """The first word saying that the device is no longer used; empty where there is none."""
    return said(text).out_of_use


def loud(text: str) -> str:
    """The word for which a cell anywhere in a sheet says that something failed; empty for most, and for a bare "no"."""
    if not _MAY_BE_LOUD.search(text) or _PERSON.fullmatch(text):
        return ""
    if (says("fail", text) or says("no_trip", text) or says("over_range", text)) and plain(text) not in _BARE_NO:
        return folded(text)
    return said(text).open_fault
