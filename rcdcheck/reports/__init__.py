"""What each reader gets: one file per format, each a function from an Audit to bytes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rcdcheck.records import Audit


@dataclass(frozen=True)
class Heading:
    """What stands at the head of a report that is handed over; empty fields are left out."""

    title: str = ""
    client: str = ""
    prepared_by: str = ""
    audience: str = "office"  # or "client": what one hands over, with nothing on credibility
    hide_names: bool = False  # people become letters


def report_bytes(kind: str, audit: Audit, heading: Heading, devices: str = "", readings: str = "") -> Iterable[bytes]:
    """The report of a kind ("html", "xlsx", "json") as pieces of bytes."""
    if kind == "html":
        from rcdcheck.reports.html import page

        return page(audit, heading, audience=heading.audience, hide_names=heading.hide_names)
    if kind == "xlsx":
        from rcdcheck.reports.excel import workbook

        return workbook(audit, heading, audience=heading.audience, hide_names=heading.hide_names)
    from rcdcheck.reports.json_document import chunks

    return chunks(audit, devices=devices, readings=readings)
