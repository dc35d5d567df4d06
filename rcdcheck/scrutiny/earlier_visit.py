"""Are readings unchanged since the last visit, or closer to it than a repeat can be?

Why: last year's figures, as they are or shifted a little, are the easiest source of plausible readings.
How: four answers. (1) Changes Δ of both trip times since the visit before are asked as the two phases are: zeros
    among |Δ| ≤ 5 steps against a difference of two readings of 0.3 ms. (2) The most frequent change other than zero
    likewise, times the number of different changes. (3) Whether unchanged trip times and unchanged ramp currents fall
    on the same devices: Fisher's exact test, one-sided; in whole milliseconds a note where large changes of both go
    together too (rank correlation at 0.02, on devices that did change), as where stable devices stand beside worn ones.
    (4) Whether the distance of a device's two changes from the middle change, divided by 0.5, is smaller than that of
    other people's devices of the same models (Mann and Whitney, one-sided), which flags only a spread below half of the
    reference.
Source: binomial and hypergeometric tails; Mann and Whitney 1947; measured.
Not asked: fewer than 20 devices with an earlier visit (8 for the fourth, with 30 devices of other people beside).
Innocent: devices that hardly age, on an instrument with a coarse counter; an earlier sheet imported twice; last
    visit's sheet taken as the form for this one, devices without access keeping what stood there; devices that hardly
    age, on an instrument that shows a constant more than the one before.
"""

from __future__ import annotations

import math

import numpy as np

from rcdcheck.scrutiny import tails
from rcdcheck.scrutiny.alternation import ranks
from rcdcheck.scrutiny.answer import Answer, too_few
from rcdcheck.scrutiny.equal_phases import equal_chance, one_difference, share_of_zeros
from rcdcheck.scrutiny.preparation import Group, display_step, lattice, settings
from rcdcheck.tables import Mask, Numbers

QUESTION = "earlier_visit"
UNCHANGED = {"doubt": "unchanged-since-earlier-visit", "note": "unchanged-since-earlier-visit-note"}
MOVED = {"doubt": "moved-since-earlier-visit", "note": "moved-since-earlier-visit-note"}


def ask(group: Group) -> list[Answer]:
    """Unchanged readings, readings moved by one value, their coincidence, and closeness."""
    if not group.earlier:
        return [group.answer(QUESTION, 0, why_not="no earlier visit of these devices is known")]
    now = [c.values * c.step for c in (group.time0, group.time180, group.ramp)]
    times, time_step = _in_steps(np.stack(now[:2]), np.stack(group.earlier[:2]))
    ramp, _ = _in_steps(now[2], group.earlier[2])
    n = int((~np.isnan(times)).any(axis=0).sum())
    minimum = settings(QUESTION)["minimum"]
    why = too_few(n, minimum, "devices with an earlier visit")
    short = [group.answer(QUESTION, n, why_not=why, limits=True)]
    if n >= minimum:
        short = [_unchanged(group, times, time_step), *_moved(group, times, time_step), *_together(group, times, ramp)]
    return [*short, *_closer(group, now[0] - group.earlier[0], now[1] - group.earlier[1])]


def _in_steps(now: Numbers, earlier: Numbers) -> tuple[Numbers, float]:
    """Changes in the steps that both visits count in, and that step."""
    both = np.concatenate([x[~np.isnan(x)] for x in (now, earlier)])
    shown = display_step(both)
    step = shown * lattice(np.rint(both / shown))
    return np.rint(now / step) - np.rint(earlier / step), step


def _unchanged(group: Group, times: Numbers, step: float) -> Answer:
    floor = settings(QUESTION)["floor_ms"]
    known = times[~np.isnan(times)]
    count = int((known == 0).sum())
    expected = (np.abs(known) <= settings("equal_phases")["window"]).sum() * share_of_zeros(step, floor)
    return group.answer(
        QUESTION,
        len(known),
        statistic=count,
        expectation=expected,
        chance=equal_chance(known, step, floor),
        sentence=f"{count} of {len(known)} trip times are unchanged since the visit before; even if nothing but "
        f"reading noise lay between, about {expected:.0f} would be",
        tests=np.flatnonzero((times == 0).any(axis=0)),
        with_before=True,
        **UNCHANGED,
    )


def _moved(group: Group, times: Numbers, step: float) -> list[Answer]:
    """One change other than zero on more readings than noise allows."""
    known = times[~np.isnan(times)]
    found = one_difference(known, step, settings(QUESTION)["floor_ms"])
    if found is None:
        return []
    return [
        group.answer(
            QUESTION,
            len(known),
            statistic=found.count,
            expectation=found.expected,
            chance=found.chance,
            sentence=f"{found.count} of {len(known)} trip times are those of the visit before and "
            f"{found.value * step:+.4g} ms exactly; even if nothing but reading noise around it lay between, "
            f"about {found.expected:.0f} would be",
            tests=np.flatnonzero((times == found.value).any(axis=0)),
            with_before=True,
            **MOVED,
        )
    ]


