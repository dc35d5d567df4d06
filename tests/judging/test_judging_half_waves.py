"""Half waves and direct current: which types they are held to, where the standards leave two answers open.

IEC 61008-1 Table 2, half waves, from memory: 300, 150 and 40 ms at 1.4 and 2.8 IΔn and 0.35 A for 30 mA; at 2 and 4 IΔn
and 0.5 A up to 10 mA, a column that is remembered as headed “< 30 mA” too. IEC 62423: 300 ms at 2 IΔn of smooth direct
current, from memory. Type AC is made for neither (IEC 61008-1).
"""

from __future__ import annotations

import itertools

import pytest
from small_sheets import HEAD, audited, codes, messages, one, outcome

from rcdcheck.audits import Audit

R, WAVE, DELAY, KIND = "Rated IΔn (mA)", "Waveform type", "Delay", "Portable/fixed"
GOOD = {"Trip time 1× 0° (ms)": "24.1", "Trip time 1× 180° (ms)": "25.3"}
SETS = ("anz-in-service", "international-product", "uk-present", "uk-former")
FIVE = {"Trip time 5× 0° (ms)": "14.1", "Trip time 5× 180° (ms)": "15.3"}  # needed by the former rules
UNREAD = {"trip-time-over-doubted-limit", "type-undecided"}  # which of two columns was not read


def together(devices: list[dict[str, str]], rules: str) -> Audit:
    """The audit of one sheet with a row for each device, D0, D1 and so on."""
    headings = list(dict.fromkeys(itertools.chain(*devices)))
    rows = [[f"D{i}", "pass", *(cells.get(name, "") for name in headings)] for i, cells in enumerate(devices)]
    return audited([*HEAD, *headings], *rows, rules=rules)


COLUMNS = [
    ("pulsating 1.4× 0°", "24.1", "pass"),
    ("pulsating 1.4× 0°", "300.1", "unclear"),  # 300 ms at 1.4 IΔn, or at 2 IΔn
    ("pulsating 1.4× 180°", "no trip", "unclear"),
    ("pulsating 2× 0°", "300", "pass"),
    ("pulsating 2× 0°", "300.1", "fail"),
    ("pulsating 2× 0°", "no trip", "fail"),
    ("pulsating 2.8× 0°", "150.1", "unclear"),
    ("pulsating 2.8× 0°", "300.1", "fail"),
    ("pulsating 4× 0°", "150.1", "fail"),
    ("pulsating 350 mA 0°", "40", "pass"),
    ("pulsating 350 mA 0°", "40.1", "unclear"),
    ("pulsating 350 mA 0°", "150.1", "fail"),
    ("pulsating 500 mA 0°", "40.1", "fail"),
    ("smooth d.c. 2× 0°", "300.1", "fail"),  # the two columns are of half waves only
    ("1× 0°", "300.1", "fail"),
]


@pytest.mark.parametrize("rules", SETS)
@pytest.mark.parametrize("rated", ["15", "20"])
def test_fifteen_and_twenty_milliamperes_fail_by_both_columns_only(rules: str, rated: str) -> None:
    cells = {R: rated, WAVE: "B", DELAY: "general", **FIVE, **GOOD}
    audit = together([{**cells, f"Trip time {at} (ms)": typed} for at, typed, _ in COLUMNS], rules)
    for i, (at, typed, due) in enumerate(COLUMNS):
        assert outcome(audit, f"D{i}") == due, (at, typed)
    assert codes(audit) & UNREAD


@pytest.mark.parametrize("rules", SETS)
@pytest.mark.parametrize("stated", [{}, {"RCD type": "II"}], ids=["no type", "type II"])
def test_thirty_milliamperes_are_of_one_column(rules: str, stated: dict[str, str]) -> None:
    cells = {R: "30", WAVE: "A", DELAY: "general", **stated, **GOOD, **FIVE}
    assert outcome(one({**cells, "Trip time pulsating 1.4× 0° (ms)": "300.1"}, rules=rules)) == "fail"
    audit = one({**cells, R: "20", "Trip time pulsating 1.4× 0° (ms)": "300.1"}, rules=rules)
    assert outcome(audit) == "unclear"


MADE_FOR = [  # reading, one that is good, one that is bad, a waveform type that is made for it
    ("Trip time pulsating 1.4× 0° (ms)", "24.1", "300.1", "A"),
    ("Trip time pulsating 2.8× 0° (ms)", "24.1", "no trip", "F"),
    ("Trip time pulsating 0.35× 0° (ms)", "no trip", "24.1", "A"),
    ("Ramp pulsating (mA)", "30", "43", "A"),
    ("Trip time smooth d.c. 2× 0° (ms)", "24.1", "no trip", "B"),
    ("Trip time smooth d.c. 0.5× 0° (ms)", "no trip", "24.1", "B"),
    ("Ramp smooth d.c. (mA)", "40", "61", "B"),
]


