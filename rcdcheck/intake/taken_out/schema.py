"""Holds the tables to `schemas/test-sheet.json`: its constraints become pandera checks, their failures become findings.

Numbers are parsed before they come here (coercion would hide range failures); each distinct text is checked once.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from rcdcheck import data
from rcdcheck.findings import KEPT, Findings
from rcdcheck.numbering import used_codes
from rcdcheck.sheet_fields import DATE_FIELDS, FIELDS, NUMBER_FIELDS, TEXT_FIELDS
from rcdcheck.tables import Tables

if TYPE_CHECKING:
    import pandera.pandas as pa


def constraint_checks(name: str, constraints: dict[str, Any]) -> list[pa.Check]:
    """The pandera checks of one field's constraints; an unknown constraint is a fault of the schema file."""
    import pandera.pandas as pa

    make = {
        "minimum": lambda v: pa.Check.ge(v, n_failure_cases=KEPT),
        "exclusiveMinimum": lambda v: pa.Check.gt(v, n_failure_cases=KEPT),
        "maximum": lambda v: pa.Check.le(v, n_failure_cases=KEPT),
        "enum": lambda v: pa.Check.isin(v, n_failure_cases=KEPT),
        "pattern": lambda v: pa.Check.str_matches(v, n_failure_cases=KEPT),
        "maxLength": lambda v: pa.Check.str_length(max_value=v, n_failure_cases=KEPT),
    }
    unknown = set(constraints) - set(make) - {"required"}
    if unknown:
        raise ValueError(f"test-sheet.json, field {name}: unknown constraint {sorted(unknown)}")
    return [make[key](value) for key, value in constraints.items() if key in make]


def check(tables: Tables, findings: Findings) -> None:
    """Compare texts, rated currents and readings with the schema; a failure points at its cell."""
    fields = {f["name"]: f.get("constraints", {}) for f in data.document("test-sheet.json")["fields"]}
    _check_readings(tables, fields, findings)
    rated = tables.tests["rated_residual_current"]
    for test in _failures(rated.dropna(), "rated_residual_current", fields["rated_residual_current"]):
        _point(tables, findings, "rated_residual_current", int(test), f"{rated.iloc[test]:.10g} mA")
    for name in NUMBER_FIELDS:
        values = tables.tests[name].dropna()
        for test in _failures(values, name, fields[name]):
            _point(tables, findings, name, int(test), f"{values[test]:.10g} {FIELDS[name].get('unit', '')}".rstrip())
    for name in DATE_FIELDS:
        dates = tables.tests[name].dropna()
        limits = {k: pd.Timestamp(v) for k, v in fields[name].items() if k != "required"}
        for test in _failures(dates, name, limits):
            _point(tables, findings, name, int(test), str(dates[test].date()))
    for name in TEXT_FIELDS:
        codes = tables.tests[name].to_numpy()
        used, _ = used_codes(codes)
        used = used[used > 0]
        texts = pd.Series(tables.texts(used), index=used, dtype=object)
        bad = _failures(texts, name, fields[name])
        for test in np.flatnonzero(np.isin(codes, bad))[:KEPT] if len(bad) else []:
            _point(tables, findings, name, int(test), str(tables.vocabulary[codes[test]]))


def _check_readings(tables: Tables, fields: dict[str, Any], findings: Findings) -> None:
    slot = tables.readings["slot"].to_numpy()
    for name, field in (("trip_time", "trip_time_1x_0"), ("trip_current", "trip_current")):
        timed = np.array([s.quantity == name for s in tables.slots] or [False])
        values = tables.readings["value"][timed[slot]].dropna()
        for at in _failures(values, field, fields[field]):
            reading = tables.readings.loc[at]
            findings.add(
                "value-outside-schema",
                sheet=int(tables.tests["sheet"].iloc[int(reading["test"])]),
                row=int(reading["row"]),
                column=int(reading["column"]),
                test=int(reading["test"]),
                typed=tables.vocabulary[int(reading["text"])],
                field=field.replace("_", " "),
            )


def _failures(values: pd.Series[Any], name: str, constraints: dict[str, Any]) -> list[int]:
    """Index labels of the values that break a constraint, at most 1,000 a constraint."""
    if values.empty or not set(constraints) - {"required"} or _extremes_hold(values, constraints):
        return []
    import pandera.pandas as pa
    from pandera.errors import SchemaErrors

    schema = pa.SeriesSchema(checks=constraint_checks(name, constraints), nullable=True, name=name)
    try:
        schema.validate(values.rename(name), lazy=True)
    except SchemaErrors as errors:
        cases = errors.failure_cases
        if cases["index"].isna().any():
            raise RuntimeError(f"a check of {name} could not run: {cases['check'].iloc[0]}") from errors
        return sorted({int(i) for i in cases["index"]})
    return []


def _extremes_hold(values: pd.Series[Any], constraints: dict[str, Any]) -> bool:
    """Whether the smallest, largest and longest value keep all constraints, so that every other does."""
    hold = {"required": True}
    if {"minimum", "exclusiveMinimum", "maximum"} & set(constraints) and values.dtype != object:
        least, most = values.min(), values.max()
        hold |= {
            "minimum": "minimum" in constraints and bool(least >= constraints["minimum"]),
            "exclusiveMinimum": "exclusiveMinimum" in constraints and bool(least > constraints["exclusiveMinimum"]),
            "maximum": "maximum" in constraints and bool(most <= constraints["maximum"]),
        }
    elif "maxLength" in constraints:
        hold["maxLength"] = max(map(len, values)) <= constraints["maxLength"]
    elif "enum" in constraints:
        hold["enum"] = bool(values.isin(constraints["enum"]).all())
    return all(hold.get(name, False) for name in constraints)


def _point(tables: Tables, findings: Findings, field: str, test: int, typed: str) -> None:
    place = tables.cells_of(field, np.array([test]))
    told = {"test": [test], "typed": [typed], "field": [field.replace("_", " ")]}
    findings.add_many("value-outside-schema", {**place, **told})
