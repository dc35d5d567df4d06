"""The page that is handed over: what was tested, what is wrong, what comes next; nothing on credibility or pace."""

from __future__ import annotations

from itertools import groupby
from typing import Any

from rcdcheck.audits import Audit
from rcdcheck.reports import to_do

LISTED = 1_000  # devices of each list


def words(audit: Audit) -> dict[str, Any]:
    """What the template of the client's page asks for."""
    failed = sorted(to_do.items(audit, to_do.failed(audit), of_record=False), key=lambda i: (i.site, i.board))
    defects = [(site or "Site not stated", list(g)) for site, g in groupby(failed, key=lambda i: i.site)]
    sites = [s for s in dict.fromkeys(audit.tables.texts(audit.devices["site"])) if s]
    people = [p for p in dict.fromkeys(audit.tables.texts(audit.tables.tests["technician"])) if p]
    scope = [
        ("Sites", ", ".join(sites[:12]) + (f" and {len(sites) - 12} more" if len(sites) > 12 else "") or "not stated"),
        ("Devices", f"{len(audit.devices):,}"),
        ("Tested by", ", ".join(people[:12]) or "nobody named"),
    ]
    return {
        "scope": scope,
        "defects": defects,
        "open": to_do.items(audit, to_do.unsettled(audit)[:LISTED], of_record=False),
    }
