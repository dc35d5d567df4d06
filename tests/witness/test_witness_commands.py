"""From sheets to a witness sample and back: `rcdcheck witness` and `rcdcheck compare`."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from click.testing import CliRunner, Result

from rcdcheck.cli import compare, witness
from rcdcheck.errors import UsageError

HEADINGS = ["Asset", "Site", "Rated IΔn (mA)", "RCD type", "1× 0° (ms)", "1× 180° (ms)", "Ramp (mA)", "Tested at"]
RNG = np.random.default_rng(7)
TRUE = np.column_stack([RNG.normal(27, 6, 100), RNG.normal(27, 6, 100), RNG.normal(23, 1.5, 100)])


def sheet(path: Path, rows: list[int], readings: np.ndarray, day: str = "2026-10-20") -> Path:
    """A CSV of these devices with readings in ms, ms and mA, shape (rows, 3)."""
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(HEADINGS)
    for i, values in zip(rows, readings, strict=True):
        writer.writerow([f"M-{i:04d}", "North row", 30, "A", *(f"{v:.1f}" for v in values), day])
    path.write_text(text.getvalue(), encoding="utf-8")
    return path


def asked(command: object, *arguments: object) -> Result:
    """Run one command in this process."""
    run = CliRunner().invoke(command, [*map(str, arguments), "--as-of", "2026-11-25"], standalone_mode=False)  # type: ignore[arg-type]
    assert run.exception is None, run.exception
    return run


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A hundred devices as submitted, ten of which repeat ten others row by row."""
    submitted = TRUE.copy()
    submitted[60:70] = submitted[20:30]
    return sheet(tmp_path_factory.mktemp("witness") / "day.csv", list(range(100)), submitted)


def devices(path: Path) -> list[str]:
    """Identifiers in an entry workbook."""
    ws = openpyxl.load_workbook(path)["Tests"]
    table = [[c.value for c in row] for row in ws.iter_rows(min_row=5)]
    at = next(i for i, head in enumerate(table[0]) if str(head).startswith("Device"))
    return [str(row[at]) for row in table[1:] if row[at]]


def test_the_draw_is_of_the_size_it_says_and_the_same_again(day: Path, tmp_path: Path) -> None:
    said = asked(witness.command, day, "--seed", 5, "--out", tmp_path / "a.xlsx").output
    asked(witness.command, day, "--seed", 5, "--out", tmp_path / "b.xlsx")
    asked(witness.command, day, "--seed", 6, "--out", tmp_path / "c.xlsx")
    drawn = devices(tmp_path / "a.xlsx")
    assert len(drawn) == 25  # published table: 10 of 100, 95 %
    assert devices(tmp_path / "b.xlsx") == drawn != devices(tmp_path / "c.xlsx")
    assert "Seed 5" in said
    copied = {f"M-{i:04d}" for i in (*range(20, 30), *range(60, 70))}
    assert set(devices(tmp_path / "a-doubtful.xlsx")) == copied - set(drawn)


def test_an_honest_retest_agrees_and_bounds_what_may_be_false(day: Path, tmp_path: Path) -> None:
    rows = list(range(0, 20))
    again = sheet(tmp_path / "again.csv", rows, TRUE[rows] + 0.3 * RNG.normal(0, 1, (20, 3)), "2026-11-20")
    run = asked(compare.command, day, "--with", again)
    assert "Tested again: 20 of 100 devices." in run.output
    assert "Different by more than repeatability, in two readings or in the only one: 0 of 20 devices." in run.output
    assert "at most 12 of its 100 records are false" in run.output
    assert run.return_value == 0


@pytest.mark.parametrize("last", ["no trip", ">300", "301.5"])
def test_a_device_that_fails_at_one_of_both_differs(tmp_path: Path, last: str) -> None:
    """Also where it did not trip, and no numbers stand beside one another."""
    head = "Device,Rated IΔn (mA),Visual,1× 0° (ms),1× 180° (ms),Date\n"
    for name, time in (("submitted", "25.0"), ("again", last)):
        text = f"{head}A1,30,pass,24.1,{time},2026-11-20\nA2,30,pass,no trip,no trip,2026-11-20\n"
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    for one, other in (("submitted", "again"), ("again", "submitted")):
        run = asked(compare.command, tmp_path / f"{one}.csv", "--with", tmp_path / f"{other}.csv")
        assert run.return_value == 1
        assert "A reading fails as submitted or at the re-test, and not at both: 1 of 1 device." in run.output
        assert f"  A1, no site: fails {'at the re-test' if one == 'submitted' else 'as submitted'} alone" in run.output


def test_false_records_are_named(day: Path, tmp_path: Path) -> None:
    rows = [*range(60, 70), *range(80, 90)]
    again = sheet(tmp_path / "again.csv", rows, TRUE[rows] + 0.3 * RNG.normal(0, 1, (20, 3)), "2026-11-20")
    run = asked(compare.command, day, "--with", again)
    named = {line.split(",")[0].strip() for line in run.output.splitlines() if line.startswith("  M-")}
    far = np.abs(TRUE[20:30] - TRUE[60:70]) > np.array([4.5, 4.5, 3.0])
    assert {f"M-{60 + i:04d}" for i in np.flatnonzero(far.sum(axis=1) >= 2)} <= named
    assert named <= {f"M-{i:04d}" for i in range(60, 70)}
    assert len(named) >= 3
    assert run.return_value == 1


def test_a_retest_of_times_alone_says_nothing_of_a_ramp(day: Path, tmp_path: Path) -> None:
    again = sheet(tmp_path / "again.csv", [0, 1], TRUE[[0, 1]] + [9.0, 9.0, np.nan], "2026-11-20")
    again.write_text(again.read_text(encoding="utf-8").replace("nan", ""), encoding="utf-8")
    said = asked(compare.command, day, "--with", again).output.splitlines()
    named = [line for line in said if line.startswith("  M-")]
    assert len(named) == 2
    assert not any("nan" in line or "ramp" in line for line in named)


def test_an_entry_workbook_that_nobody_filled_in_is_said_to_be_empty(day: Path, tmp_path: Path) -> None:
    asked(witness.command, day, "--out", tmp_path / "entry.xlsx")
    arguments = [str(day), "--with", str(tmp_path / "entry.xlsx")]
    run = CliRunner().invoke(compare.command, arguments, standalone_mode=False)
    assert isinstance(run.exception, UsageError)
    assert "holds no reading yet" in str(run.exception)
