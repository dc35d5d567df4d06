"""Letters that stand for verdicts in a column of checks: B and M, C and NC, G and S.

A letter is an initial, and of what depends on the language: S is "sí" and "sim", but also "slecht". So it is told only
by the language of the sheet, or by a second letter beside it where every language that parts the two parts them alike.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable

from rcdcheck import data
from rcdcheck.intake.cells.phrases import known, plain
from rcdcheck.intake.cells.verdicts import FAIL, NOTHING, PASS

MOST = 3  # different marks: a column of more is one of names
WORDS = 6  # different cells: who writes so many does not write in letters


def letters_told(cells: Iterable[object], language: str = "") -> dict[str, str]:
    """PASS, FAIL or NOTHING (it could be either) for the marks of one or two letters among a column's distinct cells.

    `language`: that of the sheet, empty where it is not known; one without letters of its own tells nothing.
    A mark that this cannot tell is not in the answer.
    """
    distinct = {plain(cell) for cell in cells if isinstance(cell, str)}
    marks = distinct & _initials()
    if not marks or len(marks) > MOST or len(distinct) > WORDS:
        return {}
    if language in _meanings():
        told = _meanings()[language]
        return {mark: told[mark] for mark in marks if mark in told}
    parted = [told for told in _meanings().values() if {told.get(mark, NOTHING) for mark in marks} == {PASS, FAIL}]
    said = {mark: {told[mark] for told in parted} for mark in marks}
    return {mark: verdicts.pop() if len(verdicts) == 1 else NOTHING for mark, verdicts in said.items() if verdicts}


@functools.cache
def _meanings() -> dict[str, dict[str, str]]:
    """Language → mark → PASS, FAIL, or NOTHING where it begins words for either."""
    table = data.toml("words.toml")["cells"]
    found = {}
    for language in table["pass_initialled"]:
        passed, failed = (
            {_initial(word) for word in table[name][language]} for name in ("pass_initialled", "fail_initialled")
        )
        found[language] = {
            mark: NOTHING if mark in passed & failed else PASS if mark in passed else FAIL
            for mark in (passed | failed) - known("not_measured")  # "NA" is no "no apto"
        }
    return found


def _initial(phrase: str) -> str:
    return "".join(word[0] for word in plain(phrase).split(" "))


@functools.cache
def _initials() -> frozenset[str]:
    return frozenset(mark for told in _meanings().values() for mark in told)
