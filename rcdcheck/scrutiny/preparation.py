"""The step that all questions share: one row a device, grouped by person, instrument and visit, in display steps.

In this order: a test listed again is left out; readings that are not plain numbers of a trip (did not trip,
bounded, unreadable, ends of ranges) are left out; one row stays for each device of a group, its first listed
outlet, since outlets of one device are repeats of one mechanism; display resolution, effective lattice and
sortedness are found for each column; devices of one model and rating form a stratum.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from rcdcheck import data
from rcdcheck.scrutiny.answer import Answer, Rows, Who
from rcdcheck.tables import Codes, Mask, Numbers

Places = npt.NDArray[np.int64]
NOBODY = Who("", "", 0)


@dataclass(frozen=True, eq=False)
class Column:
    """Readings of one quantity in entry order, NaN where there is none.

    `values` count effective steps of size `step` (ms or mA); `display` counts steps of the last digit shown, of
    which `lattice` make an effective step.
    """

    values: Numbers
    display: Numbers
    step: float
    lattice: int
    is_sorted: bool

    @property
    def known(self) -> Numbers:
        """The values that are there."""
        return self.values[~np.isnan(self.values)]


@dataclass(frozen=True, eq=False)
class Group:
    """Tests of one person with one instrument on one visit, one row a device, shape (n,) throughout."""

    who: Who
    time0: Column
    time180: Column
    ramp: Column
    tests: Rows
    device: Codes
    stratum: Codes  # of one model and rated current; all 0 where the sheet names no model
    earlier: tuple[Numbers, ...] = ()  # ms, ms, mA of the same devices at the visit before, NaN where none
    before: Rows = field(default_factory=lambda: np.zeros(0, dtype=np.int64))  # tests that these are, −1 where none
    models_named: bool = False  # the model of every device stands in the sheet
    changes_elsewhere: Callable[[], tuple[Numbers, ...]] = tuple  # since their visit before, of other people's: ms, ms

    def __len__(self) -> int:
        """Devices of the group."""
        return len(self.tests)

    @property
    def pairs(self) -> Mask:
        """Rows with both trip times."""
        return ~np.isnan(self.time0.values) & ~np.isnan(self.time180.values)

    @property
    def columns(self) -> tuple[Column, ...]:
        """The columns that hold any reading."""
        return tuple(c for c in (self.time0, self.time180, self.ramp) if len(c.known))

    @property
    def coarse(self) -> bool:
        """Whether trip times are in whole milliseconds or coarser."""
        return bool(len(self.time0.known)) and self.time0.step >= settings("preparation")["coarse_ms"]

    def only(self, rows: Rows) -> Group:
        """The group of these rows."""
        time0, time180, ramp = (
            replace(c, values=c.values[rows], display=c.display[rows], is_sorted=is_sorted(c.display[rows]))
            for c in (self.time0, self.time180, self.ramp)
        )
        return replace(
            self,
            time0=time0,
            time180=time180,
            ramp=ramp,
            tests=self.tests[rows],
            device=self.device[rows],
            stratum=self.stratum[rows],
            earlier=tuple(e[rows] for e in self.earlier),
            before=self.before[rows] if len(self.before) else self.before,
        )

    def answer(self, question: str, n: int, **fields: Any) -> Answer:
        """An answer about this group; positions in `tests` become numbers of tests.

        `with_before` sets the tests of the visit before beside them.
        """
        if fields.pop("with_before", False) and len(self.before):
            rows = fields["tests"][self.before[fields["tests"]] >= 0]
            fields |= {"copies": self.tests[rows], "beside": self.before[rows]}
        if "tests" in fields:
            fields["tests"] = self.tests[fields["tests"]]
        return Answer(question, self.who, n, **fields)


def settings(question: str) -> dict[str, Any]:
    """Floors and minimums of one question, from schemas/scrutiny.toml."""
    chosen: dict[str, Any] = data.toml("scrutiny.toml")[question]
    return chosen


# ── columns ──


def display_step(values: Numbers) -> float:
    """Size of the last digit shown: 1, 0.1, 0.01 or 0.001."""
    for decimals in (0, 1, 2):
        shifted = values * 10**decimals
        if (np.abs(shifted - np.rint(shifted)) < 1e-4).all():
            return float(10.0**-decimals)
    return 0.001


def tallied(x: Numbers) -> tuple[Numbers, Numbers, Places]:
    """Distinct values in order, how often each stands, and which of them each reading is, shape of x."""
    width = int(np.ptp(x)) + 1 if len(x) else 0
    if width > 4 * len(x) + 1000 or (x != np.rint(x)).any():  # a few wild readings, or no whole numbers
        values, place, counts = np.unique(x, return_inverse=True, return_counts=True)
        return values, counts.astype(np.float64), place
    at = (x - x.min()).astype(np.int64) if width else np.zeros(0, dtype=np.int64)
    counts = np.bincount(at, minlength=width)
    held = np.flatnonzero(counts)
    values = held + x.min() if width else np.zeros(0)
    return values, counts[held].astype(np.float64), (np.cumsum(counts > 0) - 1)[at]


def lattice(steps: Numbers) -> int:
    """Largest of 100, 50, 25 … 2 display steps in which 90 % of the readings count, if they spread wider."""
    chosen = settings("preparation")
    spread = steps.std() if len(steps) else 0.0
    values, counts, _ = tallied(steps)
    for g in chosen["lattices"]:
        if spread > g and counts[np.mod(values, g) == 0].sum() >= chosen["lattice_share"] * len(steps):
            return int(g)
    return 1


def rounding(*columns_: Numbers) -> int:
    """10 or 5 where many more readings are multiples of that many steps than chance gives, else 1."""
    values, counts, _ = tallied(np.concatenate(columns_))
    for multiple in (10, 5):
        share = counts[np.mod(values, multiple) == 0].sum() / max(1, counts.sum())
        if share > 1 / multiple + settings("preparation")["round_excess"]:
            return multiple
    return 1


def largest_share(step: float, floor: float) -> float:
    """Largest share of readings on one value, for a display step and a standard deviation in one unit."""
    return math.erf(0.5 * step / (math.sqrt(2) * floor))


def is_sorted(values: Numbers) -> bool:
    """Whether nearly all steps from row to row go one way, without being one and the same step (a filled series).

    `values` count whole display steps. Fewer than seven changes must all go one way.
    """
    known = values[~np.isnan(values)]
    steps = np.diff(known)
    moving = steps[steps != 0]
    if len(moving) < 3:
        return False
    share = 1.0 if len(moving) < 7 else settings("preparation")["sorted_share"]  # few values: all one way
    one_way = max((moving > 0).mean(), (moving < 0).mean()) >= share
    _, counts = np.unique(moving, return_counts=True)
    return bool(one_way and counts.max() < 0.8 * len(steps))


def columns(*together: Numbers) -> tuple[Column, ...]:
    """Columns of one quantity (0° and 180°), which share resolution and lattice; shape (n,) each, NaN for none."""
    known = np.concatenate([v[~np.isnan(v)] for v in together])
    shown = display_step(known)
    steps = np.rint(known / shown)
    g = lattice(steps)
    return tuple(
        Column(np.rint(v / (shown * g)), np.rint(v / shown), shown * g, g, is_sorted(np.rint(v / shown)))
        for v in together
    )


def strata(models: Codes) -> Codes:
    """Number of the model of each row, all models with fewer than 20 rows being one."""
    if models.min() == models.max():
        return np.zeros(len(models), dtype=np.int32)
    _, number, counts = np.unique(models, return_inverse=True, return_counts=True)
    large = counts[number] >= settings("preparation")["stratum"]
    return np.where(large, number + 1, 0).astype(np.int32)


def group(time0: Numbers, time180: Numbers, ramp: Numbers, who: Who = NOBODY, **more: Any) -> Group:
    """A group from readings in ms, ms and mA in entry order, shape (n,), NaN where there is none."""
    n = len(time0)
    first, second = columns(time0, time180)
    defaults = {
        "tests": np.arange(n),
        "device": np.arange(n, dtype=np.int32),
        "stratum": np.zeros(n, np.int32),
    }
    return Group(who, first, second, columns(ramp)[0], **{**defaults, **more})
