"""What the questions about outcomes share: units (an outlet of a device at a visit), reasons, findings."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck import identity
from rcdcheck.findings import Findings, catalogue
from rcdcheck.judging import reasons
from rcdcheck.judging.needs import Needs, missing_needs, supplied_needs
from rcdcheck.judging.remarks import Remarks, is_done, read_remarks
from rcdcheck.options import Options
from rcdcheck.rules import RuleSet
from rcdcheck.tables import Codes, Mask, Tables
from rcdcheck.terms import Outcome, Verdict

Outcomes = npt.NDArray[np.int8]
NEVER = np.iinfo(np.int64).max


@dataclass
class Grounds:
    """All that the questions about units need; a unit is one outlet of one device at one visit."""

    tables: Tables
    verdicts: pd.DataFrame
    options: Options
    findings: Findings
    device: Codes  # of each test
    visit: Codes  # of each test
    unit: npt.NDArray[np.int64]  # of each test
    units: pd.DataFrame  # unit → device, outlet, visit, first test
    remarks: Remarks
    needs: Needs
    lacking: Mask  # tests that are not complete by themselves
    fails_by_reading: Mask  # tests with a reading that fails
    remedied_on: npt.NDArray[np.int64]  # first day from each test's on for which --remedied names a remedy, or NEVER

    def of_units(self, tests: Mask) -> Mask:
        """Units that hold at least one of these tests."""
        return np.bincount(self.unit[tests], minlength=len(self.units)) > 0


def grounds_of(
    tables: Tables,
    verdicts: pd.DataFrame,
    rules: RuleSet,
    options: Options,
    findings: Findings,
    device: Codes,
    visit: Codes,
) -> Grounds:
    """Number the units and read what all questions need."""
    outlet = identity.folded(tables.tests["outlet"].to_numpy(), tables.vocabulary)
    unit, units = _numbered_units(device, outlet, visit)
    n = len(unit)
    supplied = supplied_needs(tables, verdicts, rules, options)
    needs = missing_needs(tables, supplied, rules, unit, len(units))
    alone = missing_needs(tables, supplied, rules, np.arange(n), n)
    failing = verdicts["verdict"].to_numpy() == Verdict.FAIL
    return Grounds(
        tables, verdicts, options, findings, device, visit, unit, units, read_remarks(tables, findings), needs,
        alone.lacking, np.bincount(tables.readings["test"].to_numpy()[failing], minlength=n) > 0,
        _remedied_on(tables, options),
    )  # fmt: skip


def _numbered_units(
    device: Codes, outlet: npt.NDArray[np.int64], visit: Codes
) -> tuple[npt.NDArray[np.int64], pd.DataFrame]:
    """The unit of each test, in order of device, outlet and visit, and what each unit is."""
    order = np.lexsort((visit, outlet, device))
    keys: dict[str, npt.NDArray[Any]] = {"device": device[order], "outlet": outlet[order], "visit": visit[order]}
    begins = np.ones(len(order), dtype=bool)
    begins[1:] = np.logical_or.reduce([key[1:] != key[:-1] for key in keys.values()])
    unit = np.empty(len(order), dtype=np.int64)
    unit[order] = np.cumsum(begins) - 1
    return unit, pd.DataFrame({name: key[begins] for name, key in keys.items()} | {"test": order[begins]})


def _remedied_on(tables: Tables, options: Options) -> npt.NDArray[np.int64]:
    days = identity.days(tables.tests)
    out = np.full(len(days), NEVER)
    for device, day, what in options.remedied:
        on = np.datetime64(day, "D").astype(np.int64)
        here = identity.named(tables, device) & ((days <= on) | (days == identity.UNDATED)) & is_done(what)
        out = np.where(here, np.minimum(out, on), out)
    return out


@cache
def no_reasons() -> pd.DataFrame:
    """The table of reasons with no rows."""
    return pd.DataFrame({k: pd.Series(dtype=v) for k, v in reasons.REASONS.items()})


def reason(
    grounds: Grounds,
    tests: Mask,
    code: str,
    outcome: Outcome,
    field: str,
    words: npt.NDArray[np.object_] | None = None,
) -> pd.DataFrame:
    """One reason for each of these tests, pointing at the cell of `field` in its row; `words` fill the template."""
    at = np.flatnonzero(tests)
    if not len(at):
        return no_reasons()
    template = catalogue()[code].message
    texts = words[at] if words is not None else np.full(len(at), "", dtype=object)
    codes, distinct = pd.factorize(texts)
    filled = np.array([template.format(typed=t, words=t, suggestion="") for t in distinct], dtype=object)
    return pd.DataFrame(
        {
            "test": at.astype(np.int32),
            "code": np.full(len(at), code, dtype=object),
            "message": filled[codes],
            "outcome": np.full(len(at), outcome, dtype=np.int8),
            **grounds.tables.cells_of(field, at),
        }
    )


def note(grounds: Grounds, tests: Mask, code: str, field: str, words: npt.NDArray[np.object_] | None = None) -> None:
    """A finding for each of these tests, pointing at the cell of `field` in its row; `words` fill the template."""
    at = np.flatnonzero(tests)
    told = {} if words is None else {"words": words[at]}
    grounds.findings.add_many(code, {**grounds.tables.cells_of(field, at), "test": at, **told})
