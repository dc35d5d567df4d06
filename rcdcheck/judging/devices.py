"""Outlets gathered into devices: outcome, danger, next action, due date, name; outlets that were left out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck import identity
from rcdcheck.judging import actions, danger
from rcdcheck.judging.grounds import Grounds, Outcomes, note, reason
from rcdcheck.numbering import combined, repeated
from rcdcheck.rules import RuleSet
from rcdcheck.tables import Codes, Tables
from rcdcheck.terms import Bound, Outcome, State, Verdict


@dataclass(frozen=True)
class Outcomed:
    """The tables of models.OutcomesOfTests (but `counted`), Devices, Outlets and Reasons."""

    tests: pd.DataFrame
    devices: pd.DataFrame
    outlets: pd.DataFrame
    reasons: pd.DataFrame


def gather(grounds: Grounds, rules: RuleSet, outcome: Outcomes, outlets: pd.DataFrame, found: pd.DataFrame) -> Outcomed:
    """Everything that is known of each test, outlet and device."""
    tables, tests = grounds.tables, grounds.tables.tests
    found = pd.concat([found, _outlets_left_out(grounds, outlets)], ignore_index=True)
    worst = np.where(outlets["late"], np.maximum(outlets["outcome"], Outcome.INCOMPLETE), outlets["outcome"])
    outlets = outlets.assign(outcome=worst.astype(np.int8))
    n = int(grounds.device.max(initial=-1)) + 1
    of_device = np.zeros(n, dtype=np.int8)
    np.maximum.at(of_device, outlets["device"].to_numpy(), outlets["outcome"].to_numpy())
    first = np.zeros(n, dtype=np.int64)
    first[grounds.device[::-1]] = np.arange(len(tests))[::-1]
    devices = tests[["site", "device", "board", "location", "sheet", "row"]].iloc[first].reset_index(drop=True)
    for name in ("kind", "environment"):
        devices[name] = _first_stated(tests[name].to_numpy(), grounds.device, n)
    devices["outcome"] = of_device
    devices["tests"] = np.bincount(grounds.device, minlength=n).astype(np.int32)
    devices["tested_at"] = pd.Series(tests["tested_at"]).groupby(grounds.device).max().to_numpy()
    devices["danger"] = _danger(grounds, n)
    found["device"] = grounds.device[found["test"].to_numpy()]
    found["outlet"] = tests["outlet"].to_numpy()[found["test"].to_numpy()]
    found = found.sort_values(["device", "standing", "outcome"], ascending=[True, False, False], kind="stable")
    found = found.reset_index(drop=True)
    devices["retest_due"] = actions.retest_due(tables, devices, rules)
    devices["next_action"] = pd.Series(actions.next_actions(tables, devices, found), dtype=object)
    devices["name"] = pd.Series(_names(tables, devices), dtype=object)
    devices["alike"] = identity.perhaps_alike(tables, devices)
    _outlet_gaps(grounds, outlets)
    return Outcomed(
        tests=pd.DataFrame({"device": grounds.device, "visit": grounds.visit, "outcome": outcome[grounds.unit]}),
        devices=devices,
        outlets=_outlet_frame(grounds, outlets),
        reasons=found,
    )


def _names(tables: Tables, devices: pd.DataFrame) -> npt.NDArray[np.object_]:
    """What reports call each device: its identifier, with the switchboard where one site has it on several."""
    names = tables.texts(devices["device"]).copy()
    twice = repeated(combined(devices["site"].to_numpy(), devices["device"].to_numpy()))
    twice &= devices["board"].to_numpy() > 0
    names[twice] = tables.texts(devices["board"].to_numpy()[twice]) + " / " + names[twice]
    names[names == ""] = "(no identifier)"
    return names


def _first_stated(codes: npt.NDArray[np.int32], device: Codes, n: int) -> npt.NDArray[np.int32]:
    out = np.zeros(n, dtype=np.int32)
    some = np.flatnonzero(codes > 0)[::-1]
    out[device[some]] = codes[some]
    return out


TOO_EARLY = ("selective-too-fast", "tripped-at-half-rated", "ramp-below-lower-limit", "tripped-where-it-must-hold")


def _danger(grounds: Grounds, n: int) -> npt.NDArray[np.int8]:
    """Rank of the most dangerous failing reading of each device, 1 first; 0 where none fails."""
    at = np.flatnonzero(grounds.verdicts["verdict"].to_numpy() == Verdict.FAIL)
    readings, judged = grounds.tables.readings.iloc[at], grounds.verdicts.iloc[at]
    test = readings["test"].to_numpy()
    ramp = np.array([s.quantity == "trip_current" for s in grounds.tables.slots] or [False])[
        readings["slot"].to_numpy()
    ]
    ranks = danger.rank(
        ramp=ramp,
        held=((readings["state"] == State.NOT_TRIPPED) | (readings["bound"] == Bound.ABOVE)).to_numpy(),
        low=judged["reason"].isin(TOO_EARLY).to_numpy(),
        value=readings["value"].to_numpy(),
        multiple=judged["multiple"].to_numpy(),
        rated=grounds.tables.tests["rated_residual_current"].to_numpy()[test],
        test_current=readings["test_current"].to_numpy(),
    )
    out = np.full(n, 127, dtype=np.int8)
    np.minimum.at(out, grounds.device[test], ranks)
    out[out == 127] = 0
    return out


def _outlets_left_out(grounds: Grounds, outlets: pd.DataFrame) -> pd.DataFrame:
    """Outlets known from an earlier visit that the latest visit of the device lacks."""
    mask = np.zeros(len(grounds.tables.tests), dtype=bool)
    mask[outlets.loc[outlets["late"], "test"].to_numpy()] = True
    note(grounds, mask, "outlet-not-tested-this-time", "outlet")
    return reason(grounds, mask, "outlet-not-tested-this-time", Outcome.INCOMPLETE, "outlet").assign(standing=True)


def _outlet_gaps(grounds: Grounds, outlets: pd.DataFrame) -> None:
    """Outlets 1, 2 and 4 listed: outlet 3 is not."""
    codes = grounds.tables.tests["outlet"].to_numpy()[outlets["test"].to_numpy()]
    used, back = np.unique(codes, return_inverse=True)
    as_number = [int(t) if t.isdecimal() and len(t) < 4 else 0 for t in grounds.tables.texts(used)]
    numbers = np.array(as_number or [0])[back]
    numbered = outlets.assign(number=numbers)[numbers > 0]
    most = numbered.groupby("device")["number"].agg(["max", "nunique"])
    gapped = most.index[most["max"] > most["nunique"]]
    have = numbered[numbered["device"].isin(gapped)].groupby("device")["number"].agg(set)
    absent = [sorted(set(range(1, max(listed))) - listed) for listed in have]
    last = outlets[outlets["device"].isin(gapped)].groupby("device")["test"].last().to_numpy()
    where = {name: grounds.tables.tests[name].to_numpy()[last] for name in ("sheet", "row")}
    words = [", ".join(map(str, outlets)) for outlets in absent]
    grounds.findings.add_many("outlet-not-listed", {**where, "test": last, "words": words})


def _outlet_frame(grounds: Grounds, outlets: pd.DataFrame) -> pd.DataFrame:
    codes = grounds.tables.tests["outlet"].to_numpy()[outlets["test"].to_numpy()]
    frame = pd.DataFrame(
        {"device": outlets["device"].to_numpy(), "outlet": codes, "outcome": outlets["outcome"].to_numpy()}
    )
    return frame[frame["outlet"] > 0].reset_index(drop=True)
