"""From answers to the table of questions and to findings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from rcdcheck.as_seen import column_letters
from rcdcheck.findings import Findings, catalogue
from rcdcheck.scrutiny import method, strength
from rcdcheck.scrutiny.answer import Answer, Rows
from rcdcheck.tables import Tables

LISTED = 200  # tests that the evidence of one note lists; a doubt lists all
QUESTIONS = {
    "question": "object",
    "group": "object",
    "technician": "object",
    "asked": "bool",
    "why_not": "object",
    "n": "int64",
    "statistic": "float64",
    "expectation": "float64",
    "chance": "float64",  # as printed: never below the smallest that the model supports
    "adjusted": "float64",
    "strength": "object",
    "sentence": "object",
}


def weigh(answers: Sequence[Answer]) -> pd.DataFrame:
    """The answers as a table with unrounded chances, adjusted chances and words of strength, in order given."""
    columns = {
        "question": [a.question for a in answers],
        "group": [a.who.group for a in answers],
        "technician": [a.who.technician for a in answers],
        "family": [a.who.family for a in answers],
        "asked": [a.asked for a in answers],
        "why_not": [a.why_not for a in answers],
        "n": [a.n for a in answers],
        "statistic": [float(a.statistic) for a in answers],
        "expectation": [float(a.expectation) for a in answers],
        "chance": [float(a.chance) for a in answers],
        "direct": [a.direct for a in answers],
        "capped": [a.capped for a in answers],
        "sentence": [a.sentence for a in answers],
    }
    names = [*QUESTIONS, "family", "direct", "capped"]
    return strength.with_words(pd.DataFrame(columns, columns=[n for n in names if n not in ("adjusted", "strength")]))


def table(weighed: pd.DataFrame) -> pd.DataFrame:
    """The table of questions as the audit carries it."""
    floor = strength.printed(0.0)
    shown = weighed.assign(chance=weighed["chance"].clip(lower=floor), adjusted=weighed["adjusted"].clip(lower=floor))
    return shown[list(QUESTIONS)].astype(QUESTIONS)


def raise_findings(answers: Sequence[Answer], weighed: pd.DataFrame, tables: Tables, findings: Findings) -> None:
    """Note every answer that is a note or a doubt; beside a doubt of chance no note of the same question and group."""
    told = _one_doubt_an_event(list(zip(answers, weighed["adjusted"], weighed["strength"], strict=True)))
    doubted = {(a.question, a.who) for a, _, word in told if word in (strength.MODERATE, strength.STRONG)}
    for answer, adjusted, word in told:
        beside = word == strength.NOTE and not answer.direct and (answer.question, answer.who) in doubted
        if word in (strength.NOTE, strength.MODERATE, strength.STRONG) and not beside:
            code = answer.note if word == strength.NOTE else answer.doubt
            if answer.each:
                _each(code, answer, tables, findings)
            else:
                _one(code, answer, float(adjusted), word, tables, findings)


Told = tuple[Answer, float, str]


def _one_doubt_an_event(told: list[Told]) -> list[Told]:
    """Of doubts of one person that speak of the same rows the strongest stays; the others become notes where they can.

    Two speak of the same rows where half of the tests of the smaller are among those of the other.
    """
    doubts = [i for i, (a, _, word) in enumerate(told) if word in (strength.MODERATE, strength.STRONG) and a.note]
    doubts.sort(key=lambda i: (told[i][2] != strength.STRONG, np.nan_to_num(told[i][0].chance, nan=0.0)))
    kept: list[int] = []
    for i in doubts:
        answer, adjusted, _ = told[i]
        if answer.note != answer.doubt and any(_same_rows(answer, told[k][0]) for k in kept):
            told[i] = (answer, adjusted, strength.NOTE)
        else:
            kept.append(i)
    return told


def _same_rows(one: Answer, other: Answer) -> bool:
    fewer = min(len(one.tests), len(other.tests))
    return one.who.family == other.who.family and 2 * len(np.intersect1d(one.tests, other.tests)) > fewer


def _each(code: str, answer: Answer, tables: Tables, findings: Findings) -> None:
    sheets = tables.tests["sheet"].to_numpy()[answer.tests]
    for sheet in np.unique(sheets):
        tests = answer.tests[sheets == sheet]
        rows = tables.tests["row"].to_numpy()[tests]
        findings.add_many(code, {"sheet": np.full(len(tests), sheet), "row": rows, "test": tests})


def _one(code: str, answer: Answer, adjusted: float, word: str, tables: Tables, findings: Findings) -> None:
    sheet = tables.tests["sheet"].to_numpy()[answer.tests]
    row = tables.tests["row"].to_numpy()[answer.tests]
    same = sheet == sheet[0] if len(sheet) else np.zeros(0, dtype=bool)
    findings.add(
        code,
        sheet=int(sheet[0]) if len(sheet) else -1,
        row=int(row[same].min()) if len(sheet) else 0,
        last_row=int(row[same].max()) if len(sheet) else 0,
        column=answer.column,
        evidence=_evidence(answer, adjusted, word) | _places(answer, word, tables),
        who=answer.who.shown,
        sentence=answer.sentence,
    )


def _evidence(answer: Answer, adjusted: float, word: str) -> dict[str, Any]:
    page = method.page(answer.question)
    return {
        "question": answer.question,
        "technician": answer.who.technician,
        "group": answer.who.group,
        "strength": word,
        "n": answer.n,
        "statistic": _number(answer.statistic),
        "expectation": _number(answer.expectation),
        "chance": _number(strength.printed(answer.chance)),
        "adjusted": _number(strength.printed(adjusted)),
        "chance_in_words": "" if np.isnan(answer.chance) else strength.in_words(adjusted),
        "tests": _listed(answer, word).tolist(),
        "tests_total": len(answer.tests),
        "innocent": innocent(answer),
        "assumes": page.how,
    }


def _listed(answer: Answer, word: str) -> Rows:
    """Every test of a doubt; of a note so many as are listed, its fastest stretch before others."""
    if word != strength.NOTE or len(answer.tests) <= LISTED:
        return answer.tests
    first = np.intersect1d(answer.copies, answer.tests)
    others = answer.tests[~np.isin(answer.tests, first)]
    return np.sort(np.concatenate([first, others])[:LISTED])


def innocent(answer: Answer) -> str:
    """What may explain it innocently: of the doubt itself, or of its question."""
    codes = (code for code in (answer.doubt, answer.note) if code)
    own = next((catalogue()[code].innocent for code in codes if catalogue()[code].innocent), "")
    return own or method.page(answer.question).innocent


def _places(answer: Answer, word: str, tables: Tables) -> dict[str, Any]:
    """Of a doubt every cell with its address, sheet by sheet, and the rows that stand beside those they repeat."""
    if word == strength.NOTE:
        return {}
    readings, tests = tables.readings, tables.tests
    mine = np.isin(readings["test"].to_numpy(), np.concatenate([answer.tests, answer.beside]))
    if answer.column >= 0:
        mine &= readings["column"].to_numpy() == answer.column
    held = readings[mine]
    sheet = tests["sheet"].to_numpy()[held["test"].to_numpy()]
    letters = {c: column_letters(int(c)) for c in held["column"].unique()}
    cells = held["column"].map(letters).astype(str) + held["row"].astype(str)
    return {
        "cells": [_sheet(tables, int(s)) | {"cells": cells[sheet == s].tolist()} for s in np.unique(sheet)],
        "pairs": [
            {"test": int(a), "repeats": int(b), "at": _row(tables, int(a)), "of": _row(tables, int(b))}
            for a, b in zip(answer.copies, answer.beside, strict=False)
        ],
    }


def _sheet(tables: Tables, sheet: int) -> dict[str, str]:
    return {
        "file": tables.inputs[int(tables.sheets["input"].iloc[sheet])].name,
        "sheet": str(tables.sheets["sheet"].iloc[sheet]),
    }


def _row(tables: Tables, test: int) -> dict[str, Any]:
    return _sheet(tables, int(tables.tests["sheet"].iloc[test])) | {"row": int(tables.tests["row"].iloc[test])}


def _number(value: float) -> float | None:
    """JSON knows no NaN."""
    return None if np.isnan(value) else float(value)
