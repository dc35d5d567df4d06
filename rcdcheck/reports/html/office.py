"""The page for whoever tests or audits: what to do first, credibility, pictures, detail, method."""

from __future__ import annotations

from itertools import groupby
from typing import Any

from rcdcheck import data
from rcdcheck.audits import Audit
from rcdcheck.judging import danger
from rcdcheck.reports import facts
from rcdcheck.reports.html import credibility, record
from rcdcheck.reports.html import history as html_history
from rcdcheck.reports.html import method as html_method
from rcdcheck.reports.html import people as html_people
from rcdcheck.reports.not_said import hardly_seen, not_said
from rcdcheck.reports.pictures.drawn import pictures
from rcdcheck.reports.wording import GRADES
from rcdcheck.scrutiny import method

LISTED = 1_000  # devices of each list of things to do
CAUSES, DUE, FILES = 200, 40, 60
SEVERAL = 3  # people from which the page opens with a table of them
CONTENTS = (
    ("people", "Who tested"),
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


def words(audit: Audit) -> dict[str, Any]:
    """What the templates of the office's page ask for."""
    drawn = pictures(audit)
    found = credibility.doubts(audit, "doubt")
    ordinary, left = credibility.ordinary(audit), credibility.not_asked(audit)
    history = html_history.words(audit)
    people = html_people.people(audit)
    empty = {"pictures": not drawn, "history": not history["history_sections"], "people": len(people) < SEVERAL}
    return {
        "contents": [c for c in CONTENTS if not empty.get(c[0])],
        **history,
        "pictures": drawn,
        "grade_words": GRADES[audit.grade.grade],
        "other_grades": [(g.name, g.scope, g.grade, g.decided_by, f"{g.tests:,}") for g in audit.grades[1:]],
        "doubts": found,
        "notes": credibility.doubts(audit, "note"),
        "not_said": not_said(audit),
        "hardly_seen": hardly_seen(audit),
        "ordinary": ordinary,
        "ordinary_rows": [(a.asks or a.question, a.who, a.n, a.seen, a.expected, a.chance) for a in ordinary],
        "not_asked": left,
        "not_asked_rows": [(a.asks, a.of_whom) for a in left],
        "scope": html_people.scope(audit),
        "people": people,
        "people_head": html_people.HEAD,
        "people_said": html_people.SAID,
        "letter_rows": credibility.letter(audit),
        **_act_now(audit),
        **_record(audit),
    }


def _act_now(audit: Audit) -> dict[str, Any]:
    told = facts.of(audit)
    causes = told.desk
    steps = (
        ("withdraw", "to withdraw"),
        ("go_back", "to go back to"),
        ("desk", "cause to mend at the desk" if len(causes) == 1 else "causes to mend at the desk"),
        ("due", "due soon or past"),
    )
    ranks = danger.sentences()
    back = told.go_back[:LISTED]
    return {
        "steps": steps,
        "withdraw": [
            (ranks.get(rank, UNRANKED), list(g)) for rank, g in groupby(told.withdraw, key=lambda i: i.danger)
        ],
        "danger_notice": danger.notice(),
        "go_back": [(site or "Site not stated", list(g)) for site, g in groupby(back, key=lambda i: i.site)],
        "go_back_left": len(told.go_back) - len(back),
        "causes": causes[:CAUSES],
        "causes_left": len(causes) - CAUSES,
        "due": told.dues(DUE),
        "soon": facts.SOON,
    }


def _record(audit: Audit) -> dict[str, Any]:
    rows, lost = record.passed_over(audit)
    inputs, rules = record.inputs(audit), audit.rules
    return {
        "findings": record.findings(audit),
        "passed_over": rows,
        "passed_over_left": lost - len(rows),
        "inputs": inputs[:FILES],
        "inputs_left": len(inputs) - FILES,
        "needs": [(n.text, n.source, n.standing) for n in rules.needs],
        "intervals": [(f"{i.kind}, {i.environment}", f"{i.months:g}", i.source, i.standing) for i in rules.intervals],
        "uncertainties": record.uncertainties(audit),
        "grades_source": data.toml("grades.toml")["source"],
        "options": record.options(audit),
        "pages": method.pages(),
        "calibration": html_method.calibration(),
        "figures": method.figures(),
    }
