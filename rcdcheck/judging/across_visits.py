"""What stands of an outlet after all its visits: a fail stays open until a pass with a remedy on record."""

from __future__ import annotations

import numpy as np
import pandas as pd

from rcdcheck.judging.court import Court, Outcomes, note, reason
from rcdcheck.records import Mask, Outcome


def across_visits(court: Court, outcome: Outcomes, found: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Standing outcome of each outlet, and the reasons that stand (a later visit may have settled earlier ones)."""
    units = court.units.assign(outcome=outcome, unit=np.arange(len(outcome)))
    key = ["device", "outlet"]
    last = units.drop_duplicates(key, keep="last")
    several = units[units.duplicated(key, keep=False)]
    failed = several.groupby(key)["outcome"].transform("max") == Outcome.FAIL
    remedied = court.of_units(court.remarks.remedy)
    standing = last.set_index(key)["outcome"].astype("int8").copy()
    extra = []
    for outlet, history in several[failed].groupby(key):
        final, kept = _settle(court, history, remedied)
        standing[outlet] = final
        extra.append((int(history["unit"].iloc[-1]), kept))
    settled = ~np.isin(court.unit[found["test"].to_numpy()], last["unit"].to_numpy())
    found["standing"] = ~settled
    found = _with_open_fails(court, found, extra)
    latest_visit = units.groupby("device")["visit"].max()
    outlets = last.assign(
        outcome=standing.to_numpy(), late=last["visit"].to_numpy() < latest_visit[last["device"]].to_numpy()
    )
    return outlets, found


def _settle(court: Court, history: pd.DataFrame, remedied: Mask) -> tuple[int, str]:
    """Outcome after all visits of one outlet that failed at least once, and a code where the fail stays open."""
    opened, outcome = False, int(Outcome.PASS)
    for visit in history.itertuples():
        if opened and (remedied[visit.unit] or _remedy_stated(court, int(visit.unit))):
            opened = False
        if visit.outcome == Outcome.FAIL:
            opened, outcome = not remedied[visit.unit], int(Outcome.FAIL)
        elif not opened:
            outcome = int(visit.outcome)
        else:
            outcome = int(Outcome.UNCLEAR if visit.outcome == Outcome.PASS else Outcome.FAIL)
    if history["outcome"].iloc[-1] == Outcome.FAIL:
        return int(Outcome.FAIL), ""
    return outcome, {Outcome.UNCLEAR: "pass-after-fail-without-remedy", Outcome.FAIL: "fail-still-open"}.get(
        Outcome(outcome), ""
    ) if opened else ""  # fmt: skip


def _remedy_stated(court: Court, unit: int) -> bool:
    """Whether --remedied names the device with a date up to that of this visit."""
    test = int(court.units["test"].iloc[unit])
    name = str(court.tables.vocabulary[court.tables.tests["device"].iloc[test]]).casefold()
    at = court.tables.tests["tested_at"].iloc[test]
    return any(
        d.casefold() == name and (pd.isna(at) or pd.Timestamp(day) <= at.normalize())
        for d, day, _ in court.options.remedied
    )


def _with_open_fails(court: Court, found: pd.DataFrame, extra: list[tuple[int, str]]) -> pd.DataFrame:
    rows = []
    for unit, code in extra:
        if code:
            mask = np.zeros(len(court.tables.tests), dtype=bool)
            mask[int(court.units["test"].iloc[unit])] = True
            outcome = Outcome.UNCLEAR if code == "pass-after-fail-without-remedy" else Outcome.FAIL
            rows.append(reason(court, mask, code, outcome, "device").assign(standing=True))
            note(court, mask, code, "device")
    return pd.concat([found, *rows], ignore_index=True)
