"""What stands of an outlet after all its visits: a fail, or a fault that was named, stays open until a pass with a
remedy on record."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck import identity
from rcdcheck.identity import UNDATED
from rcdcheck.judging.grounds import NEVER, Grounds, Outcomes, note, reason
from rcdcheck.tables import Mask
from rcdcheck.terms import Outcome

PASSED_LATER, STILL_OPEN = "pass-after-fail-without-remedy", "fail-still-open"
PASSED_AFTER_FAULT = "pass-after-fault-without-remedy"
# reasons of an unclear visit that a later pass does not settle: something was wrong, or perhaps was
FAULTS = ("perhaps-selective", "remark-names-fault", "cell-says-failed", "cells-say-failed", "comment-says-failed")


def across_visits(grounds: Grounds, outcome: Outcomes, found: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Standing outcome of each outlet, and the reasons that stand (a later visit may have settled earlier ones)."""
    units = grounds.units.assign(outcome=outcome, unit=np.arange(len(outcome)))  # in order of device, outlet and visit
    key = ["device", "outlet"]
    device, outlet, visit = (units[name].to_numpy() for name in (*key, "visit"))
    begins = np.ones(len(units) + 1, dtype=bool)
    begins[1:-1] = (device[1:] != device[:-1]) | (outlet[1:] != outlet[:-1])
    last = units[begins[1:]]
    several = units[~(begins[:-1] & begins[1:])]
    faulty = np.zeros(len(units), dtype=bool)
    faulty[grounds.unit[found.loc[found["code"].isin(FAULTS), "test"].to_numpy()]] = True
    open_ = (several["outcome"] == Outcome.FAIL) | faulty[several["unit"]]
    history = several[open_.groupby([several[name] for name in key]).transform("any").to_numpy()]
    found["standing"] &= np.isin(grounds.unit[found["test"].to_numpy()], last["unit"].to_numpy())
    standing = pd.Series(last["outcome"].to_numpy("int8", copy=True), index=last["unit"].to_numpy())
    if len(history):
        units_of = _units(grounds, found, history["unit"].to_numpy())
        settled = _settle(history, units_of.assign(faulty=faulty[units_of.index]))
        standing[settled.index] = settled["outcome"]
        found = _with_open_fails(grounds, found, settled)
    latest = np.zeros(len(device), dtype=visit.dtype)  # by device
    np.maximum.at(latest, device, visit)
    outlets = last.assign(outcome=standing.to_numpy(), late=visit[begins[1:]] < latest[device[begins[1:]]])
    return outlets, found


def _units(grounds: Grounds, found: pd.DataFrame, wanted: npt.NDArray[np.int64]) -> pd.DataFrame:
    """Of each wanted unit its first and last day, the last day of a test that fails, whether and when it was remedied;
    by the number of the unit."""
    days, unit = pd.Series(identity.days(grounds.tables.tests)), grounds.unit
    asked = np.zeros(len(grounds.units), dtype=bool)
    asked[wanted] = True
    of_tests = asked[unit]
    by_unit = days[of_tests].groupby(unit[of_tests])
    failing = np.zeros(len(days), dtype=bool)
    failing[found.loc[found["outcome"] == Outcome.FAIL, "test"]] = True
    units = pd.DataFrame({"first_day": by_unit.min(), "last_day": by_unit.max()})
    return units.assign(
        failed_on=days[failing].groupby(unit[failing]).max().reindex(units.index, fill_value=0),
        mended_on=pd.Series(grounds.remedied_on[of_tests]).groupby(unit[of_tests]).max(),
        remedied=_remedied(grounds)[units.index],
    )


def _remedied(grounds: Grounds) -> Mask:
    """Units with a remedy in words: of the device where one of its readings has failed, of any part else."""
    failing = np.zeros(len(grounds.device), dtype=bool)  # by device
    failing[grounds.device[grounds.fails_by_reading]] = True
    measured = failing[grounds.units["device"].to_numpy()]
    result: Mask = np.where(
        measured, grounds.of_units(grounds.remarks.of_device), grounds.of_units(grounds.remarks.remedy)
    )
    return result


def _settle(history: pd.DataFrame, units: pd.DataFrame) -> pd.DataFrame:
    """Outcome after all visits of each outlet that failed at least once or had a fault, and a code where it stays open.

    `history` holds the visits of these outlets in order of time, `units` what each visit was; the answer is by the unit
    of the last visit. The first visits of all outlets are looked at together, then all second ones, and so on.
    """
    visits = history.groupby(["device", "outlet"])
    outlet, nth = visits.ngroup().to_numpy(), visits.cumcount().to_numpy()
    unit, seen = history["unit"].to_numpy(), history["outcome"].to_numpy()
    n = int(outlet.max()) + 1
    opened, doubted, outcome, last = (
        np.zeros(n, dtype=bool),
        np.zeros(n, dtype=bool),
        np.full(n, Outcome.PASS, dtype=np.int8),
        np.zeros(n, dtype=np.int64),
    )
    failed_on, mended_on = np.full(n, UNDATED), np.full(n, NEVER)
    was = {name: column.to_numpy() for name, column in units.loc[unit].items()}
    for at in np.split(np.argsort(nth, kind="stable"), np.cumsum(np.bincount(nth))[:-1]):
        o, fails = outlet[at], seen[at] == Outcome.FAIL
        mended = was["remedied"][at] | (was["first_day"][at] >= mended_on[o])
        opened[o] &= ~mended
        doubted[o] &= ~mended
        late = (seen[at] == Outcome.PASS) & (was["last_day"][at] - failed_on[o] > 1)
        # not yet passed, or passed within a day of the fail: the worst of that time stands
        outcome[o] = np.where(~fails & ~opened[o], seen[at], np.where(~fails & late, Outcome.UNCLEAR, Outcome.FAIL))
        outcome[o] = np.where((outcome[o] < Outcome.UNCLEAR) & doubted[o], Outcome.UNCLEAR, outcome[o])
        opened[o] = np.where(fails, ~was["remedied"][at], opened[o])
        doubted[o] = np.where(was["faulty"][at], ~was["remedied"][at], doubted[o])
        failed_on[o] = np.where(fails, was["failed_on"][at], failed_on[o])
        mended_on[o] = np.where(fails | was["faulty"][at], was["mended_on"][at], mended_on[o])
        last[o] = at
    code = np.full(n, "", dtype=object)
    code[doubted & (outcome == Outcome.UNCLEAR) & (seen[last] < Outcome.UNCLEAR)] = PASSED_AFTER_FAULT
    code[opened & (outcome == Outcome.UNCLEAR)] = PASSED_LATER
    code[opened & (outcome == Outcome.FAIL)] = STILL_OPEN
    code[seen[last] == Outcome.FAIL] = ""
    return pd.DataFrame({"outcome": outcome, "code": code}, index=unit[last])


def _with_open_fails(grounds: Grounds, found: pd.DataFrame, settled: pd.DataFrame) -> pd.DataFrame:
    rows = []
    for code, outcome in (
        (PASSED_LATER, Outcome.UNCLEAR),
        (PASSED_AFTER_FAULT, Outcome.UNCLEAR),
        (STILL_OPEN, Outcome.FAIL),
    ):
        mask = np.zeros(len(grounds.tables.tests), dtype=bool)
        mask[grounds.units["test"].to_numpy()[settled.index[settled["code"] == code]]] = True
        rows.append(reason(grounds, mask, code, outcome, "device").assign(standing=True))
        note(grounds, mask, code, "device")
    return pd.concat([found, *(r for r in rows if len(r))], ignore_index=True)
