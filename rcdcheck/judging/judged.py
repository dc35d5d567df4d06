"""Verdicts of many readings, side by side as columns."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from rcdcheck.tables import Mask, Numbers, Texts
from rcdcheck.terms import Verdict

Verdicts = npt.NDArray[np.int8]


@dataclass
class Judged:
    """Verdicts of n readings with their reasons; limit and margin in the unit of the reading."""

    verdict: Verdicts
    reason: Texts
    limit: Numbers
    limit_id: npt.NDArray[np.int32]
    p_conform: Numbers
    hint: Texts  # what its sentence says beside the figures

    @classmethod
    def blank(cls, n: int) -> Judged:
        """Nothing judged yet."""
        return cls(
            np.full(n, Verdict.NOT_JUDGED, dtype=np.int8),
            np.full(n, "", dtype=object),
            np.full(n, np.nan),
            np.full(n, -1, dtype=np.int32),
            np.full(n, np.nan),
            np.full(n, "", dtype=object),
        )

    def put(self, at: Mask | npt.NDArray[np.int64], verdict: Verdict, reason: str = "", hint: str = "") -> None:
        """Set verdict, reason and hint where `at` says."""
        self.verdict[at] = verdict
        self.reason[at] = reason
        self.hint[at] = hint


NAMES = tuple(field.name for field in fields(Judged))


def scatter(total: Judged, at: npt.NDArray[np.int64], part: Judged) -> None:
    """Put the verdicts of a part into their places."""
    for name in NAMES:
        getattr(total, name)[at] = getattr(part, name)


def taken(judged: Judged, at: Mask | npt.NDArray[np.int64]) -> Judged:
    """Those verdicts that `at` picks."""
    return Judged(*(getattr(judged, name)[at] for name in NAMES))
