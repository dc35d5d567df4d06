"""What a test says beside its readings: outcome, reasons and findings of checks, results, ratings and remarks.

The order of outcomes and what each rests on is that of README.md: common practice, no source.
"""

from __future__ import annotations

import pandas as pd
import pytest
from small_sheets import audited, codes, outcome

from rcdcheck.audits import Audit
from rcdcheck.terms import Outcome

HEADINGS = ("Device", "Rated IΔn (mA)", "Visual", "Test button", "1× 0° (ms)", "1× 180° (ms)", "Result", "Remarks")
GOOD = {"Device": "K1", "Rated IΔn (mA)": "30", "Visual": "pass", "Test button": "pass", "1× 0° (ms)": "24.1",
        "1× 180° (ms)": "25.3"}  # fmt: skip
UNREAD = {"1× 0° (ms)": "", "1× 180° (ms)": ""}
SLOW = {"1× 0° (ms)": "no trip"}
CASES: list[tuple[dict[str, str], str, set[str], set[str]]] = [  # cells, outcome, reasons, findings beside them
    ({}, "pass", set(), set()),
    ({"Visual": "fail"}, "fail", {"visual-failed"}, {"visual-failed", "readings-after-failed-visual"}),
    ({"Visual": "fail", **UNREAD}, "fail", {"visual-failed", "needed-reading-missing"}, {"visual-failed"}),
    ({"Visual": "fail", "1× 180° (ms)": ""}, "fail", {"visual-failed", "needed-reading-missing"},
     {"visual-failed", "readings-after-failed-visual"}),
    ({"Visual": "hmm"}, "unclear", {"visual-unclear"}, set()),
    ({"Visual": ""}, "incomplete", {"visual-blank"}, set()),
    ({"Test button": "fail"}, "fail", {"push-button-failed"}, {"push-button-failed"}),
    ({"Test button": "hmm"}, "unclear", {"push-button-unclear"}, set()),
    ({"Test button": ""}, "pass", set(), {"push-button-blank"}),
    ({"Result": "pass"}, "pass", set(), set()),
    ({"Result": "fail"}, "unclear", {"declared-fail-contradicted"}, {"declared-fail-contradicted"}),
    ({"Result": "fail", "Visual": ""}, "fail", {"declared-fail", "visual-blank"}, {"declared-fail"}),
    ({"Result": "fail", **SLOW}, "fail", {"declared-fail", "did-not-trip"}, {"did-not-trip"}),
    ({"Result": "pass", **SLOW}, "fail", {"declared-pass-contradicted", "did-not-trip"},
     {"declared-pass-contradicted"}),
    ({"Result": "pass", "Visual": "hmm"}, "unclear", {"visual-unclear"}, set()),
    ({"Result": "hmm"}, "unclear", {"declared-unclear", "result-not-understood"}, set()),
    ({"Rated IΔn (mA)": "3O?"}, "unclear", {"rated-unreadable"}, set()),
    ({"Rated IΔn (mA)": "13"}, "unclear", {"rating-not-preferred"}, {"rating-not-preferred"}),
    ({"Remarks": "cracked housing"}, "unclear", {"remark-names-fault"}, set()),
    ({"Remarks": "no access", **UNREAD}, "incomplete", {"no-access"}, set()),
    ({"Remarks": "no access", "1× 180° (ms)": ""}, "unclear", {"no-access", "no-access-and-tested"}, set()),
    ({"Remarks": "out of use", **UNREAD}, "incomplete", {"out-of-use"}, set()),
    ({"Remarks": "withdrawn"}, "unclear", {"withdrawn-and-tested", "cell-says-failed"}, set()),
    ({"Remarks": "retested"}, "unclear", {"repeat-without-first"}, set()),
]  # fmt: skip


def noted(audit: Audit, device: str) -> set[str]:
    """Codes of the findings of a device."""
    found: pd.DataFrame = audit.findings[audit.findings["test"] >= 0]
    of = audit.devices["name"].to_numpy()[audit.test_outcomes["device"].to_numpy()[found["test"]]]
    return set(found["code"][of == device])


def test_each_thing_that_is_said_has_its_outcome_reason_and_finding() -> None:
    rows = [GOOD | cells | {"Device": f"D{i}"} for i, (cells, *_) in enumerate(CASES)]
    audit = audited(HEADINGS, *([row.get(heading, "") for heading in HEADINGS] for row in rows))
    said = {code for _, _, reasons, findings in CASES for code in (*reasons, *findings)}
    for i, (cells, due, reasons, findings) in enumerate(CASES):
        name = f"D{i}"
        assert (outcome(audit, name), codes(audit, name)) == (due, reasons), cells
        found = (noted(audit, name) & said) - {"result-not-understood"}  # which tells of any cell
        assert findings <= found and found - findings <= reasons, (cells, found)
    tests = audit.findings[audit.findings["test"] >= 0]
    assert not tests.duplicated(["test", "code", "row", "column"]).any(), "nothing is told twice"


@pytest.mark.parametrize("require", [("visual",), ("push_button",), ("visual", "push_button")])
@pytest.mark.parametrize("held", [(), ("Visual",), ("Test button",), ("Visual", "Test button")])
def test_a_check_that_is_asked_for_has_to_be_there(require: tuple[str, ...], held: tuple[str, ...]) -> None:
    fields = {"Visual": "visual", "Test button": "push_button"}
    headings = [one for one in HEADINGS if one in (*held, "Device", "Rated IΔn (mA)", *UNREAD)]
    audit = audited(headings, [GOOD[one] for one in headings], require=require)
    lacking = {f"{fields[one].replace('_', '-')}-required" for one in fields
               if one not in held and fields[one] in require}  # fmt: skip
    assert codes(audit, "K1") == lacking
    assert outcome(audit, "K1") == ("incomplete" if lacking else "pass")


