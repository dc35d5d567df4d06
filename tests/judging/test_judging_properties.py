"""What must hold of every sheet: rows all accounted for, order without effect, a worse reading never an improvement."""

from __future__ import annotations

import csv
import datetime as dt
import io
import tempfile
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from rcdcheck.audits import Audit
from rcdcheck.options import Options
from rcdcheck.pipeline import run
from rcdcheck.terms import Outcome

HEADINGS = [
    "Device", "Outlet", "Rated IΔn (mA)", "Visual", "1x 0° (ms)", "1x 180° (ms)", "5x 0° (ms)", "Ramp (mA)",
    "Date", "Tested by",
]  # fmt: skip
OPTIONS = Options(as_of=dt.date(2026, 11, 25))
SLOW = settings(max_examples=12, deadline=None)

times = st.sampled_from(
    ["", "24.1", "31", "299.9", "300", "301", ">300", "no trip", "2840", "-", "OK", "28,4 ?", "2.1"]
)
ramps = st.sampled_from(["", "22.4", "30", "30.1", "14", "no trip", "abc"])
row = st.builds(
    lambda *cells: list(cells),
    st.sampled_from(["R1", "R2", "R3", "R4", "R5", ""]),
    st.sampled_from(["", "1", "2"]),
    st.sampled_from(["30", "10", "100", "", "500"]),
    st.sampled_from(["pass", "pass", "fail", ""]),
    times,
    times,
    times,
    ramps,
    st.sampled_from(["2026-11-20", "2026-11-21", "2026-03-02", ""]),
    st.just("A. Snowfield"),
).filter(lambda cells: bool(cells[0]) or not cells[1])  # an outlet without a device belongs to the row above
noise = st.sampled_from([[], ["", "", ""], ["Total", "", "", "", "12"], ["Signed: A. Snowfield"], HEADINGS])


def audit(rows: list[list[str]]) -> Audit:
    """Audit a sheet with these rows under the headings."""
    text = io.StringIO()
    csv.writer(text).writerows([HEADINGS, *rows])
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sheet.csv"
        path.write_text(text.getvalue(), encoding="utf-8")
        return run([str(path)], OPTIONS)


def outcomes(result: Audit) -> dict[str, int]:
    """Outcome of each named device."""
    named = result.devices[result.devices["device"] > 0]
    return dict(zip(named["name"], named["outcome"].astype(int), strict=True))


def account(result: Audit) -> Any:
    return result.tables.sheets[["non_blank", "heading", "test", "passed_over"]].sum()


@SLOW
@given(st.lists(st.one_of(row, noise), min_size=1, max_size=12))
def test_every_row_that_is_not_blank_is_accounted_for(rows: list[list[str]]) -> None:
    result = audit(rows)
    told = account(result)
    assert told["non_blank"] == 1 + sum(any(r) for r in rows)
    assert told["non_blank"] == told["heading"] + told["test"] + told["passed_over"]
    assert len(result.tables.rows) == told["test"]
    assert len(result.tables.passed_over) == told["passed_over"]


@SLOW
@given(st.lists(row, min_size=2, max_size=10), st.randoms())
def test_the_order_of_rows_changes_no_outcome(rows: list[list[str]], random: Any) -> None:
    shuffled = list(rows)
    random.shuffle(shuffled)
    assert outcomes(audit(rows)) == outcomes(audit(shuffled))


@SLOW
@given(st.lists(row, min_size=1, max_size=8), st.lists(noise, min_size=1, max_size=4), st.randoms())
def test_noise_between_rows_changes_no_outcome(rows: list[list[str]], noises: list[list[str]], random: Any) -> None:
    mixed = list(rows)
    for line in noises:
        mixed.insert(random.randrange(len(mixed) + 1), line)
    assert outcomes(audit(mixed)) == outcomes(audit(rows))


@SLOW
@given(st.lists(row, min_size=1, max_size=6), st.integers(0, 5), st.sampled_from([4, 5, 6]))
def test_a_worse_reading_never_improves_an_outcome(rows: list[list[str]], at: int, column: int) -> None:
    """Replacing a reading by "no trip", or adding the same test with it, leaves every device as it was or worse."""
    before = outcomes(audit(rows))
    worse = [list(r) for r in rows]
    worse[at % len(rows)][column] = "no trip"
    for after in (outcomes(audit(worse)), outcomes(audit([*rows, worse[at % len(rows)]]))):
        assert all(after[device] >= outcome for device, outcome in before.items())


@SLOW
@given(st.lists(row, min_size=1, max_size=6))
def test_what_cannot_be_read_never_passes(rows: list[list[str]]) -> None:
    rows = [[*r[:4], "28.4?", *r[5:]] for r in rows]
    assert all(outcome != Outcome.PASS for outcome in outcomes(audit(rows)).values())
