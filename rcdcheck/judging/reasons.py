"""Why a device has its outcome: one row for each reason, with its cell and a sentence.

The sentences come from the catalogue of findings; equal words are put together once, not once a row.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck import models
from rcdcheck.findings import KEPT, Findings, catalogue
from rcdcheck.judging.possible_types import TROUBLES
from rcdcheck.tables import Tables, Texts
from rcdcheck.terms import Bound, Outcome, Slot, State, Verdict

NO_TRIP = ("no trip", "did not trip")  # typed so, there is nothing to quote
SETTLED = " Settled: a remedy is on record, and the device passed after it."
REASONS = models.dtypes(models.Reason)


def shown_value(value: float, state: int, bound: int, unit: str) -> str:
    """A reading in words: `310 ms`, `> 300 ms`, `no trip`; unrounded, so that a fail never looks equal to its limit."""
    if state == State.NOT_TRIPPED:
        return "no trip"
    if not np.isfinite(value):
        return "unreadable"
    return f"{'> ' if bound == Bound.ABOVE else ''}{value:.10g} {unit}"


def shown_limit(limit: float, value: float, unit: str) -> str:
    """A limit in words, to a tenth, and to more digits where it would not look on its own side of the reading."""
    if not np.isfinite(limit):
        return "not known"
    for digits in (1, 2, 3, 6):
        shown = round(limit, digits)
        if not np.isfinite(value) or value == limit or np.sign(shown - value) == np.sign(limit - value):
            break
    return f"{shown:.10g} {unit}"


def of_readings(tables: Tables, verdicts: pd.DataFrame, at: npt.NDArray[np.int64]) -> pd.DataFrame:
    """Reasons (columns REASONS and `typed`) for the readings at these places."""
    readings, judged = tables.readings.iloc[at], verdicts.iloc[at]
    test = readings["test"].to_numpy()
    outcome = np.where(judged["verdict"] == Verdict.FAIL, Outcome.FAIL, Outcome.UNCLEAR)
    return pd.DataFrame(
        {
            "test": test,
            "code": judged["reason"].to_numpy(),
            "message": messages(tables, verdicts, at),
            "outcome": outcome.astype(np.int8),
            "sheet": tables.tests["sheet"].to_numpy()[test],
            "row": readings["row"].to_numpy(),
            "column": readings["column"].to_numpy(),
            "typed": tables.texts(readings["text"]),
        }
    )


def messages(tables: Tables, verdicts: pd.DataFrame, at: npt.NDArray[np.int64]) -> Texts:
    """The sentence of each reading: its template from the catalogue, filled once for each distinct set of words."""
    readings, judged = tables.readings.iloc[at], verdicts.iloc[at]
    keys = pd.DataFrame(
        {
            "code": judged["reason"].to_numpy(),
            "slot": readings["slot"].to_numpy(),
            "multiple": judged["multiple"].to_numpy(),
            "current": readings["test_current"].to_numpy(),
            "value": readings["value"].to_numpy(),
            "state": readings["state"].to_numpy(),
            "bound": readings["bound"].to_numpy(),
            "text": readings["text"].to_numpy(),
            "limit": judged["limit"].to_numpy(),
            "hint": judged["hint"].to_numpy(),
            "rated": tables.tests["rated_residual_current"].to_numpy()[readings["test"].to_numpy()],
        }
    )
    number = keys.groupby(list(keys), dropna=False, sort=False).ngroup().to_numpy()
    kinds = catalogue()
    distinct = keys.drop_duplicates().itertuples(index=False)
    texts = [_sentence(kinds[str(k.code)].message, tables, k) for k in distinct]
    result: Texts = np.array(texts or [""], dtype=object)[number]
    return result


def _sentence(template: str, tables: Tables, key: Any) -> str:
    slot = tables.slots[key.slot]._replace(multiple=key.multiple)
    shown = shown_value(key.value, key.state, key.bound, slot.unit)
    title = _title(slot, key.current)
    typed = str(tables.vocabulary[key.text])
    return template.format_map(
        {
            "what": title,
            "shown": shown,
            "after": f" after {shown}" if np.isfinite(key.value) else "",
            "limit": shown_limit(key.limit, key.value, slot.unit),
            "typed": typed,
            "as_typed": "" if typed.casefold() in NO_TRIP else f" (typed {typed})",
            "suggestion": "",
            "hint": key.hint,
            "words": f"{key.rated:g} mA",
        }
    ).rstrip()


def _title(slot: Slot, current: float) -> str:
    """What a reading is called; by its test current, in mA, where that makes no plain multiple of the rated current."""
    title = slot.title
    if np.isfinite(current) and not np.isclose(slot.multiple, np.round(slot.multiple, 1)):
        title = slot._replace(multiple=np.nan).title.replace("trip time", f"trip time at {current:g} mA")
    return title[0].upper() + title[1:]


def find_readings(tables: Tables, verdicts: pd.DataFrame, findings: Findings) -> None:
    """A finding for each reading whose verdict has a reason, but for unreadable ones, which intake has pointed at, and
    those that the type or rating of their test leaves unclear, which is said once for the test."""
    reason = verdicts["reason"].to_numpy()
    said = np.flatnonzero(reason != "")
    at = said[~np.isin(reason[said], ("reading-unreadable", "not-in-rules", *TROUBLES))]
    test = tables.readings["test"].to_numpy()[at]
    frame = pd.DataFrame({"code": reason[at], "sheet": tables.tests["sheet"].to_numpy()[test], "at": at})
    for (code, sheet), group in frame.groupby(["code", "sheet"], sort=True):
        kept = group["at"].to_numpy()[:KEPT]
        readings = tables.readings.iloc[kept]
        findings.add_many(
            str(code),
            {
                "sheet": np.full(len(kept), sheet),
                "row": readings["row"],
                "column": readings["column"],
                "test": readings["test"],
                "typed": tables.texts(readings["text"]),
                "message": messages(tables, verdicts, kept),
            },
            total=len(group),
        )


def told_as_settled(findings: pd.DataFrame, reasons: pd.DataFrame, outcome: npt.NDArray[np.int8]) -> pd.DataFrame:
    """Findings of danger whose device passed after a remedy say so; `outcome` is that of the device of each test."""
    ended = reasons.loc[~reasons["standing"] & (reasons["outcome"] == Outcome.FAIL), ["test", "code"]]
    passes = outcome[findings["test"].to_numpy()] == Outcome.PASS if len(outcome) else False
    told = (findings["severity"] == "danger") & (findings["test"] >= 0) & passes
    told &= (findings["code"] != "declared-pass-contradicted").to_numpy()  # it speaks of the record
    told &= pd.MultiIndex.from_frame(findings[["test", "code"]]).isin(pd.MultiIndex.from_frame(ended))
    findings["message"] = findings["message"].where(~told, findings["message"] + SETTLED)
    return findings
