"""How often devices failed, by site, model, technician, or years in the register, with an interval for each share.

A device at a visit counts once, where it passed or failed; what is unclear or incomplete says neither. Years are
rounded to the nearest, since yearly rounds fall a few days before or after the full year.
"""

from __future__ import annotations

from collections.abc import Sequence

from rcdcheck import data
from rcdcheck.errors import UsageError
from rcdcheck.history import Rate
from rcdcheck.register.statistics import wilson
from rcdcheck.register.store import Register

TECHNICIAN = "(SELECT t.technician FROM tests t WHERE t.sighting = s.id ORDER BY t.id LIMIT 1)"
BY = {
    "site": "p.name",
    "model": "d.model",
    "technician": TECHNICIAN,
    "years": "CAST(round((julianday(s.at) - julianday(d.first_at)) / 365.25) AS INTEGER) || ' years since first seen'",
}


def rates(register: Register, by: str, places: Sequence[int] = ()) -> list[Rate]:
    """Rates of all places, or of these, by name. Raises UsageError for what cannot be asked."""
    if by not in BY:
        raise UsageError(f"--by {by} is not known; choose from {', '.join(BY)}.")
    here = f"AND d.place IN ({', '.join(map(str, map(int, places)))})" if places else ""
    rows = register.rows(
        f"""SELECT {BY[by]} called, sum(s.outcome = 3), count(*)
        FROM devices d CROSS JOIN sightings s ON s.device = d.id CROSS JOIN visits v ON v.id = s.visit
        CROSS JOIN places p ON p.id = d.place
        WHERE v.replaced_by IS NULL AND s.outcome IN (0, 3) {here} GROUP BY called
        ORDER BY CAST(called AS INTEGER), called"""
    )
    chosen = data.toml("register.toml")["rate"]
    return [
        Rate(by, str(name or "not stated"), int(failed), int(n), *wilson(failed, n, chosen["level"]), n < chosen["few"])
        for name, failed, n in rows
    ]
