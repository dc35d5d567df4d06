"""Kinds of sheets that once passed and must not, and that once failed and should not, each through a whole audit.

Limits by the published figures of `tests/published/test_published_limits.py`; what no figure says is common practice.
"""

from __future__ import annotations

import pytest
from small_sheets import audited, codes, messages, one, outcome

from rcdcheck.terms import Outcome

R, TYPE, WAVE, DELAY, KIND = "Rated IΔn (mA)", "RCD type", "Waveform type", "Delay", "Portable/fixed"
T0, T180 = "Trip time 1× 0° (ms)", "Trip time 1× 180° (ms)"
GOOD = {T0: "24.1", T180: "25.3"}
GFCI = {"rules": "north-america-gfci"}
SIX = (("6 mA (ms)", "trip_time"),)
DATED = ("Device", R, "Visual", T0, T180, "Date", "Time", "Serial", "Remedy", "Remarks")


def day(date: str, readings: tuple[str, str], **more: str) -> list[str]:
    """A row of device D1 under DATED."""
    cells = dict.fromkeys(DATED, "") | {"Device": "D1", R: "30", "Visual": "pass", "Date": date, **more}
    return list((cells | dict(zip((T0, T180), readings, strict=True))).values())


PASS, FAIL = ("24.1", "25.3"), ("24.1", "no trip")
ELSE = ["D2", "30", "pass", "22.0", "23.5", "2026-11-02", "", "", "", ""]


# ── passes and must not ──

LONG = ("Device", R, "Visual", "Multiple", "Test current (mA)", "Waveform", "Phase", "Trip time (ms)")


@pytest.mark.parametrize(
    ("multiple", "current", "waveform", "typed", "wanted"),
    [
        ("0.5×", "", "a.c.", "22.2", "fail"),  # the multiple stands, where no current is stated beside it
        ("5×", "", "a.c.", "250.1", "fail"),
        ("0.5×", "", "a.c.", "no trip", "pass"),
        ("", "150", "a.c.", "250.1", "fail"),
        ("5×", "30", "a.c.", "25.1", "unclear"),  # which of them is right?
        ("", "", "a.c.", "25.1", "unclear"),
        ("1.4×", "", "", "25.1", "unclear"),
    ],
)
def test_what_a_row_does_not_say_is_not_taken_for_the_rated_current(
    multiple: str, current: str, waveform: str, typed: str, wanted: str
) -> None:
    """Up to 40 ms at 5 IΔn, no trip at 0.5 IΔn: IEC 61008-1 Table 1 and 5.3.4, as secondary sources quote them."""
    others = [[f"D{n}", "30", "pass", *of, phase, "24.1"] for n in range(2, 6) for phase in ("0°", "180°")
              for of in (["1×", "30", "a.c."], ["5×", "150", "a.c."], ["1.4×", "42", "pulsating"])]  # fmt: skip
    first = [["D1", "30", "pass", "1×", "30", "a.c.", phase, "24.1"] for phase in ("0°", "180°")]
    asked = ["D1", "30", "pass", multiple, current, waveform, "0°", typed]
    assert outcome(audited(LONG, *first, asked, *others)) == wanted


@pytest.mark.parametrize("typed", ["no trip", "9000", "30"])
def test_a_current_below_the_curve_of_class_a_is_no_test(typed: str) -> None:
    """5 mA lies between 4 and 6 mA, where class A may trip or not (UL 943; five secondary sources)."""
    options = {"assume": (("rated_residual_current", "5mA"),), **GFCI}
    assert outcome(one({"Trip time 1× (ms)": typed}, **options)) != "pass"


def test_class_a_must_hold_below_four_milliamperes() -> None:
    audit = one({"Trip time 6 mA (ms)": "1500", "Trip time 3 mA (ms)": "30"}, **GFCI)
    assert (outcome(audit), codes(audit)) == ("fail", {"tripped-where-it-must-hold"})
    assert outcome(one({"Trip time 6 mA (ms)": "1500", "Trip time 3 mA (ms)": "no trip"}, **GFCI)) == "pass"
    assert outcome(one({"Trip time 6 mA (ms)": "1500", "Trip time 4 mA (ms)": "30"}, **GFCI)) != "fail", (
        "at 4 mA it may"
    )
    held = one({"Trip time 3 mA (ms)": "no trip"}, **GFCI)
    assert (outcome(held), codes(held)) == ("incomplete", {"needed-reading-missing"})


