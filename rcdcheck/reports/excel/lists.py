"""The long lists of the workbook: findings, rows passed over, limits, tags. Written in chunks."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

import numpy as np

from rcdcheck.audits import Audit
from rcdcheck.findings import catalogue
from rcdcheck.reports.excel.places import Places, cell, chunks, device_link
from rcdcheck.reports.excel.tables import Block, Column, Measure, Sheet
from rcdcheck.reports.tags import tag_rows

Row = tuple[object, ...]


def findings(audit: Audit) -> Sheet:
    """Everything that was noticed, with its place, why it matters and what to do."""
    columns = (
        Column("Severity", "word"), Column("Device", "id", 18), Column("What", "text", 46), Column("Typed", "id", 14),
        Column("Perhaps", "text", 18), Column("File", "text", 20), Column("Sheet", "text", 14),
        Column("Cell", "id", 12), Column("Why it matters", "text", 34), Column("What to do", "text", 34),
        Column("Stands for", "whole"), Column("Code", "text", 28),
    )  # fmt: skip
    sentence = "Everything noticed; the device leads to its row. About explains the severities."
    block = Block("Findings", columns, _findings(audit), none="Nothing was noticed.")
    return Sheet("Findings", "Findings", sentence, [block], printed=10)


def _findings(audit: Audit) -> Iterator[Row]:
    places, kinds = Places(audit), catalogue()
    device, names = audit.test_outcomes["device"].to_numpy(), audit.devices["name"].to_numpy()
    for at in chunks(np.arange(len(audit.findings))):
        some = audit.findings.iloc[at]
        where = places.files(some["sheet"].to_numpy()), places.sheets(some["sheet"].to_numpy())
        for f, file, sheet in zip(some.itertuples(), *where, strict=True):
            number = int(device[f.test]) if f.test >= 0 else -1
            yield (
                f.severity, device_link(names[number] if number >= 0 else "", number), f.message, f.typed,
                f.suggestion, file, sheet, cell(f.row, f.column, f.last_row), kinds[f.code].why, kinds[f.code].do,
                int(f.count), f.code,
            )  # fmt: skip


def tags(audit: Audit) -> Sheet:
    """One row for each device and nothing above the headings, as a label printer wants it."""
    columns = (
        Column("Device", "id", 30), Column("Site", "text", 24), Column("Board", "text", 18),
        Column("Location", "text", 24), Column("Tested", "date", 16), Column("By", "text", 24),
        Column("Outcome", "word"), Column("Re-test due", "date", 12), Column("Tag", "text", 22),
    )  # fmt: skip
    return Sheet("Tag list", "Tag list", "", [Block("TagList", columns, _tags(audit))], plain=True)


def _tags(audit: Audit) -> Iterator[Row]:
    for *where, tested, person, outcome, due, tag in tag_rows(audit):
        yield *where, _day(tested), person, outcome, _day(due), tag


def _day(text: str) -> Measure | None:
    return Measure(dt.date.fromisoformat(text), "date") if text else None


def passed_over(audit: Audit) -> Sheet:
    """Every file, sheet and row that was not read as a test, with the reason."""
    columns = (
        Column("File", "text", 36), Column("Sheet", "text", 24), Column("Row", "whole"), Column("Reason", "text", 60),
        Column("Text", "text", 60), Column("Holds a reading", "text", 10),
    )  # fmt: skip
    sentence = "Every row that was read neither as heading nor as test; without a row number, the whole sheet or file."
    blocks = [
        Block("RowsPassedOver", columns, _passed_over(audit), none="No row, sheet or file was passed over."),
        Block("RowsRead", READ, list(_rows_read(audit)), "Rows: all that is not blank = heading + test + passed over"),
    ]
    return Sheet("Rows passed over", "Rows passed over", sentence, blocks)


READ = (
    Column("File", "text", 36), Column("Status", "text", 24), Column("Heading", "whole"), Column("Test", "whole"),
    Column("Passed over", "whole"), Column("Not blank", "whole"),
)  # fmt: skip


def _rows_read(audit: Audit) -> Iterator[Row]:
    names = ["heading", "test", "passed_over", "non_blank"]
    for number, one in enumerate(audit.tables.inputs):
        counts = audit.tables.sheets.loc[audit.tables.sheets["input"] == number, names].sum()
        yield one.name, one.status.replace("_", " "), *(int(counts[name]) for name in names)


def _passed_over(audit: Audit) -> Iterator[Row]:
    tables, places = audit.tables, Places(audit)
    for one in tables.inputs:
        if one.status != "audited":
            yield one.name, "", None, f"The file was not audited: {one.reason}", "", ""
    for s in tables.sheets[tables.sheets["reason"] != ""].itertuples():
        yield tables.inputs[s.input].name, s.sheet, None, f"No table was read: {s.reason}", "", ""
    for at in chunks(np.arange(len(tables.passed_over))):
        some = tables.passed_over.iloc[at]
        where = places.files(some["sheet"].to_numpy()), places.sheets(some["sheet"].to_numpy())
        for r, file, sheet in zip(some.itertuples(), *where, strict=True):
            yield file, sheet, int(r.row), r.reason, r.text, "yes" if r.holds_reading else "no"


def limits(audit: Audit) -> Sheet:
    """The limits that judged something, each with its source and how that source is known."""
    columns = (
        Column("Quantity", "text", 18), Column("RCD type", "text", 20), Column("Waveform", "text", 14),
        Column("Test current", "times", 12), Column("Minimum", "number", 12), Column("Maximum", "number", 12),
        Column("In words", "text", 26), Column("Readings judged", "whole"), Column("Source", "text", 44),
        Column("Standing", "text", 16),
    )  # fmt: skip
    sentence = f"The limits of {audit.rules.document} that judged a reading. Standing says how a figure is known."
    block = Block("LimitsUsed", columns, _limits(audit), none="No limit judged anything.")
    return Sheet("Limits used", "Limits used", sentence, [block])


def _limits(audit: Audit) -> Iterator[Row]:
    judged = audit.verdicts["limit_id"].to_numpy()
    used = np.bincount(judged[judged >= 0], minlength=len(audit.limits)).tolist()
    for limit, n in zip(audit.limits.itertuples(), used, strict=True):
        times = limit.quantity == "trip_time"
        yield (
            "trip time" if times else "ramp trip current", limit.rcd_type, limit.waveform.replace("_", " "),
            limit.multiple if times else None, Measure(limit.minimum, limit.unit), Measure(limit.maximum, limit.unit),
            limit.text, n, limit.source, limit.standing,
        )  # fmt: skip
