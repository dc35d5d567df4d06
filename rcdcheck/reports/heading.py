"""What a person asks of a report: what stands at its head, and how much it lists."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Firm:
    """Who hands a report over: the block at its head. `picture` is a data URL, empty for none."""

    name: str
    address: tuple[str, ...] = ()
    licence: str = ""
    contact: tuple[str, ...] = ()
    picture: str = ""


@dataclass(frozen=True)
class Heading:
    """What stands at the head of a report that is handed over; empty fields are left out."""

    title: str = ""
    client: str = ""
    prepared_by: str = ""
    audience: str = "office"  # or "client": what one hands over, with nothing on credibility
    hide_names: bool = False  # people become letters
    number: str = ""  # of the report
    firm: Firm | None = None


@dataclass(frozen=True)
class Extent:
    """How much a report lists: "all", for a page "attention", or empty for what the format sees fit."""

    devices: str = ""
    readings: str = ""
    tests: str = ""


AS_FITS = Extent()
