"""A table that is not what its model says is a fault of ours: exit 70, nothing written, and the fault saved.

Each kind of breach is put into a whole run of the command where the table is handed on, one at a time.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Mapping
from pathlib import Path

import pandas as pd
import pytest
from whole_runs import DAY, ROOT

from rcdcheck import audit, models
from rcdcheck.cli import main
from rcdcheck.errors import TableError
from rcdcheck.options import Options
from rcdcheck.scrutiny import raising
from rcdcheck.terms import Flag, Outcome, State, Verdict

SHEET = """Device,Outlet,Rated IΔn (mA),Visual,1× 0° (ms),1× 180° (ms),Tested by,Instrument,Date
A1,1,30,pass,24.1,no trip,A. Snowfield,Meter A,2026-11-20
A2,1,30,pass,21.4,25.0,A. Snowfield,Meter A,2026-11-20
"""
SEAMS = {"intake": models.INTAKE, "judged": models.JUDGED, "graded": models.GRADED}
TABLES = [(seam, name) for seam, held in SEAMS.items() for name in held]
Run = Callable[[str, str, Callable[[pd.DataFrame], pd.DataFrame]], str]


@pytest.fixture
def harmed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> Run:
    """`harmed(seam, table, harm)` runs the command with this table harmed as it is handed on; what was saved of it."""
    hold = models.hold

    def run(seam: str, table: str, harm: Callable[[pd.DataFrame], pd.DataFrame]) -> str:
        def held(which: Mapping[str, type[models.Table]], frames: Mapping[str, pd.DataFrame]) -> None:
            hold(which, dict(frames) | ({table: harm(frames[table])} if which is SEAMS[seam] else {}))

        monkeypatch.setattr(models, "hold", held)
        (tmp_path / "day.csv").write_text(SHEET, encoding="utf-8")
        monkeypatch.chdir(tmp_path)
        monkeypatch.setattr(sys, "argv", ["rcdcheck", "audit", "day.csv", "--as-of", DAY])
        with pytest.raises(SystemExit) as stop:
            main()
        said = capfd.readouterr()
        assert (stop.value.code, said.out) == (70, "") and "Traceback" not in said.err
        assert [path.name for path in tmp_path.iterdir()] == ["day.csv"], "something was written"
        saved = re.search(r"Details, without cell texts: (\S+)", said.err)
        assert saved is not None
        text = Path(saved[1]).read_text(encoding="utf-8")
        Path(saved[1]).unlink()
        return text

    return run


@pytest.mark.parametrize(("seam", "table"), TABLES)
def test_a_table_that_lacks_a_column_stops_the_run(seam: str, table: str, harmed: Run) -> None:
    first = next(iter(models.dtypes(SEAMS[seam][table])))
    saved = harmed(seam, table, lambda frame: frame.drop(columns=first))
    assert f"the table of {table} is not what its model says" in saved and first in saved


# every constraint that a model has beside its dtypes, and a value that breaks it
BREAKS = {
    ("tests", "visual"): len(Flag), ("tests", "push_button"): -1, ("tests", "declared"): len(Flag),
    ("readings", "slot"): -1, ("readings", "state"): len(State), ("readings", "by_test"): None,
    ("verdicts", "verdict"): len(Verdict), ("test_outcomes", "outcome"): len(Outcome),
    ("devices", "outcome"): -1, ("outlets", "outcome"): len(Outcome), ("reasons", "outcome"): len(Outcome),
    ("grades", "grade"): "E",
}  # fmt: skip


def test_every_constraint_of_a_model_is_broken_below() -> None:
    declared = set()
    for held in SEAMS.values():
        for table, model in held.items():
            schema = model.to_schema()
            declared |= {(table, name) for name, column in schema.columns.items() if column.checks}
            declared |= {(table, check.name) for check in schema.checks}
    assert declared == set(BREAKS)


@pytest.mark.parametrize(("table", "constraint"), BREAKS)
def test_each_constraint_stops_the_run(table: str, constraint: str, harmed: Run) -> None:
    wrong = BREAKS[table, constraint]

    def harm(frame: pd.DataFrame) -> pd.DataFrame:
        if wrong is None:
            return frame.iloc[::-1]
        return frame.assign(**{constraint: pd.Series([wrong] * len(frame), dtype=frame[constraint].dtype)})

    saved = harmed(next(seam for seam, name in TABLES if name == table), table, harm)
    assert f"the table of {table} is not what its model says" in saved and constraint in saved


def test_a_column_more_or_of_another_kind_is_a_fault() -> None:
    """Each column of each table, on the tables of an audit, which hold as they are."""
    found = audit([ROOT / "samples" / "messy-day.xlsx"], Options(as_of=pd.Timestamp(DAY).date()))
    handed_on = vars(found.tables) | vars(found) | {"grades": found.devices}
    for seam, name in TABLES:
        frame = handed_on[name]
        model = {name: SEAMS[seam][name]}
        fits = frame[list(models.dtypes(model[name]))]
        models.hold(model, {name: fits})
        others = [fits.assign(more=0)]
        for column, dtype in fits.dtypes.items():
            other = fits[column].astype({"O": "str", "M": "datetime64[ns]"}.get(dtype.kind, "complex"))
            others.append(fits.assign(**{str(column): other}))
        for wrong in others:
            with pytest.raises(TableError, match=f"the table of {name}"):
                models.hold(model, {name: wrong})


def test_every_column_says_what_it_holds() -> None:
    for held in SEAMS.values():
        for model in held.values():
            assert all(column.description for column in model.to_schema().columns.values()) and model.__doc__


def test_the_questions_are_the_columns_of_scrutiny() -> None:
    assert models.dtypes(models.Questions) == raising.QUESTIONS
