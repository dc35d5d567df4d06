"""The workbook that is handed to a client: what was tested, by which rules, what is wrong, what was not tested.

Nothing on credibility or pace; the office has its own workbook for that.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from rcdcheck.audits import Audit
from rcdcheck.reports import to_do
from rcdcheck.reports.excel import lists, readings
from rcdcheck.reports.excel.charts import ORDER, sites
from rcdcheck.reports.excel.places import chunks, moment
from rcdcheck.reports.excel.tables import Block, Column, Linked, Measure, Sheet
from rcdcheck.reports.heading import Heading
from rcdcheck.reports.tags import last_tests
from rcdcheck.reports.text import counted
from rcdcheck.reports.wording import CAUTIONS, OUTCOMES
from rcdcheck.terms import Outcome

Row = tuple[object, ...]
BACK = "Report"
BOX = "☐"
DEVICE = (
    Column("Device", "id", 18), Column("Site", "text", 16), Column("Board", "text", 12), Column("Location", "text", 22),
)  # fmt: skip
ITEM, VALUE = Column("Item", "text", 30), Column("Value", "text", 80)


def sheets(audit: Audit, heading: Heading) -> list[Sheet]:
    """Report, defects, devices, readings, what was not tested, limits."""
    inner = [
        Sheet("Sites", "Sites", "Devices by site and outcome.", [sites(audit)], back=BACK),
        _defects(audit),
        _not_tested(audit),
        _devices(audit),
        replace(readings.client_readings(audit), back=BACK),
        _limits(audit),
    ]
    return [_report(audit, heading, inner), *inner]


def _limits(audit: Audit) -> Sheet:
    """The limits, and in plain words how they are known."""
    sheet = lists.limits(audit)
    sentences = [(text,) for text in re.split(r"(?<=\.) ", audit.rules.notice)]  # a line each, no wider than the table
    notice = Block("Notice", (Column("How they are known", "line", 30),), sentences, "Notice")
    return replace(sheet, back=BACK, blocks=[*sheet.blocks, notice])


def _report(audit: Audit, heading: Heading, inner: Sequence[Sheet]) -> Sheet:
    counts = audit.counts()["devices"]
    said = ", ".join(f"{counts[outcome.word]:,} {outcome.word}" for outcome in ORDER)
    outcome = (Column("Outcome", "word"), Column("Meaning", "text", 80), Column("Devices", "whole"))
    instrument = (Column("Instrument", "text", 30), Column("Calibration due", "date", 16), Column("Tests", "whole"))
    blocks = [
        Block("Scope", (ITEM, VALUE), list(_scope(audit, heading)), "Scope"),
        Block("Outcomes", outcome, [(o.word, OUTCOMES[o.word], counts[o.word]) for o in ORDER], "Devices"),
        Block("Instruments", instrument, list(_instruments(audit)), "Instruments", "No instrument was named."),
        Block("Cautions", (Column("Caution", "line", 30),), [(text,) for text in CAUTIONS], "Cautions"),
        Block("Signature", (ITEM, Column("To be filled in", "text", 80)),
              [(name, "") for name in ("Name", "Licence", "Date", "Signature")], "Signature", lines=2),
        Block("Contents", (Column("Sheet", "text"), Column("Holds", "text", 80)),
              [(Linked(s.name, f"'{s.name}'!A1"), s.sentence) for s in inner], "Sheets of this workbook"),
    ]  # fmt: skip
    title = heading.title or "Report on tests of residual current devices"
    return Sheet(BACK, title, f"{counted(len(audit.devices), 'device')}: {said}.", blocks, back="", upright=True)


def _scope(audit: Audit, heading: Heading) -> Iterator[Row]:
    firm = heading.firm
    named = {"Report": heading.number, "Firm": ", ".join((firm.name, *firm.address)) if firm else "",
             "Licence": firm.licence if firm else "", "Client": heading.client,
             "Prepared by": heading.prepared_by}  # fmt: skip
    yield from ((name, text) for name, text in named.items() if text)
    for title, frame, field in (
        ("Sites", audit.devices, "site"),
        ("Tested by", audit.tables.tests, "technician"),
    ):
        names = [str(name) for name in dict.fromkeys(audit.tables.texts(frame[field])) if name]
        yield title, ", ".join(names) or "not stated"
    days = audit.tables.tests["tested_at"].dropna().dt.date
    if len(days):
        yield "Tested", str(days.min()) if days.min() == days.max() else f"{days.min()} to {days.max()}"
    yield "Rules", f"{audit.rules.title}: {audit.rules.document}, {audit.rules.edition}"
    yield "Covers", audit.rules.covers
    yield from (("Assumed", f"{field.replace('_', ' ')} = {value}") for field, value in audit.options.assume)
    yield from (("A complete test needs", need.text) for need in audit.rules.needs)


def _instruments(audit: Audit) -> Iterator[Row]:
    tests = audit.tables.tests[audit.test_outcomes["counted"].to_numpy()]
    for (code, due), group in tests.groupby(["instrument", "calibration_due"], sort=True, dropna=False):
        yield str(audit.tables.vocabulary[code]) or "not named", moment(due) or "not stated", len(group)


def _defects(audit: Audit) -> Sheet:
    boxes = [Column(name, "text", 12, 11) for name in ("Withdrawn", "Replaced", "Repaired", "Re-tested")]
    columns = (
        *DEVICE,
        Column("Defect", "text", 44),
        Column("In the sheet", "text", 24),
        *boxes,
        Column("Date and name", "text", 24, 24),
    )
    failed = to_do.items(audit, to_do.failed(audit), of_record=False)
    failed.sort(key=lambda item: (item.site, item.board))
    rows = [(i.name, i.site, i.board, i.location, " ".join(i.why), _said(i), BOX, BOX, BOX, BOX, "") for i in failed]
    sentence = "Failed devices by site: out of service until replaced, or repaired and tested. Mark what was done."
    return Sheet(
        "Defects", "Defects", sentence, [Block("Defects", columns, rows, none="No device failed.", lines=2)], back=BACK
    )


def _said(item: to_do.Item) -> str:
    return " · ".join(f"“{text}”" for text in item.said)


def _not_tested(audit: Audit) -> Sheet:
    columns = (*DEVICE, Column("Outcome", "word"), Column("Why", "text", 50), Column("In the sheet", "text", 24),
               Column("Left for the contractor", "text", 40))  # fmt: skip
    rows = [
        (i.name, i.site, i.board, i.location, i.outcome.word, " ".join(i.why), _said(i), i.action)
        for i in to_do.items(audit, to_do.unsettled(audit), of_record=False)
    ]
    files = [(one.name, one.reason) for one in audit.tables.inputs if one.status != "audited"]
    blocks = [Block("NotTested", columns, rows, "Devices", "Every device listed was tested completely.")]
    if files:
        head = (Column("File", "text", 30), Column("Why", "line", 24))
        blocks.append(Block("Files", head, files, "Files that could not be read"))
    sentence = "What was not tested, or not completely, and why. No pass until that is done."
    return Sheet("Not tested", "Not tested, or not completely", sentence, blocks, back=BACK)


def _devices(audit: Audit) -> Sheet:
    columns = (
        *DEVICE, Column("Kind", "text", 12), Column("Model", "text", 24), Column("Rated current", "mA", 12),
        Column("Outcome", "word"), Column("Tested", "date", 16), Column("Next test due", "date", 14),
    )  # fmt: skip
    sentence = "Every device with its outcome and the date of its next test; no date where it has not passed."
    return Sheet("Devices", "Devices", sentence, [Block("Devices", columns, _rows(audit))], back=BACK)


def _rows(audit: Audit) -> Iterator[Row]:
    tables, last = audit.tables, last_tests(audit)
    for at in chunks(np.arange(len(audit.devices))):
        some, tests = audit.devices.iloc[at], tables.tests.iloc[last[at]]
        fields = [tables.texts(some[name]).tolist() for name in ("site", "board")]
        fields += [tables.texts(tests[name]).tolist() for name in ("location", "kind", "model")]
        rated = tests["rated_residual_current"].tolist()
        for d, site, board, location, kind, model, mA in zip(some.itertuples(), *fields, rated, strict=True):  # noqa: N806
            yield (
                d.name, site, board, location, kind, model, Measure(mA, "mA"), Outcome(d.outcome).word,
                moment(d.tested_at), moment(d.retest_due),
            )  # fmt: skip
