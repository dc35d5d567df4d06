"""Holds the tables to `schemas/test-sheet.json`: its constraints become pandera checks, their failures become findings.

Numbers are parsed before they come here (coercion would hide range failures); each distinct text is checked once.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pandera.pandas as pa

from rcdcheck.findings import Findings
from rcdcheck.numbering import used_codes
from rcdcheck.sheet_fields import DATE_FIELDS, FIELDS, NUMBER_FIELDS, TEXT_FIELDS
from rcdcheck.tables import Tables

BOUNDS: dict[str, Callable[..., pa.Check]] = {  # where the least, the most and the longest keep them, all do
    "minimum": pa.Check.ge,
    "exclusiveMinimum": pa.Check.gt,
    "maximum": pa.Check.le,
    "maxLength": partial(pa.Check.str_length, 0),
}
CHECKS = BOUNDS | {"enum": pa.Check.isin, "pattern": pa.Check.str_matches}


def check(tables: Tables, findings: Findings) -> None:
    """Compare texts, numbers and dates with the schema; a failure points at its cell.

    Readings and rated currents were held to it cell by cell, where each has a finding of its own.
    """
    for name in NUMBER_FIELDS:
        spelled = f"{{:.10g}} {FIELDS[name].get('unit', '')}".rstrip()
        values = tables.tests[name].dropna()
        _point(tables, findings, name, values[_failures(values, name)], spelled.format)
    for name in DATE_FIELDS:
        dates = tables.tests[name].dropna()
        _point(tables, findings, name, dates[_failures(dates, name)], lambda date: str(date.date()))
    for name in TEXT_FIELDS:
        codes = tables.tests[name]
        used, _ = used_codes(codes.to_numpy())
        used = used[used > 0]
        bad = _failures(pd.Series(tables.texts(used), index=used, dtype=object), name)
        _point(tables, findings, name, codes[codes.isin(bad)], lambda code: str(tables.vocabulary[code]))


def _failures(values: pd.Series[Any], name: str) -> npt.NDArray[np.int64]:
    """Index labels of the values of a field that break a constraint.

    Raises ValueError for a constraint that is not known: a fault of the schema file.
    """
    broken = np.zeros(0, dtype=np.int64)
    extremes = _extremes(values) if len(values) else values
    for constraint, limit in FIELDS[name].get("constraints", {}).items():
        if constraint == "required":
            continue
        if constraint not in CHECKS:
            raise ValueError(f"test-sheet.json, field {name}: unknown constraint {constraint}")
        check = CHECKS[constraint](pd.Timestamp(limit) if values.dtype.kind == "M" else limit)
        if len(values) and not (constraint in BOUNDS and check(extremes).check_passed):
            cases = check(values).failure_cases
            broken = broken if cases is None else np.union1d(broken, cases.index)
    return broken


def _extremes(values: pd.Series[Any]) -> pd.Series[Any]:
    if values.dtype == object:
        return pd.Series([max(values.tolist(), key=len)], dtype=object)
    return pd.Series([values.min(), values.max()])


def _point(tables: Tables, findings: Findings, field: str, values: pd.Series[Any], spell: Callable[[Any], str]) -> None:
    """A finding for each value, whose label is its test; each distinct value is spelled once."""
    codes, distinct = pd.factorize(values)
    typed = np.array([spell(value) for value in distinct], dtype=object)[codes]
    place = tables.cells_of(field, values.index.to_numpy())
    told = {"test": values.index.to_numpy(), "typed": typed, "field": np.full(len(values), field.replace("_", " "))}
    findings.add_many("value-outside-schema", {**place, **told})
