"""One remedy ends what was wrong within its visit: a complete test that is known to come after it passes the device.

Where a repair or replacement of the device is on record and a complete test of the visit passes, its order decides:
later than what was wrong, by date or clock, called a retest, or of another serial number, it stands, and the story is
told; where nothing tells the order a device that failed is unclear. What was wrong after the remedy has none. What
failed and what only may have failed are ended alike, so that no device is the better for failing.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.identity import days
from rcdcheck.judging.grounds import NEVER, Grounds, Outcomes, note, reason
from rcdcheck.tables import Mask
from rcdcheck.terms import Outcome, Verdict

BEFORE, UNKNOWN, AFTER = 0, 1, 2


def settle(grounds: Grounds, found: pd.DataFrame) -> tuple[Outcomes, pd.DataFrame]:
    """Outcome of each unit, and the reasons with `standing`: False for those of a failure that a remedy has ended."""
    of_test = worst(found, np.arange(len(grounds.tables.tests)), len(grounds.tables.tests))
    outcome = worst(found, grounds.unit, len(grounds.units))
    found = found.assign(standing=True)
    remedy = _remedies(grounds)
    remedied = grounds.of_units(remedy | (grounds.remedied_on < NEVER))
    members = np.flatnonzero(((outcome > Outcome.PASS) & remedied)[grounds.unit])
    passed, unordered, over = (np.zeros(len(of_test), dtype=bool) for _ in range(3))
    for unit, of_unit in pd.Series(members).groupby(grounds.unit[members]):
        tests = of_unit.to_numpy()
        wrong = tests[of_test[tests] > Outcome.PASS]
        good = tests[(of_test[tests] == Outcome.PASS) & ~grounds.lacking[tests]]
        if not len(good):
            continue
        after = np.array([[_after_remedy(grounds, g, w, tests[remedy[tests]]) for w in wrong] for g in good])
        best, last = after.max(axis=0), good[after.sum(axis=1).argmax()]
        lost_in_order = (best == UNKNOWN) & (of_test[wrong] == Outcome.FAIL)
        left = np.where(best == AFTER, Outcome.PASS, np.where(lost_in_order, Outcome.UNCLEAR, of_test[wrong]))
        if left.max() == Outcome.FAIL:
            continue
        outcome[unit] = left.max()
        passed[last], unordered[last] = (best == AFTER).any(), lost_in_order.any()
        over[wrong[(best == AFTER) | lost_in_order]] = True
    found["standing"] = ~over[found["test"].to_numpy()]
    note(grounds, passed, "passed-after-remedy", "remark")
    note(grounds, unordered, "order-of-tests-unknown", "tested_at")
    extra = reason(grounds, unordered, "order-of-tests-unknown", Outcome.UNCLEAR, "tested_at").assign(standing=True)
    return outcome, pd.concat([found, extra], ignore_index=True)


def worst(found: pd.DataFrame, group: npt.NDArray[np.int64], n: int) -> Outcomes:
    """The gravest outcome among the reasons of each group of tests, PASS where there are none."""
    out = np.zeros(n, dtype=np.int8)
    np.maximum.at(out, group[found["test"].to_numpy()], found["outcome"].to_numpy())
    return out


def _remedies(grounds: Grounds) -> Mask:
    """Tests with a remedy in words: of the device where a reading of its unit fails or may, as a new plug does not mend
    how a device trips; of any part else."""
    doubtful = np.isin(grounds.verdicts["verdict"], (Verdict.FAIL, Verdict.UNCLEAR))
    measured = np.bincount(grounds.tables.readings["test"].to_numpy()[doubtful], minlength=len(grounds.unit)) > 0
    result: Mask = np.where(grounds.of_units(measured)[grounds.unit], grounds.remarks.of_device, grounds.remarks.remedy)
    return result


def _after_remedy(grounds: Grounds, test: int, wrong: int, remedies: npt.NDArray[np.int64]) -> int:
    """Whether a test was made BEFORE or AFTER what was wrong was remedied, or UNKNOWN."""
    between = any(
        (r == wrong or _order(grounds, r, wrong) != BEFORE) and (r == test or _order(grounds, test, r) != BEFORE)
        for r in remedies
    )
    return _order(grounds, test, wrong) if between or grounds.remedied_on[wrong] < NEVER else BEFORE


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
