"""What remarks and remedies say: a fault, a remedy, no access, out of use, a repeat."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from rcdcheck.findings import Findings
from rcdcheck.intake.cells import readings as cells
from rcdcheck.records import Mask, State, Tables, Texts


@dataclass(frozen=True)
class Remarks:
    """One entry for each test: what its remark and remedy say, and the remark itself."""

    fault: Mask
    remedy: Mask
    no_access: Mask
    out_of_use: Mask
    repeat: Mask
    text: Texts


def read_remarks(tables: Tables, findings: Findings) -> Remarks:
    """Each distinct remark is read once."""
    remark, remedy = tables.tests["remark"].to_numpy(), tables.tests["remedy"].to_numpy()
    used, back = np.unique(np.concatenate([remark, remedy]), return_inverse=True)
    texts = tables.texts(used)
    n = len(remark)

    def said(ask: Callable[[str], object]) -> tuple[Mask, Mask]:
        found = np.array([bool(t) and bool(ask(t)) for t in texts], dtype=bool)[back]
        return found[:n], found[n:]

    fault, _ = said(cells.fault_words)
    mended, mended_too = said(cells.remedy_words)
    locked, _ = said(cells.no_access)
    gone, gone_too = said(cells.out_of_use)
    again, _ = said(cells.repeat_words)
    words = tables.texts(remark)
    noted = _beside_readings(tables)
    for test, note in noted.items():
        fault[test] |= bool(cells.fault_words(note))
        again[test] |= bool(cells.repeat_words(note))
        words[test] = "; ".join(filter(None, (words[test], note)))
    for test, name in _repeats_by_name(tables).items():
        again[test] = True
        words[test] = "; ".join(filter(None, (words[test], name)))
    return Remarks(fault, mended | mended_too, locked, gone | gone_too, again, words)


def _beside_readings(tables: Tables) -> dict[int, str]:
    """Notes typed beside a reading ("26.3 retested") that name a fault or a repeat, by test."""
    readings = tables.readings[tables.readings["state"] == State.TRIPPED]
    used = np.unique(readings["text"])
    worded = [bool(_WORD.search(t)) and bool(cells.fault_words(t) or cells.repeat_words(t)) for t in tables.texts(used)]
    some = readings[readings["text"].isin(used[np.array(worded, dtype=bool)])]
    return dict(zip(some["test"].tolist(), tables.texts(some["text"]), strict=True))


def _repeats_by_name(tables: Tables) -> dict[int, str]:
    """Identifiers that say that the row is a repeat ("M1 retest"), by test."""
    device = tables.tests["device"].to_numpy()
    used = np.unique(device)
    said = [c for c, t in zip(used, tables.texts(used), strict=True) if _MORE.search(t) and _again(t)]
    return {int(i): str(tables.vocabulary[device[i]]) for i in np.flatnonzero(np.isin(device, said))}


def _again(name: str) -> bool:
    return bool(cells.repeat_words(name)) or _SECOND.search(name) is not None


_MORE = re.compile(r"[\s(]")  # an identifier with a second part
_SECOND = re.compile(r"[\s(](2nd|3rd|second|third|again)\b", re.IGNORECASE)
_WORD = re.compile(r"[^\W\d_]{4}")
