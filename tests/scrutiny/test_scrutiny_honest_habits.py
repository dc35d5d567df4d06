"""The second model of honest work, one month of each of some habits, and the inventions that were once believed.

All habits at greater length: tests/bench/second_model.py.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))
sys.path.insert(0, str(Path(__file__).parents[1] / "bench" / "honest"))
import numpy as np
import second_model
from habits import HABITS, Habit
from inventions import STYLES
from made_of import made_of
from through_files import doubts_and_notes

from rcdcheck import data

ASKED = (
    "the same list twice, one without a site",
    "a summary beside the detail",
    "last visit's sheet as the form, a locked building keeps its rows with a remark",
    "the same devices every month, no site, whole milliseconds",
    "boards of four outlets with identifiers of their own, whole milliseconds",
    "a carton of new devices inside an older fleet",
    "two people under one team name, the instrument named by its make",
    "stamps a second apart from an automatic sequence",
    "a template that keeps its old saved date",
    "seconds turned into milliseconds by formula",
    "the longer time typed twice on the days of one of two instruments that nobody names",
)
TRACES_OF_FILES = {"saved-before-tested", "reading-from-formula"}  # tables have no day of saving and no formula


@pytest.mark.parametrize("name", ASKED)
def test_an_honest_habit_raises_no_doubt_as_files_or_as_tables(name: str) -> None:
    (habit,) = [h for h in HABITS if h.name == name]
    made = habit.make(np.random.default_rng(11))
    doubts, notes = doubts_and_notes(made)
    ((asked, noted, _),) = second_model.asked([made])
    assert not doubts and not asked
    assert noted == {code for code in notes if code not in TRACES_OF_FILES}


@pytest.mark.parametrize("name", STYLES)
def test_an_invention_that_was_once_believed_is_doubted_at_fifty_devices(name: str) -> None:
    made = STYLES[name](np.random.default_rng(11), 50)
    doubts, _ = doubts_and_notes(made)
    ((asked, _, _),) = second_model.asked([made])
    assert doubts and doubts <= {code for codes in asked.values() for code in codes}  # one doubt an event


@pytest.mark.parametrize("habit", HABITS, ids=[h.name for h in HABITS])
def test_the_saved_figures_hold_every_habit(habit: Habit) -> None:
    """At most 0.003 of the people of a habit were doubted, and over 100,000 sheets were asked; else it is not kept."""
    measured = data.document(second_model.SAVED)
    (kind,) = [k for k in measured["kinds"] if k["kind"] == habit.name]
    assert kind["doubted"]["rate"] <= 0.003
    assert measured["sheets"] >= 100_000 and measured["doubted"]["rate"] <= 0.001


def test_the_saved_inventions_of_fifty_devices_or_more_were_doubted() -> None:
    saved = data.document(second_model.SAVED)["inventions"]
    assert {one["style"] for one in saved} == set(STYLES)
    assert not [one for one in saved if one["doubted"].get("any doubt", 0) < 0.95 * one["months"]]


def test_the_saved_figures_are_of_the_questions_that_are_shipped() -> None:
    """Otherwise they are stale."""
    assert data.document(second_model.SAVED)["made_of"] == made_of(second_model.sources()), (
        "stale: run python tests/bench/second_model.py --save (an hour of one core)"
    )


def test_there_are_more_than_thirty_habits_and_months_of_several_people() -> None:
    assert len(HABITS) >= 30
    assert sum("month of" in h.name for h in HABITS) >= 2
