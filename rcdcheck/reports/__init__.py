"""What each reader gets: one file per format, each a function from an Audit to bytes, and the registry of them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rcdcheck.reports.heading import AS_FITS, Extent, Heading

if TYPE_CHECKING:
    from rcdcheck.audits import Audit


Report = Callable[["Audit", Heading, Extent], Iterable[bytes]]


@dataclass(frozen=True)
class Format:
    """A kind of report: how its file is called after the name of the run, and what makes its bytes."""

    suffix: str
    report: Report


def _page(audit: Audit, heading: Heading, extent: Extent) -> Iterable[bytes]:
    from rcdcheck.reports.html.page import page

    return page(audit, heading, audience=heading.audience, hide_names=heading.hide_names, devices=extent.devices)


def _workbook(audit: Audit, heading: Heading, extent: Extent) -> Iterable[bytes]:
    from rcdcheck.reports.excel.workbook import workbook

    return workbook(audit, heading, audience=heading.audience, hide_names=heading.hide_names)


def _document(audit: Audit, heading: Heading, extent: Extent) -> Iterable[bytes]:
    from rcdcheck.reports.json_document import chunks

    devices = extent.devices if extent.devices == "all" else ""
    return chunks(audit, devices=devices, readings=extent.readings, tests=extent.tests)


def _tags(audit: Audit, heading: Heading, extent: Extent) -> Iterable[bytes]:
    from rcdcheck.reports.tags import tag_list

    return tag_list(audit, hide_names=heading.hide_names)


FORMATS = {  # what --write takes, in the order in which files are written
    "html": Format(".html", _page),
    "xlsx": Format(".xlsx", _workbook),
    "json": Format(".json", _document),
    "tags": Format("-tags.csv", _tags),
}


def report_bytes(kind: str, audit: Audit, heading: Heading, extent: Extent = AS_FITS) -> Iterable[bytes]:
    """The report of a kind of FORMATS as pieces of bytes."""
    return FORMATS[kind].report(audit, heading, extent)
