"""The catalogue of findings and the code agree: nothing raised that is not in it, nothing in it that nothing raises."""

from __future__ import annotations

import re
from pathlib import Path

from rcdcheck.findings import SEVERITIES, Findings, catalogue

PACKAGE = Path(__file__).parents[1] / "rcdcheck"
CODE = re.compile(r'"([a-z][a-z0-9]*(?:-[a-z0-9]+)+)"')
BUILT = {"visual-failed", "visual-unclear", "visual-required", "push-button-failed", "push-button-unclear",
         "check-failed", "check-unclear",
         "push-button-required"}  # fmt: skip  # f"{name}-failed" for the two flags


def test_every_entry_is_raised_somewhere_in_the_code() -> None:
    written = {code for path in PACKAGE.rglob("*.py") for code in CODE.findall(path.read_text(encoding="utf-8"))}
    assert set(catalogue()) - written - BUILT == set()


def test_every_entry_has_a_severity_and_sentences() -> None:
    for kind in catalogue().values():
        assert kind.severity in SEVERITIES, kind.code
        assert all(text and text[-1] in ".?!}”" for text in (kind.message, kind.why, kind.do)), kind.code


def test_what_is_settled_says_where_and_what_the_desk_settles_has_a_sentence_for_many() -> None:
    for kind in catalogue().values():
        assert kind.settled in ("", "site", "desk"), kind.code
        assert bool(kind.many) == (kind.settled == "desk"), kind.code
        assert not kind.many or (kind.many.format(n=7) != kind.many and kind.many[-1] in ".?"), kind.code
        assert not kind.option or kind.option.startswith("--"), kind.code


def test_past_a_thousand_of_one_code_in_a_sheet_the_rest_is_counted() -> None:
    found = Findings()
    found.add_many("device-unnamed", {"sheet": [0] * 1500, "row": range(1, 1501)})
    table = found.frame()
    assert len(table) == 1001
    assert table["count"].sum() == 1500
    assert "500 more" in table["message"].iloc[-1]
