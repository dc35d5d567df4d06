"""What README.md promises about outcomes, sentence by sentence, and the tests that hold it."""

from __future__ import annotations

import ast
import re

import pytest
from whole_runs import ROOT

KINDS, PROPERTIES = "judging/test_judging_kinds.py", "judging/test_judging_properties.py"
BETTER, DECISIONS = "published/test_nothing_gets_better.py", "judging/test_judging_decisions.py"
SEVERITIES, GRADES = "judging/test_judging_severities.py", "judging/test_judging_grades.py"
ERRORS = "judging/test_judging_errors_heard.py"
CASES = "cases"
STANDARDS = "judging/test_judging_from_the_standards.py"
STANDARD = "test_every_phase_is_judged_as_the_standards_say"
PROMISES = [
    (
        "under every RCD type that its row leaves possible",
        KINDS,
        "test_a_portable_device_of_three_hundred_milliamperes_is_unclear",
    ),
    ("where they disagree it is unclear", CASES, "ten-milliamps-of-unstated-type"),
    (
        "a selective device is marked so, and where no delay is stated a short time is that of a general one",
        STANDARDS,
        STANDARD,
    ),
    ("Half-wave and direct current are held to the limits of the types made for them", STANDARDS, STANDARD),
    (
        "what fails there is unclear where no waveform type is stated, and so is all that would have to trip",
        "judging/test_judging_half_waves.py",
        "test_a_waveform_is_asked_of_devices_that_are_made_for_it",
    ),
    (
        "by the longest time of the next lower one",
        KINDS,
        "test_the_next_lower_limit_reaches_what_has_none_of_its_own",
    ),
    ("and the shortest time of the next higher one", STANDARDS, STANDARD),
    ("what no limit reaches is unclear", KINDS, "test_between_rated_and_the_band_of_its_waveform_no_trip_is_unclear"),
    (
        "so is a time at no stated multiple whose test current is blank where other rows state one",
        ERRORS,
        "test_a_blank_test_current_where_other_rows_state_one_is_asked_about",
    ),
    ("Within a visit (two days at most) the worst stands", KINDS, "test_visits_do_not_chain_from_day_to_day"),
    (
        "unless a remedy of the device is on record",
        KINDS,
        "test_an_earlier_fail_is_cleared_by_a_remedy_of_the_device_alone",
    ),
    ("a complete test that is known to come after it passes", KINDS, "test_one_remedy_ends_a_failure_of_the_same_day"),
    ("the look-over", CASES, "looking-it-over-comes-first"),
    ("the test button failed", CASES, "test-button-failed"),
    ("a reading fails (either polarity, any multiple", DECISIONS, "test_a_whole_audit_decides_as_the_table_does"),
    ("a ramp above the rated current", CASES, "half-ramp-five-times-all-in-one"),
    ("no trip where tripping is demanded", CASES, "words-for-not-tripping"),
    ("the sheet itself declares a fail", CASES, "contradictory-results"),
    ("something needed cannot be read or judged", BETTER, "test_a_cell_that_decides_and_cannot_be_read_never_passes"),
    (
        "type and rating contradict each other",
        KINDS,
        "test_a_type_that_contradicts_the_rating_leaves_the_device_unclear",
    ),
    ("a column or cell is in error", SEVERITIES, "test_an_error_of_a_column_concerns_every_device_of_its_sheet"),
    ("a remark names a fault and no remedy", CASES, "remarks-that-name-faults"),
    ("a repeat stands without its first", CASES, "repeats-named-in-the-remark"),
    ("a reading is faster than physics allows", CASES, "faster-than-physics"),
    ("a pass that follows a fail or a fault has no remedy on record", CASES, "a-pass-after-a-fail-without-remedy"),
    ("something that a complete test needs is missing", CASES, "five-times-alone-is-incomplete"),
    ("there was no access", CASES, "no-access-in-several-words"),
    (
        "Nothing passes because it could not be read, and no value is repaired",
        PROPERTIES,
        "test_what_cannot_be_read_never_passes",
    ),
    (
        "pointed at with what it may have meant (2500.5 among times like 25.1 is unclear, though as typed it fails)",
        ERRORS,
        "test_a_number_that_may_have_slipped_is_asked_about",
    ),
    (
        "A pass within the measurement uncertainty of its limit is marginal",
        KINDS,
        "test_each_limit_has_the_uncertainty_of_its_own_size",
    ),
    ("`--decision guarded` makes it unclear", KINDS, "test_guarded_acceptance_makes_a_marginal_pass_unclear"),
    ("The record's grade, A to D, is the worst line of a table", GRADES, "test_each_line_at_its_edges"),
    (
        "A failed device that is properly recorded costs no grade",
        GRADES,
        "test_incomplete_counts_as_unclear_does_and_a_fail_costs_nothing",
    ),
]


@pytest.mark.parametrize(("sentence", "place", "test"), PROMISES, ids=[one[0] for one in PROMISES])
def test_each_promise_is_in_the_readme_and_has_its_test(sentence: str, place: str, test: str) -> None:
    readme = " ".join((ROOT / "README.md").read_text(encoding="utf-8").split())
    assert sentence in readme
    if place == CASES:
        assert (ROOT / "tests" / "cases" / test / "expected.json").exists()
    else:
        tree = ast.parse((ROOT / "tests" / place).read_text(encoding="utf-8"))
        assert test in {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}


def test_no_sentence_on_outcomes_is_without_a_promise() -> None:
    """Every part of the section on outcomes, cut at its stops, is named above or says how the report words it."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    section = text.split("## How outcomes are decided")[1].split("## How records are graded")[0]
    parts = [" ".join(p.split()) for p in re.split(r"[.;:]\s|\n\d\. ", section) if len(p.strip()) > 1]
    telling = [p for p in parts if not any(sentence in p or p in sentence for sentence, _, _ in PROMISES)]
    assert telling == [
        "A device is, in this order,",
        "**fail**",
        "**unclear**",
        "**incomplete**",
        "**pass**, with the cautions collected on the way",
    ]
