"""Do readings go up and down more regularly than chance?

Why: people who invent numbers avoid repeating a high or low one, and alternate too much.
How: lag-1 autocorrelation r₁ of the ranks in entry order; without dependence it has mean −1/n and variance
    (n − 2)/n², so z = (r₁ + 1/n)/√((n − 2)/n²), one-sided negative. Positive dependence means nothing: devices of one
    model stand together. Where the route goes from model to model, readings count from the median of their model. The
    smallest chance of the columns counts, times their number. Never more than a note.
Source: serial correlation of ranks, Wald and Wolfowitz 1943; r₁ checked on certified values of NIST.
Not asked: fewer than 20 readings, or sorted columns.
Innocent: two people or two sockets taken in turn; instruments that hunt between two ranges; some honest series of
    measurements do alternate (a published one of beam deflections at p = 2 in 100,000).
"""

from __future__ import annotations

import math

import numpy as np

from rcdcheck.scrutiny import tails
from rcdcheck.scrutiny.answer import Answer, too_few
from rcdcheck.scrutiny.filled_down import SORTED
from rcdcheck.scrutiny.preparation import Column, Group, settings, strata, tallied
from rcdcheck.tables import Codes, Numbers

QUESTION = "alternation"


def ask(group: Group) -> list[Answer]:
    """One answer for all columns."""
    minimum = settings(QUESTION)["minimum"]
    long = [c for c in group.columns if len(c.known) >= minimum]
    usable = [c for c in long if not c.is_sorted and np.ptp(c.known) > 0]
    n = max((len(c.known) for c in group.columns), default=0)
    if not usable:
        return [group.answer(QUESTION, n, why_not=SORTED if long else too_few(n, minimum), limits=True)]
    found = [(lag_one(ranks(_without_route(c, group.stratum))), len(c.known)) for c in usable]
    chances = [tails.normal(-standardised(r, m)) for r, m in found]
    best = int(np.argmin(chances))
    r, n = found[best]
    return [
        group.answer(
            QUESTION,
            n,
            statistic=r,
            expectation=-1 / n,
            chance=min(1.0, chances[best] * len(usable)),
            sentence=f"the ranks of neighbouring readings correlate by {r:.2f}; those of independent readings do by "
            "about 0, and where high and low ones take turns by less",
            tests=np.flatnonzero(~np.isnan(usable[best].values)),
            note="readings-take-turns",
        )
    ]


def _without_route(column: Column, models: Codes) -> Numbers:
    """The readings, less the median of their model where the route itself goes from model to model."""
    known = ~np.isnan(column.values)
    stratum = strata(models[known])
    if (np.diff(stratum) != 0).mean() < settings(QUESTION)["route"]:
        return column.known
    x = column.known.copy()
    for s in np.unique(stratum):
        x[stratum == s] -= np.median(x[stratum == s])
    return x


def ranks(x: Numbers) -> Numbers:
    """Ranks from 1, the mean rank where values tie, shape (n,)."""
    _, counts, number = tallied(x)
    ends = np.cumsum(counts)
    mean: Numbers = (ends - (counts - 1) / 2)[number]
    return mean


def lag_one(x: Numbers) -> float:
    """Lag-1 autocorrelation Σxₜxₜ₊₁/Σxₜ² of the centred series, 0 of a constant one."""
    centred = x - x.mean()
    squares = (centred**2).sum()
    return float((centred[:-1] * centred[1:]).sum() / squares) if squares else 0.0


def standardised(r: float, n: int) -> float:
    """r₁ in standard deviations from its mean without dependence."""
    return (r + 1 / n) / math.sqrt((n - 2) / n**2)
