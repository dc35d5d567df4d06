"""Levels, caps, families, and how a chance is printed."""

from __future__ import annotations

import numpy as np
import pytest

from rcdcheck.scrutiny import raising, strength
from rcdcheck.scrutiny.answer import Answer, Who


@pytest.mark.parametrize(
    ("chance", "word", "capped"),
    [
        (2e-3, "nothing unusual", "nothing unusual"),
        (1e-3, "note", "note"),
        (1.1e-4, "note", "note"),
        (1e-4, "moderately strong", "note"),
        (1.1e-5, "moderately strong", "note"),
        (1e-5, "strong", "note"),
        (0.0, "strong", "note"),
        (float("nan"), "nothing unusual", "nothing unusual"),
    ],
)
def test_words(chance: float, word: str, capped: str) -> None:
    assert strength.word(chance) == word
    assert strength.word(chance, capped=True) == capped


def test_no_smaller_chance_is_printed_than_the_model_supports() -> None:
    assert strength.in_words(1e-30) == f"fewer than 1 in 10,000 {strength.SHEETS}"
    assert strength.in_words(1e-4) == f"fewer than 1 in 10,000 {strength.SHEETS}"
    assert strength.in_words(4.9e-4) == f"about 1 in 2,000 {strength.SHEETS}"
    assert strength.in_words(0.032) == f"about 1 in 31 {strength.SHEETS}"
    assert strength.in_words(1 / 560) == f"about 1 in 560 {strength.SHEETS}"
    assert strength.in_words(0.05) == f"about 1 in 20 {strength.SHEETS}"
    assert strength.in_words(0.9) == f"about 90 in 100 {strength.SHEETS}"
    assert strength.printed(1e-30) == 1e-4


def answers(person: int, *chances: float) -> list[Answer]:
    who = Who(f"person {person}", "", person)
    return [Answer("one_value", who, 20, chance=c, doubt="one-value", note="one-value-note") for c in chances]


def test_chances_are_adjusted_for_all_questions_of_one_person_and_no_other() -> None:
    weighed = raising.weigh([*answers(0, 2e-5, 0.5, 0.5, 0.5, 0.5), *answers(1, 2e-5), *answers(2, 0.9)])
    assert weighed["adjusted"].tolist()[0] == pytest.approx(1e-4)
    assert weighed["strength"].tolist()[0] == "moderately strong"
    assert weighed["strength"].tolist()[5:] == ["moderately strong", "nothing unusual"]


def test_one_small_chance_among_many_people_is_nothing_unusual() -> None:
    """40 people at 0.001 each: 33 % chance of at least one (arithmetic), hence the second adjustment."""
    assert pytest.approx(0.33, abs=0.005) == 1 - 0.999 ** (40 * 10)
    crowd = [a for person in range(1, 40) for a in answers(person, 0.5)]
    weighed = raising.weigh([*answers(0, 9e-4), *crowd])
    assert set(weighed["strength"]) == {"nothing unusual"}
    weighed = raising.weigh([*answers(0, 9e-5), *crowd])
    assert weighed["strength"].tolist()[0] == "moderately strong"


def test_a_person_exactly_at_the_level_across_people_stands_out() -> None:
    """Two people, 0.005 and 0.9: by Benjamini and Hochberg 2 · 0.005 = 0.01, which is the level and not above it."""
    assert strength._levels()["across"] == 0.01
    assert strength.adjust(np.array([0.005, 0.9]), np.array([0, 1])).tolist() == [0.005, 0.9]
    assert strength.adjust(np.array([0.0051, 0.9]), np.array([0, 1])).tolist() == [0.0102, 0.9]


def test_questions_not_asked_and_direct_ones_take_no_part() -> None:
    who = Who("person 0", "", 0)
    others = [Answer("pace", who, 3, "no clock times"), Answer("pace", who, 3, direct="note", note="tested-fast")]
    weighed = raising.weigh([*answers(0, 5e-6), *others])
    assert weighed["strength"].tolist() == ["strong", "", "note"]
    assert np.isnan(weighed["adjusted"].to_numpy()[1:]).all()


def test_a_chance_above_that_of_the_bound_speaks_for_nothing() -> None:
    """1/(−e·p·ln p) has its least, 1, at p = 1/e (Sellke, Bayarri and Berger 2001); beyond it nothing is said."""
    assert [strength.likelihood_ratio_at_most(p) for p in (0.5, 1.0)] == [1.0, 1.0]


def test_adjusting_many_people_together_is_adjusting_each() -> None:
    rng = np.random.default_rng(5)
    chances, families = rng.random(400) ** 9, rng.integers(0, 60, 400).astype(float)
    chances[rng.random(400) < 0.2] = np.nan
    adjusted = strength.adjust(chances, families)
    people = [f for f in np.unique(families) if (~np.isnan(chances[families == f])).any()]
    each = {f: strength.holm(chances[(families == f) & ~np.isnan(chances)]) for f in people}
    across = strength.benjamini_hochberg(np.array([each[f].min() for f in people]))
    for person, held in zip(people, across, strict=True):
        raised = np.maximum(each[person], held if held > 0.01 else 0.0)
        assert (adjusted[(families == person) & ~np.isnan(chances)] == raised).all()
    assert np.isnan(adjusted[np.isnan(chances)]).all()
