"""How strong a result is: many questions, many technicians, and words.

Inside a technician the chances of every question and group that was asked are adjusted by Holm's method, which holds
whatever their dependence; across technicians the smallest adjusted chances are held to a false discovery rate by
Benjamini and Hochberg. From 0.001 a result is a note, from 1e-4 a moderately strong doubt, from 1e-5 a strong one.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from rcdcheck import data
from rcdcheck.tables import Numbers

SHEETS = "sheets of the model of independent readings, which leaves the innocent explanations out"
NOTHING, NOTE, MODERATE, STRONG = "nothing unusual", "note", "moderately strong", "strong"


def holm(chances: Numbers) -> Numbers:
    """Adjusted chances, shape (n,): the k-th smallest times n − k + 1, never below a smaller one's (Holm 1979)."""
    order = np.argsort(chances, kind="stable")
    raised = chances[order] * np.arange(len(chances), 0, -1)
    adjusted = np.empty(len(chances))
    adjusted[order] = np.minimum(1.0, np.maximum.accumulate(raised))
    return adjusted


def benjamini_hochberg(chances: Numbers) -> Numbers:
    """Adjusted chances, shape (n,): the k-th smallest times n ÷ k, never above a larger one's (1995)."""
    n = len(chances)
    order = np.argsort(chances, kind="stable")
    raised = chances[order] * n / np.arange(1, n + 1)
    adjusted = np.empty(n)
    adjusted[order] = np.minimum.accumulate(raised[::-1])[::-1]  # the largest stays as it is, so none passes 1
    return adjusted


def adjust(chances: Numbers, families: Numbers) -> Numbers:
    """Chances adjusted inside each family (technician), and across them where the family does not stand out.

    `chances` and `families` have shape (n,); NaN (no chance to adjust) stays NaN.
    """
    adjusted = np.full(len(chances), np.nan)
    known = np.flatnonzero(~np.isnan(chances))
    names, family = np.unique(families[known], return_inverse=True)
    of_each = np.split(known[np.argsort(family, kind="stable")], np.cumsum(np.bincount(family))[:-1])
    smallest = np.ones(len(names))
    for i, mine in enumerate(of_each[: len(names)]):
        adjusted[mine] = holm(chances[mine])
        smallest[i] = adjusted[mine].min()
    across = benjamini_hochberg(smallest)
    held = np.where(across > _levels()["across"], across, 0.0)
    adjusted[known] = np.maximum(adjusted[known], held[family])
    return adjusted


def word(adjusted: float, *, capped: bool = False) -> str:
    """Word for an adjusted chance; a capped question never rises above a note."""
    levels = _levels()
    if math.isnan(adjusted) or adjusted > levels["note"]:
        return NOTHING
    if capped or adjusted > levels["moderately_strong"]:
        return NOTE
    return MODERATE if adjusted > levels["strong"] else STRONG


def printed(chance: float) -> float:
    """A chance as reports may print it: no smaller than the model of honest work supports."""
    return chance if math.isnan(chance) else max(chance, float(_levels()["smallest_printed"]))


def in_words(chance: float) -> str:
    """`about 1 in 2,000 sheets` of the model, and what that leaves out; the smallest is `fewer than 1 in 10,000`."""
    if chance <= _levels()["smallest_printed"]:
        return f"fewer than 1 in {round(1 / _levels()['smallest_printed']):,} {SHEETS}"
    if chance > 0.05:
        return f"about {100 * chance:.0f} in 100 {SHEETS}"
    digits = 10 ** max(0, int(math.log10(1 / chance)) - 1)
    return f"about 1 in {round(1 / chance / digits) * digits:,} {SHEETS}"


def likelihood_ratio_at_most(chance: float) -> float:
    """Most that a chance can speak for another explanation, 1/(−e·p·ln p) (Sellke, Bayarri and Berger 2001)."""
    return 1.0 if chance >= 1 / math.e else 1 / (-math.e * chance * math.log(chance))


def with_words(questions: pd.DataFrame) -> pd.DataFrame:
    """Add `adjusted` and `strength` to answers with columns asked, chance, family, direct, capped."""
    asked = questions["asked"].to_numpy(dtype=bool)
    chance = np.where(asked, questions["chance"].to_numpy(dtype=np.float64), np.nan)
    adjusted = adjust(chance, questions["family"].to_numpy(dtype=np.float64))
    words = [
        "" if not ok else direct or word(p, capped=cap)
        for ok, direct, p, cap in zip(asked, questions["direct"], adjusted, questions["capped"], strict=True)
    ]
    return questions.assign(adjusted=adjusted, strength=words)


def _levels() -> dict[str, float]:
    levels: dict[str, float] = data.toml("scrutiny.toml")["strength"]
    return levels
