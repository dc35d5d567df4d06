"""People's names replaced by letters wherever a report would print them; the key is kept nowhere.

The whole audit is changed before any report reads it, so that no report can forget a place. Texts in which a name
stands in another form (initials in a remark) are beyond what can be recognised.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd

from rcdcheck.as_seen import column_letters
from rcdcheck.audits import Audit, Grade
from rcdcheck.history import History

LONG = 4  # letters from which one word of a name is replaced in the name of a file
SHORT = 2  # names of so many letters are replaced only where they stand alone or before a comma or colon
Hide = Callable[[str], str]


def hidden(audit: Audit) -> Audit:
    """The same audit with each technician as `Person A`, `Person B`, … in order of their first test."""
    letters = people(audit)
    files = {i.name: _replacer(_words(letters))(_replacer(letters)(i.name)) for i in audit.tables.inputs}
    hide = _replacer(letters | {_folded(old): new for old, new in files.items() if new != old})
    tables = audit.tables
    vocabulary = np.array([hide(text) for text in tables.vocabulary], dtype=object)
    return dataclasses.replace(
        audit,
        tables=dataclasses.replace(
            tables,
            vocabulary=vocabulary,
            inputs=tuple(dataclasses.replace(i, name=files[i.name], reason=hide(i.reason)) for i in tables.inputs),
            sheets=_in_frame(tables.sheets, hide, "sheet", "reason"),
            columns=_in_frame(tables.columns, hide, "samples", "how"),
            passed_over=_in_frame(tables.passed_over, hide, "text"),
            cells=_in_frame(tables.cells, hide, "text"),
        ),
        devices=_in_frame(audit.devices, hide, "next_action"),
        reasons=_in_frame(audit.reasons, hide, "message"),
        findings=_in_frame(audit.findings, hide, "message", "typed", "suggestion", "evidence"),
        questions=_in_frame(audit.questions, hide, "technician", "group", "why_not", "sentence"),
        grades=tuple(_grade(grade, hide) for grade in audit.grades),
        history=_history(audit.history, hide),
    )


def _history(history: History, hide: Hide) -> History:
    return dataclasses.replace(
        history,
        counted=tuple((hide(name), visit, day) for name, visit, day in history.counted),
        waiting=tuple(map(hide, history.waiting)),
        rates=tuple(dataclasses.replace(r, name=hide(r.name)) for r in history.rates),
        changes=tuple(dataclasses.replace(c, device=hide(c.device), why=hide(c.why)) for c in history.changes),
    )


def people(audit: Audit) -> dict[str, str]:
    """Letters of the technicians by name without case, in order of their first test."""
    codes = audit.tables.tests["technician"].to_numpy()
    _, first = np.unique(codes, return_index=True)
    letters: dict[str, str] = {}
    for code in codes[np.sort(first)]:
        name = _folded(str(audit.tables.vocabulary[code]))
        if name and name not in letters:
            letters[name] = f"Person {column_letters(len(letters))}"
    return letters


def _folded(text: str) -> str:
    return " ".join(text.split()).casefold()


def _words(letters: dict[str, str]) -> dict[str, str]:
    """Longer words of the names, for file names such as `2026-11-20-snowfield.xlsx`."""
    return {
        word: letter for name, letter in letters.items() for word in re.findall(r"[^\W\d_]+", name) if len(word) >= LONG
    }


def _replacer(letters: dict[str, str]) -> Hide:
    """Replaces names in a text: looked up by their words, since a text is compared with no name that it cannot hold."""
    named: dict[tuple[str, ...], list[tuple[re.Pattern[str], str]]] = {}
    for name in sorted(letters, key=len, reverse=True):
        words = tuple(word.casefold() for word in _WORD.findall(name)) if _WORD.match(name) else ()
        named.setdefault(words, []).append((re.compile(_pattern(name), re.IGNORECASE), letters[name]))
    signs = named.pop((), [])  # names that begin with none
    lengths = sorted({len(words) for words in named}, reverse=True)

    def hide(text: str) -> str:
        places = [(*match.span(), letter) for pattern, letter in signs for match in pattern.finditer(text)]
        found = list(_WORD.finditer(text)) if named else []
        words = [one.group().casefold() for one in found]
        for i, one in enumerate(found):
            tried = (entry for n in lengths for entry in named.get(tuple(words[i : i + n]), ()))
            matched = ((pattern.match(text, one.start()), letter) for pattern, letter in tried)
            places += next(([(*match.span(), letter)] for match, letter in matched if match), [])
        out, last = [], 0
        for begin, end, letter in sorted(places):
            if begin >= last:
                out += [text[last:begin], letter]
                last = end
        return "".join([*out, text[last:]])

    return hide


_WORD = re.compile(r"[^\W_]+")


def _pattern(name: str) -> str:
    spaced = r"\s+".join(map(re.escape, name.split()))
    if len(name) > SHORT:
        return rf"(?<![^\W_]){spaced}(?![^\W_])"
    return rf"(?:(?<=^)|(?<=under )|(?<=; )|(?<=, )){spaced}(?=$|[,:;])"


def _in_frame(frame: pd.DataFrame, hide: Hide, *columns: str) -> pd.DataFrame:
    shown = {name: frame[name].map(lambda value: _in_value(value, hide)).astype(frame[name].dtype) for name in columns}
    return frame.assign(**shown)


def _in_value(value: Any, hide: Hide) -> Any:
    if isinstance(value, str):
        return hide(value)
    if isinstance(value, dict):
        return {key: _in_value(inner, hide) for key, inner in value.items()}
    return value


def _grade(grade: Grade, hide: Hide) -> Grade:
    lines = tuple((title, letter, hide(figure)) for title, letter, figure in grade.lines)
    return dataclasses.replace(grade, name=hide(grade.name), decided_by=hide(grade.decided_by), lines=lines)
