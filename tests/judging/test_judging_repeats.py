"""A noted repeat has its first test on record, or is unclear: a copy of it, or another repeat, is no first.

That a device which fails is not re-tested until it passes, with the fail left out: common practice, no source.
"""

from __future__ import annotations

import pytest
from audits_here import AuditsHere
from small_sheets import audited

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


GOOD, BEFORE, THEN = ("pass", "24.3", "25.4"), "2026-03-02", "2026-11-20"
AGAIN = ("pass", "24.3", "25.4", THEN, "retested")
LATER: list[tuple[list[tuple[str, ...]], bool]] = [  # look-over, readings, date, remark; whether the first is lacking
    ([("pass", "no trip", "25.4", BEFORE, ""), AGAIN], False),  # of what failed at an earlier visit
    ([("fail", "24.1", "25.4", BEFORE, ""), AGAIN], False),
    ([(*GOOD, BEFORE, ""), AGAIN], True),  # nothing had failed
    ([("pass", "no trip", "25.4", BEFORE, "retested"), AGAIN], True),  # which is no first itself
    ([("fail", *AGAIN[1:-1], ""), AGAIN], True),  # the same readings of the same day
    ([(*GOOD, THEN, ""), ("pass", "no trip", "25.4", "2026-11-24", ""), AGAIN], True),  # it failed only later
]


def test_a_repeat_of_what_failed_at_an_earlier_visit_has_its_first() -> None:
    rows = [(f"D{i}", "30", *cells) for i, (tests, _) in enumerate(LATER) for cells in tests]
    audit = audited(("Device", "Rated IΔn (mA)", "Visual", "1× 0° (ms)", "1× 180° (ms)", "Date", "Remarks"), *rows)
    told = audit.reasons[audit.reasons["code"] == "repeat-without-first"]
    lacking = set(audit.devices["name"].to_numpy()[told["device"]])
    assert lacking == {f"D{i}" for i, (_, lacks) in enumerate(LATER) if lacks}
