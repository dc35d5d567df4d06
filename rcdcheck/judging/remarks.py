"""What remarks and remedies of the tests say: a fault, a remedy, no access, out of use, a repeat, or nothing known."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from rcdcheck.findings import Findings
from rcdcheck.intake.cells import remarks as cells
from rcdcheck.intake.cells.phrases import folded, pattern
from rcdcheck.numbering import used_codes
from rcdcheck.tables import Mask, Tables, Texts
from rcdcheck.terms import State


@dataclass(frozen=True)
class Remarks:
    """One entry for each test: what its remark and remedy say, and both as typed."""

    fault: Mask  # a fault, or a plan to mend one, that no remedy beside it mends
    remedy: Mask  # a repair or replacement that is done
    of_device: Mask  # of the device itself: no new plug mends how a device trips
    no_access: Mask
    unreached: Mask  # no access in words that no reading can stand beside
    out_of_use: Mask
    withdrawn: Mask  # out of use by decision
    repeat: Mask
    text: Texts


def is_done(what: str) -> bool:
    """Whether words of --remedied tell of something done about a device; "to be replaced" and "new label" do not."""
    told = cells.said(what)
    return not told.open_fault and bool(told.of_device or told.unknown)


def read_remarks(tables: Tables, findings: Findings) -> Remarks:
    """Each distinct pair of remark and remedy is read once; what is not understood is listed word for word."""
    tests = tables.tests
    pairs = tests["remark"].to_numpy().astype(np.int64) << 32 | tests["remedy"].to_numpy().astype(np.int64)
    used, back = np.unique(pairs, return_inverse=True)
    remark, remedy = tables.texts(used >> 32), tables.texts(used & 0xFFFFFFFF)
    both = np.array(["; ".join(filter(None, pair)) for pair in zip(remark, remedy, strict=True)], dtype=object)
    read = [cells.said(text) for text in both]

    def mask(ask: Callable[[cells.Said], str]) -> Mask:
        return np.array([bool(ask(one)) for one in read], dtype=bool)[back]

    fault = mask(lambda one: one.open_fault)
    again = np.array([bool(cells.repeat_words(text)) for text in remark], dtype=bool)[back]
    words = both[back]
    _list_strange(tables, mask(lambda one: one.unknown), both[back], findings)
    for test, note in _beside_readings(tables).items():
        fault[test] |= bool(cells.said(note).open_fault)
        again[test] |= bool(cells.repeat_words(note))
        words[test] = "; ".join(filter(None, (words[test], note)))
    for test, name in _repeats_by_name(tables).items():
        again[test] = True
        words[test] = "; ".join(filter(None, (words[test], name)))
    return Remarks(
        fault=fault,
        remedy=mask(lambda one: one.remedy),
        of_device=mask(lambda one: one.of_device),
        no_access=mask(lambda one: one.no_access),
        unreached=mask(lambda one: one.unreached),
        out_of_use=mask(lambda one: one.out_of_use),
        withdrawn=mask(lambda one: one.withdrawn),
        repeat=again,
        text=words,
    )


def _list_strange(tables: Tables, strange: Mask, words: Texts, findings: Findings) -> None:
    """Remarks that are not understood never vanish: each is a finding of its device."""
    at = np.flatnonzero(strange)
    findings.add_many("remark-not-understood", {**tables.cells_of("remark", at), "test": at, "typed": words[at]})


def _beside_readings(tables: Tables) -> dict[int, str]:
    """Notes typed beside a reading ("26.3 retested") that name a fault or a repeat, by test."""
    tripped = np.flatnonzero(tables.readings["state"].to_numpy() == State.TRIPPED)
    used, back = used_codes(tables.readings["text"].to_numpy()[tripped])
    notes = [_without_bound(t) for t in tables.texts(used)]
    worded = [bool(_WORD.search(t)) and bool(cells.said(t).open_fault or cells.repeat_words(t)) for t in notes]
    some = tables.readings.iloc[tripped[np.array(worded, dtype=bool)[back]]]
    return dict(zip(some["test"].tolist(), tables.texts(some["text"]), strict=True))


def _without_bound(text: str) -> str:
    """ "over 300" is a reading, and no fault beside one."""
    above = pattern("above").match(folded(text))
    return folded(text)[above.end() :] if above else text


def _repeats_by_name(tables: Tables) -> dict[int, str]:
    """Identifiers that say that the row is a repeat ("M1 retest"), by test."""
    device = tables.tests["device"].to_numpy()
    used, _ = used_codes(device)
    names = tables.texts(used)
    if not _MORE.search("".join(names)):
        return {}
    said = [c for c, t in zip(used, names, strict=True) if _MORE.search(t) and _again(t)]
    return {int(i): str(tables.vocabulary[device[i]]) for i in np.flatnonzero(np.isin(device, said))}


def _again(name: str) -> bool:
    return bool(cells.repeat_words(name)) or _SECOND.search(name) is not None


_MORE = re.compile(r"[\s(]")  # an identifier with a second part
_SECOND = re.compile(r"[\s(](2nd|3rd|second|third|again)\b", re.IGNORECASE)
_WORD = re.compile(r"[^\W\d_]{4}")
