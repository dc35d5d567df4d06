"""What a register of visits adds to an audit, as the reports read it; all empty for an audit without one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import pandas as pd

DEVICES = {  # one row for each device of the audit
    "known": "int64",  # its number in the register; one that was not known has the number that it will get
    "new": "bool",
    "place": "int64",
    "was": "int8",  # outcome that stood before, -1 where it is new
    "last_at": "object",  # day of its last visit before this one, empty where it is new
    "open_since": "object",  # day of a fail that no remedy and pass has closed, else empty
    "out_of_use": "object",  # day since which it is out of use, else empty
    "how": "object",  # why it was taken for the same, empty where name and site are equal
    "replaces": "int64",  # number of the device that stood under this name before, -1 none
    "moved_from": "int64",  # number of the device of this name at another site, -1 none
}


def frame(dtypes: Mapping[str, str]) -> pd.DataFrame:
    """A frame with no rows and these columns."""
    return pd.DataFrame({name: pd.Series(dtype=dtype) for name, dtype in dtypes.items()})


@dataclass(frozen=True)
class History:
    """What was known before, and what has changed.

    counted   files that were counted before and were not audited again: name, number and day of their visit
    waiting   files of a folder that were changed in the last minute and are left for the next run
    """

    named: bool = False  # whether a register was given at all
    content: str = ""  # SHA-256 of what it held
    counted: tuple[tuple[str, int, str], ...] = ()
    waiting: tuple[str, ...] = ()
    replaced: tuple[int, ...] = ()  # visits that the files of this audit replace
    places: tuple[tuple[int, str, tuple[str, ...]], ...] = ()  # number, name and new names of the places of this audit
    devices: pd.DataFrame = field(default_factory=lambda: frame(DEVICES))
