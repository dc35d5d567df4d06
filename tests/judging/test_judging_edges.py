"""Single lines of judging that lie between its tables: visits, dates, remedies, findings beside the outcome.

Limits are those of AS/NZS 3760 and IEC 61008-1 as `tests/published/` holds them; what a visit is: common practice, no
source.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from audits_here import AuditsHere
from small_sheets import audited
from small_sheets import one as audit_of_one

from rcdcheck import rules
from rcdcheck.judging.batches import nearest_multiple
from rcdcheck.judging.judged import Judged
from rcdcheck.judging.reasons import shown_limit
from rcdcheck.judging.verdicts import _agree
from rcdcheck.terms import Verdict

HEADINGS = "Device,Rated IΔn (mA),Visual,1× 0° (ms),1× 180° (ms),5× 0° (ms),Ramp (mA),Tested by,Date,Remarks"
BOTH, ONLY_0, ONLY_180 = "24.3,25.4", "24.3,", ",25.4"


def line(times: str = BOTH, day: str = "2026-11-20", remark: str = "", five: str = "", ramp: str = "") -> str:
    """One test of device K1."""
    return f"K1,30,pass,{times},{five},{ramp},A. Snowfield,{day},{remark}"


def sheet(*lines: str) -> bytes:
    """A sheet of these lines."""
    return "\n".join([HEADINGS, *lines, ""]).encode()


def codes(document: dict[str, Any]) -> set[str]:
    """Codes of all findings."""
    return {finding["code"] for finding in document["findings"]}


def reasons(document: dict[str, Any]) -> list[str]:
    """Codes of the reasons of the one device."""
    return [reason["code"] for reason in document["devices"][0]["reasons"]]


@pytest.mark.parametrize(
    ("lines", "outcome"),
    [
        # two days that follow one another are one visit, whenever the visit before was
        ([line(day="2026-11-10"), line(ONLY_0, "2026-11-13"), line(ONLY_180, "2026-11-14")], "pass"),
        ([line(day="2026-11-10"), line(ONLY_0, "2026-11-13"), line(ONLY_180, "2026-11-16")], "incomplete"),
        # a test without a date joins the latest visit
        ([line(day="2026-11-10"), line(ONLY_0, "2026-11-13"), line(ONLY_180, "")], "pass"),
        # a pass counts as later where it is two days after the test that failed, or more
        ([line(day="2026-11-20"), line("24.3,no trip", "2026-11-21"), line(day="2026-11-22")], "fail"),
        ([line("24.3,no trip", "2026-11-20"), line(day="2026-11-21"), line(day="2026-11-22")], "unclear"),
    ],
)
def test_what_belongs_to_one_visit(audits_here: AuditsHere, lines: list[str], outcome: str) -> None:
    assert audits_here.of_file(sheet(*lines)) == {"K1": outcome}


def test_of_two_tests_one_date_that_cannot_be_read_leaves_their_order_open(audits_here: AuditsHere) -> None:
    read = audits_here.document(sheet(line("24.3,no trip", "2026-11-10"), line(day="2026-13-45")))
    assert read["devices"][0]["outcome"] != "pass"
    one = audits_here.of_file(sheet(line(day="2026-13-45")))
    assert one == {"K1": "pass"}  # of one test the date settles nothing


def test_a_ramp_that_fails_beside_a_passing_time_is_told_only_of_times_at_rated(audits_here: AuditsHere) -> None:
    def told(*cells: str, **ramp: str) -> bool:
        return "trip time at the rated current passes" in str(
            audits_here.document(sheet(line(*cells, **ramp)))["findings"]
        )

    assert told(ONLY_0, ramp="36.0") and told(BOTH, ramp="36.0")
    assert not told(",", five="12.1", ramp="36.0") and not told(BOTH, ramp="24.0")


def test_a_stated_remedy_settles_what_was_unclear_on_the_day_before(audits_here: AuditsHere) -> None:
    lines = sheet(line(remark="cracked housing"), line(day="2026-11-21"))
    assert audits_here.of_file(lines) == {"K1": "unclear"}
    (audits_here.folder / "remedies.csv").write_text("device,date,what\nK1,2026-11-20,replaced\n", encoding="utf-8")
    assert audits_here.of_file(lines, "--remedied", "remedies.csv") == {"K1": "pass"}


def test_two_ratings_on_one_day_are_a_reason_of_their_own(audits_here: AuditsHere) -> None:
    read = audits_here.document(sheet(line(), line().replace("K1,30", "K1,300")))
    assert read["devices"][0]["outcome"] == "unclear"
    assert "ratings-differ" in reasons(read)


def test_a_remark_that_nobody_understands_is_told_with_its_cell(audits_here: AuditsHere) -> None:
    read = audits_here.document(sheet(line(remark="zwibbled at the frand"), line().replace("K1", "K2")))
    told = [(f["cell"], f["device"]) for f in read["findings"] if f["code"] == "remark-not-understood"]
    assert told == [("J2", "K1")]


def test_where_the_type_decides_the_stricter_limit_is_shown(audits_here: AuditsHere) -> None:
    """10 mA is type I (40 ms) or II (300 ms) in AS/NZS 3190: between them the type decides."""
    rows = sheet(line("43.3,25.0").replace("K1,30", "K1,10"))
    reading = next(r for r in audits_here.document(rows, "--readings", "all")["readings"] if r["value"] == 43.3)
    assert (reading["reason"], reading["limit"]) == ("type-undecided", 40)


def test_a_device_without_a_board_is_called_by_its_name_alone(audits_here: AuditsHere) -> None:
    head = "Board,Device,Rated IΔn (mA),1× 0° (ms),1× 180° (ms)\n"
    told = audits_here.of_file((head + ",Q1,30,24.3,25.4\nDB2,Q1,30,24.9,25.6\nDB2,Q2,30,24.8,25.2\n").encode())
    assert set(told) == {"Q1", "DB2 / Q1", "Q2"}


@pytest.mark.parametrize("heading", ["Date,Device", "Device,Date"])
def test_a_date_that_cannot_be_read_is_heard_in_any_column(audits_here: AuditsHere, heading: str) -> None:
    first, second = heading.split(",")
    head = f"{heading},Rated IΔn (mA),1× 0° (ms),1× 180° (ms)\n"
    rows = [{"Device": "K1", "Date": day} for day in ("2026-11-10", "2026-13-45")]
    text = head + "".join(f"{row[first]},{row[second]},30,24.3,25.{i}\n" for i, row in enumerate(rows))
    assert audits_here.of_file(text.encode()) == {"K1": "unclear"}


@pytest.mark.parametrize(
    ("what", "outcome"), [("replaced", "pass"), ("new label", "unclear"), ("to be replaced", "unclear")]
)
def test_a_stated_remedy_is_of_the_device_and_done(audits_here: AuditsHere, what: str, outcome: str) -> None:
    text = f"device,date,what\nK1,2026-11-20,{what}\n"
    (audits_here.folder / "remedies.csv").write_text(text, encoding="utf-8")
    lines = sheet(line("24.3,no trip", "2026-11-10"), line(day="2026-11-24"))
    assert audits_here.of_file(lines, "--remedied", "remedies.csv") == {"K1": outcome}


def test_the_first_row_of_a_sheet_typed_twice_is_one_test(audits_here: AuditsHere) -> None:
    read = audits_here.document(sheet(line(), line(), line().replace("K1", "K2")))
    assert read["counts"]["tests"] == {"all": 3, "counted": 2}


def test_a_rating_that_stands_in_the_sheet_is_not_asked_for(audits_here: AuditsHere) -> None:
    assert "rated-not-stated" not in codes(audits_here.document(sheet(line())))
    assert "rated-not-stated" in codes(audits_here.document(sheet(line().replace("K1,30", "K1,"))))


@pytest.mark.parametrize(
    ("first", "second", "outcome"),
    [
        ("2026-11-20 09:00", "2026-11-20 10:00", "pass"),
        ("2026-11-20 09:00", "2026-11-20 09:00", "unclear"),
        ("2026-11-20", "2026-11-20", "unclear"),
        ("2026-11-20", "", "unclear"),
        ("2026-11-20 10:00", "2026-11-20 09:00", "fail"),
    ],
)
def test_a_pass_beside_a_remedied_fail_counts_where_it_is_known_to_come_after(
    audits_here: AuditsHere, first: str, second: str, outcome: str
) -> None:
    lines = sheet(line("24.3,no trip", first, "RCD replaced"), line(day=second))
    assert audits_here.of_file(lines) == {"K1": outcome}


def test_a_date_that_is_not_stated_is_no_date_that_was_lost(audits_here: AuditsHere) -> None:
    assert audits_here.of_file(sheet(line(day="2026-11-10"), line(day="", remark="zwibbled"))) == {"K1": "pass"}


@pytest.mark.parametrize(
    ("times", "words"), [(ONLY_0, "180°"), (ONLY_180, "0°"), (",", "0° and 180°")], ids=("180", "0", "both")
)
def test_what_is_missing_is_named_and_nothing_else(audits_here: AuditsHere, times: str, words: str) -> None:
    device = audits_here.document(sheet(line(times, five="12.1")))["devices"][0]
    assert [r["message"] for r in device["reasons"]] == [f"Still to be tested: trip time 1× at {words}."]


def test_between_what_must_hold_and_the_rating_an_interrupter_may_trip_or_not(audits_here: AuditsHere) -> None:
    """UL 943: at 4 mA and below a class A interrupter holds, at 6 mA it trips; from memory."""
    head = "Device,Rated IΔn (mA),Type,Trip time at 5 mA (ms),Trip time at 6 mA 0° (ms),Trip time at 6 mA 180° (ms)\n"
    for told in ("200", "no trip"):
        read = audits_here.document(
            (head + f"K1,6,A,{told},25.1,26.2\n").encode(), "--rules", "north-america-gfci", "--readings", "all"
        )
        first = next(r for r in read["readings"] if r["typed"] == told)
        assert first["verdict"] == "not_judged", (told, first)


def test_a_cell_that_only_the_other_meaning_of_its_column_cannot_read_is_heard(audits_here: AuditsHere) -> None:
    """A column "RCD type" of A, AC and a word may be types or models: where it is types, the word says nothing."""
    head = "Device,RCD type,Rated IΔn (mA),Visual,1× 0° (ms),1× 180° (ms)\n"
    rows = "K1,A,30,ok,24.1,25.2\nK2,zork,30,ok,24.3,25.4\nK3,AC,30,ok,24.8,31.4\n"
    assert audits_here.of_file((head + rows).encode()) == {"K1": "pass", "K2": "unclear", "K3": "pass"}


def test_a_column_without_the_phases_that_the_rules_need_is_asked_about_by_its_heading(audits_here: AuditsHere) -> None:
    text = "Device,Rated IΔn (mA),Visual,Trip time 1x (ms),Trip time 5x (ms)\nK1,30,ok,24.1,12.2\nK2,30,ok,24.3,12.4\n"
    found = audits_here.document(text.encode())["findings"]
    asked = {f["column"]: f["suggestion"] for f in found if f["code"] == "phase-not-stated"}
    assert set(asked) == {"D"}  # no rule needs both phases at five times
    assert "Trip time 1x (ms)=trip_time_1x_0" in asked["D"] and "5x" not in asked["D"]


@pytest.mark.parametrize("times", [ONLY_0, ONLY_180])
def test_a_withdrawn_device_that_was_tested_in_part_is_not_called_tested(audits_here: AuditsHere, times: str) -> None:
    assert "withdrawn-and-tested" not in reasons(audits_here.document(sheet(line(times, remark="withdrawn"))))
    assert "withdrawn-and-tested" in reasons(audits_here.document(sheet(line(BOTH, remark="withdrawn"))))


def test_another_date_that_cannot_be_read_leaves_the_order_of_tests_as_it_is(audits_here: AuditsHere) -> None:
    head = "Device,Rated IΔn (mA),Visual,1× 0° (ms),1× 180° (ms),Date,Next due\n"
    rows = "K1,30,ok,24.1,25.2,2026-11-10,2027-05-10\nK1,30,ok,24.4,25.6,,2027-13-45\n"
    assert audits_here.of_file((head + rows).encode()) == {"K1": "pass"}


def judged(*verdicts: Verdict) -> Judged:
    """Readings with these verdicts, each by the limit of its own number."""
    out = Judged.blank(len(verdicts))
    out.verdict[:] = verdicts
    out.limit[:] = range(len(verdicts))
    return out


def test_a_type_that_has_no_limit_leaves_the_verdict_to_the_other() -> None:
    none, fail, good = Verdict.NOT_JUDGED, Verdict.FAIL, Verdict.PASS
    for one, other in (((none, fail, none), (fail, none, none)), ((none, good, none), (good, none, none))):
        told = _agree([judged(*one), judged(*other)], "type-undecided")
        assert told.verdict.tolist() == [max(pair) for pair in zip(one, other, strict=True)]


@pytest.mark.parametrize(("first", "second", "named"), [(40.0, 40.0, 1), (40.0, 300.0, 2), (300.0, 40.0, 1)])
def test_of_failed_limits_the_loosest_is_named_and_of_equal_ones_the_first(
    first: float, second: float, named: int
) -> None:
    """A rule set of one's own may give two types the same figure from two sources."""
    one, other = judged(Verdict.FAIL), judged(Verdict.FAIL)
    one.limit[:], one.limit_id[:], other.limit[:], other.limit_id[:] = first, 1, second, 2
    assert _agree([one, other], "type-undecided").limit_id.tolist() == [named]


