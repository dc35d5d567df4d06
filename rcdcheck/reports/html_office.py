"""The page for whoever tests or audits: what to do first, credibility, pictures, detail, method."""

from __future__ import annotations

from itertools import groupby
from typing import Any

from rcdcheck import data
from rcdcheck.judging import danger
from rcdcheck.records import Audit
from rcdcheck.reports import act_now, html_credibility, html_history, html_method, html_people, html_record
from rcdcheck.reports.pictures import pictures
from rcdcheck.reports.text import counted
from rcdcheck.reports.words import GRADES
from rcdcheck.scrutiny import method

LISTED = 1_000  # devices of each list of things to do
MENDS, ALSO, DUE, FILES = 300, 100, 40, 60
CONTENTS = (
    ("act-now", "Act now"),
    ("history", "Since earlier visits"),
    ("credibility", "Can it be relied on?"),
    ("pictures", "Pictures"),
    ("devices", "Devices"),
    ("findings", "Findings"),
    ("rows", "Rows passed over"),
    ("limits", "Limits used"),
    ("method", "Method"),
    ("cautions", "Cautions"),
)
UNRANKED = "No reading fails: the look-over or the test button failed, or the sheet itself says so."


def words(audit: Audit, counts: dict[str, int]) -> dict[str, Any]:
    """What the templates of the office's page ask for."""
    drawn = pictures(audit)
    found = html_credibility.doubts(audit, "doubt")
    ordinary, left = html_credibility.ordinary(audit), html_credibility.not_asked(audit)
    history = html_history.words(audit)
    empty = {"pictures": not drawn, "history": not history["history_sections"]}
    return {
        "contents": [c for c in CONTENTS if not empty.get(c[0])],
        **history,
        "pictures": drawn,
        "grade_words": GRADES[audit.grade.grade],
        "other_grades": [(g.name, g.scope, g.grade, g.decided_by, f"{g.tests:,}") for g in audit.grades[1:]],
        "doubts": found,
        "notes": html_credibility.doubts(audit, "note"),
        "untested": html_credibility.untested(audit),
        "ordinary": ordinary,
        "ordinary_rows": [(a.asks or a.question, a.who, a.n, a.seen, a.expected, a.chance) for a in ordinary],
        "not_asked": left,
        "not_asked_rows": [(a.asks, a.of_whom) for a in left],
        "scope": html_people.scope(audit),
        "people": html_people.people(audit),
        "letter_rows": html_credibility.letter(audit),
        **_act_now(audit, counts),
        **_record(audit),
    }


def _act_now(audit: Audit, counts: dict[str, int]) -> dict[str, Any]:
    withdraw, settle = act_now.withdraw(audit, LISTED), act_now.settle(audit, LISTED)
    cells, also, due = act_now.mendable(audit), act_now.also_wrong(audit), act_now.due(audit)
    mends, remarks = act_now.mends(audit, cells.head(MENDS)), act_now.remarks(audit, also)
    others = int(also["count"].sum())
    unsettled = counts["devices.unclear"] + counts["devices.incomplete"]
    steps = (
        ("act.withdraw", counts["devices.fail"], "to withdraw", ""),
        ("act.settle", unsettled, "to go back to or settle", ""),
        ("act.mend", int(cells["count"].sum()), "cells to mend", f"and {counted(others, 'remark')}" if others else ""),
        ("act.due", len(due), "due soon or past", ""),
    )
    ranks = danger.sentences()
    return {
        "steps": steps,
        "withdraw": [(ranks.get(rank, UNRANKED), list(g)) for rank, g in groupby(withdraw, key=lambda i: i.danger)],
        "withdraw_listed": len(withdraw),
        "danger_notice": danger.notice(),
        "settle": [(site or "Site not stated", list(g)) for site, g in groupby(settle, key=lambda i: i.site)],
        "settle_listed": len(settle),
        "mend": [(place, list(g)) for place, g in groupby(mends, key=lambda m: m.place)],
        "mend_listed": len(mends),
        "also": remarks[:ALSO],
        "also_left": len(remarks) - ALSO,
        "due": act_now.dues(audit, due.head(DUE)),
        "soon": act_now.SOON,
    }


def _record(audit: Audit) -> dict[str, Any]:
    rows, lost = html_record.passed_over(audit)
    inputs, rules = html_record.inputs(audit), audit.rules
    return {
        "findings": html_record.findings(audit),
        "passed_over": rows,
        "passed_over_left": lost - len(rows),
        "inputs": inputs[:FILES],
        "inputs_left": len(inputs) - FILES,
        "needs": [(n.text, n.source, n.standing) for n in rules.needs],
        "intervals": [(f"{i.kind}, {i.environment}", f"{i.months:g}", i.source, i.standing) for i in rules.intervals],
        "uncertainties": html_record.uncertainties(audit),
        "grades_source": data.toml("grades.toml")["source"],
        "options": html_record.options(audit),
        "pages": method.pages(),
        "calibration": html_method.calibration(),
    }
