"""How the answer was worked out: program, options, inputs, columns as understood, words, cautions."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator

from rcdcheck.as_seen import column_letters
from rcdcheck.audits import Audit
from rcdcheck.judging import danger
from rcdcheck.reports.excel.places import Places
from rcdcheck.reports.excel.tables import Block, Column, Sheet
from rcdcheck.reports.wording import CAUTIONS, GRADES, OUTCOMES, SEVERITIES

Row = tuple[object, ...]
ITEM = Column("Item", "text", 44)


def about(audit: Audit) -> Sheet:
    """How it was worked out: program, options, inputs, columns as understood, words, cautions."""
    wide = Column("Value", "text", 70)
    blocks = [
        Block("Cautions", (Column("Caution", "line", 24),), [(text,) for text in CAUTIONS], "Cautions"),
        Block("Method", (ITEM, wide), list(_method(audit)), "How it was worked out"),
        Block("Ranks", (Column("Danger rank", "text"), Column("Meaning", "text", 70)),
              [(str(rank), said) for rank, said in danger.sentences().items()], "Danger ranks of failed devices"),
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
    yield "Notice on the rule set", rules.notice
    yield "Notice on danger ranks", danger.notice()
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
