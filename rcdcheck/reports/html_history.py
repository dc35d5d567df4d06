"""The section on earlier visits: what is new since the last audit, and what the register knows beside it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from rcdcheck.history import STILL, Change
from rcdcheck.records import Audit
from rcdcheck.reports.history_text import TITLES
from rcdcheck.reports.json_document import taken_for_the_same
from rcdcheck.reports.text import counted

LISTED = 200  # lines of each table


@dataclass(frozen=True)
class Section:
    """One table of the section; `left` lines are not listed, `what` calls them."""

    anchor: str
    title: str
    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    intro: str = ""
    left: int = 0
    what: str = "devices"


def words(audit: Audit) -> dict[str, Any]:
    """What the template asks for; nothing without a register."""
    return {"history_sections": sections(audit), "history_intro": _intro(audit)}


def sections(audit: Audit) -> list[Section]:
    """The tables that hold anything."""
    return [one for one in (_new(audit), _same(audit)) if one.rows]


def _intro(audit: Audit) -> str:
    places = [p for p in audit.history.places if p.known]
    seen, known = sum(p.seen for p in places), sum(p.known for p in places)
    if not places:
        return "The register knew none of these sites."
    return (
        f"The register knew {counted(known, 'device')} at {counted(len(places), 'of these sites', 'of these sites')}; "
        f"{seen:,} of them were seen this time."
    )


def _new(audit: Audit) -> Section:
    changes = audit.history.changes
    return Section(
        anchor="new",
        title="New since the last audit",
        caption="Devices that stand otherwise than before, and those that are still open",
        head=("Device", "Site", "What is new", "Before", "Now", "Why"),
        rows=tuple(_row(change) for change in changes[:LISTED]),
        left=max(0, len(changes) - LISTED),
    )


def _same(audit: Audit) -> Section:
    lines = taken_for_the_same(audit) if audit.history.named else []
    return Section(
        anchor="same",
        title="Taken for the same device",
        caption="Devices that were known under another name or site",
        head=("Device", "Site", "Known as", "Because"),
        rows=tuple((d["device"], d["site"], d["called_before"], d["why"]) for d in lines[:LISTED]),
        intro="Where this is wrong, print the list with rcdcheck visits --same, write “different” into its lines, and "
        "give it back with --settle.",
        left=max(0, len(lines) - LISTED),
    )


def _row(change: Change) -> tuple[str, ...]:
    kind = "still open" if change.kind == STILL else TITLES[change.kind].split(",")[0].split(":")[0]
    return change.device, change.site, kind, change.was, change.now, change.why