def test_the_physical_floor_holds_without_a_rating() -> None:
    assert codes(one({"Trip time 6 mA (ms)": "1.5"}, **GFCI)) == {"below-physical-floor"}


@pytest.mark.parametrize("rules", ["anz-in-service", "international-product", "uk-present"])
@pytest.mark.parametrize(
    ("heading", "typed"),
    [
        ("Trip time pulsating 1.4× 0° (ms)", "no trip"),
        ("Trip time pulsating 2× 0° (ms)", "no trip"),
        ("Trip time pulsating 2.8× 0° (ms)", "151"),
        ("Trip time smooth d.c. 2× 0° (ms)", "no trip"),
        ("Trip time smooth d.c. 3× 0° (ms)", "301"),
        ("Trip time 3× 0° (ms)", "200"),
        ("Trip time 10× 0° (ms)", "45"),
        ("Trip time 250 mA 0° (ms)", "60"),
    ],
)
def test_the_next_lower_limit_reaches_what_has_none_of_its_own(heading: str, typed: str, rules: str) -> None:
    audit = one({R: "30", WAVE: "B", **GOOD, heading: typed}, rules=rules)
    assert outcome(audit) == "fail", codes(audit)


@pytest.mark.parametrize(
    ("heading", "typed"),
    [("Trip time pulsating 1× 0° (ms)", "no trip"), ("Trip time smooth d.c. 1.5× 0° (ms)", "no trip")],
)
def test_between_rated_and_the_band_of_its_waveform_no_trip_is_unclear(heading: str, typed: str) -> None:
    """Half waves must trip at 1.4 IΔn, smooth d.c. at 2 IΔn (IEC 61008-1, IEC 62423, from memory): not below."""
    assert codes(one({R: "30", WAVE: "B", **GOOD, heading: typed})) == {"beyond-rules"}


@pytest.mark.parametrize(
    "remark",
    [
        "cracked housing, client to have it replaced",
        "no trip first time, cleaned and fine now",
        "sticky button; withdrawn",
        "cracked, tag changed",
    ],
)
def test_a_remedy_is_of_the_fault_done_and_no_withdrawal(remark: str) -> None:
    assert outcome(one({R: "30", **GOOD, "Remarks": remark})) == "unclear"


@pytest.mark.parametrize(
    ("remedy", "due"),
    [
        ("label replaced", "unclear"),
        ("batteries changed in tester", "unclear"),
        ("should have been replaced", "unclear"),
        ("would have been replaced", "unclear"),
        ("might have been replaced", "unclear"),
        ("replaced: no", "unclear"),
        ("tightened", "unclear"),  # mends a loose connection and no device that did not trip
        ("new plug fitted", "unclear"),  # mends no device that did not trip
        ("replaced", "pass"),
        ("RCD replaced, new label", "pass"),
    ],
)
def test_an_earlier_fail_is_cleared_by_a_remedy_of_the_device_alone(remedy: str, due: str) -> None:
    rows = (day("2026-03-02", FAIL, Remedy=remedy), day("2026-11-02", PASS))
    audit = audited(DATED, *rows, ELSE)
    assert outcome(audit) == due, codes(audit)


@pytest.mark.parametrize(
    ("remedy", "due"), [("new plug fitted", "pass"), ("label replaced", "unclear"), ("", "unclear")]
)
def test_a_part_that_was_replaced_ends_what_the_look_over_found(remedy: str, due: str) -> None:
    rows = (day("2026-03-02", PASS, Visual="fail", Remedy=remedy), day("2026-11-02", PASS))
    audit = audited(DATED, *rows, ELSE)
    assert outcome(audit) == due, codes(audit)


