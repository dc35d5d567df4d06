"""Who tested, and with what: counts with intervals, calibration, and how much of the scope was reached."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from rcdcheck.audits import Audit
from rcdcheck.terms import Flag, Outcome

STEPS = ("ask for originals, re-test a few as witness", "have the unfinished tests settled",
         "re-test a few as witness, where it matters", "nothing from these readings")  # fmt: skip
HEAD = ("Tested by", "What to do", "Grade", "Doubts", "Tests", "Devices", "Tests failed", "Tests unfinished",
        "Failing share", "Not asked")  # fmt: skip
SAID = (
    "By person. Not asked: questions of credibility that could not be asked of them, of all; why not stands below. "
    "Intervals are 95 % (Wilson 1927). "
    "People go to different sites and devices: a difference between them is no evidence of anything."
)


def people(audit: Audit) -> list[tuple[str, ...]]:
    """What to do about each person's record, how far it can be relied on, and what they tested; columns as in HEAD.

    The step stands beside the name, where a phone shows it. A record has a grade of its own from 20 tests up.
    """
    grades = {g.name.casefold(): g.grade for g in audit.grades if g.scope == "technician"}
    doubts = _by_person(
        [(e or {}).get("technician", "") for e in audit.findings.loc[audit.findings["severity"] == "doubt", "evidence"]]
    )
    questions = audit.questions.groupby(["question", "technician"], sort=False)["asked"].any()
    silent: dict[str, list[str]] = {}
    for (question, person), asked in questions.items():
        if not asked:
            silent.setdefault(person.casefold(), []).append(question.replace("_", " "))
    possible = _by_person([person for _, person in questions.index])
    rows: list[tuple[str, ...]] = []
    for name, n, devices, failed, open_ in _by_text(audit, "technician", "nobody named"):
        who = name.casefold()
        step = STEPS[0] if doubts.get(who) else STEPS[1] if open_ else STEPS[2] if silent.get(who) else STEPS[3]
        rows.append((
            name, step, grades.get(who, "too few tests"), f"{doubts.get(who, 0):,}", f"{n:,}", f"{devices:,}",
            f"{failed:,}", f"{open_:,}", interval(failed, n), _not_asked(silent.get(who, []), possible.get(who, 0)),
        ))  # fmt: skip
    return rows


def _not_asked(questions: list[str], of: int) -> str:
    """`2 of 10: digits, pace`."""
    said = f"{len(questions):,} of {of:,}"
    return f"{said}: {', '.join(questions)}" if questions else said


def _by_person(names: list[str]) -> dict[str, int]:
    """How often each name stands in a list, without case."""
    out: dict[str, int] = {}
    for name in names:
        out[name.casefold()] = out.get(name.casefold(), 0) + 1
    return out


def instruments(audit: Audit) -> list[tuple[str, ...]]:
    """Each instrument's tests, calibration dates, and tests after calibration ran out."""
    tests = audit.tables.tests
    late = (tests["tested_at"].dt.normalize() > tests["calibration_due"]).to_numpy()
    late = late & audit.test_outcomes["counted"].to_numpy()
    out: list[tuple[str, ...]] = []
    for name, n, *_ in _by_text(audit, "instrument", "none named"):
        code = np.flatnonzero(audit.tables.texts(tests["instrument"]) == ("" if name == "none named" else name))
        due = tests["calibration_due"].iloc[code].dropna().dt.date.unique()
        shown = ", ".join(str(d) for d in sorted(due)[:3]) or "not stated"
        out.append((name, f"{n:,}", shown, f"{int(late[code].sum()):,}" if len(due) else "not known"))
    return out


def _by_text(audit: Audit, field: str, nobody: str) -> list[tuple[str, int, int, int, int]]:
    outcomes = audit.test_outcomes
    counted = outcomes["counted"].to_numpy()
    frame = pd.DataFrame(
        {
            "name": audit.tables.texts(audit.tables.tests[field])[counted],
            "device": outcomes["device"].to_numpy()[counted],
            "outcome": outcomes["outcome"].to_numpy()[counted],
        }
    )
    rows = []
    for name, group in frame.groupby("name", sort=True):
        unfinished = group["outcome"].isin([Outcome.INCOMPLETE, Outcome.UNCLEAR]).sum()
        failed = (group["outcome"] == Outcome.FAIL).sum()
        rows.append((str(name) or nobody, len(group), group["device"].nunique(), int(failed), int(unfinished)))
    return rows


def interval(k: int, n: int) -> str:
    """95 % interval of a share k of n in per cent (Wilson 1927, score interval)."""
    z = 1.959964
    centre = (k + z * z / 2) / (n + z * z)
    half = z * math.sqrt(k * (n - k) / n + z * z / 4) / (n + z * z)
    return f"{100 * k / n:.1f} % ({100 * max(0.0, centre - half):.1f} to {100 * min(1.0, centre + half):.1f} %)"


def scope(audit: Audit) -> list[tuple[str, str]]:
    """Devices in scope against those tested."""
    outcomes, tests = audit.test_outcomes, audit.tables.tests
    read = np.bincount(audit.tables.readings["test"].to_numpy(), minlength=len(tests)) > 0
    with_reading = len(np.unique(outcomes["device"].to_numpy()[read]))
    looked = len(np.unique(outcomes["device"].to_numpy()[np.isin(tests["visual"], (Flag.PASS, Flag.FAIL))]))
    return [
        ("devices listed", f"{len(audit.devices):,}"),
        ("with at least one reading", f"{with_reading:,}"),
        ("with a visual inspection on record", f"{looked:,}"),
        ("fully tested and passed", f"{int((audit.devices['outcome'] == Outcome.PASS).sum()):,}"),
    ]
