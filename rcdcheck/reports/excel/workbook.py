"""The workbook of an audit: for the office with everything, or for the client to be handed over."""

from __future__ import annotations

from collections.abc import Iterable

from rcdcheck.audits import Audit
from rcdcheck.reports import hidden_names
from rcdcheck.reports.excel import client, devices, lists, readings
from rcdcheck.reports.excel.about import about
from rcdcheck.reports.excel.act_now import act_now_sheet
from rcdcheck.reports.excel.charts import sites, trip_times
from rcdcheck.reports.excel.credibility import credibility
from rcdcheck.reports.excel.history import over_time
from rcdcheck.reports.excel.summary import summary
from rcdcheck.reports.excel.tables import Sheet
from rcdcheck.reports.excel.writer import Book
from rcdcheck.reports.heading import Heading

KEYWORDS = "rcdcheck-report"  # by which intake knows its own reports and refuses them


def workbook(audit: Audit, heading: Heading, *, audience: str = "office", hide_names: bool = False) -> Iterable[bytes]:
    """The workbook in pieces; `audience` is "office" or "client", `hide_names` replaces people by letters."""
    if hide_names:
        audit = hidden_names.hidden(audit)
    sheets = client.sheets(audit, heading) if audience == "client" else _office(audit, heading)
    title = ": ".join(filter(None, (heading.client, sheets[0].title)))
    author = heading.prepared_by or (heading.firm.name if heading.firm else "")
    book = Book(title, KEYWORDS, audit.options.as_of, author=author)
    for sheet in sheets:
        book.add(sheet)
    return book.pieces()


def _office(audit: Audit, heading: Heading) -> list[Sheet]:
    sheets = [
        act_now_sheet(audit),
        devices.devices(audit),
        readings.readings(audit),
        lists.findings(audit),
        credibility(audit),
        *([over_time(audit)] if audit.history.named else []),
        lists.tags(audit),
        Sheet("Pictures", "Pictures", "Outcomes by site, and trip times by band.", [sites(audit), trip_times(audit)]),
        lists.passed_over(audit),
        lists.limits(audit),
        about(audit),
    ]
    return [summary(audit, heading, sheets), *sheets]