@pytest.mark.parametrize(
    ("rcd_type", "rated"),
    [("I", "300"), ("II", "300"), ("I", "30"), ("II", "10"), ("III", "30"), ("IV", "30"), ("S", "30")],
)
def test_a_type_that_contradicts_the_rating_leaves_the_device_unclear(rcd_type: str, rated: str) -> None:
    other = ["D2", "pass", "30", "II", *GOOD.values()]
    heading = DELAY if rcd_type == "S" else TYPE
    headings = ("Device", "Visual", R, heading, *GOOD)
    other[3] = "general" if heading == DELAY else "II"
    audit = audited(headings, ["D1", "pass", rated, rcd_type, *GOOD.values()], other)
    assert (outcome(audit), codes(audit)) == ("unclear", {"class-contradicts-rating"})
    slow = audited(headings, ["D1", "pass", rated, rcd_type, "501", "25"], other)
    assert outcome(slow) == "fail", "too slow for whatever it is"


def test_a_contradiction_is_told_once_for_the_device() -> None:
    assert list(one({R: "30", DELAY: "S", **GOOD}).reasons["code"]) == ["class-contradicts-rating"]
    audit = one({R: "300", TYPE: "II", **GOOD, "Trip time 5× 0° (ms)": "12"})
    assert list(audit.reasons["code"]) == ["class-contradicts-rating"]
    assert "300 mA" in messages(audit)


def test_one_device_of_two_ratings_on_one_day_is_unclear() -> None:
    audit = audited(DATED, day("2026-11-02", PASS), day("2026-11-02", PASS, **{R: "300"}), ELSE)
    assert (outcome(audit), codes(audit)) == ("unclear", {"ratings-differ"})


def test_a_portable_device_of_three_hundred_milliamperes_is_unclear() -> None:
    assert codes(one({R: "300", KIND: "portable", **GOOD})) == {"portable-over-rating"}
    assert outcome(one({R: "300", KIND: "fixed", **GOOD})) == "pass"


@pytest.mark.parametrize(
    ("kind", "stated", "code"),
    [("portable", "", "trip-time-over-limit"), ("fixed", "", "type-undecided"), ("", "", "type-undecided"),
     ("fixed", "I", "trip-time-over-limit")],
)  # fmt: skip
def test_a_portable_device_of_ten_milliamperes_is_of_type_one(kind: str, stated: str, code: str) -> None:
    """AS/NZS 3190:2016 clause 2.5 (read in a sample): portable devices are of type I or II, and II is above 10 mA."""
    ten = one({R: "10", KIND: kind, "RCD type": stated, T0: "55", T180: "56"})
    assert codes(ten) == {code}


@pytest.mark.parametrize(
    ("rated", "due"),
    [("1", False), ("3", False), ("13", False), ("45", False), ("33", False), ("6", True), ("10", True), ("15", True),
     ("20", True), ("100", True), ("200", True), ("250", True), ("300", True)],
)  # fmt: skip
def test_ratings_that_no_device_has_are_unclear(rated: str, due: bool) -> None:
    """Preferred values of IEC 60755 (from memory), and 15, 20, 200, 250 mA, which are met (common practice)."""
    rows = [["D1", rated, "pass", *GOOD.values()], *([f"E{i}", "30", "pass", f"2{i}.4", f"2{i}.9"] for i in range(5))]
    audit = audited(("Device", R, "Visual", *GOOD), *rows, columns=((R, "rated_residual_current"),))
    assert outcome(audit) == ("pass" if due else "unclear"), codes(audit)
    assert outcome(audit, "E1") == "pass", "one foreign cell costs the others nothing"


@pytest.mark.parametrize("heading", [TYPE, WAVE, DELAY])
def test_a_type_cell_that_cannot_be_read_leaves_its_device_unclear_and_no_other(heading: str) -> None:
    known = {TYPE: ("II", "I"), WAVE: ("A", "AC"), DELAY: ("general", "selective")}[heading]
    rated = {"I": "10", "selective": "300"}
    times = {"selective": ["210.4", "214.9"]}
    rows = [[f"E{i}", rated.get(t, "30"), t, "pass", *times.get(t, [f"2{i}.4", f"2{i}.9"])]
            for i, t in enumerate(known * 3)]  # fmt: skip
    rows.append(["D1", "30", "Q7", "pass", *GOOD.values()])
    field = {TYPE: "rcd_type", WAVE: "waveform_type", DELAY: "delay"}[heading]
    audit = audited(("Device", R, heading, "Visual", *GOOD), *rows, columns=((heading, field),))
    assert (outcome(audit), codes(audit)) == ("unclear", {"entry-not-understood"})
    assert {outcome(audit, f"E{i}") for i in range(6)} == {"pass"}


