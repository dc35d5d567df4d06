"""The pictures of the page, in its order; one file each, drawn with `picture_parts`."""

from __future__ import annotations

from rcdcheck.records import Audit
from rcdcheck.reports import picture_clock as clock
from rcdcheck.reports import picture_digits as digits
from rcdcheck.reports import picture_drift as drift
from rcdcheck.reports import picture_phases as phases
from rcdcheck.reports import picture_ramp as ramp
from rcdcheck.reports import picture_times as times
from rcdcheck.reports.picture_parts import Picture


def pictures(audit: Audit) -> list[Picture]:
    """All pictures for which the record holds numbers."""
    drawn = (one.draw(audit) for one in (times, phases, ramp, drift, clock, digits))
    return [picture for picture in drawn if picture is not None]
