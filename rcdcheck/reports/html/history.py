"""The section on earlier visits: what is new since the last audit, and what the register knows beside it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from rcdcheck.audits import Audit
from rcdcheck.history import STILL, Change
from rcdcheck.reports.history_facts import drifts, jumps, models, rate_words, taken_for_the_same
from rcdcheck.reports.history_text import TITLES
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
    made = (_new(audit), _drift(audit), _models(audit), _jumps(audit), _rates(audit), _same(audit))
    return [one for one in made if one.rows]


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


def _drift(audit: Audit) -> Section:
    rows = [
        (
            d["device"], d["site"], d["reading"], f"{d['last']:g} {d['unit']}", f"{d['limit']:g} {d['unit']}",
            f"{d['slope']:.3g} {d['unit']} a year ({d['low']:.3g} to {d['high']:.3g})", d["reached"],
        )
        for d in drifts(audit)
    ]  # fmt: skip
    return Section(
        anchor="drift",
        title="Drifting to their limit",
        caption="Readings that climb over five or more visits, and when they would reach their limit",
        head=("Device", "Site", "Reading", "Now", "Limit", "Climbs by (95 %)", "Reaches it about"),
        rows=tuple(rows[:LISTED]),
        intro="Median of the slopes of all pairs of visits, with its interval. Another instrument at a later visit can "
        "look like drift. Nothing is projected further ahead than was seen.",
        left=max(0, len(rows) - LISTED),
        what="readings",
    )


def _models(audit: Audit) -> Section:
    return Section(
        anchor="models",
        title="Models that drift",
        caption="Devices of fewer than five visits, which show no trend of their own, pooled by model",
        head=("Model", "Reading", "Devices", "Median change a year", "Chance without drift"),
        rows=tuple(
            (
                m["model"],
                m["reading"],
                str(m["devices"]),
                f"{m['slope']:.3g} {m['unit']}",
                f"{max(m['chance'], 1e-4):.4f}",
            )
            for m in models(audit)
        ),
    )


def _jumps(audit: Audit) -> Section:
    rows = [
        (
            j["device"], j["site"], j["reading"], f"{j['before']:g} {j['unit']}", f"{j['now']:g} {j['unit']}",
            "every reading jumped: perhaps another device" if j["whole_device"] else "",
        )
        for j in jumps(audit)
    ]  # fmt: skip
    return Section(
        anchor="jumps",
        title="Jumps since the visit before",
        caption="Readings that changed by more than this fleet's readings change from visit to visit",
        head=("Device", "Site", "Reading", "Before", "Now", "Beside it"),
        rows=tuple(rows[:LISTED]),
        left=max(0, len(rows) - LISTED),
        what="readings",
    )


def _rates(audit: Audit) -> Section:
    rates = audit.history.rates
    return Section(
        anchor="rates",
        title="How often devices failed at these sites",
        caption="Visits of devices that passed or failed, before this audit",
        head=("By", "Name", "Failed", "Share", "95 % interval"),
        rows=tuple((rate.by, *rate_words(rate)) for rate in rates[:LISTED]),
        intro="Intervals that overlap rank nobody.",
        left=max(0, len(rates) - LISTED),
        what="lines",
    )


def _row(change: Change) -> tuple[str, ...]:
    kind = "still open" if change.kind == STILL else TITLES[change.kind].split(",")[0].split(":")[0]
    return change.device, change.site, kind, change.was, change.now, change.why
