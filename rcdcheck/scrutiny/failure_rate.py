"""Has none of many devices failed, where some would be expected?

Why: a record without any failure may be one of devices that were not tested.
How: surveys of well-tested stock are quoted with 1 to 4 % of devices failed; at 1 % the chance of none among n is
    0.99ⁿ. A device counts as failed where a test of it declares a failure, fails by eye or by button, does not trip,
    or takes a longer time or a larger current than any type may. Never more than a note.
Source: Queensland 2007–11 (96 to 99 % reliable, one secondary source), United Kingdom 2007 (almost 3 % failed the
    timing test, read). The 1 % is common practice.
Not asked: fewer than 100 devices of one person.
Innocent: new stock; failures listed elsewhere or withdrawn before the test; a re-test of repaired devices.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from rcdcheck.rules import RuleSet
from rcdcheck.scrutiny.answer import Answer, too_few
from rcdcheck.scrutiny.grouping import Material
from rcdcheck.scrutiny.preparation import settings
from rcdcheck.tables import Codes, Mask, Numbers, Tables
from rcdcheck.terms import Flag, Slot, State

QUESTION = "failure_rate"


def ask(material: Material) -> list[Answer]:
    """One answer for each person."""
    m = len(material.who)
    people = material.people.astype(np.int64)
    device = material.device.astype(np.int64)
    size = int(device.max()) + 1 if len(device) else 1
    tested = pd.unique(people[material.counted] * size + device[material.counted]) // size
    failed = np.bincount(people[tests_failed(material.tables, material.rules) & material.counted], minlength=m)
    return [
        _answer(material, k, int(n), int(f))
        for k, (n, f) in enumerate(zip(np.bincount(tested, minlength=m), failed, strict=True))
    ]


def _answer(material: Material, person: int, n: int, failed: int) -> Answer:
    set_, who = settings(QUESTION), material.who[person]
    if n < set_["minimum"]:
        return Answer(QUESTION, who, n, too_few(n, set_["minimum"]))
    return Answer(
        QUESTION,
        who,
        n,
        statistic=failed,
        expectation=n * set_["rate"],
        chance=(1 - set_["rate"]) ** n if failed == 0 else 1.0,
        sentence=f"none of {n:,} devices failed; in published surveys of well-tested stock at least "
        f"{100 * set_['rate']:.0f} % do, which would be about {n * set_['rate']:.0f}",
        note="nothing-failed",
    )


def tests_failed(tables: Tables, rules: RuleSet) -> Mask:
    """Tests with a failure in plain sight: declared, by eye, by button, no trip, or past any limit."""
    failed = np.zeros(len(tables.tests), dtype=bool)
    for name in ("declared", "visual", "push_button"):
        failed |= tables.tests[name].to_numpy() == Flag.FAIL
    readings = tables.readings
    slot, test = readings["slot"].to_numpy(), readings["test"].to_numpy()
    device, limits = _limits(tables, rules)
    limit = limits[device[test], slot]
    none = (readings["state"].to_numpy() == State.NOT_TRIPPED) & np.isfinite(limit)
    with np.errstate(invalid="ignore"):
        bad = none | (readings["value"].to_numpy() > limit)
    failed[test[bad]] = True
    return failed


def _limits(tables: Tables, rules: RuleSet) -> tuple[Codes, Numbers]:
    """Kind of device of each test, and the most that a reading may be, shape (kinds, slots)."""
    names = ["rated_residual_current", "rcd_type", "delay"]
    tests = tables.tests[names]
    device = tests.groupby(names, dropna=False, sort=False).ngroup().to_numpy()
    first = np.unique(device, return_index=True)[1]
    kinds = tests.iloc[first]
    most = [
        [
            _most(slot, rules.possible_types(rated, *tables.texts([rcd_type, delay])), float(rated), rules)
            for slot in tables.slots
        ]
        for rated, rcd_type, delay in kinds.itertuples(index=False)
    ]
    return device.astype(np.int32), np.array(most, dtype=np.float64).reshape(len(kinds), len(tables.slots))


def _most(slot: Slot, types: tuple[str, ...], rated: float, rules: RuleSet) -> float:
    """Longest time (ms) or largest current (mA) that any of these types may take, infinite where none need trip."""
    limits = [x for x in (rules.limit(name, slot) for name in types) if x and x.tripping == "demanded"]
    most = [rated * x.maximum_share if slot.quantity == "trip_current" else x.maximum for x in limits]
    return max((m for m in most if not np.isnan(m)), default=np.inf)
