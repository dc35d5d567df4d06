"""A noted repeat has its first test on record, or is unclear: a copy of it, or another repeat, is no first.

That a device which fails is not re-tested until it passes, with the fail left out: common practice, no source.
"""

from __future__ import annotations

import pytest
from audits_here import AuditsHere

HEADINGS = "Device,Rated IΔn (mA),Visual,1× 0° (ms),1× 180° (ms),Tested by,Date,Remarks\n"
REST = ",A. Snowfield,2026-11-20,"
REPEAT = f"K1,30,pass,24.3,25.4{REST}retested\n"
COPY = f"K1,30,pass,24.3,25.4{REST}\n"
OTHER = f"K1,30,pass,24.6,25.9{REST}re-test\n"
FIRST = f"K1,30,pass,24.8,26.0{REST}\n"


@pytest.mark.parametrize(
    ("rows", "outcome"),
    [
        ([REPEAT], "unclear"),
        ([REPEAT, REPEAT], "unclear"),
        ([REPEAT, COPY], "unclear"),
        ([COPY, REPEAT], "unclear"),
        ([REPEAT, OTHER], "unclear"),
        ([FIRST, REPEAT], "pass"),
        ([REPEAT, FIRST, OTHER], "pass"),
        ([REPEAT, COPY, FIRST], "pass"),
    ],
)
def test_a_noted_repeat_needs_a_first_of_its_own(audits_here: AuditsHere, rows: list[str], outcome: str) -> None:
    assert audits_here.of_file((HEADINGS + "".join(rows)).encode()) == {"K1": outcome}
