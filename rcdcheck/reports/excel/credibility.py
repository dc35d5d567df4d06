"""Can the record be relied on: doubts with their evidence, grades by whom, and every question that was asked or not."""

from __future__ import annotations

from collections.abc import Iterator

from rcdcheck.audits import Audit
from rcdcheck.reports.excel.places import Places, cell
from rcdcheck.reports.excel.tables import Block, Column, Sheet
from rcdcheck.reports.not_said import not_said

Row = tuple[object, ...]
STRENGTHS = ["strong", "moderately strong", "note", "nothing unusual", "", "not asked"]  # the strongest first
DOUBTS = (
    Column("Strength", "word", 20), Column("What was seen", "text", 46),
    Column("Chance in independent readings", "text", 20),
    Column("What may explain it innocently", "text", 28), Column("What the chance assumes", "text", 28),
    Column("Tests", "whole"), Column("File", "text", 18), Column("Sheet", "text", 14), Column("Cells", "id", 14),
)  # fmt: skip
GRADES = (
    Column("Grade", "word"), Column("Decided by", "text", 46), Column("Grade of", "text", 20),
    Column("Name", "text", 28), Column("Tests", "whole"),
)  # fmt: skip
NOT_SAID = (Column("What was not asked or would hardly be seen, and how to find out", "text", 70),)
QUESTIONS = (
    Column("Strength", "word", 20), Column("Answer, or why not asked", "text", 46), Column("Question", "text", 20),
    Column("Who", "text", 28), Column("What of theirs", "text", 28), Column("n", "whole"),
    Column("Seen", "figure", 12), Column("Expected", "figure", 12), Column("Chance", "figure", 12),
    Column("Chance adjusted", "figure", 12),
)  # fmt: skip


def credibility(audit: Audit) -> Sheet:
    """Doubts, grades and questions."""
    sentence = (
        "A doubt says what was seen, and how often independent readings show it. It is a reason to look, not proof."
    )
    unsaid = not_said(audit)
    blocks = [
        Block("Doubts", DOUBTS, _doubts(audit), "Doubts", "No doubt was raised. That is no proof of honest work."),
        Block("Grades", GRADES, _grades(audit), "Grades: the worst line decides"),
        Block("NotSaid", NOT_SAID, [(unsaid,)] if unsaid else [], "What the grades do not say", "No device was read."),
        Block("Questions", QUESTIONS, _questions(audit), "Every question, asked or not", "No question was put."),
    ]
    return Sheet("Credibility", "Can this record be relied on?", sentence, blocks)


def _doubts(audit: Audit) -> Iterator[Row]:
    found = audit.findings[audit.findings["severity"] == "doubt"]
    places = Places(audit)
    where = places.files(found["sheet"].to_numpy()), places.sheets(found["sheet"].to_numpy())
    for f, file, sheet in zip(found.itertuples(), *where, strict=True):
        seen = f.evidence or {}
        yield (
            seen.get("strength", "doubt"), f.message, seen.get("chance_in_words") or "not a matter of chance",
            seen.get("innocent", ""), seen.get("assumes", ""), seen.get("tests_total", f.count), file, sheet,
            cell(f.row, f.column, f.last_row),
        )  # fmt: skip


def _grades(audit: Audit) -> Iterator[Row]:
    for g in audit.grades:
        yield g.grade, g.decided_by, g.scope, g.name, g.tests


def _questions(audit: Audit) -> Iterator[Row]:
    strength = audit.questions["strength"].where(audit.questions["asked"], "not asked")
    order = strength.map(STRENGTHS.index).sort_values(kind="stable").index
    for q in audit.questions.loc[order].itertuples():
        yield (
            q.strength if q.asked else "not asked", q.sentence if q.asked else q.why_not,
            q.question.replace("_", " "), q.technician or "nobody named", q.group, q.n,
            q.statistic, q.expectation, q.chance, q.adjusted,
        )  # fmt: skip
