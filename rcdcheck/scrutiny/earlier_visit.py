"""Are readings unchanged since the last visit, or closer to it than a repeat can be?

Why: last year's figures, as they are or shifted a little, are the easiest source of plausible readings.
How: three answers. (1) Changes Δ of a trip time since the visit before are asked as the two phases are: zeros among
    |Δ| ≤ 5 steps against a difference of two readings of 0.3 ms; the smaller of both columns, times two. (2) Whether
    unchanged trip times and unchanged ramp currents fall on the same devices: Fisher's exact test, one-sided.
    (3) Whether |Δ − median|/0.5 is smaller than |Δ − median| of other people's devices of the same models (Mann and
    Whitney, one-sided), which flags only a spread below half of the reference.
Source: binomial and hypergeometric tails; Mann and Whitney 1947; measured.
Not asked: fewer than 20 devices with an earlier visit (8 for the third, with 30 devices of other people beside).
Innocent: devices that hardly age, on an instrument with a coarse counter; an earlier sheet imported twice.
"""

from __future__ import annotations

import math

import numpy as np

from rcdcheck.records import Mask, Numbers
from rcdcheck.scrutiny import tails
from rcdcheck.scrutiny.alternation import ranks
from rcdcheck.scrutiny.answer import Answer, too_few
from rcdcheck.scrutiny.equal_phases import equal_chance, share_of_zeros
from rcdcheck.scrutiny.preparation import Group, display_step, lattice, settings

QUESTION = "earlier_visit"
UNCHANGED = {"doubt": "unchanged-since-earlier-visit", "note": "unchanged-since-earlier-visit-note"}
CLOSER = {"doubt": "closer-than-a-repeat", "note": "closer-than-a-repeat-note"}


def ask(group: Group) -> list[Answer]:
    """Unchanged readings, their coincidence, and closeness."""
    if not group.earlier:
        return [group.answer(QUESTION, 0, why_not="no earlier visit of these devices is known")]
    now = [c.values * c.step for c in (group.time0, group.time180, group.ramp)]
    changes = [_in_steps(a, b) for a, b in zip(now, group.earlier, strict=True)]
    n = int((~np.isnan(changes[0][0])).sum())
    minimum = settings(QUESTION)["minimum"]
    why = too_few(n, minimum, "devices with an earlier visit")
    short = [group.answer(QUESTION, n, why_not=why, limits=True)]
    unchanged = [_unchanged(group, changes[:2]), *_together(group, changes)] if n >= minimum else short
    return [*unchanged, *_closer(group, now[0] - group.earlier[0], now[1] - group.earlier[1])]


def _in_steps(now: Numbers, earlier: Numbers) -> tuple[Numbers, float]:
    """Changes in the steps that both visits count in, and that step."""
    both = np.concatenate([x[~np.isnan(x)] for x in (now, earlier)])
    shown = display_step(both)
    step = shown * lattice(np.rint(both / shown))
    return np.rint(now / step) - np.rint(earlier / step), step


def _unchanged(group: Group, changes: list[tuple[Numbers, float]]) -> Answer:
    floor = settings(QUESTION)["floor_ms"]
    known = [(d[~np.isnan(d)], step) for d, step in changes]
    chance = min(1.0, 2 * min(equal_chance(d, step, floor) for d, step in known))
    zeros = (changes[0][0] == 0) | (changes[1][0] == 0)
    expected = sum((np.abs(d) <= 5).sum() * share_of_zeros(step, floor) for d, step in known)
    count = sum(int((d == 0).sum()) for d, _ in known)
    return group.answer(
        QUESTION,
        len(known[0][0]),
        statistic=count,
        expectation=expected,
        chance=chance,
        sentence=f"{count} trip times are unchanged since the visit before; even if nothing but reading noise lay "
        f"between, about {expected:.0f} would be",
        tests=np.flatnonzero(zeros),
        **UNCHANGED,
    )


def _together(group: Group, changes: list[tuple[Numbers, float]]) -> list[Answer]:
    (first, _), (second, _), (ramp, _) = changes
    known = ~np.isnan(first) & ~np.isnan(second) & ~np.isnan(ramp)
    times: Mask = (first[known] == 0) & (second[known] == 0)
    ramps: Mask = ramp[known] == 0
    both, n = int((times & ramps).sum()), int(known.sum())
    if n < settings(QUESTION)["minimum"]:
        return []
    enough = both >= settings(QUESTION)["unchanged"]
    chance = tails.hypergeometric(both, n, int(times.sum()), int(ramps.sum())) if enough else 1.0
    expected = times.sum() * ramps.sum() / n
    return [
        group.answer(
            QUESTION,
            n,
            statistic=both,
            expectation=float(expected),
            chance=chance,
            sentence=f"{both} devices are unchanged since the visit before in both trip times and in ramp current; "
            f"if the two were independent about {expected:.1f} would be",
            tests=np.flatnonzero(known)[times & ramps],
            **UNCHANGED,
        )
    ]


def _closer(group: Group, *changes: Numbers) -> list[Answer]:
    set_ = settings(QUESTION)
    pairs = [
        (mine[~np.isnan(mine)], others[~np.isnan(others)])
        for mine, others in zip(changes, group.changes_elsewhere, strict=False)
    ]
    usable = [(m, o) for m, o in pairs if len(m) >= set_["closest"] and len(o) >= set_["reference"]]
    if not usable:
        n = max((len(o) for _, o in pairs), default=0)
        why = too_few(n, set_["reference"], "devices of other people with an earlier visit to compare with")
        return [group.answer(QUESTION, n, why_not=why)]
    chances = [closer_chance(m, o, set_["ratio"]) for m, o in usable]
    mine, others = usable[int(np.argmin(chances))]
    spread, usual = (float(np.median(np.abs(x - np.median(x)))) for x in (mine, others))
    return [
        group.answer(
            QUESTION,
            len(mine),
            statistic=spread,
            expectation=usual,
            chance=min(1.0, min(chances) * len(usable)),
            sentence=f"trip times lie closer to the visit before than those of other people: the middle change is "
            f"{spread:.2g} ms against {usual:.2g} ms",
            tests=np.flatnonzero(~np.isnan(changes[0])),
            **CLOSER,
        )
    ]


def closer_chance(mine: Numbers, others: Numbers, ratio: float) -> float:
    """One-sided Mann-Whitney chance that |Δ − median| of `mine` lies below `ratio` times that of `others`."""
    a, b = np.abs(mine - np.median(mine)) / ratio, np.abs(others - np.median(others))
    n, m = len(a), len(b)
    ranked = ranks(np.concatenate([a, b]))
    u = ranked[:n].sum() - n * (n + 1) / 2
    counts = np.unique(ranked, return_counts=True)[1].astype(np.float64)
    total = n + m
    ties = (counts**3 - counts).sum() / (total * (total - 1))
    deviation = math.sqrt(n * m / 12 * (total + 1 - ties))
    return tails.normal((n * m / 2 - u - 0.5) / deviation) if deviation else 1.0
