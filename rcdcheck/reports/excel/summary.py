"""The first sheet of the workbook: counts, what to do, grade, ways to the other sheets."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rcdcheck.audits import Audit
from rcdcheck.reports import facts
from rcdcheck.reports.excel.charts import ORDER
from rcdcheck.reports.excel.tables import Block, Column, Linked, Sheet
from rcdcheck.reports.heading import Heading
from rcdcheck.reports.not_said import not_said
from rcdcheck.reports.text import counted
from rcdcheck.reports.wording import GRADES, OUTCOMES

Row = tuple[object, ...]
FIRST, TEXT, LAST = Column("Item", "text", 34), Column("Value", "text", 76), Column("Number", "whole", 12)
TAGS = "One row for each device, without a title above the headings, as a label printer takes it."


def summary(audit: Audit, heading: Heading, contents: Sequence[Sheet]) -> Sheet:
    """Counts, grade and what to do, with ways to the other sheets."""
    told, counts = facts.of(audit), audit.counts()["devices"]
    said = ", ".join(f"{counts[outcome.word]:,} {outcome.word}" for outcome in ORDER)
    sentence = f"{said}. Record grade {audit.grade.grade}: {GRADES[audit.grade.grade]}"
    blocks = [
        Block("Outcomes", (Column("Outcome", "word", 34), Column("Meaning", "text", 76), Column("Devices", "whole")),
              [(o.word, OUTCOMES[o.word], counts[o.word]) for o in ORDER], "Devices"),
        Block("ToDo", (Column("To do", "text", 34), Column("Where", "text", 76), Column("Number", "whole", 12)),
              list(_to_do(told)), "Act now"),
        Block("Subject", (FIRST, TEXT), list(_subject(audit, heading, told)), "What was audited"),
        Block("RecordGrade", (Column("Line", "text", 34), Column("Figure", "text", 76), Column("Grade", "word", 12)),
              list(_grade(audit)), f"Can the record be relied on? Grade {audit.grade.grade}"),
        Block("Contents", (Column("Sheet", "text", 34), Column("Holds", "text", 76)),
              [(Linked(s.name, f"'{s.name}'!A1"), s.sentence or TAGS) for s in contents], "Sheets of this workbook"),
    ]  # fmt: skip
    return Sheet("Summary", heading.title or "Audit of RCD test readings", sentence, blocks, back="", upright=True)


def _to_do(told: facts.Facts) -> Iterator[Row]:
    n = told.counts
    yield "to withdraw", "Act now: every failed device", n["to_do.withdraw"]
    yield "to go back to", "Act now: what only the device can tell", n["to_do.go_back"]
    yield "to mend at the desk", f"Act now: by cause, in {counted(n['to_do.desk_cells'], 'place')}", n["to_do.desk"]
    yield "due soon or past", f"Act now: within {facts.SOON} days", n["to_do.due"]


def _subject(audit: Audit, heading: Heading, told: facts.Facts) -> Iterator[Row]:
    firm = heading.firm.name if heading.firm else ""
    named = {"Report": heading.number, "Firm": firm, "Client": heading.client, "Prepared by": heading.prepared_by}
    yield from ((name, text) for name, text in named.items() if text)
    yield "Rule set", f"{audit.rules.title} ({audit.rules.name})"
    yield "Document", f"{audit.rules.document}, {audit.rules.edition}"
    yield "Day that counts as today", audit.options.as_of.isoformat()
    yield "Tests counted", f"{told.counts['tests.counted']:,}"
    yield "Readings", f"{told.counts['readings.all']:,}"
    yield "Findings", f"{int(audit.findings['count'].sum()):,}"
    yield from (("Mind", notice) for notice in told.notices)


def _grade(audit: Audit) -> Iterator[Row]:
    yield "as a whole", GRADES[audit.grade.grade], audit.grade.grade
    if unsaid := not_said(audit):
        yield "what it does not say", unsaid, ""
    yield from ((title, figure, letter) for title, letter, figure in audit.grade.lines)
