"""An audit as frames of words and figures, for people who work on in pandas: one row a device, a test, a reading."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

from rcdcheck.audits import Audit
from rcdcheck.sheet_fields import DATE_FIELDS, FLAG_FIELDS, NUMBER_FIELDS, RATED, TEXT_FIELDS
from rcdcheck.terms import Bound, Flag, Outcome, State, Verdict


class Frames(NamedTuple):
    """What an audit says, without codes; `device` is the row of `devices`, `test` that of `tests`, both from 0.

    devices   site, name, board, location, kind, environment, outcome (pass, incomplete, unclear, fail), grade (A to D),
              next_action, tested_at (of the latest visit), retest_due
    tests     device, the fields of schemas/test-sheet.json but the readings (currents in mA, other numbers in
              their unit), outcome, file, sheet, row
    readings  test, quantity, multiple (as judged), phase, waveform, value and limit (ms or mA), unit, state, bound,
              typed, verdict, reason (code of schemas/findings.toml), row, column (counted from 0)
    findings  code, severity, message, test (-1: of none), file, sheet, row, typed, suggestion, count
    """

    devices: pd.DataFrame
    tests: pd.DataFrame
    readings: pd.DataFrame
    findings: pd.DataFrame


def frames(audit: Audit) -> Frames:
    """The frames of an audit."""
    return Frames(_devices(audit), _tests(audit), _readings(audit), _findings(audit))


def _devices(audit: Audit) -> pd.DataFrame:
    codes = ("site", "board", "location", "kind", "environment")
    texts = {name: audit.tables.texts(audit.devices[name]) for name in codes}
    shown = audit.devices.assign(**texts, outcome=_words(audit.devices["outcome"], Outcome))
    rest = ("outcome", "grade", "next_action", "tested_at", "retest_due")
    return shown[["site", "name", *codes[1:], *rest]]


def _tests(audit: Audit) -> pd.DataFrame:
    tests = audit.tables.text_fields(audit.tables.tests)
    outcome = {"outcome": _words(audit.test_outcomes["outcome"], Outcome)}
    flags = {name: _words(tests[name], Flag) for name in FLAG_FIELDS}
    tests = tests.assign(**flags, **outcome, **_places(audit, tests["sheet"])).rename(columns={"device": "name"})
    fields = ["name" if name == "device" else name for name in TEXT_FIELDS]
    tests.insert(0, "device", audit.test_outcomes["device"])
    fields += [*DATE_FIELDS, *FLAG_FIELDS, *NUMBER_FIELDS, RATED]
    return tests[["device", *fields, "outcome", "file", "sheet", "row"]]


def _readings(audit: Audit) -> pd.DataFrame:
    readings = audit.tables.text_fields(audit.tables.readings).join(audit.verdicts)
    at, slots = readings["slot"].to_numpy(), audit.tables.slots
    of_slot = {name: np.array([getattr(s, name) for s in slots] or [""], dtype=object)[at]
               for name in ("quantity", "phase", "waveform", "unit")}  # fmt: skip
    words = {
        "state": _words(readings["state"], State),
        "bound": _words(readings["bound"], Bound),
        "verdict": _words(readings["verdict"], Verdict),
    }
    shown = readings.assign(**of_slot, **words).rename(columns={"text": "typed"})
    return shown[["test", "quantity", "multiple", "phase", "waveform", "value", "unit", "limit", "state", "bound",
                  "typed", "verdict", "reason", "row", "column"]]  # fmt: skip


def _findings(audit: Audit) -> pd.DataFrame:
    shown = audit.findings.assign(**_places(audit, audit.findings["sheet"]))
    names = ["code", "severity", "message", "test", "file", "sheet", "row", "typed", "suggestion", "count"]
    return shown[names]


def _words(
    codes: pd.Series[int], names: type[Outcome] | type[Verdict] | type[State] | type[Bound] | type[Flag]
) -> object:
    """Lower-case names of an enumeration that counts from 0."""
    return np.array([one.name.lower() for one in names], dtype=object)[codes.to_numpy()]


def _places(audit: Audit, sheets: pd.Series[int]) -> dict[str, object]:
    known = np.array([*audit.tables.places, ("", "")], dtype=object)[sheets.to_numpy()]  # the last, at -1, is of none
    return {"sheet": known[:, 0], "file": known[:, 1]}
