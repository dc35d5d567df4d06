"""The number by which a test is known again: another reading, multiple, phase, bound or order of two has another."""

from __future__ import annotations

import itertools

import numpy as np
from small_sheets import audited

from rcdcheck.reading_marks import reading_marks

HEADINGS = ("Device", "Rated IΔn (mA)", "1× 0° (ms)", "1× 180° (ms)", "5× 0° (ms)", "Ramp (mA)")


def test_tests_that_differ_anywhere_have_different_numbers_and_equal_ones_the_same() -> None:
    times = [f"{n / 10}" for n in range(200, 230)]
    pairs = list(itertools.product(times, times))
    tests = [test for a, b in pairs for test in ((a, b, "", ""), (a, "", b, ""), ("", "", a, b), (f">{a}", b, "", ""))]
    audit = audited(HEADINGS, *((f"D{i}", "30", *test) for i, test in enumerate(tests)))
    marks = reading_marks(audit.tables)
    assert len(np.unique(marks)) == len(tests)
    again = reading_marks(audited(HEADINGS, *((f"E{i}", "30", *test) for i, test in enumerate(tests[::9]))).tables)
    assert again.tolist() == marks[::9].tolist(), "in every run"


def test_a_test_without_readings_has_none() -> None:
    rows = [("D0", "30", "24.1", "25.3", "", ""), ("D1", "30", "", "", "", ""), ("D2", "30", "24.1", "25.3", "", "")]
    first, none, again = reading_marks(audited(HEADINGS, *rows).tables)
    assert none == 0 and first == again != 0