@pytest.mark.parametrize(
    ("typed", "outcome"),
    [
        (
            "300.00000000000006",
            "pass",
        ),  # 0.1 × 3 × 1000 in doubles (IEEE 754), which spreadsheets show as 300
        ("300.0000004", "pass"),
        ("300.000001", "fail"),
        ("300.1", "fail"),
    ],
)
def test_a_reading_is_compared_to_a_millionth(audits_here: AuditsHere, typed: str, outcome: str) -> None:
    """A millionth of a millisecond: no tester shows less, and arithmetic leaves less behind. It is asked after."""
    read = audits_here.document(sheet(line(f"{typed},25.4")))
    assert read["devices"][0]["outcome"] == outcome
    assert ("exactly-at-limit" in codes(read)) == (outcome == "pass")


def test_readings_beside_a_failed_look_over_are_noticed_where_there_are_any(audits_here: AuditsHere) -> None:
    failed = line().replace("pass", "fail"), line(",").replace("pass", "fail")
    found = [codes(audits_here.document(sheet(one, line().replace("K1", "K2")))) for one in failed]
    assert ["readings-after-failed-visual" in one for one in found] == [True, False]


def test_a_ramp_that_is_asked_for_is_answered_by_a_ramp_alone(audits_here: AuditsHere) -> None:
    asked = ("--require", "ramp")
    assert audits_here.of_file(sheet(line(ramp="22.4")), *asked) == {"K1": "pass"}
    assert audits_here.of_file(sheet(line(five="12.3")), *asked) == {"K1": "incomplete"}


