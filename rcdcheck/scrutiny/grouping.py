"""Groups of tests for the questions: by person, instrument and visit, one row a device, in entry order.

Where nobody is named, the tests of each file are a family of their own.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd

from rcdcheck import identity
from rcdcheck.identity import folded
from rcdcheck.rules import RuleSet
from rcdcheck.scrutiny import listed_again
from rcdcheck.scrutiny.answer import Rows, Who
from rcdcheck.scrutiny.preparation import Group, group, settings
from rcdcheck.tables import Codes, Mask, Numbers, Tables
from rcdcheck.terms import Bound, Slot, State

REFERENCES = 20_000  # changes of other people's devices looked at, spread evenly over the run


@dataclass(frozen=True, eq=False)
class Material:
    """All that a question may look at."""

    tables: Tables
    counted: Mask
    device: Codes
    rules: RuleSet
    groups: tuple[Group, ...]
    people: Codes  # family of each test
    who: tuple[Who, ...]  # by family
    again: Rows  # tests of another list, listed again under another name, place or date
    shut: Rows  # tests whose remark says that nobody could get to the device


def prepare(tables: Tables, counted: Mask, device: Codes, rules: RuleSet) -> Material:
    """Everything that the questions look at."""
    people, who = _people(tables)
    time0, time180, ramp = readings_side_by_side(tables)
    names = listed_again.plain_names(tables)
    again = counted & listed_again.listed_again(tables, (time0, time180, ramp), names)
    shut = counted & listed_again.not_reached(tables)
    counted = counted & ~again & ~shut
    held = counted & ~(np.isnan(time0) & np.isnan(time180) & np.isnan(ramp))
    same = listed_again.same_device(tables, device, names)
    visits = identity.number_visits(tables.tests, same)
    before = _test_before(tables, same, visits, held)
    rows = _rows_of_groups(tables, people, device, visits - _first_visit(same, visits)[same], held)
    stratum = _strata(tables)
    groups = []
    changes = _changes(time0, time180, before)
    for tests, text in rows:
        mine = people[tests[0]]
        groups.append(
            group(
                time0[tests],
                time180[tests],
                ramp[tests],
                Who(who[mine].technician, ", ".join(filter(None, (who[mine].group, text))), int(mine)),
                tests=tests,
                device=same[tests],
                stratum=stratum[tests],
                before=before[tests],
                models_named=bool((tables.tests["model"].to_numpy()[tests] > 0).all()),
                earlier=_earlier(before[tests], time0, time180, ramp),
                changes_elsewhere=partial(_elsewhere, changes, people, stratum, tests),
            )
        )
    return Material(
        tables, counted, device, rules, tuple(groups), people, who, np.flatnonzero(again), np.flatnonzero(shut)
    )


def readings_side_by_side(tables: Tables) -> tuple[Numbers, Numbers, Numbers]:
    """Trip time at 0°, at 180° (ms, of the multiple most used) and ramp current (mA) of each test, NaN for none.

    A single trip time without phase stands in the first column.
    """
    multiple = _multiple_most_used(tables)
    time0, time180 = (of_slot(tables, Slot("trip_time", multiple, phase)) for phase in ("0", "180"))
    for phase in ("none", "worst"):
        alone = np.isnan(time0) & np.isnan(time180)
        time0 = np.where(alone, of_slot(tables, Slot("trip_time", multiple, phase)), time0)
    saturated = settings("preparation")["saturated_ms"]
    time0, time180 = (np.where((t <= 0) | np.isin(t, saturated), np.nan, t) for t in (time0, time180))
    ramp = of_slot(tables, Slot("trip_current"))
    return time0, time180, np.where(ramp <= 0, np.nan, ramp)


def of_slot(tables: Tables, slot: Slot) -> Numbers:
    """Plain numbers of a trip, shape (tests,)."""
    out = np.full(len(tables.tests), np.nan)
    numbers = [i for i, s in enumerate(tables.slots) if s == slot or _same_unknown_multiple(s, slot)]
    readings = tables.readings
    for number in numbers:
        at = np.flatnonzero(readings["slot"].to_numpy() == number)
        plain = readings["state"].to_numpy()[at] == State.TRIPPED
        at = at[plain & (readings["bound"].to_numpy()[at] == Bound.EXACT)]
        out[readings["test"].to_numpy()[at]] = readings["value"].to_numpy()[at]
    return out


def _same_unknown_multiple(one: Slot, other: Slot) -> bool:
    """NaN equals NaN: times whose multiple is not known, only their test current."""
    unknown = np.isnan(one.multiple) and np.isnan(other.multiple)
    return bool(unknown and one._replace(multiple=0.0) == other._replace(multiple=0.0))


def _multiple_most_used(tables: Tables) -> float:
    """Multiple of most a.c. trip times at or above rated, 1 where tied."""
    counts = np.bincount(tables.readings["slot"].to_numpy(), minlength=len(tables.slots))
    used: dict[float, int] = {1.0: 0}
    for slot, count in zip(tables.slots, counts, strict=False):
        if slot.quantity == "trip_time" and slot.waveform == "ac" and not slot.multiple < 1:
            multiple = -1.0 if np.isnan(slot.multiple) else slot.multiple
            used[multiple] = used.get(multiple, 0) + int(count)
    best = max(used, key=lambda m: used[m])
    return float("nan") if best < 0 else best


def _people(tables: Tables) -> tuple[Codes, tuple[Who, ...]]:
    """Family of each test: the person, or the file where nobody is named; and who that is."""
    tests = tables.tests
    name = folded(tests["technician"].to_numpy(), tables.vocabulary)
    source = tables.sheets["input"].to_numpy()[tests["sheet"].to_numpy()].astype(np.int64)
    family = pd.factorize(np.where(name == 0, -1 - source, name))[0]
    first = np.unique(family, return_index=True)[1]
    named = tables.texts(tests["technician"].to_numpy()[first])
    files = [tables.inputs[source[i]].name for i in first]
    who = [Who(str(t), "" if t else f, i) for i, (t, f) in enumerate(zip(named, files, strict=True))]
    return family.astype(np.int32), tuple(who)


def _rows_of_groups(tables: Tables, people: Codes, device: Codes, nth: Codes, held: Mask) -> list[tuple[Rows, str]]:
    """Tests of each group in entry order, one a device, with words for instrument and visit, `nth` of its device."""
    instrument = folded(tables.tests["instrument"].to_numpy(), tables.vocabulary)
    keys = pd.DataFrame({"family": people, "instrument": instrument, "nth": nth, "device": device})[held]
    keys = keys.drop_duplicates()
    number = keys.groupby(["family", "instrument", "nth"]).ngroup().to_numpy()
    order = np.argsort(number, kind="stable")
    at = keys.index.to_numpy()[order]
    parts = np.split(at, np.flatnonzero(np.diff(number[order])) + 1) if len(at) else []
    return [(part, _group_text(tables, part[0], int(nth[part[0]]))) for part in parts]


def _group_text(tables: Tables, test: int, nth: int) -> str:
    instrument = str(tables.texts([tables.tests["instrument"].to_numpy()[test]])[0])
    return ", ".join(filter(None, (instrument, f"visit {nth + 1} of these devices in the files" if nth else "")))


def _first_visit(device: Codes, visit: Codes) -> Codes:
    first = np.full(device.max(initial=-1) + 1, np.iinfo(np.int32).max, dtype=np.int32)
    np.minimum.at(first, device, visit)
    return first


def _strata(tables: Tables) -> Codes:
    """Number of the model and rated current of each test."""
    model = folded(tables.tests["model"].to_numpy(), tables.vocabulary)
    rated = tables.tests["rated_residual_current"].fillna(0.0).to_numpy()
    return pd.DataFrame({"model": model, "rated": rated}).groupby(["model", "rated"]).ngroup().to_numpy(np.int32)


# ── the visit before ──


def _test_before(tables: Tables, device: Codes, visit: Codes, held: Mask) -> Rows:
    """Test of the same device and outlet at its visit before, -1 where none, shape (tests,)."""
    before = np.full(len(device), -1, dtype=np.int64)
    outlet = folded(tables.tests["outlet"].to_numpy(), tables.vocabulary)
    at = np.flatnonzero(held)
    at = at[np.lexsort((at, visit[at], outlet[at], device[at]))]
    if len(at):
        same = (device[at[1:]] == device[at[:-1]]) & (outlet[at[1:]] == outlet[at[:-1]])
        fresh = np.concatenate([[True], ~same | (visit[at[1:]] != visit[at[:-1]])])
        at, same = at[fresh], np.concatenate([[False], same])[fresh]
        before[at[same]] = at[np.flatnonzero(same) - 1]
    return before


def _earlier(before: Rows, *now: Numbers) -> tuple[Numbers, ...]:
    if not (before >= 0).any():
        return ()
    return tuple(np.where(before >= 0, readings[before], np.nan) for readings in now)


def _changes(time0: Numbers, time180: Numbers, before: Rows) -> tuple[Rows, Numbers, Numbers]:
    """Changes since the visit before, with the tests that they belong to."""
    at = np.flatnonzero(before >= 0)
    at = at[:: max(1, len(at) // REFERENCES)]
    return at, time0[at] - time0[before[at]], time180[at] - time180[before[at]]


def _elsewhere(
    changes: tuple[Rows, Numbers, Numbers], people: Codes, stratum: Codes, tests: Rows
) -> tuple[Numbers, ...]:
    """Changes of other people's devices of the same models."""
    at, change0, change180 = changes
    if not len(at):
        return ()
    other = (people[at] != people[tests[0]]) & np.isin(stratum[at], np.unique(stratum[tests]))
    return change0[other], change180[other]