@pytest.mark.parametrize("typed", ["2&.4", "illegible"])
@pytest.mark.parametrize("heading", ["Trip time 0.5× 0° (ms)", "Trip time 5× 0° (ms)", "Ramp trip current (mA)", DELAY])
def test_a_whole_column_that_cannot_be_read_passes_nothing(heading: str, typed: str) -> None:
    audit = one({R: "30", **GOOD, heading: typed})
    assert (outcome(audit), codes(audit)) == ("unclear", {"column-headed-and-not-read"})
    assert outcome(one({R: "30", **GOOD, heading: "N/A"})) == "pass", "nothing was measured there"


@pytest.mark.parametrize(
    "heading", ["1/2 IΔn (ms)", "x1/2", "½ IΔn (ms)", "50% IΔn", "IΔn/2", "No trip 1/2", "IΔn x 1/2", "0,5 IΔn (ms)"]
)
def test_half_rated_is_read_however_it_is_written(heading: str) -> None:
    assert "needed-reading-missing" in codes(one({R: "30", heading: "28"})), "it is no time at the rated current"
    assert "tripped-at-half-rated" in codes(one({R: "30", **GOOD, heading: "28"}))


def test_a_half_wave_is_no_half_of_the_rated_current() -> None:
    for headings in (
        ("Demi-onde positive (ms)", "Demi-onde négative (ms)"), ("Temps demi-onde + (ms)", "Temps demi-onde - (ms)"),
        ("demi-alternance 0°", "demi-alternance 180°"), ("mezza onda positiva", "mezza onda negativa"),
        ("halve periode +", "halve periode -"), ("halve golf 0° (ms)", "halve golf 180° (ms)"),
        ("meia onda +", "meia onda -"), ("media onda positiva", "media onda negativa"), ("Halbwelle +", "Halbwelle -"),
    ):  # fmt: skip
        audit = one({R: "30", **dict(zip(headings, ("28.1", "29.4"), strict=True))})
        assert outcome(audit) == "pass", headings
        assert set(audit.verdicts["multiple"]) == {1.0}, headings


def test_readings_of_no_device_are_told() -> None:
    audit = audited(DATED, day("2026-11-02", PASS, Device=""), ELSE)
    assert list(audit.findings.loc[audit.findings["code"] == "device-unnamed", "row"]) == [2]


def test_a_declared_pass_is_contradicted_by_a_failure_alone() -> None:
    for readings, due in ((PASS, False), (FAIL, True), (("24.1", "28.4?"), False), (("24.1", ""), False)):
        audit = one({R: "30", **dict(zip((T0, T180), readings, strict=True)), "Result": "pass"})
        assert ("declared-pass-contradicted" in codes(audit)) is due, readings
        assert ("declared-pass-contradicted" in set(audit.findings["code"])) is due, readings


@pytest.mark.parametrize(
    ("later", "code", "due"),
    [(PASS, "pass-after-fail-without-remedy", Outcome.UNCLEAR), (("24.1", ""), "fail-still-open", Outcome.FAIL)],
)
def test_an_open_fail_is_a_reason_for_the_outcome_that_it_gives(
    later: tuple[str, str], code: str, due: Outcome
) -> None:
    audit = audited(DATED, day("2026-03-02", FAIL), day("2026-11-02", later), ELSE)
    assert outcome(audit) == due.word
    assert audit.reasons.set_index("code")["outcome"][code] == due


# ── fails or is unclear and should not ──


def test_visits_do_not_chain_from_day_to_day() -> None:
    """Fails, is replaced the next day, passes every day after that."""
    later = [day(f"2026-11-{d:02}", PASS) for d in range(4, 16)]
    rows = (day("2026-11-02", FAIL), day("2026-11-03", PASS, Remedy="replaced"), *later)
    audit = audited(DATED, *rows, ELSE)
    assert outcome(audit) == "pass"
    assert "passed-after-remedy" in set(audit.findings["code"])
    nothing_said = audited(DATED, rows[0], day("2026-11-03", PASS), *later, ELSE)
    assert outcome(nothing_said) == "unclear"