def test_only_a_ramp_exactly_at_its_limit_may_have_lost_its_sign(audits_here: AuditsHere) -> None:
    found = [codes(audits_here.document(sheet(line(ramp=ramp)))) for ramp in ("22.4", "30", "29.9")]
    assert ["exactly-at-limit" in one for one in found] == [False, True, False]


def test_a_sheet_without_a_reading_is_judged(audits_here: AuditsHere) -> None:
    """Devices that were looked over and not measured are incomplete, and there is no verdict on a reading."""
    document = audits_here.document(b"Device,Visual,Remarks\nK1,pass,\nK2,fail,cracked\n", "--readings", "all")
    assert [one["outcome"] for one in document["devices"]] == ["incomplete", "fail"]
    assert document["readings"] == []


def test_what_no_limit_judges_points_at_none() -> None:
    """The source of a limit stands beside each reading; beside one that nothing is demanded of there is none."""
    cells = {"Rated IΔn (mA)": "30", "1× 0° (ms)": "24.3", "1× 180° (ms)": "25.4", "0.7× 0° (ms)": "31.4"}
    judged = audit_of_one(cells).verdicts.set_index("multiple")["limit_id"]
    assert judged[0.7] == -1
    assert (judged[1.0] >= 0).all()


def test_bounds_and_no_trip_have_no_chance_of_conformity() -> None:
    """JCGM 106 speaks of a value with its uncertainty; "more than 200 ms" and "no trip" are none."""
    cells = {"Rated IΔn (mA)": "30", "1× 0° (ms)": ">200", "1× 180° (ms)": "no trip", "5× 0° (ms)": "12.3"}
    chances = audit_of_one(cells).verdicts["p_conform"]
    assert chances.notna().tolist() == [False, False, True]


