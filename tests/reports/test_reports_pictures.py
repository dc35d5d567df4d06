"""The pictures: what they count, against other programs; where they put marks, by properties."""

from __future__ import annotations

import csv
from collections import Counter
from xml.etree import ElementTree

import numpy as np
import pytest
from excel_books import SAMPLES, sample
from html_pages import page_of, tiled
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint

from rcdcheck.reports.html import people
from rcdcheck.reports.pictures import digits
from rcdcheck.reports.pictures.drawn import pictures
from rcdcheck.reports.pictures.parts import Log, scatter


def honest_rows() -> list[dict[str, str]]:
    """Rows of the sample as the csv module reads them, not by our intake."""
    with (SAMPLES / "honest-day.csv").open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_five_pictures_with_caption_text_alternative_and_numbers() -> None:
    drawn = pictures(sample("honest-day.csv"))
    assert [p.name for p in drawn] == ["times", "phases", "ramp", "clock", "digits"]
    for picture in drawn:
        assert picture.caption and picture.alternative and picture.plots
        assert picture.rows and all(len(row) == len(picture.head) for row in picture.rows)


def test_every_picture_is_well_formed_with_a_title_and_a_description() -> None:
    text = page_of("honest-day.csv")
    parts = [part.split("</svg>")[0] for part in text.split('<svg class="chart"')[1:]]
    assert len(parts) == sum(len(p.plots) for p in pictures(sample("honest-day.csv")))
    for part in parts:
        root = ElementTree.fromstring(f"<svg{part}</svg>")
        names = (root.attrib["aria-labelledby"]).split()
        told = {child.attrib["id"]: child.text for child in root if child.tag in ("title", "desc")}
        assert root.attrib["role"] == "img" and all(told[name] for name in names)


def test_the_picture_of_phases_counts_pairs_as_the_file_holds_them() -> None:
    pairs = []
    for row in honest_rows():
        both = row["Trip time 1× 0° (ms)"], row["Trip time 1× 180° (ms)"]
        if all(value.replace(".", "").isdigit() for value in both):
            pairs.append((float(both[0]), float(both[1])))
    picture = next(p for p in pictures(sample("honest-day.csv")) if p.name == "phases")
    counts = [int(n) for _, n in picture.rows]
    assert sum(counts) == len(pairs) == len([m for m in picture.plots[0].marks if m.kind != "doubt"])
    assert counts[0] == sum(a == b for a, b in pairs)


def test_the_picture_of_digits_counts_digits_as_they_are_typed() -> None:
    typed: dict[str, Counter[str]] = {}
    for row in honest_rows():
        for name, text in row.items():
            if name and name.startswith("Trip time") and text.replace(".", "").isdigit():
                typed.setdefault(row["Tested by"], Counter())[text[-1]] += 1
    found = dict(digits.digit_counts(sample("honest-day.csv")))
    assert {name: [counts[str(d)] for d in range(10)] for name, counts in typed.items()} == {
        name: counts.tolist() for name, counts in found.items()
    }


def test_the_picture_of_the_ramp_counts_shares_and_failures() -> None:
    shares = [
        100 * float(row["Ramp trip current (mA)"]) / float(row["Rated IΔn (mA)"])
        for row in honest_rows()
        if row["Ramp trip current (mA)"].replace(".", "").isdigit()
    ]
    picture = next(p for p in pictures(sample("honest-day.csv")) if p.name == "ramp")
    assert sum(int(row[1]) for row in picture.rows) == len(shares)
    assert sum(int(row[2]) for row in picture.rows) == sum(share > 100 for share in shares)


def test_the_band_of_chance_holds_nineteen_counts_in_twenty() -> None:
    """Against draws by numpy's generator: counts of one digit among 200 even ones."""
    low, high = digits.band(200)
    drawn = np.random.default_rng(7).binomial(200, 0.1, 20_000)
    assert 0.93 < np.mean((drawn >= low) & (drawn <= high)) < 0.97


@pytest.mark.parametrize(("failed", "tests"), [(81, 263), (15, 148), (0, 20), (1, 29), (29, 29)])
def test_intervals_of_people_are_those_of_statsmodels(failed: int, tests: int) -> None:
    """Wilson 1927; the first four pairs are those of Newcombe 1998, table I, from memory."""
    low, high = proportion_confint(failed, tests, method="wilson")
    assert people.interval(failed, tests).endswith(f"({100 * low:.1f} to {100 * high:.1f} %)")


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(0.5, 5000), min_size=1, max_size=30))
def test_a_logarithmic_scale_keeps_order_and_room(values: list[float]) -> None:
    scale = Log.over(np.array(values), 100.0)
    at = scale.at(sorted(values))
    assert np.all(np.diff(at) >= 0) and at[0] >= 0 and at[-1] <= 100
    assert all(scale.low <= tick <= scale.high for tick in scale.ticks())
    assert scale.at(2 * scale.low) * 2 == pytest.approx(float(scale.at(4 * scale.low)), abs=0.03)


@settings(max_examples=20, deadline=None)
@given(st.integers(2_001, 6_000), st.integers(0, 700))
def test_gathering_loses_no_reading(n: int, fails: int) -> None:
    random = np.random.default_rng(n)
    x, y = random.uniform(0, 100, n), random.uniform(0, 300, n)
    kinds = ["fail"] * fails + ["pass"] * (n - fails)
    marks, circles = scatter(x, y, kinds, np.zeros(n, dtype=bool))
    assert len(marks) + sum(circle.count for circle in circles) == n
    shown = sum(m.kind == "fail" for m in marks) + sum(c.count for c in circles if c.kind == "fail-circle")
    assert shown == fails


def test_past_two_thousand_points_marks_are_gathered() -> None:
    large = tiled(sample("honest-day.csv"), 20)
    times = pictures(large)[0].plots[0]
    assert times.circles and len(times.marks) <= 500
