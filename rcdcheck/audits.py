"""The whole answer: an audit, frozen, with the grades of its records."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import pandas as pd

from rcdcheck.history import History
from rcdcheck.options import Options
from rcdcheck.tables import Tables
from rcdcheck.terms import Outcome, Verdict

if TYPE_CHECKING:
    from rcdcheck.rules import RuleSet


@dataclass(frozen=True)
class Grade:
    """How far a record can be relied on: A to D, and the line of the grading table that decided."""

    scope: str  # "batch", "input", "technician", "instrument"
    name: str
    grade: str
    decided_by: str  # a sentence
    tests: int
    lines: tuple[tuple[str, str, str], ...] = ()  # (line, letter, figure) of the whole table


@dataclass(frozen=True)
class Audit:
    """The whole answer. Every report reads this and computes nothing.

    verdicts  aligned with tables.readings: verdict int8, reason (finding code, "" for none), multiple float64 (as
              judged, also where only a test current was stated), limit float64, limit_id int32 (index into `limits`,
              -1 none), p_conform float64, hint (words that its sentence needs, "" for none)
    tests     aligned with tables.tests: device int32, visit int32, outcome int8, counted bool (False: the same
              test listed again)
    devices   one row a device: site, device, board, kind, environment (codes), name object, outcome int8, grade object,
              danger int8 (0 none, 1 the most dangerous), retest_due, tested_at (latest visit), next_action object,
              sheet int32, row int32 (where it is first named), tests int32, alike int32 (group of devices that
              are perhaps the same, -1 none)
    outlets   one row for each outlet of each device: device int32, outlet code, outcome int8
    reasons   sparse, the gravest of a device first: device int32, test int32, outlet code, code object, message object,
              sheet, row, column, outcome int8, standing bool (False: settled by a later visit)
    findings  see findings.py
    limits    every limit that judged something: quantity, rcd_type, waveform, multiple, minimum, maximum, unit, text,
              source, standing
    history   what a register of visits adds; see history.py
    questions one row for each question of scrutiny and group: question, technician, asked bool, why_not, n,
              statistic, expectation, chance, adjusted, strength, sentence
    """

    options: Options
    rules: RuleSet
    tables: Tables
    verdicts: pd.DataFrame
    test_outcomes: pd.DataFrame
    devices: pd.DataFrame
    outlets: pd.DataFrame
    reasons: pd.DataFrame
    findings: pd.DataFrame
    limits: pd.DataFrame
    questions: pd.DataFrame
    grades: tuple[Grade, ...]
    exit_code: int
    fingerprint: str
    version: str
    history: History = field(default_factory=History)

    @property
    def grade(self) -> Grade:
        """Grade of the whole batch."""
        return self.grades[0]

    def counts(self) -> dict[str, dict[str, int]]:
        """Counts by outcome of devices, by verdict of readings, and by severity of findings."""
        outcomes = self.devices["outcome"].value_counts()
        verdicts = self.verdicts["verdict"].value_counts()
        weights = self.findings.groupby("severity")["count"].sum()
        return {
            "devices": {o.word: int(outcomes.get(o, 0)) for o in Outcome},
            "readings": {v.word: int(verdicts.get(v, 0)) for v in Verdict},
            "findings": {s: int(weights.get(s, 0)) for s in ("danger", "error", "doubt", "caution", "note")},
        }
