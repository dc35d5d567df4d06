"""What a heading means."""

from __future__ import annotations

import math
from dataclasses import dataclass

from rcdcheck.terms import Slot


@dataclass(frozen=True)
class Meaning:
    """What a heading means.

    field: a field of test-sheet.json; `reading` (see slot); `pair` (0° and 180° in one cell); `phase`, `multiple`,
    `test_current`, `quantity`, `waveform`, `value`, `time` of long layouts; `visit` (its number); `class` (insulation
    or RCD class); `other_test`, `ignore`; empty where it is not understood. test_current in mA. check: what the ticks
    of `pass_ticks` and `fail_ticks` are of. how: one clause, empty where plain. multiple_said: whether the heading
    itself states the multiple or test current.
    """

    field: str
    slot: Slot | None = None
    unit: str = ""
    test_current: float = math.nan
    check: str = "declared"
    how: str = ""
    multiple_said: bool = False
