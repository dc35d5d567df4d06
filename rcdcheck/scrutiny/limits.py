"""What the record cannot show: one note for each person, with the way out.

Silence is never shown as a clean bill: where questions could not be asked, the reasons are said, and a witness
re-test of a few devices is proposed, which can tell what the file cannot.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rcdcheck.findings import Findings
from rcdcheck.scrutiny import method
from rcdcheck.scrutiny.answer import Answer, Rows
from rcdcheck.scrutiny.grouping import Material
from rcdcheck.tables import Tables


def raise_findings(answers: Sequence[Answer], material: Material, tables: Tables, findings: Findings) -> None:
    """One note for each person whose record leaves questions open."""
    reasons: dict[str, dict[str, list[str]]] = {}
    for answer in answers:
        if answer.limits:
            who = answer.who.technician or answer.who.shown
            asks = method.page(answer.question).question.replace("_", " ")
            told = reasons.setdefault(who, {}).setdefault(answer.why_not, [])
            if asks not in told:
                told.append(asks)
    for who, why in reasons.items():
        said = "; ".join(f"{reason} ({', '.join(asks)})" for reason, asks in why.items())
        findings.add("credibility-partly-untested", who=who, reasons=said)
    _left_out("listed-again-elsewhere", material.again, tables, findings)
    shut = material.shut[np.isin(material.shut, tables.readings["test"])]
    _left_out("no-access-not-asked", shut, tables, findings)


def _left_out(code: str, tests: Rows, tables: Tables, findings: Findings) -> None:
    """One note for each sheet with rows that no question counts."""
    sheets, rows = (tables.tests[name].to_numpy()[tests] for name in ("sheet", "row"))
    for sheet in np.unique(sheets):
        here = rows[sheets == sheet]
        n = len(here)
        findings.add(
            code,
            sheet=int(sheet),
            row=int(here.min()),
            last_row=int(here.max()),
            n=n,
            s="s" * (n != 1),
            v="s" * (n == 1),
        )
