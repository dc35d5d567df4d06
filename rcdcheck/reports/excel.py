"""The workbook of an audit: for the office with everything, or for the client to be handed over."""

from __future__ import annotations

from collections.abc import Iterable

from rcdcheck.records import Audit
from rcdcheck.reports import excel_client, excel_devices, excel_readings, names
from rcdcheck.reports import excel_lists as lists
from rcdcheck.reports.excel_about import about
from rcdcheck.reports.excel_act_now import act_now_sheet
from rcdcheck.reports.excel_charts import sites, trip_times
from rcdcheck.reports.excel_credibility import credibility
from rcdcheck.reports.excel_history import over_time
from rcdcheck.reports.excel_summary import summary
from rcdcheck.reports.excel_tables import Sheet
from rcdcheck.reports.excel_writer import Book
from rcdcheck.reports.heading import Heading

KEYWORDS = "rcdcheck-report"  # by which intake knows its own reports and refuses them


def workbook(audit: Audit, heading: Heading, *, audience: str = "office", hide_names: bool = False) -> Iterable[bytes]:
    """The workbook in pieces; `audience` is "office" or "client", `hide_names` replaces people by letters."""
    if hide_names:
        audit = names.hidden(audit)
    sheets = excel_client.sheets(audit, heading) if audience == "client" else _office(audit, heading)
    title = ": ".join(filter(None, (heading.client, sheets[0].title)))
    author = heading.prepared_by or (heading.firm.name if heading.firm else "")
    book = Book(title, KEYWORDS, audit.options.as_of, author=author)
    for sheet in sheets:
        book.add(sheet)
    return book.pieces()


def _office(audit: Audit, heading: Heading) -> list[Sheet]:
    sheets = [
        act_now_sheet(audit),
        excel_devices.devices(audit),
        excel_readings.readings(audit),
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
