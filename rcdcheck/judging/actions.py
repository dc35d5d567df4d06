"""What to do next about each device, in a sentence, and when its next test is due."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.findings import catalogue
from rcdcheck.numbering import combined, first_places
from rcdcheck.rules import RuleSet
from rcdcheck.tables import Tables, Texts
from rcdcheck.terms import Outcome

WITHDRAW = {
    "portable": "Take it out of service now and fit a failed tag.",
    "fixed": "Keep it switched off and labelled until it is replaced; tell the person responsible for the installation "
    "now: a licensed electrician replaces it.",
    "": "Take it out of service now; if it is part of a fixed installation, keep it switched off and labelled until it "
    "is replaced, and tell the person responsible: a licensed electrician replaces it.",
}


def next_actions(tables: Tables, devices: pd.DataFrame, reasons: pd.DataFrame) -> Texts:
    """One sentence a device, from outcome, kind and gravest standing reason; equal cases are worded once."""
    told = reasons[reasons["standing"]].drop_duplicates("device")
    codes, messages = (np.append(told[name].to_numpy(), "") for name in ("code", "message"))
    first = np.full(len(devices), len(told))  # its gravest standing reason, the last for none
    first[told["device"].to_numpy()] = np.arange(len(told))
    outcome, kind, due = (devices[name].to_numpy() for name in ("outcome", "kind", "retest_due"))
    said = combined(pd.factorize(codes)[0], pd.factorize(messages)[0])[first]
    number = combined(outcome, kind, said, pd.factorize(due)[0] + 1)
    texts = [
        _sentence(Outcome(outcome[i]), str(tables.vocabulary[kind[i]]), codes[first[i]], messages[first[i]], due[i])
        for i in np.flatnonzero(first_places(number))
    ]
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