def test_ratings_of_one_day_differ_where_both_are_known_and_of_one_device() -> None:
    """Two devices under one name, or a slip; not over years, and not where a remedy is on record."""
    rows = [
        ("K1", "30", "2026-11-20", ""), ("K1", "100", "2026-11-20", ""),
        ("K2", "30", "2026-11-20", ""), ("K2", "", "2026-11-20", ""),
        ("K3", "30", "2025-11-20", ""), ("K3", "100", "2026-11-20", ""),
        ("K4", "30", "2026-11-20", "replaced"), ("K4", "100", "2026-11-20", ""),
        ("K5", "30", "2026-11-20", ""), ("K5", "30", "2026-11-20", ""),
    ]  # fmt: skip
    audit = audited(
        ("Device", "Rated IΔn (mA)", "Visual", "1× 0° (ms)", "1× 180° (ms)", "Date", "Remedy"),
        *([name, rated, "pass", f"2{i}.4", "25.3", day, remedy] for i, (name, rated, day, remedy) in enumerate(rows)),
    )
    differ = {name for name in ("K1", "K2", "K3", "K4", "K5") if "ratings-differ" in codes(audit, name)}
    assert differ == {"K1"} and "ratings-differ" in noted(audit, "K1")


NOTES: list[tuple[str, str, str, str]] = [  # reading at 1× 0°, remark, outcome, what its reason quotes
    ("24.1 to be replaced", "", "unclear", "“24.1 to be replaced”"),
    ("24.2 retested", "", "unclear", "“24.2 retested”"),
    ("24.3 kitchen", "", "pass", ""),
    ("24.4 kitchen", "cracked housing", "unclear", ": “cracked housing”"),
]


def test_a_note_beside_a_reading_is_heard_as_a_remark_is() -> None:
    rows = [GOOD | {"Device": f"D{i}", "1× 0° (ms)": typed, "Remarks": remark}
            for i, (typed, remark, *_) in enumerate(NOTES)]  # fmt: skip
    audit = audited(HEADINGS, *([row.get(heading, "") for heading in HEADINGS] for row in rows))
    for i, (typed, _, due, quoted) in enumerate(NOTES):
        said = audit.reasons.loc[audit.reasons["device"] == i, "message"].tolist()
        assert outcome(audit, f"D{i}") == due and len(said) == bool(quoted), (typed, said)
        assert all(quoted in one for one in said), (typed, said)


def test_a_result_that_says_fail_is_noted_where_nothing_else_has_failed() -> None:
    rows = [GOOD | {"Device": f"D{i}", "Result": "fail"} | cells
            for i, cells in enumerate([SLOW, {"Visual": "fail"}, {"Visual": ""}, {"Visual": "hmm"}])]  # fmt: skip
    audit = audited(HEADINGS, *([row.get(heading, "") for heading in HEADINGS] for row in rows))
    assert ["declared-fail" in noted(audit, f"D{i}") for i in range(4)] == [False, False, True, True]
    assert [outcome(audit, f"D{i}") for i in range(4)] == ["fail"] * 4


RATED = {  # ratings, types and kinds that contradict each other: rows of rating, type, kind; column of the reason
    "rating-not-preferred": ([("13", "", "")], 1),
    "class-contradicts-rating": ([("300", "I", "")], 2),
    "portable-over-rating": ([("300", "", "portable")], 1),
    "ratings-differ": ([("30", "", ""), ("100", "", "")], 1),
    "good": ([("30", "II", "portable")], -1),
}


@pytest.mark.parametrize("many", [1, 1100], ids=["one", "more than a sheet's findings that are listed"])
def test_what_contradicts_a_rating_leaves_each_device_unclear_however_many_there_are(many: int) -> None:
    headings = ("Device", "Rated IΔn (mA)", "RCD type", "Portable/fixed", "Visual", "1× 0° (ms)", "1× 180° (ms)")
    rows = [(f"{code}-{i}", *cells, "pass", f"2{at}.4", "25.3")
            for code, (tests, _) in RATED.items() for i in range(many) for at, cells in enumerate(tests)]  # fmt: skip
    audit = audited(headings, *rows)
    told = audit.reasons.assign(name=audit.devices["name"].to_numpy()[audit.reasons["device"]])
    for code, (_, column) in RATED.items():
        of = audit.devices["name"].str.startswith(f"{code}-").to_numpy()
        assert (audit.devices["outcome"][of] == (Outcome.PASS if code == "good" else Outcome.UNCLEAR)).all(), code
        here = told[told["name"].str.startswith(f"{code}-") & (told["code"] == code)]
        assert here["name"].nunique() == (0 if code == "good" else of.sum()) and set(here["column"]) <= {column}, code
        assert here["message"].str.contains(" mA").all(), "each says of which rating"


def test_who_looked_a_device_over_once_at_a_visit_has_done_so() -> None:
    rows = [("K1", "pass", "24.1"), ("K1", "", "24.6"), ("K2", "", "24.2"), ("K2", "", "24.7"), ("K3", "fail", "24.3"),
            ("K3", "", "24.4")]  # fmt: skip
    audit = audited(("Device", "Visual", "1× 0° (ms)", "1× 180° (ms)"), *([*row, "25.3"] for row in rows))
    assert [outcome(audit, name) for name in ("K1", "K2", "K3")] == ["pass", "incomplete", "fail"]
    assert ["visual-blank" in codes(audit, name) for name in ("K1", "K2", "K3")] == [False, True, False]
