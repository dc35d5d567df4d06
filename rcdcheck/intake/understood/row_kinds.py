"""Kinds of row below a heading, and the rows of a table with their kinds and sections."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np
import numpy.typing as npt

from rcdcheck.tables import Mask, Texts


class RowKind(IntEnum):
    """Kinds of row; those from SECTION on are passed over, with their name as the reason."""

    BLANK = 0
    HEADING = 1
    TEST = 2
    SECTION = 3
    TOTAL = 4
    SIGNATURE = 5
    NOTE = 6
    TITLE = 7
    CONTINUED = 8
    RETESTS = 9
    SPARE = 10

    @property
    def reason(self) -> str:
        """Why a row was passed over, in words."""
        return {
            RowKind.SECTION: "section line",
            RowKind.TOTAL: "total or average",
            RowKind.SIGNATURE: "signature line",
            RowKind.NOTE: "note outside the table",
            RowKind.TITLE: "above the table",
            RowKind.CONTINUED: "goes on with the remark above",
            RowKind.RETESTS: "the rows below are repeats",
            RowKind.SPARE: "a spare way, with no device",
        }[self]


@dataclass(frozen=True)
class Rows:
    """kind: RowKind of each row of the table's span, shape (stop - start,); section: name in the section line above it;
    rated: rating and class that the last such line states ("DB2 - 100 mA, type S").

    section_field: what section lines name: "site" where one says so itself ("Site: Ice rink"), "board", "tested_at",
        "phase" or "multiple", or empty.
    repeats: rows that stand under a line such as RE-TESTS. continued: position in the span of each row that goes on
    with a remark → position of the test row that it belongs to.
    """

    kind: npt.NDArray[np.int8]
    section: Texts
    rated: Texts
    section_field: str = ""
    repeats: Mask = field(default_factory=lambda: np.zeros(0, dtype=bool))
    continued: dict[int, int] = field(default_factory=dict)