def test_a_contradiction_points_at_the_cell_that_says_it() -> None:
    """Type against rating at the type; a rating that is foreign to the rules at the rating."""
    cells = {"Rated IΔn (mA)": "30", "RCD type": "IV", "1× 0° (ms)": "210", "1× 180° (ms)": "220"}
    for changed, code, heading in (
        ({}, "class-contradicts-rating", "RCD type"),
        ({"Rated IΔn (mA)": "500", "RCD type": "II"}, "rating-outside-rules", "Rated IΔn (mA)"),
    ):
        audit = audit_of_one(cells | changed)
        at = audit.reasons.set_index("code")["column"][code]
        assert audit.tables.columns.set_index("column")["heading"][at] == heading


@pytest.mark.parametrize(
    ("limit", "reading", "shown"),
    [
        (24.98, 26.0, "25 ms"),
        (24.98, 24.1, "25 ms"),
        (24.979, 24.979, "25 ms"),
        (24.979, float("nan"), "25 ms"),
        (24.979, 25.0, "24.98 ms"),
        (24.97944, 24.98, "24.979 ms"),
        (24.9796, 24.98, "24.9796 ms"),
        (float("nan"), 24.98, "not known"),
    ],
)
def test_a_limit_is_shown_on_its_own_side_of_the_reading_in_no_more_digits_than_that_takes(
    limit: float, reading: float, shown: str
) -> None:
    assert shown_limit(limit, reading, "ms") == shown