@pytest.mark.parametrize(
    ("fail", "good", "due"),
    [
        ({"Remedy": "replaced", "Time": "09:00"}, {"Time": "11:00"}, "pass"),
        ({"Remedy": "replaced", "Time": "11:00"}, {"Time": "09:00"}, "fail"),
        ({"Remedy": "replaced"}, {}, "unclear"),
        ({"Remedy": "replaced"}, {"Remarks": "retest"}, "pass"),
        ({"Remedy": "replaced", "Serial": "S-4411"}, {"Serial": "S-9020"}, "pass"),
        ({"Time": "09:00"}, {"Time": "11:00"}, "fail"),
        ({"Remedy": "label replaced", "Time": "09:00"}, {"Time": "11:00"}, "fail"),
    ],
)
def test_one_remedy_ends_a_failure_of_the_same_day(fail: dict[str, str], good: dict[str, str], due: str) -> None:
    audit = audited(DATED, day("2026-11-02", FAIL, **fail), day("2026-11-02", PASS, **good), ELSE)
    assert outcome(audit) == due, codes(audit)
    assert ("order-of-tests-unknown" in set(audit.findings["code"])) is (due == "unclear")
    assert ("passed-after-remedy" in set(audit.findings["code"])) is (due == "pass")
    danger = audit.findings.loc[audit.findings["severity"] == "danger", "message"]
    assert len(danger)
    assert danger.str.contains("Settled: a remedy is on record").all() == (due == "pass")


def test_a_remedy_that_the_command_line_states_counts_from_its_day() -> None:
    rows = (day("2026-03-02", FAIL), day("2026-06-02", PASS), ELSE)
    for on, due in (
        ("2026-04-01", "pass"),
        ("2026-03-02", "pass"),
        ("2026-07-01", "unclear"),
        ("2026-02-01", "unclear"),
    ):
        audit = audited(DATED, *rows, remedied=(("d1", on, "replaced"),))
        assert outcome(audit) == due, on
    assert outcome(audited(DATED, *rows, remedied=(("D1", "2026-04-01", "to be replaced"),))) == "unclear"


def test_each_limit_has_the_uncertainty_of_its_own_size() -> None:
    """10 % of 130 ms, expanded (k = 2): 95 % of conformity from 130 + 1.645 · 6.5 = 140.7 ms (JCGM 106)."""
    near = one({R: "300", DELAY: "S", T0: "140", T180: "250"})
    assert "within-uncertainty-of-minimum" in set(near.verdicts["reason"])
    far = one({R: "300", DELAY: "S", T0: "141", T180: "169"})
    assert set(far.verdicts["reason"]) == {""}


@pytest.mark.parametrize(
    ("rated", "current"), [("30", "33"), ("100", "110"), ("10", "11"), ("30", "30"), ("300", "330")]
)
def test_instruments_run_up_to_ten_percent_above_rated(rated: str, current: str) -> None:
    """IEC 61557-6 (from memory): 0 to +10 % at the rated current."""
    audit = one({R: rated, f"Trip time {current} mA 0° (ms)": "24", f"Trip time {current} mA 180° (ms)": "25"})
    assert outcome(audit) == "pass", codes(audit)


@pytest.mark.parametrize(("current", "typed", "due"), [("27", "no trip", "pass"), ("13.5", "28", "fail"),
                                                      ("15", "28", "fail"), ("16", "28", "pass")])  # fmt: skip
def test_instruments_run_up_to_ten_percent_below_half(current: str, typed: str, due: str) -> None:
    """IEC 61557-6 (from memory): −10 to 0 % at half; between half and rated a device may trip or not."""
    assert outcome(one({R: "30", **GOOD, f"Trip time {current} mA (ms)": typed})) == due


def test_direct_current_in_the_words_of_a_language_is_no_alternating_current() -> None:
    """Smooth d.c. at the rated current never stands in for the alternating current that a test needs."""
    for heading in ("1x CC 0° (ms)", "1x corriente continua 0° (ms)", "1x gelijkstroom 0° (ms)", "1x Gleichstrom 0°"):
        assert outcome(one({R: "30", WAVE: "B", heading: "24.1", T180: "25.3"})) != "pass", heading


