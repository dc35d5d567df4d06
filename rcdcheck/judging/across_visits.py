"""What stands of an outlet after all its visits: a fail stays open until a pass with a remedy on record."""

from __future__ import annotations

import numpy as np
import pandas as pd

from rcdcheck.judging import identity
from rcdcheck.judging.court import NEVER, Court, Outcomes, note, reason
from rcdcheck.judging.identity import UNDATED
from rcdcheck.records import Mask, Outcome


def across_visits(court: Court, outcome: Outcomes, found: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Standing outcome of each outlet, and the reasons that stand (a later visit may have settled earlier ones)."""
    units = court.units.assign(outcome=outcome, unit=np.arange(len(outcome)))
    key = ["device", "outlet"]
    last = units.drop_duplicates(key, keep="last")
    several = units[units.duplicated(key, keep=False)]
    failed = several.groupby(key)["outcome"].transform("max") == Outcome.FAIL
    standing = last.set_index(key)["outcome"].astype("int8").copy()
    remedied, failing, extra = _remedied(court), _failing_tests(court, found), []
    for outlet, history in several[failed].groupby(key):
        final, kept = _settle(court, history, remedied, failing)
        standing[outlet] = final
        extra.append((int(history["unit"].iloc[-1]), kept))
    found["standing"] &= np.isin(court.unit[found["test"].to_numpy()], last["unit"].to_numpy())
    found = _with_open_fails(court, found, extra)
    latest_visit = units.groupby("device")["visit"].max()
    outlets = last.assign(
        outcome=standing.to_numpy(), late=last["visit"].to_numpy() < latest_visit[last["device"]].to_numpy()
    )
    return outlets, found


def _failing_tests(court: Court, found: pd.DataFrame) -> dict[int, list[int]]:
    """Tests that fail, by unit."""
    tests = found.loc[found["outcome"] == Outcome.FAIL, "test"].unique()
    by_unit: dict[int, list[int]] = {}
    for unit, test in zip(court.unit[tests].tolist(), tests.tolist(), strict=True):
        by_unit.setdefault(unit, []).append(test)
    return by_unit


def _remedied(court: Court) -> Mask:
    """Units with a remedy in words: of the device where one of its readings has failed, of any part else."""
    failing = np.zeros(int(court.device.max(initial=-1)) + 1, dtype=bool)
    failing[court.device[court.fails_by_reading]] = True
    measured = failing[court.units["device"].to_numpy()]
    result: Mask = np.where(measured, court.of_units(court.remarks.of_device), court.of_units(court.remarks.remedy))
    return result


def _settle(court: Court, history: pd.DataFrame, remedied: Mask, failing: dict[int, list[int]]) -> tuple[int, str]:
    """Outcome after all visits of one outlet that failed at least once, and a code where the fail stays open."""
    opened, outcome, failed_on, mended_on = False, int(Outcome.PASS), UNDATED, NEVER
    days = identity.days(court.tables.tests)
    for visit in history.itertuples():
        unit = int(visit.unit)
        own = days[court.unit == unit]
        if opened and (remedied[unit] or own.min() >= mended_on):
            opened = False
        if visit.outcome == Outcome.FAIL:
            opened, outcome, failed_on = not remedied[unit], int(Outcome.FAIL), int(days[failing[unit]].max())
            mended_on = int(court.remedied_on[court.unit == unit].max())
        elif not opened:
            outcome = int(visit.outcome)
        elif visit.outcome == Outcome.PASS and own.max() - failed_on > 1:
            outcome = int(Outcome.UNCLEAR)
        else:  # not yet passed, or passed within a day of the fail: the worst of that time stands
            outcome = int(Outcome.FAIL)
    if history["outcome"].iloc[-1] == Outcome.FAIL:
        return int(Outcome.FAIL), ""
    return outcome, {Outcome.UNCLEAR: "pass-after-fail-without-remedy", Outcome.FAIL: "fail-still-open"}.get(
        Outcome(outcome), ""
    ) if opened else ""  # fmt: skip


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
