"""The first and the last sheet of the workbook, and what is to be done now."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from typing import Any

import pandas as pd

from rcdcheck.findings import catalogue
from rcdcheck.records import Audit, column_letters
from rcdcheck.reports import Heading, act_now
from rcdcheck.reports.excel_charts import ORDER, sites, trip_times
from rcdcheck.reports.excel_places import Places, cell, device_link, first_reasons
from rcdcheck.reports.excel_writer import Block, Column, Linked, Sheet
from rcdcheck.reports.words import CAUTIONS, GRADES, OUTCOMES, SEVERITIES

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


def act_now_sheet(audit: Audit) -> Sheet:
    """Withdraw, go back by site and board, mend by sheet and cell; with a column to sign in."""
    head = (Column("Device", "id", 30), Column("Site", "text", 24), Column("Board", "text", 24),
            Column("Why", "text", 60), Column("What to do", "text", 50))  # fmt: skip
    place = (Column("File", "text", 30), Column("Sheet", "text", 18), Column("Cell", "id", 10))
    done = (Column("Done by, on", "text", 20, 18),)
    everyone = len(audit.devices)
    withdraw, back, mend = act_now.withdraw(audit, everyone), act_now.settle(audit, everyone), _mendable(audit)
    typed = (Column("Device", "id", 30), Column("Typed", "text", 24), Column("Perhaps", "text", 24), *head[3:])
    blocks = [
        Block("Withdraw", head + place + done, _devices(audit, withdraw), f"Withdraw now ({len(withdraw):,})",
              "No device failed."),
        Block("GoBack", head + place + done, _devices(audit, back),
              f"Go back or settle, by site and board ({len(back):,}); no pass tag until then", "No device is open."),
        Block("Mend", typed + place + done, _mend(audit, mend), f"Mend in the sheet, by sheet and cell ({len(mend):,})",
              "No cell needs mending."),
    ]  # fmt: skip
    sentence = "Devices to withdraw, the most dangerous first; devices to go back to; cells to mend. Sign at the right."
    return Sheet("Act now", "Act now", sentence, blocks)


def _devices(audit: Audit, items: list[act_now.Item]) -> Iterator[Row]:
    first, places = first_reasons(audit).reindex([item.number for item in items]), Places(audit)
    sheets = first["sheet"].fillna(-1).astype(int).to_numpy()
    where = places.files(sheets), places.sheets(sheets)
    for item, r, file, sheet in zip(items, first.itertuples(), *where, strict=True):
        at = cell(int(r.row), int(r.column)) if r.row == r.row else ""
        name = device_link(item.name, item.number)
        yield name, item.site, item.board, " ".join(item.why), item.action, file, sheet, at, ""


def _mendable(audit: Audit) -> pd.DataFrame:
    """Cells with a value that they might have been, and other errors of the sheet itself, by sheet and cell."""
    return pd.concat([act_now.mendable(audit), act_now.also_wrong(audit)]).sort_values(
        ["sheet", "row", "column"], kind="stable"
    )


def _mend(audit: Audit, found: Any) -> Iterator[Row]:
    places, kinds = Places(audit), catalogue()
    names, device = audit.devices["name"].to_numpy(), audit.test_outcomes["device"].to_numpy()
    where = places.files(found["sheet"].to_numpy()), places.sheets(found["sheet"].to_numpy())
    for f, file, sheet in zip(found.itertuples(), *where, strict=True):
        n = int(device[f.test]) if f.test >= 0 else -1
        name = device_link(names[n], n) if n >= 0 else ""
        at = cell(f.row, f.column, f.last_row)
        yield name, f.typed, f.suggestion, f.message, kinds[f.code].do, file, sheet, at, ""


def about(audit: Audit) -> Sheet:
    """How it was worked out: program, options, inputs, columns as understood, words, cautions."""
    wide = Column("Value", "text", 70)
    blocks = [
        Block("Cautions", (Column("Caution", "line", 24),), [(text,) for text in CAUTIONS], "Cautions"),
        Block("Method", (ITEM, wide), list(_method(audit)), "How it was worked out"),
        Block("Words", (Column("Word", "word"), Column("Meaning", "text", 70)),
              [*OUTCOMES.items(), *SEVERITIES.items(), *GRADES.items()], "Words"),
        Block("Inputs", (Column("File", "text", 44), Column("SHA-256", "text", 70), Column("Bytes", "whole"),
                         Column("Status", "word"), Column("Reason", "text", 40)), list(_inputs(audit)), "Inputs"),
        Block("ColumnMeanings", _COLUMNS, _columns(audit), "How each column was understood", "No column was read."),
    ]  # fmt: skip
    return Sheet(
        "About", "About this audit", "How it was worked out, from which files, and what to keep in mind.", blocks
    )


def _method(audit: Audit) -> Iterator[Row]:
    rules = audit.rules
    yield "Program", f"rcdcheck {audit.version}"
    yield "Fingerprint of inputs, rules, options and version", audit.fingerprint
    yield "Rule set", f"{rules.name}: {rules.title}"
    yield "Document", f"{rules.document}, {rules.edition}"
    yield "Covers", rules.covers
    yield "SHA-256 of the rule set", rules.sha256
    yield "Notice", rules.notice
    for name, value in dataclasses.asdict(audit.options).items():
        shown = _option(value)
        if shown:
            yield f"Option {name.replace('_', ' ')}", shown


def _option(value: object) -> str:
    if not isinstance(value, tuple):
        return str(value)
    return "; ".join("=".join(map(str, part)) if isinstance(part, tuple) else str(part) for part in value)


def _inputs(audit: Audit) -> Iterator[Row]:
    for one in audit.tables.inputs:
        yield one.name, one.sha256, one.bytes, one.status.replace("_", " "), one.reason


_COLUMNS = (
    Column("File", "text", 44), Column("Heading", "text", 70), Column("Sheet", "text", 24), Column("Column", "text"),
    Column("Read as", "text", 40), Column("Unit", "text"), Column("How", "text", 40),
)  # fmt: skip


def _columns(audit: Audit) -> Iterator[Row]:
    places, columns = Places(audit), audit.tables.columns
    where = places.files(columns["sheet"].to_numpy()), places.sheets(columns["sheet"].to_numpy())
    for c, file, sheet in zip(columns.itertuples(), *where, strict=True):
        yield file, c.heading, sheet, column_letters(c.column), c.meaning or "not understood", c.unit, c.how
