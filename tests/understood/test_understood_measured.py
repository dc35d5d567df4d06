"""How well made sheets are understood, layout by layout, and no worse than it was.

`measured.toml` holds what was reached with these seeds; whoever reaches more raises it. What may never happen has no
figure: no run breaks off, no device that should not pass passes, and no row is lost.
"""

from __future__ import annotations

import tomllib
from collections import Counter
from pathlib import Path

import pytest
from sheets.layouts import LAYOUTS
from sheets.scoring import score_document
from variants import audited, filled_rows, made, written

MEASURED = tomllib.loads(Path(__file__).with_name("measured.toml").read_text(encoding="utf-8"))
NUMBERS = (0, 1)


def test_every_layout_is_measured() -> None:
    assert list(MEASURED) == list(LAYOUTS)


@pytest.mark.parametrize("layout", LAYOUTS)
def test_sheets_are_understood_no_worse_than_measured(layout: str, tmp_path: Path) -> None:
    devices, headings = reached(layout, tmp_path)
    assert devices["dangerous"] == 0
    floor = MEASURED[layout]
    assert devices["right"] >= floor["right"]
    assert devices["right"] + devices["asked"] >= floor["right_once_asked"]
    assert devices["lost"] <= floor["lost"]
    assert headings["right"] >= floor["headings_right"]
    assert headings["wrong"] <= floor["headings_wrong"]


def reached(layout: str, folder: Path) -> tuple[Counter[str], Counter[str]]:
    """Scores of the devices and of the headings of all sheets of a layout; every row is accounted for on the way."""
    devices, headings = Counter[str](), Counter[str]()
    for number in NUMBERS:
        sheet = made(layout, number)
        path = written(sheet, folder, f"{layout}-{number}")
        document = audited(path)
        for page in document["inputs"][0]["sheets"]:
            rows = page["rows"]
            assert rows["non_blank"] == rows["heading"] + rows["test"] + rows["passed_over"]
        if not sheet.sideways:  # a row of its tests is a column of the sheet
            assert document["counts"]["rows"]["non_blank"] == sum(map(filled_rows, sheet.grids))
        score = score_document(sheet, path, document)
        devices.update(verdict.score for verdict in score.verdicts)
        headings.update(score.headings)
    return devices, headings
