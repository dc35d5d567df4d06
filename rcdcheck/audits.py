"""The whole answer: an audit, frozen, with the grades of its records."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import pandas as pd

from rcdcheck.history import History
from rcdcheck.options import Options
from rcdcheck.terms import Outcome, Verdict

if TYPE_CHECKING:
    from rcdcheck.rules import RuleSet
    from rcdcheck.tables import Tables


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

    Its tables are those of models.INTAKE (within `tables`), JUDGED and GRADED, which say what each column holds.
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