@pytest.mark.parametrize(
    "heading",
    ["Ramp DC (mA)", "DC ramp (mA)", "Ramp d.c. (mA)", "Ramp smooth DC (mA)", "Rampa CC (mA)", "Rampe CC (mA)",
     "Rampa c.c. (mA)", "Ramp gelijkstroom (mA)", "Auslösestrom Gleichfehlerstrom (mA)"],
)  # fmt: skip
def test_a_direct_current_ramp_is_judged_as_one(heading: str) -> None:
    """IEC 62423, type B: from 0.5 to 2 IΔn in smooth direct current (two secondary sources)."""
    assert outcome(one({R: "30", WAVE: "B", **GOOD, heading: "45"})) == "pass"
    assert outcome(one({R: "30", WAVE: "B", **GOOD, heading: "61"})) == "fail"


@pytest.mark.parametrize("typed", ["300", "500", "1000", "1999", "2000"])
def test_the_bare_end_of_a_range_at_half_rated_is_one_thing(typed: str) -> None:
    audit = one({R: "30", **GOOD, "Trip time 0.5× 0° (ms)": typed})
    assert codes(audit) == {"comparator-perhaps-lost"}
    assert "over-range-number" not in set(audit.findings["code"])


def test_a_window_shorter_than_two_seconds_is_noted() -> None:
    """Two seconds: a textbook, read; exactly as long is long enough."""
    for typed, noted in ((">2000", False), (">1999", True), ("no trip", False)):
        audit = one({R: "30", **GOOD, "Trip time 0.5× 0° (ms)": typed}, rules="uk-present")
        assert outcome(audit) == "pass"
        assert ("half-rated-window-short" in set(audit.verdicts["reason"])) is noted, typed


@pytest.mark.parametrize(
    ("typed", "reason", "limit"),
    [("39", "within-uncertainty-of-limit", 40), ("301", "trip-time-over-limit", 300), ("25", "", 40)],
)
def test_where_types_agree_the_limit_is_that_which_decides(typed: str, reason: str, limit: int) -> None:
    """10 mA of unstated type: a pass by the shorter limit (40 ms, type I), a fail by the longer (300 ms)."""
    first = one({R: "10", T0: typed, T180: "25"}).verdicts.iloc[0]
    assert (first["reason"], first["limit"]) == (reason, limit)


def test_a_limit_never_looks_equal_to_what_fails_it() -> None:
    """UL 943: (20 ÷ 264)^1.43 s are 24.979 ms at 264 mA: what fails is printed above it, however near."""
    for typed, limit in (("25", "24.98"), ("24.98", "24.979"), ("26", "25")):
        audit = one({"Trip time 264 mA (ms)": typed}, **GFCI)
        assert f"{typed} ms, and the limit is {limit} ms" in messages(audit)


def test_messages_speak_of_the_device_and_rules_at_hand() -> None:
    former = one({R: "30", **GOOD, T0: "250", "Trip time 5× 0° (ms)": "12", "Trip time 5× 180° (ms)": "13"},
                 rules="uk-former")  # fmt: skip
    said = former.findings.loc[former.findings["code"] == "over-stricter-published-figure", "message"].iloc[0]
    assert "200 ms by HSE HSG141" in said and "type I" not in said
    fast = one({R: "30", **GOOD, "Trip time 5× 0° (ms)": "44"})
    assert "0.25 A" in messages(fast) and "250 mA" in messages(fast)
    assert "0.25 A" not in messages(one({R: "300", DELAY: "general", **GOOD, "Trip time 5× 0° (ms)": "44"}))
    assert "0.25 A" not in messages(one({R: "30", **GOOD, "Trip time 5× 0° (ms)": "no trip"}))
    quarter = one({R: "30", **GOOD, "Trip time 250 mA 0° (ms)": "44"})
    assert "Trip time at 250 mA, 0°: 44 ms, and the limit is 40 ms" in messages(quarter)
    assert "Trip time 1×, 0°: 301 ms" in messages(one({R: "30", "Trip time 33 mA 0° (ms)": "301", T180: "25.3"}))
    ramp = one({R: "30", **GOOD, "Ramp trip current (mA)": ">25"})
    assert "> 25 mA says only that it lies above that; the limit is 30 mA" in messages(ramp)
    held = one({"Trip time 6 mA (ms)": "1500", "Trip time 3 mA (ms)": "1999"}, **GFCI)
    assert codes(held) == {"comparator-perhaps-lost"} and "half" not in messages(held)
    for no_limit in (one({"Trip time 1× (ms)": "no trip"}, **GFCI), one({**GOOD, "Ramp trip current (mA)": "no trip"})):
        assert outcome(no_limit) == "fail" and "the limit is not known" in messages(no_limit)


