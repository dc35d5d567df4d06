"""The sentence of each reading that fails or is open: what was tested, the reading unrounded, and its limit beside it.

Limits: IEC 61008-1 Table 1 and its adoption in service (300, 150 and 40 ms), as secondary sources quote it.
"""

from __future__ import annotations

from math import inf, nan

import pytest
from small_sheets import audited

from rcdcheck.judging.reasons import shown_limit, shown_value
from rcdcheck.terms import Bound, State

HEADINGS = ("Device", "Rated IΔn (mA)", "Visual", "Trip time 1× 0° (ms)", "Trip time 5× 180° (ms)", "Ramp (mA)",
            "Trip time 70 mA 0° (ms)", "Trip time 125 mA 0° (ms)", "Trip time 1.25× 180° (ms)")  # fmt: skip
FAST_POINT = " Where the device is marked 0.25 A, that is its fast point: repeat the test at 250 mA."
BESIDE = " Its trip time at the rated current passes: such devices are known, and the fault is real."
SENTENCES: list[tuple[str, dict[int, str], str]] = [  # rated, cells by column, sentence
    ("30", {3: "310"}, "Trip time 1×, 0°: 310 ms, and the limit is 300 ms."),
    ("30", {3: "300.04"}, "Trip time 1×, 0°: 300.04 ms, and the limit is 300 ms."),
    ("30", {3: ">300"}, "Trip time 1×, 0°: > 300 ms, and the limit is 300 ms."),
    ("30", {3: ">150"}, "Trip time 1×, 0°: > 150 ms says only that it lies above that; the limit is 300 ms."),
    ("30", {3: "no trip"}, "Trip time 1×, 0°: did not trip; the limit is 300 ms."),
    ("30", {3: "NO TRIP"}, "Trip time 1×, 0°: did not trip; the limit is 300 ms."),
    ("30", {3: "OL"}, "Trip time 1×, 0°: did not trip (typed OL); the limit is 300 ms."),
    ("30", {3: "1.2"}, "Trip time 1×, 0°: 1.2 ms is faster than the current can rise and a mechanism can move."),
    ("30", {4: "40.5"}, "Trip time 5×, 180°: 40.5 ms, and the limit is 40 ms." + FAST_POINT),
    ("30", {5: "31.5"}, "Ramp trip current: let go at 31.5 mA, and the limit is 30 mA."),
    ("30", {5: "30.00001"}, "Ramp trip current: let go at 30.00001 mA, and the limit is 30 mA."),
    ("30", {3: "24.1", 5: "31.5"}, "Ramp trip current: let go at 31.5 mA, and the limit is 30 mA." + BESIDE),
    ("30", {3: "295.1", 5: "31.5"}, "Ramp trip current: let go at 31.5 mA, and the limit is 30 mA." + BESIDE),
    ("30", {3: "310", 5: "31.5"}, "Ramp trip current: let go at 31.5 mA, and the limit is 30 mA."),
    ("30", {4: "24.1", 5: "31.5"}, "Ramp trip current: let go at 31.5 mA, and the limit is 30 mA."),
    ("30", {3: "24.1", 5: "no trip"},
     "Ramp trip current: did not trip by the end of the ramp; the limit is 30 mA." + BESIDE),
    ("30", {6: "300.5"}, "Trip time at 70 mA, 0°: 300.5 ms, and the limit is 150 ms."),  # 2.33 times 30 mA
    ("100", {7: "300.5"}, "Trip time at 125 mA, 0°: 300.5 ms, and the limit is 300 ms."),
    ("100", {8: "300.5"}, "Trip time 1.25×, 180°: 300.5 ms, and the limit is 300 ms."),
    ("35", {6: "150.5"}, "Trip time 2×, 0°: 150.5 ms, and the limit is 150 ms."),
]  # fmt: skip


def test_each_reading_that_fails_has_its_sentence() -> None:
    rows = [[f"D{i}", rated, "pass", *(cells.get(at, "") for at in range(3, len(HEADINGS)))]
            for i, (rated, cells, _) in enumerate(SENTENCES)]  # fmt: skip
    audit = audited((*HEADINGS, "Delay"), *([*row, "general"] for row in rows))
    told = audit.reasons.assign(name=audit.devices["name"].to_numpy()[audit.reasons["device"]])
    for i, (_, cells, sentence) in enumerate(SENTENCES):
        of_device = told.loc[told["name"] == f"D{i}", "message"].tolist()
        assert sentence in of_device, (cells, of_device)
        assert not any("nan" in one for one in of_device)


@pytest.mark.parametrize(
    ("limit", "value", "shown"),
    [
        (40.0, 40.5, "40 ms"), (39.96, 40.0, "39.96 ms"), (39.96, 50.0, "40 ms"), (39.96, nan, "40 ms"),
        (39.996, 40.0, "39.996 ms"), (40.04, 40.0, "40.04 ms"), (40.0004, 40.0, "40.0004 ms"),
        (nan, 40.0, "not known"), (inf, 40.0, "not known"),
    ],
)  # fmt: skip
def test_a_limit_is_shown_on_its_own_side_of_the_reading(limit: float, value: float, shown: str) -> None:
    assert shown_limit(limit, value, "ms") == shown


def test_a_reading_is_shown_as_it_was_read() -> None:
    assert shown_value(310.04, State.TRIPPED, Bound.EXACT, "ms") == "310.04 ms"
    assert shown_value(300, State.TRIPPED, Bound.ABOVE, "ms") == "> 300 ms"
    assert shown_value(1999, State.NOT_TRIPPED, Bound.EXACT, "ms") == "no trip"
    assert shown_value(nan, State.UNREADABLE, Bound.EXACT, "ms") == "unreadable"