def _together(group: Group, changes: Numbers, ramp: Numbers) -> list[Answer]:
    first, second = changes
    known = ~np.isnan(first) & ~np.isnan(second) & ~np.isnan(ramp)
    times: Mask = (first[known] == 0) & (second[known] == 0)
    ramps: Mask = ramp[known] == 0
    both, n = int((times & ramps).sum()), int(known.sum())
    if n < settings(QUESTION)["minimum"]:
        return []
    enough = both >= settings(QUESTION)["unchanged"]
    chance = tails.hypergeometric(both, n, int(times.sum()), int(ramps.sum())) if enough else 1.0
    expected = times.sum() * ramps.sum() / n
    mixed = group.coarse and _mixed(changes[:, known], ramp[known])
    return [
        group.answer(
            QUESTION,
            n,
            statistic=both,
            expectation=float(expected),
            chance=chance,
            sentence=f"{both} devices are unchanged since the visit before in both trip times and in ramp current; "
            f"if the two were independent about {expected:.1f} would be"
            + (". Stable devices beside worn ones show the same, and large changes go together here too" * mixed),
            tests=np.flatnonzero(known)[times & ramps],
            with_before=True,
            doubt="" if mixed else "unchanged-together",
            note="unchanged-together-note",
        )
    ]


def _mixed(times: Numbers, ramp: Numbers) -> bool:
    """Whether large changes of trip times go with large ones of the ramp current on devices whose times did change."""
    moved = (times != 0).any(axis=0)
    if moved.sum() < settings(QUESTION)["closest"]:
        return False
    a, b = ranks(np.abs(times).sum(axis=0)[moved]), ranks(np.abs(ramp)[moved])
    if not a.std() or not b.std():
        return False
    together = float(np.corrcoef(a, b)[0, 1]) * math.sqrt(len(a) - 1)
    return tails.normal(together) <= settings(QUESTION)["mixed"]


def _closer(group: Group, *changes: Numbers) -> list[Answer]:
    set_ = settings(QUESTION)
    phases = 2 if not np.isnan(changes[1]).all() else 1
    mine = away(*changes[:phases])
    elsewhere = group.changes_elsewhere()[:phases] if len(mine) >= set_["closest"] else ()
    others = away(*elsewhere) if elsewhere else np.zeros(0)
    if len(mine) < set_["closest"] or len(others) < set_["reference"]:
        few = "devices of other people with an earlier visit to compare with"
        why = (
            too_few(len(others), set_["reference"], few)
            if len(mine) >= set_["closest"]
            else too_few(len(mine), set_["closest"], "devices with an earlier visit")
        )
        return [group.answer(QUESTION, len(mine), why_not=why, limits=len(mine) >= set_["closest"])]
    spread, usual = float(np.median(mine)), float(np.median(others))
    return [
        group.answer(
            QUESTION,
            len(mine),
            statistic=spread,
            expectation=usual,
            chance=closer_chance(mine, others, set_["ratio"]),
            sentence=f"trip times lie closer to the visit before than those of other people: the middle change is "
            f"{spread:.2g} ms against {usual:.2g} ms"
            + (". No model is named: devices that hardly age show the same" * (not group.models_named)),
            tests=np.flatnonzero(~np.isnan(sum(changes[:phases]))),
            with_before=True,
            doubt="closer-than-a-repeat" if group.models_named else "",
            note="closer-than-a-repeat-note",
        )
    ]


def away(*changes: Numbers) -> Numbers:
    """Distance of each device's changes from the middle change, over the phases that it has, in ms."""
    known = ~np.isnan(sum(changes))
    return np.sqrt(sum((c[known] - np.median(c[known])) ** 2 for c in changes)) if known.any() else np.zeros(0)


def closer_chance(mine: Numbers, others: Numbers, ratio: float) -> float:
    """One-sided Mann-Whitney chance that distances `mine` ÷ `ratio` are smaller than `others` (with ties)."""
    a, b = mine / ratio, others
    n, m = len(a), len(b)
    ranked = ranks(np.concatenate([a, b]))
    u = ranked[:n].sum() - n * (n + 1) / 2
    counts = np.unique(ranked, return_counts=True)[1].astype(np.float64)
    total = n + m
    ties = (counts**3 - counts).sum() / (total * (total - 1))
    deviation = math.sqrt(n * m / 12 * (total + 1 - ties))
    return tails.normal((n * m / 2 - u - 0.5) / deviation) if deviation else 1.0
