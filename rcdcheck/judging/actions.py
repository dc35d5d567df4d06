"""What to do next about each device, in a sentence, and when its next test is due."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.findings import catalogue
from rcdcheck.records import Outcome, Tables, Texts
from rcdcheck.rules import RuleSet

WITHDRAW = {
    "portable": "Take it out of service now and fit a failed tag.",
    "fixed": "Keep it switched off and labelled until it is replaced; tell the person responsible for the installation "
    "now: a licensed electrician replaces it.",
    "": "Take it out of service now; if it is part of a fixed installation, keep it switched off and labelled until it "
    "is replaced, and tell the person responsible: a licensed electrician replaces it.",
}


def next_actions(tables: Tables, devices: pd.DataFrame, reasons: pd.DataFrame) -> Texts:
    """One sentence a device, from outcome, kind and gravest standing reason; equal cases are worded once."""
    first = reasons[reasons["standing"]].drop_duplicates("device").set_index("device")
    known = first.reindex(np.arange(len(devices)))
    keys = pd.DataFrame(
        {
            "outcome": devices["outcome"].to_numpy(),
            "kind": tables.texts(devices["kind"]),
            "code": known["code"].fillna("").to_numpy(),
            "message": known["message"].fillna("").to_numpy(),
            "due": devices["retest_due"].to_numpy(),
        }
    )
    number = keys.groupby(list(keys), dropna=False, sort=False).ngroup().to_numpy()
    distinct = keys.drop_duplicates().itertuples(index=False)
    texts = [_sentence(Outcome(k.outcome), str(k.kind), str(k.code), str(k.message), k.due) for k in distinct]
    result: Texts = np.array(texts or [""], dtype=object)[number]
    return result


def _sentence(outcome: Outcome, kind: str, code: str, message: str, due: object) -> str:
    if outcome == Outcome.FAIL:
        return WITHDRAW.get(kind, WITHDRAW[""])
    if outcome == Outcome.PASS:
        return (
            f"Nothing now; next test due {pd.Timestamp(due).date().isoformat()}." if pd.notna(due) else "Nothing now."
        )
    if code == "out-of-use":
        return "Out of use: take it off the list, or test it before it is used again."
    what = catalogue()[code].do if code in catalogue() else "Look at the reasons."
    if code == "needed-reading-missing":
        what = f"Go back: {message[0].lower()}{message[1:]}"
    return f"No pass tag until settled. {what}"


def retest_due(tables: Tables, devices: pd.DataFrame, rules: RuleSet) -> npt.NDArray[np.datetime64]:
    """Date of the next test: only for a pass with a date, and only where kind and environment are known."""
    due = np.full(len(devices), np.datetime64("NaT"), dtype="datetime64[us]")
    passed = (devices["outcome"] == Outcome.PASS) & devices["tested_at"].notna()
    keys = devices.loc[passed, ["kind", "environment"]]
    for (kind, environment), group in keys.groupby(["kind", "environment"]):
        interval = rules.retest_months(str(tables.vocabulary[kind]), str(tables.vocabulary[environment]))
        if interval is not None:
            dates = devices.loc[group.index, "tested_at"].dt.normalize()
            due[group.index] = (dates + pd.DateOffset(months=interval.months)).to_numpy()
    return due
