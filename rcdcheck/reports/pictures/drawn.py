"""The pictures of the page, in its order; one file each, drawn with `picture_parts`."""

from __future__ import annotations

from rcdcheck.audits import Audit
from rcdcheck.reports.pictures import clock, digits, drift, phases, ramp, times
from rcdcheck.reports.pictures.parts import Picture


def pictures(audit: Audit) -> list[Picture]:
    """All pictures for which the record holds numbers."""
    drawn = (one.draw(audit) for one in (times, phases, ramp, drift, clock, digits))
    return [picture for picture in drawn if picture is not None]