@pytest.mark.parametrize("wave", ["ac", "pulsating"])
def test_a_test_current_is_the_multiple_that_instruments_set_for_it(wave: str) -> None:
    """0 to +10 % of the current at rated and more, −10 % to 0 at half: IEC 61557-6, from memory. 1× stands where the
    rules have no limit at it too."""
    ratios = {1.1: 1.0, 1.1000005: 1.0, 1.11: 1.11, 250 / 30: 8.333, 0.44: 0.44, 0.51: 0.51}
    ratios |= {0.45: 0.5, 0.4499995: 0.5, 1.0 - 5e-7: 1.0, 5.5: 5.0} if wave == "ac" else {1.54: 1.4, 7.7: 7.0}
    rule_set = rules.load("anz-in-service")
    got = nearest_multiple(np.array(list(ratios)), np.full(len(ratios), wave), rule_set)
    assert got.tolist() == list(ratios.values())


@pytest.mark.parametrize("heading", ["0.5× 0° (ms)", "Trip time at 15 mA 0° (ms)"])
def test_what_holds_at_half_rated_is_said_of_the_reading(heading: str) -> None:
    """A device must not trip at half of its rated current (IEC 61008-1), watched for 2 s where the sets for the United
    Kingdom rule; nothing needs the reading, so that its verdict alone tells."""
    due = {
        "no trip": (Verdict.PASS, ""),
        "OK": (Verdict.PASS, ""),
        ">2000": (Verdict.PASS, ""),
        ">1999": (Verdict.PASS, "half-rated-window-short"),
        "250.3": (Verdict.FAIL, "tripped-at-half-rated"),
        "500": (Verdict.UNCLEAR, "comparator-perhaps-lost"),
    }
    head = ("Device", "Rated IΔn (mA)", "Visual", "1× 0° (ms)", "1× 180° (ms)", heading)
    audit = audited(head, *([f"K{i}", "30", "pass", f"2{i}.3", "25.4", typed] for i, typed in enumerate(due)),
                    rules="uk-present")  # fmt: skip
    judged = audit.verdicts[audit.verdicts["multiple"] == 0.5]
    assert list(zip(judged["verdict"], judged["reason"], strict=True)) == list(due.values())
    assert judged["limit"].isna().all()


def test_limits_that_judged_are_listed_with_the_unit_of_their_quantity() -> None:
    audit = audit_of_one({"Rated IΔn (mA)": "30", "Trip time 1× 0° (ms)": "24.1", "Ramp (mA)": "22.1"})
    assert dict(zip(audit.limits["quantity"], audit.limits["unit"], strict=True)) == {
        "trip_time": "ms",
        "trip_current": "mA",
    }
