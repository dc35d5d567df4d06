"""One remedy ends what was wrong within its visit: a complete test that is known to come after it passes the device.

Where a repair or replacement of the device is on record and a complete test of the visit passes, its order decides:
later by date or clock, called a retest, or of another serial number, it stands, and the story is told; where nothing
tells the order the device is unclear. What was only unclear needs a later day: the device tested then is another, or
mended. Without a remedy on record the worst of the visit stands.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.identity import days
from rcdcheck.judging.grounds import NEVER, Grounds, Outcomes, note, reason
from rcdcheck.tables import Mask
from rcdcheck.terms import Outcome

BEFORE, UNKNOWN, AFTER = 0, 1, 2


def settle(grounds: Grounds, found: pd.DataFrame) -> tuple[Outcomes, pd.DataFrame]:
    """Outcome of each unit, and the reasons with `standing`: False for those of a failure that a remedy has ended."""
    of_test = worst(found, np.arange(len(grounds.tables.tests)), len(grounds.tables.tests))
    outcome = worst(found, grounds.unit, len(grounds.units))
    found = found.assign(standing=True)
    candidates = np.flatnonzero((outcome >= Outcome.UNCLEAR) & _remedied_units(grounds, of_test))
    passed, unordered = np.zeros(len(of_test), dtype=bool), np.zeros(len(of_test), dtype=bool)
    day = days(grounds.tables.tests)
    members = np.flatnonzero(np.isin(grounds.unit, candidates))
    for unit, of_unit in pd.Series(members).groupby(grounds.unit[members]):
        tests = of_unit.to_numpy()
        failed = tests[of_test[tests] == outcome[unit]]
        good = tests[(of_test[tests] == Outcome.PASS) & ~grounds.lacking[tests]]
        if not len(good):
            continue
        order = {int(test): min(_order(grounds, int(test), int(f)) for f in failed) for test in good}
        if max(order.values()) == BEFORE:
            continue
        last = max(order, key=lambda test: order[test])
        known = order[last] == AFTER
        if outcome[unit] == Outcome.UNCLEAR and not (known and day[last] > day[failed].max()):
            continue
        outcome[unit] = max(of_test[np.setdiff1d(tests, failed)]) if known else Outcome.UNCLEAR
        (passed if known else unordered)[last] = True
        found.loc[found["test"].isin(failed), "standing"] = False
    note(grounds, passed, "passed-after-remedy", "remark")
    note(grounds, unordered, "order-of-tests-unknown", "tested_at")
    extra = reason(grounds, unordered, "order-of-tests-unknown", Outcome.UNCLEAR, "tested_at").assign(standing=True)
    return outcome, pd.concat([found, extra], ignore_index=True)


def worst(found: pd.DataFrame, group: npt.NDArray[np.int64], n: int) -> Outcomes:
    """The gravest outcome among the reasons of each group of tests, PASS where there are none."""
    out = np.zeros(n, dtype=np.int8)
    np.maximum.at(out, group[found["test"].to_numpy()], found["outcome"].to_numpy())
    return out


def _remedied_units(grounds: Grounds, of_test: Outcomes) -> Mask:
    """Units with a remedy on record, in words or by --remedied; a new plug does not mend how a device trips."""
    failing = of_test >= Outcome.UNCLEAR
    measured = grounds.of_units(grounds.fails_by_reading)
    stated = grounds.of_units(failing & (grounds.remedied_on < NEVER))
    by_words = np.where(measured, grounds.of_units(grounds.remarks.of_device), grounds.of_units(grounds.remarks.remedy))
    result: Mask = by_words | stated
    return result


def _order(grounds: Grounds, test: int, failed: int) -> int:
    """Whether a test was made BEFORE or AFTER another of the same visit, or UNKNOWN."""
    tests = grounds.tables.tests
    if NEVER > grounds.remedied_on[failed] > days(tests.iloc[[test]])[0]:
        return BEFORE
    at, other = tests["tested_at"].iloc[test], tests["tested_at"].iloc[failed]
    if pd.notna(at) and pd.notna(other):
        clocks = bool(tests["clock_known"].iloc[test] and tests["clock_known"].iloc[failed])
        if at.normalize() != other.normalize() or (clocks and at != other):
            return AFTER if at > other else BEFORE
    serials = tests["serial"].iloc[test], tests["serial"].iloc[failed]
    return AFTER if grounds.remarks.repeat[test] or (all(serials) and serials[0] != serials[1]) else UNKNOWN