@pytest.mark.parametrize("rules", SETS)
def test_a_waveform_is_asked_of_devices_that_are_made_for_it(rules: str) -> None:
    """Where no waveform type is stated the device may be of type AC: what fails then is unclear, and says so."""
    cells = {R: "30", DELAY: "general", **GOOD, **FIVE}
    asked = [
        (reading, typed, stated, due)
        for reading, good, bad, needs in MADE_FOR
        for typed, stated, due in ((good, needs, "pass"), (bad, needs, "fail"), (good, "", "pass"),
                                   (bad, "", "unclear"), (bad, "AC", "unclear"))
    ]  # fmt: skip
    audit = together([{**cells, WAVE: stated, reading: typed} for reading, typed, stated, _ in asked], rules)
    for i, (reading, typed, stated, due) in enumerate(asked):
        assert outcome(audit, f"D{i}") == due, (reading, typed, stated)
        untold = due == "unclear" and not stated
        assert (codes(audit, f"D{i}") == {"waveform-type-not-stated"}) == untold, (reading, typed, stated)


@pytest.mark.parametrize("rules", SETS)
def test_where_a_half_wave_must_hold_depends_on_where_it_starts(rules: str) -> None:
    """Above 0.35 IΔn from 0° (two sources), above 0.25 from 90° and 0.11 from 135° (one source and memory)."""
    cells = {R: "30", WAVE: "A", DELAY: "general", **GOOD, **FIVE}
    phases = (" 0°", " 180°", " max", "")
    asked = [(f"Trip time pulsating 0.35×{phase} (ms)", typed) for phase in phases for typed in ("24.1", "no trip")]
    audit = together([{**cells, reading: typed} for reading, typed in asked], rules)
    for i, (reading, typed) in enumerate(asked):
        fails = ("unclear", {"phase-decides"}) if "× (ms)" in reading else ("fail", {"tripped-at-half-rated"})
        due = ("pass", set()) if typed == "no trip" else fails
        assert (outcome(audit, f"D{i}"), codes(audit, f"D{i}")) == due, (reading, typed)


@pytest.mark.parametrize(
    ("reading", "due"),
    [("Ramp pulsating 0° (mA)", "ramp-below-lower-limit"), ("Ramp pulsating (mA)", "phase-decides"),
     ("Ramp (mA)", "ramp-below-lower-limit")],
)  # fmt: skip
def test_where_a_ramp_of_half_waves_is_too_low_depends_on_where_it_starts(reading: str, due: str) -> None:
    cells = {R: "30", WAVE: "A", DELAY: "general", **GOOD}
    assert codes(one({**cells, reading: "10.4"}, rules="international-product")) == {due}


# ── ramps below the band, contradictions of kind and rating, a caution of 30 mA devices ──


@pytest.mark.parametrize(("rated", "typed"), [("30", "15"), ("30", "9.5"), ("10", "4.9"), ("100", "24")])
def test_a_ramp_below_its_band_fails_even_where_it_would_fit_a_smaller_rating(rated: str, typed: str) -> None:
    """IEC 61008-1: above 0.5 IΔn (three sources). What fits a smaller rating says so beside the failure."""
    audit = one({R: rated, WAVE: "AC", DELAY: "general", **GOOD, "Ramp (mA)": typed}, rules="international-product")
    assert (outcome(audit), codes(audit)) == ("fail", {"ramp-below-lower-limit"})
    assert ("smaller rating" in messages(audit)) == (typed != "15")


@pytest.mark.parametrize("rules", SETS)
def test_what_contradicts_nothing_stands_where_kind_and_rating_contradict_each_other(rules: str) -> None:
    """IEC 61008-1 Table 1: 300 ms, type S 130 to 500 ms; portable devices are rated 30 mA at most (IEC 61540)."""
    asked = [
        ("100", "general", "300.1", "fail"),  # whichever of kind and rating is wrong, it is general
        ("100", "general", "300", "unclear"),
        ("100", "", "300.1", "unclear"),  # it may be a selective one that is fixed
        ("100", "", "500.1", "fail"),
        ("100", "S", "500.1", "fail"),
        ("100", "S", "24.1", "unclear"),  # a selective one is too quick, a portable one of 30 mA is not selective
        ("45", "general", "300.1", "fail"),
    ]
    times = ("Trip time 1× 0° (ms)", "Trip time 1× 180° (ms)")
    cells = [{R: rated, KIND: "portable", WAVE: "AC", DELAY: delay, **dict.fromkeys(times, typed), **FIVE}
             for rated, delay, typed, _ in asked]  # fmt: skip
    cells += [{R: "30", KIND: "portable", WAVE: "AC", **GOOD, **FIVE} for _ in range(9)]
    audit = together(cells, rules)
    for i, (*stated, due) in enumerate(asked):
        assert outcome(audit, f"D{i}") == due, stated


@pytest.mark.parametrize(("rated", "due"), [("10", False), ("15", False), ("20", False), ("30", True), ("100", False)])
def test_the_stricter_time_of_older_devices_is_told_of_thirty_milliamperes(rated: str, due: bool) -> None:
    """HSE HSG141 §74 (read): 30 mA devices to BS 4293, BS 7071 and BS 7288 operate within 200 ms."""
    times = {"Trip time 1× 0° (ms)": "250.1", "Trip time 1× 180° (ms)": "25.3", **FIVE}
    audit = one({R: rated, WAVE: "AC", DELAY: "general", **times}, rules="uk-former")
    assert outcome(audit) == "pass"
    assert ("over-stricter-published-figure" in set(audit.findings["code"])) == due
