"""What a complete test needs under each rule set, and what is told of one that lacks it.

Both half cycles at 1×: AS/NZS 3760:2010 and IEC 61008-1, as three secondary sources quote them; one reading at 1× in
the present rules of the United Kingdom, and five times too in the former ones up to 30 mA: secondary sources. A ramp
only where a person asks for it.
"""

from __future__ import annotations

import pytest
from small_sheets import audited, codes, messages

HEADINGS = ("Device", "Rated IΔn (mA)", "Visual", "1× 0° (ms)", "1× 180° (ms)", "5× 0° (ms)", "5× 180° (ms)",
            "Ramp (mA)", "Remarks")  # fmt: skip
ONE, FIVE = ("24.1", "25.3"), ("12.1", "13.2")
ALL = (*ONE, *FIVE, "22.1")
RAMP = ("ramp",)
AT_1X, AT_5X = "trip time 1× at ", "trip time 5× at "


@pytest.mark.parametrize(
    ("rules", "rated", "times", "require", "lacks"),
    [
        ("anz-in-service", "30", (*ONE, "", "", ""), (), ""),
        ("anz-in-service", "30", ("", ONE[1], *FIVE, "22.1"), (), AT_1X + "0°"),
        ("anz-in-service", "30", (ONE[0], "", *FIVE, "22.1"), (), AT_1X + "180°"),
        ("anz-in-service", "30", ("", "", *FIVE, "22.1"), (), AT_1X + "0° and 180°"),
        ("anz-in-service", "30", ALL, RAMP, ""),
        ("anz-in-service", "30", (*ONE, *FIVE, ""), RAMP, "ramp trip current"),
        ("uk-present", "30", ("", ONE[1], "", "", ""), (), ""),
        ("uk-present", "30", ("", "", *FIVE, ""), (), "trip time 1×"),
        ("uk-former", "30", (*ONE, "", "", ""), (), AT_5X + "0° and 180°"),
        ("uk-former", "30", (*ONE, "", FIVE[1], ""), (), AT_5X + "0°"),
        ("uk-former", "", (*ONE, "", "", ""), (), AT_5X + "0° and 180°"),
        ("uk-former", "100", (*ONE, "", "", ""), (), ""),
        ("uk-former", "30", ("", *ALL[1:4], ""), RAMP, AT_1X + "0°; ramp trip current"),
    ],
)
def test_what_is_missing_is_told(
    rules: str, rated: str, times: tuple[str, ...], require: tuple[str, ...], lacks: str
) -> None:
    audit = audited(HEADINGS, ["K1", rated, "pass", *times, ""], rules=rules, require=require)
    told = {line for line in messages(audit).splitlines() if line.startswith("Still to be tested")}
    assert told == ({f"Still to be tested: {lacks}."} if lacks else set())


@pytest.mark.parametrize(
    ("times", "require", "tested"),
    [
        ((*ONE, "", "", ""), (), True),
        ((*ONE, "", "", ""), RAMP, True),  # what a person asks for makes it no less tested
        (("", ONE[1], "", "", ""), (), False),
        ((ONE[0], "", "", "", ""), (), False),
        (("", "", "", "", ""), RAMP, False),
    ],
)
def test_what_is_withdrawn_and_has_all_that_the_rules_need_was_tested(
    times: tuple[str, ...], require: tuple[str, ...], tested: bool
) -> None:
    audit = audited(HEADINGS, ["K1", "30", "pass", *times, "withdrawn"], require=require)
    assert ("withdrawn-and-tested" in codes(audit)) == tested


@pytest.mark.parametrize("multiple", ["0.5", "1.5", "2"])
def test_no_multiple_beside_the_rated_current_stands_for_it(multiple: str) -> None:
    typed = "no trip" if multiple == "0.5" else "24.1"
    headings = ("Device", "Rated IΔn (mA)", "Visual", f"{multiple}× 0° (ms)", f"{multiple}× 180° (ms)", "1× 0° (ms)")
    audit = audited(headings, ["K1", "30", "pass", typed, typed, "25.3"], ["K2", "30", "pass", typed, typed, ""])
    lacks = [f"Still to be tested: {AT_1X}{phases}." for phases in ("180°", "0° and 180°")]
    assert [line for line in messages(audit).splitlines() if line.startswith("Still to be tested")] == lacks
