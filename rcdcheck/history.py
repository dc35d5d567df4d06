"""What a register of visits adds to an audit, as the reports read it; all empty for an audit without one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

DEVICES = {  # one row for each device of the audit
    "known": "int64",  # its number in the register; one that was not known has the number that it will get
    "new": "bool",
    "place": "int64",
    "was": "int8",  # outcome that stood before, -1 where none did
    "last_at": "object",  # day of its last visit before this one, empty where there is none
    "open_since": "object",  # day of a fail that no remedy and pass has closed, else empty
    "out_of_use": "object",  # day since which it is out of use, else empty
    "called": "object",  # name that it has in the register, empty where it is new
    "how": "object",  # why it was taken for the same, empty where name and site are equal
    "replaces": "int64",  # number of the device that stood under this name before, -1 none
    "moved_from": "int64",  # number of the device of this name at another site, -1 none
}
POINTS = {  # readings over all visits, in order of device, outlet, slot and day
    "device": "int64",  # of the audit
    "outlet": "object",
    "slot": "object",  # name of a terms.Slot
    "day": "int64",  # since 1970
    "value": "float64",  # ms or mA
    "limit": "float64",
    "series": "int64",
}
FAILED, UNSETTLED, SETTLED, STILL, APPEARED, MISSING = CHANGES = (
    "failed", "unsettled", "settled", "still open", "appeared", "missing",
)  # fmt: skip
NEW_TROUBLE = (FAILED, UNSETTLED)  # what `--fail-on new` hears


@dataclass(frozen=True)
class Change:
    """A device that stands otherwise than at the audit before, or is still open."""

    kind: str  # of CHANGES
    site: str
    device: str
    was: str  # word of the outcome before, empty where it was not known
    now: str  # word of the outcome, empty where it is missing
    why: str


@dataclass(frozen=True)
class Place:
    """A site of the audit: whether the register knew it, and how many of its devices were seen."""

    number: int
    name: str
    names: tuple[str, ...]  # keys that name it from now on
    seen: int
    known: int  # devices in use there before this audit


@dataclass(frozen=True)
class Drift:
    """A series whose slope points to its limit; slopes in ms or mA a year, days as texts."""

    series: int  # of History.points
    visits: int
    slope: float
    low: float
    high: float
    last: float
    limit: float
    reached: str  # day on which the limit would be reached
    earliest: str


@dataclass(frozen=True)
class ModelDrift:
    """A model whose devices of few visits drift together; slope in ms or mA a year."""

    model: str
    slot: str
    devices: int
    slope: float
    chance: float


@dataclass(frozen=True)
class Jump:
    """A series that jumped at the latest visit."""

    series: int
    before: float
    now: float
    whole_device: bool  # every reading of the device jumped


@dataclass(frozen=True)
class Rate:
    """How often devices failed: `failed` of `of` sightings, the interval of the share, and whether they are too few."""

    by: str
    name: str
    failed: int
    of: int
    low: float
    high: float
    few: bool


def frame(dtypes: Mapping[str, str]) -> pd.DataFrame:
    """A frame with no rows and these columns."""
    return pd.DataFrame({name: pd.Series(dtype=dtype) for name, dtype in dtypes.items()})


@dataclass(frozen=True)
class History:
    """What was known before, and what has changed.

    counted   files that were counted before and were not audited again: name, number and day of their visit
    waiting   files of a folder that were changed in the last minute and are left for the next run
    points    readings of the devices of this audit over all their visits, for drift and jumps
    listed    tests that the register holds already, shape (tests,)
    """

    named: bool = False  # whether a register was given at all
    content: str = ""  # SHA-256 of what it held
    counted: tuple[tuple[str, int, str], ...] = ()
    waiting: tuple[str, ...] = ()
    replaced: tuple[int, ...] = ()  # visits that the files of this audit replace
    places: tuple[Place, ...] = ()
    devices: pd.DataFrame = field(default_factory=lambda: frame(DEVICES))
    listed: npt.NDArray[np.bool_] = field(default_factory=lambda: np.zeros(0, dtype=bool))
    changes: tuple[Change, ...] = ()
    points: pd.DataFrame = field(default_factory=lambda: frame(POINTS))
    drifts: tuple[Drift, ...] = ()
    models: tuple[ModelDrift, ...] = ()
    jumps: tuple[Jump, ...] = ()
    rates: tuple[Rate, ...] = ()

    @property
    def new_trouble(self) -> bool:
        """Whether a device failed or came unsettled that did not stand so before."""
        return any(change.kind in NEW_TROUBLE for change in self.changes)
