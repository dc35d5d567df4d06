"""The second model of honest work, one month of each of some habits, and the inventions that were once believed.

All habits at greater length: tests/bench/honest/measure.py.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "bench" / "honest"))
import measure
import numpy as np
from habits import HABITS
from inventions import STYLES

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
)


@pytest.mark.parametrize("name", ASKED)
def test_an_honest_habit_raises_no_doubt(name: str, tmp_path: Path) -> None:
    (habit,) = [h for h in HABITS if h.name == name]
    said = measure.audit(habit.make(np.random.default_rng(11)), tmp_path)
    assert not [code for code in said if code.startswith("doubt ")]


@pytest.mark.parametrize("name", STYLES)
def test_an_invention_that_was_once_believed_is_doubted_at_fifty_devices(name: str, tmp_path: Path) -> None:
    said = measure.audit(STYLES[name](np.random.default_rng(11), 50), tmp_path)
    assert [code for code in said if code.startswith("doubt ")]


def test_there_are_more_than_thirty_habits_and_months_of_several_people() -> None:
    assert len(HABITS) >= 30
    assert sum("month of" in h.name for h in HABITS) >= 2
