"""The tables between intake and reports have the columns and dtypes that records.py says, wherever they are made."""

from __future__ import annotations

import dataclasses
import datetime as dt

import pytest
from whole_runs import ROOT

from rcdcheck import audit
from rcdcheck.audits import Audit
from rcdcheck.options import Options
from rcdcheck.tables import TABLES


@pytest.fixture(scope="module")
def messy() -> Audit:
    return audit([ROOT / "samples" / "messy-day.xlsx"], Options(as_of=dt.date(2026, 11, 25)))


@pytest.mark.parametrize("name", TABLES)
def test_a_table_with_a_column_missing_added_or_of_another_kind_is_a_fault(name: str, messy: Audit) -> None:
    good = getattr(messy.tables, name)
    first = next(iter(TABLES[name]))
    for bad in (good.drop(columns=first), good.assign(more=0), good.assign(**{first: good[first].astype(complex)})):
        with pytest.raises(TypeError, match=f"table of {name}"):
            dataclasses.replace(messy.tables, **{name: bad})
