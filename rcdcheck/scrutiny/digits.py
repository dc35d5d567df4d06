"""Are the last digits as even as those of an instrument?

Why: digits beyond what repeats are near uniform in measured readings; people who invent have favourites.
How: digits 0 and 5 are left out, since honest people round to wholes and halves; chi-square of the other eight against
    equal shares, 7 degrees of freedom. Never more than a note. Apart from it the share of 0 and 5 against one in five,
    which says that readings were rounded: a remark on how they were written down.
Source: Mosimann, Dahlberg, Davidian and Krueger, Terminal digits and the examination of questioned data, 2002. On
    labelled data (28 fabricated and 21 genuine sets of invited researchers) terminal digits told nothing, hence the
    cap.
Not asked: fewer than 60 such digits; columns with a spread below 10 display steps or a median below 100, or that
    count in a coarser unit than they show: there honest digits are uneven too.
Innocent: an instrument that counts in a unit of its own; several narrow models; readings converted from another unit.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from rcdcheck.scrutiny import tails
from rcdcheck.scrutiny.answer import Answer, too_few
from rcdcheck.scrutiny.preparation import Column, Group, settings
from rcdcheck.tables import Codes, Numbers

QUESTION = "digits"
Counts = npt.NDArray[np.int64]
COARSE = (
    "readings are in whole milliseconds: invented numbers cannot be told from measured ones below about 500 devices"
)
UNFIT = "readings spread too little, or count in too coarse a unit, for their last digits to be even"


def ask(group: Group) -> list[Answer]:
    """Evenness of the eight digits, and the practice of rounding."""
    usable = [c for c in group.columns if fits(c, group.stratum)]
    if not usable:
        n = max((len(c.known) for c in group.columns), default=0)
        fewest = settings(QUESTION)["round_minimum"]
        why = COARSE if group.coarse else UNFIT if n >= fewest else too_few(n, fewest)
        return [group.answer(QUESTION, n, why_not=why, limits=True)]
    last = np.concatenate([np.mod(c.display[~np.isnan(c.display)], 10) for c in usable])
    counts = np.bincount(last.astype(np.int64), minlength=10).astype(np.int64)
    return [_even(group, counts), *_rounded(group, counts)]


def fits(column: Column, stratum: Codes) -> bool:
    """Whether last digits of the column should be near uniform."""
    set_ = settings(QUESTION)
    known = ~np.isnan(column.display)
    x = column.display[known]
    if len(x) < set_["round_minimum"] or column.lattice > 1 or np.median(x) < set_["median"]:
        return False
    return spread_within(x, stratum[known]) >= set_["spread"]


def spread_within(x: Numbers, stratum: Codes) -> float:
    """Standard deviation inside strata, pooled."""
    _, number, counts = np.unique(stratum, return_inverse=True, return_counts=True)
    off = x - (np.bincount(number, x) / counts)[number]
    return float(np.sqrt((off**2).sum() / max(1, len(x) - len(counts))))


def digit8(counts: npt.ArrayLike) -> float:
    """Chi-square of the digits other than 0 and 5 against equal shares; counts of 0 to 9, shape (10,)."""
    eight = np.delete(np.asarray(counts, dtype=np.float64), [0, 5])
    expected = eight.mean()
    return float(((eight - expected) ** 2 / expected).sum())


def _even(group: Group, counts: Counts) -> Answer:
    n = int(np.delete(counts, [0, 5]).sum())
    if n < settings(QUESTION)["minimum"]:
        why = too_few(n, settings(QUESTION)["minimum"], "last digits other than 0 and 5")
        return group.answer(QUESTION, n, why_not=why, limits=True)
    statistic = digit8(counts)
    return group.answer(
        QUESTION,
        n,
        statistic=statistic,
        expectation=7.0,
        chance=tails.chi_square(statistic, 7),
        sentence="of the last digits, "
        + ", ".join(f"{d} stands {counts[d]} times" for d in (1, 2, 3, 4, 6, 7, 8, 9))
        + f"; each would stand about {n / 8:.0f} times",
        tests=np.arange(len(group)),
        note="last-digits-uneven",
    )


def _rounded(group: Group, counts: Counts) -> list[Answer]:
    set_ = settings(QUESTION)
    n, round_ = int(counts.sum()), int(counts[0] + counts[5])
    if n < set_["round_minimum"] or tails.binomial(round_, n, set_["round_share"]) > set_["round_chance"]:
        return []
    sentence = (
        f"{round_} of {n} readings end in 0 or 5 where about {n * set_['round_share']:.0f} would: readings were rounded"
    )
    return [
        group.answer(
            QUESTION,
            n,
            statistic=round_,
            expectation=n * set_["round_share"],
            sentence=sentence,
            direct="note",
            note="readings-rounded",
        )
    ]
