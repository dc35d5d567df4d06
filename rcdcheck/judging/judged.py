"""Verdicts of many readings, side by side as columns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rcdcheck.records import Mask, Numbers, Texts, Verdict

Verdicts = npt.NDArray[np.int8]


@dataclass
class Judged:
    """Verdicts of n readings with their reasons; limit and margin in the unit of the reading."""

    verdict: Verdicts
    reason: Texts
    limit: Numbers
    limit_id: npt.NDArray[np.int32]
    p_conform: Numbers

    @classmethod
    def blank(cls, n: int) -> Judged:
        """Nothing judged yet."""
        return cls(
            np.full(n, Verdict.NOT_JUDGED, dtype=np.int8),
            np.full(n, "", dtype=object),
            np.full(n, np.nan),
            np.full(n, -1, dtype=np.int32),
            np.full(n, np.nan),
        )

    def put(self, at: Mask | npt.NDArray[np.int64], verdict: Verdict, reason: str = "") -> None:
        """Set verdict and reason where `at` says."""
        self.verdict[at] = verdict
        self.reason[at] = reason


def scatter(total: Judged, at: npt.NDArray[np.int64], part: Judged) -> None:
    """Put the verdicts of a part into their places."""
    for name in ("verdict", "reason", "limit", "limit_id", "p_conform"):
        getattr(total, name)[at] = getattr(part, name)


def taken(judged: Judged, at: Mask) -> Judged:
    """Those verdicts that `at` picks."""
    return Judged(judged.verdict[at], judged.reason[at], judged.limit[at], judged.limit_id[at], judged.p_conform[at])
