"""Holds the tables to `schemas/test-sheet.json`: its constraints become pandera checks, their failures become findings.

Numbers are parsed before they come here (coercion would hide range failures); each distinct text is checked once.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
import pandera.pandas as pa

from rcdcheck.findings import KEPT, Findings
from rcdcheck.numbering import used_codes
from rcdcheck.sheet_fields import DATE_FIELDS, FIELDS, NUMBER_FIELDS, TEXT_FIELDS
from rcdcheck.tables import Tables

BOUNDS: dict[str, Callable[..., pa.Check]] = {  # where the least and the most keep them, all do
    "minimum": pa.Check.ge,
    "exclusiveMinimum": pa.Check.gt,
    "maximum": pa.Check.le,
}
CHECKS = BOUNDS | {"enum": pa.Check.isin, "pattern": pa.Check.str_matches, "maxLength": partial(pa.Check.str_length, 0)}


def check(tables: Tables, findings: Findings) -> None:
    """Compare texts, numbers and dates with the schema; a failure points at its cell.

    Readings and rated currents were held to it cell by cell, where each has a finding of its own.
    """
    for name in NUMBER_FIELDS:
        values = tables.tests[name].dropna()
        for test in _failures(values, name):
            _point(tables, findings, name, test, f"{values[test]:.10g} {FIELDS[name].get('unit', '')}".rstrip())
    for name in DATE_FIELDS:
        dates = tables.tests[name].dropna()
        for test in _failures(dates, name):
            _point(tables, findings, name, test, str(dates[test].date()))
    for name in TEXT_FIELDS:
        codes = tables.tests[name].to_numpy()
        used, _ = used_codes(codes)
        used = used[used > 0]
        bad = _failures(pd.Series(tables.texts(used), index=used, dtype=object), name)
        for test in np.flatnonzero(np.isin(codes, bad))[:KEPT] if bad else []:
            _point(tables, findings, name, int(test), str(tables.vocabulary[codes[test]]))


def _failures(values: pd.Series[Any], name: str) -> list[int]:
    """Index labels of the values of a field that break a constraint, at most 1,000 a constraint.

    Raises ValueError for a constraint that is not known: a fault of the schema file.
    """
    broken: set[int] = set()
    extremes = pd.Series([values.min(), values.max()]) if len(values) and values.dtype != object else values
    for constraint, limit in FIELDS[name].get("constraints", {}).items():
        if constraint == "required":
            continue
        if constraint not in CHECKS:
            raise ValueError(f"test-sheet.json, field {name}: unknown constraint {constraint}")
        check = CHECKS[constraint](pd.Timestamp(limit) if values.dtype.kind == "M" else limit, n_failure_cases=KEPT)
        if len(values) and not (constraint in BOUNDS and check(extremes).check_passed):
            cases = check(values).failure_cases
            broken |= set() if cases is None else {int(label) for label in cases.index}
    return sorted(broken)


def _point(tables: Tables, findings: Findings, field: str, test: int, typed: str) -> None:
    place = tables.cells_of(field, np.array([test]))
    told = {"test": [test], "typed": [typed], "field": [field.replace("_", " ")]}
    findings.add_many("value-outside-schema", {**place, **told})
