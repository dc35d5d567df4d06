"""What a question of scrutiny answers for one group of tests."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

Rows = npt.NDArray[np.int64]
NONE: Rows = np.zeros(0, dtype=np.int64)
NONE.flags.writeable = False  # one for all answers


@dataclass(frozen=True)
class Who:
    """Whose tests an answer is about: the person, what of theirs, and the family it is adjusted in."""

    technician: str
    group: str
    family: int  # -1 where the answer is about no one person

    @property
    def shown(self) -> str:
        """`T. Name, Meter 2` or `nobody named, day.csv`; of no one person only the group."""
        if self.family < 0:
            return self.group
        return ", ".join(filter(None, (self.technician or "nobody named", self.group)))


@dataclass(frozen=True, eq=False)
class Answer:
    """One question asked, or not asked, of one group.

    `chance` is how often honest work shows as much, NaN for a direct question, whose strength is `direct`.
    `doubt` and `note` are the codes of the findings raised; without `doubt` it never rises above a note.
    """

    question: str
    who: Who
    n: int = 0
    why_not: str = ""
    statistic: float = math.nan
    expectation: float = math.nan
    chance: float = math.nan
    sentence: str = ""
    doubt: str = ""
    note: str = ""
    direct: str = ""
    tests: Rows = field(default_factory=lambda: NONE)
    copies: Rows = field(default_factory=lambda: NONE)  # tests that repeat, one by one,
    beside: Rows = field(default_factory=lambda: NONE)  # these
    column: int = -1  # of the cells concerned, where it is one
    fields: tuple[str, ...] = ()  # of the tests, that show it beside their readings
    each: bool = False  # a finding for each test, instead of one for all
    limits: bool = False  # the reason why it was not asked limits what the record can show

    @property
    def asked(self) -> bool:
        """Whether the question was asked."""
        return not self.why_not

    @property
    def capped(self) -> bool:
        """Whether it never rises above a note."""
        return not self.doubt


def counted(n: int, what: str, does: str) -> str:
    """`3 devices show`, `1 device shows`, `no device shows`."""
    return f"{n or 'no'} {what}{'s' * (n > 1)} {_by(n, does)}"


def share(n: int, of: int, what: str, does: str) -> str:
    """`3 of 9 devices show`, `1 of 9 devices shows`, `none of 9 devices shows`."""
    return f"{n or 'none'} of {of} {what}{'s' * (of > 1)} {_by(n, does)}"


def _by(n: int, does: str) -> str:
    """The verb of that many."""
    return does if n > 1 else {"are": "is"}.get(does, f"{does}s")


def about(n: float) -> str:
    """`about 12`, `about 3.2`, or `fewer than 0.1`: an expectation that nobody reads as none."""
    return f"about {n:,.{int(n < 10)}f}" if n >= 0.05 else "fewer than 0.1"


def too_few(n: int, minimum: int, what: str = "devices") -> str:
    """Reason for not asking: `too few: 12 of 20 devices`."""
    return f"too few: {n} of {minimum} {what}"
