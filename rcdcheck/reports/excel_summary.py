"""The first sheet of the workbook: counts, grade, ways to the other sheets, two pictures."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence

from rcdcheck.records import Audit
from rcdcheck.reports import Heading
from rcdcheck.reports.excel_charts import ORDER, sites, trip_times
from rcdcheck.reports.excel_tables import Block, Column, Linked, Sheet
from rcdcheck.reports.words import GRADES, OUTCOMES

Row = tuple[object, ...]
ITEM, VALUE = Column("Item", "text", 44), Column("Value", "line", 12)


def summary(audit: Audit, heading: Heading, contents: Sequence[Sheet]) -> Sheet:
    """Counts, grade and what to do, with ways to the other sheets."""
    counts = audit.counts()["devices"]
    said = ", ".join(f"{counts[outcome.word]:,} {outcome.word}" for outcome in ORDER)
    sentence = f"{said}. Record grade {audit.grade.grade}: {audit.grade.decided_by}."
    blocks = [
        Block("Outcomes", (Column("Outcome", "word"), Column("Devices", "whole"), Column("Meaning", "line", 12)),
              [(o.word, counts[o.word], OUTCOMES[o.word]) for o in ORDER], "Devices"),
        Block("Subject", (ITEM, VALUE), list(_subject(audit, heading)), "What was audited"),
        Block("Contents", (Column("Sheet", "text"), Column("Holds", "line", 12)),
              [(Linked(s.name, f"'{s.name}'!A1"), s.sentence or TAGS) for s in contents], "Sheets of this workbook"),
        Block("RecordGrade", (Column("Line", "text", 44), Column("Grade", "word"), Column("Figure", "line", 12)),
              list(_grade(audit)), f"Can the record be relied on? Grade {audit.grade.grade}"),
        dataclasses.replace(sites(audit), new_page=True),
        trip_times(audit),
        Block("RowsRead", _ROWS, list(_rows(audit)), "Rows: all that is not blank = heading + test + passed over"),
    ]  # fmt: skip
    return Sheet("Summary", heading.title or "Audit of RCD test readings", sentence, blocks, back="")


TAGS = "One row for each device, without a title above the headings, as a label printer takes it."
_ROWS = (
    Column("File", "text", 44), Column("Status", "word"), Column("Heading", "whole"), Column("Test", "whole"),
    Column("Passed over", "whole"), Column("Not blank", "whole"),
)  # fmt: skip


def _subject(audit: Audit, heading: Heading) -> Iterator[Row]:
    yield from (
        (name, text) for name, text in (("Client", heading.client), ("Prepared by", heading.prepared_by)) if text
    )
    yield "Rule set", f"{audit.rules.title} ({audit.rules.name})"
    yield "Document", f"{audit.rules.document}, {audit.rules.edition}"
    yield "Day that counts as today", audit.options.as_of.isoformat()
    yield "Tests counted", int(audit.test_outcomes["counted"].sum())
    yield "Readings", len(audit.verdicts)
    yield "Findings", int(audit.findings["count"].sum())
    yield from (("Assumed by you", f"{field.replace('_', ' ')} = {value}") for field, value in audit.options.assume)


def _grade(audit: Audit) -> Iterator[Row]:
    yield "as a whole", audit.grade.grade, GRADES[audit.grade.grade]
    yield from audit.grade.lines


def _rows(audit: Audit) -> Iterator[Row]:
    names = ["heading", "test", "passed_over", "non_blank"]
    for number, one in enumerate(audit.tables.inputs):
        counts = audit.tables.sheets.loc[audit.tables.sheets["input"] == number, names].sum()
        yield one.name, one.status.replace("_", " "), *(int(counts[name]) for name in names)
