"""The four laws of understanding, each over generated sheets: every loud cell is heard; nothing is understood from a
heading alone nor from cells alone; two meanings are two worlds; one cause is told once. And: nothing is lost.
"""

from __future__ import annotations

import random
import shlex
from pathlib import Path

import pytest
from sheets.layouts import LAYOUTS
from sheets.loud import make_loud
from sheets.scoring import judge
from variants import (
    audited,
    doubled,
    lines_to_mend,
    made,
    only_passing,
    other_order,
    outcomes,
    stands_in_rows,
    swapped,
    written,
)

OF_ONE_TABLE = [name for name, layout in LAYOUTS.items() if layout.place not in ("sideways", "beside")]
IN_ROWS = [layout for layout in LAYOUTS if stands_in_rows(layout)]


@pytest.mark.parametrize("layout", LAYOUTS)
def test_one_cell_made_loud_leaves_no_pass(layout: str, tmp_path: Path) -> None:
    """Law 1."""
    for number in range(2):
        sheet = made(layout, number)
        cry = make_loud(sheet)
        if cry is not None:
            document = audited(written(sheet, tmp_path, f"loud-{number}"))
            verdict = judge(sheet, cry.device, document)
            assert verdict.got and not verdict.got.startswith("pass"), (sheet.devices[cry.device].name, cry)


@pytest.mark.parametrize("layout", OF_ONE_TABLE)
def test_no_failed_device_passes_under_headings_that_its_cells_contradict(layout: str, tmp_path: Path) -> None:
    """Law 2."""
    for number in range(100, 102):
        sheet = made(layout, number)
        headings = swapped(sheet, random.Random(f"{layout} {number}"))
        if headings is not None:
            document = audited(written(sheet, tmp_path, f"swapped-{number}"))
            verdicts = [judge(sheet, index, document) for index in range(len(sheet.devices))]
            passed = [sheet.devices[v.device].name for v in verdicts if v.score == "dangerous"]
            assert not passed, (number, headings)


@pytest.mark.parametrize("layout", LAYOUTS)
def test_what_two_meanings_leave_undecided_is_unclear_with_one_question(layout: str, tmp_path: Path) -> None:
    """Law 3: what comes out otherwise under either meaning is unclear as long as nobody has said which it is."""
    path = written(made(layout, 150), tmp_path, "two-meanings")
    document = audited(path)
    questions = [f for f in document["findings"] if f["code"] == "column-has-two-meanings"]
    assert len({(f["sheet"], f["message"]) for f in questions}) == len(questions)
    if len(questions) != 1:  # each alone says nothing where another is open too
        return
    settled = outcomes(document)
    for answer in questions[0]["suggestion"].split(" or "):
        said = outcomes(audited(path, *shlex.split(answer)))
        decided = {name for name, outcome in settled.items() if outcome != "unclear"}
        assert {name: said.get(name) for name in decided} == {name: settled[name] for name in decided}, answer


@pytest.mark.parametrize("layout", IN_ROWS)
def test_twice_the_rows_are_no_more_to_say_about_a_column(layout: str, tmp_path: Path) -> None:
    """Law 4: all devices pass, and one pair of columns stands under each other's headings."""
    sheet = only_passing(made(layout, 200))
    headings = swapped(sheet, random.Random(layout))
    enough = doubled(doubled(sheet))  # so that what is wrong in one way fills more lines than a terminal lists
    few = lines_to_mend(written(enough, tmp_path, "few"))
    many = lines_to_mend(written(doubled(enough), tmp_path, "many"))
    assert many <= few, headings


@pytest.mark.parametrize("layout", IN_ROWS)
def test_the_order_of_rows_decides_nothing(layout: str, tmp_path: Path) -> None:
    sheet = made(layout, 301)
    sheet.style.ditto = ""
    first = outcomes(audited(written(sheet, tmp_path, "first")))
    again = outcomes(audited(written(other_order(sheet, random.Random(layout)), tmp_path, "again")))
    assert again == first