@pytest.mark.parametrize("delay", ["kurzzeitverzögert", "short-time delayed", "KV"])
def test_short_time_delayed_is_not_selective(delay: str) -> None:
    """A general device for every limit that holds for some 10 ms (from memory)."""
    rows = [["D1", "30", "pass", delay, *GOOD.values()], ["D2", "300", "pass", "selektiv", "210", "214"]]
    headings = ("Device", R, "Visual", "Verzögerung", *GOOD)
    assert outcome(audited(headings, *rows)) == "pass"
    for typed, due in (("9.9", {"quicker-than-its-delay"}), ("10.0", set()), ("2.9", {"below-physical-floor"})):
        rows[0][4] = typed
        assert codes(audited(headings, *rows)) == due, typed


def test_half_a_cycle_of_the_mains_is_that_of_the_rule_set() -> None:
    """9 ms are more than half a cycle at 60 Hz (8.3 ms) and less at 50 Hz (10 ms): arithmetic."""
    cells = {R: "6", T0: "20.0", "Trip time 5× 0° (ms)": "29.0"}
    for rules, noted in (("north-america-gfci", True), ("uk-present", False)):
        assert ("slower-at-five-times" in set(one(cells, rules=rules).findings["code"])) is noted


# ── options that change an answer ──


def test_withdrawn_and_tested_stays_unclear_whatever_is_required() -> None:
    """--require asks for more: what the two contradict each other about is no better for it."""
    cells = {R: "30", **GOOD, "Remarks": "scrapped"}
    for required in ((), ("ramp",)):
        audit = one(cells, require=required)
        assert outcome(audit) == "unclear" and "withdrawn-and-tested" in codes(audit), codes(audit)


def test_guarded_acceptance_makes_a_marginal_pass_unclear() -> None:
    """10 % of 300 ms, expanded (k = 2): 95 % of conformity up to 300 - 1.645 · 15 = 275.3 ms (JCGM 106)."""
    for typed, simple, guarded in (("275", "pass", "pass"), ("276", "pass", "unclear"), ("301", "fail", "fail")):
        cells = {R: "30", **GOOD, T0: typed}
        assert outcome(one(cells)) == simple
        assert outcome(one(cells, decision="guarded")) == guarded, typed


@pytest.mark.parametrize(
    ("spec", "due"),
    [("1%", ""), ("10%", "within-uncertainty-of-limit"), ("2%r", ""), ("20%r", "within-uncertainty-of-limit")],
)
def test_the_stated_uncertainty_decides_what_is_marginal(spec: str, due: str) -> None:
    audit = one({R: "30", **GOOD, T0: "280.1"}, uncertainty=(("trip_time", spec),))
    assert due in set(audit.verdicts["reason"])
    assert outcome(audit) == "pass"


def test_one_identifier_is_one_device_of_the_whole_fleet_where_that_is_said() -> None:
    head = ("Site", "Device", R, "Visual", T0, T180, "Date")
    rows = (
        ["North pier", "D1", "30", "pass", *FAIL, "2026-03-02"],
        ["South pier", "D1", "30", "pass", *PASS, "2026-11-02"],
    )
    assert len(audited(head, *rows).devices) == 2
    fleet = audited(head, *rows, identity="fleet")
    assert (len(fleet.devices), codes(fleet)) == (1, {"pass-after-fail-without-remedy"})


def test_words_for_above_in_a_reading_that_must_hold_are_no_fault() -> None:
    """Common practice, no source: the end of a display is typed as "over 300" too."""
    assert not codes(one({R: "30", **GOOD, "0.5x 0° (ms)": "over 300"}))
    assert outcome(one({R: "30", **GOOD, "0.5x 0° (ms)": "over 300, burnt smell"})) == "unclear"
