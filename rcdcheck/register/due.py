"""What is to be done about the devices of a register: what falls due, what was left open, what is missing or new.

Each device is listed once, under the gravest of its reasons; the others stand beside it. A device that failed is listed
until a visit has passed it, one that is out of use or was replaced no longer. A device is missing where the last whole
round of its site did not see it, and unexpected where that round was the first to see it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from rcdcheck.errors import UsageError
from rcdcheck.register.keys import name_key
from rcdcheck.register.states import ROUND_DAYS
from rcdcheck.register.store import Register
from rcdcheck.terms import Outcome

WITHDRAWN, UNFINISHED, OVERDUE, MISSING, MOVED, DUE, UNEXPECTED = (
    "withdrawn", "unfinished", "overdue", "missing", "perhaps moved", "due", "unexpected",
)  # fmt: skip
STATUSES = {
    WITHDRAWN: "failed, and no visit has passed it since",
    UNFINISHED: "its last test is unclear or incomplete",
    OVERDUE: "its next test was due before today",
    MISSING: "the last round of its site did not see it",
    MOVED: "a device of this name was tested at another site since",
    DUE: "its next test falls due",
    UNEXPECTED: "the last round of its site was the first to see it",
}


@dataclass(frozen=True)
class Due:
    """One device with something to do. Days are texts, empty where there is none."""

    status: str
    due: str
    site: str
    board: str
    device: str
    serial: str
    location: str
    kind: str
    environment: str
    last_seen: str
    why: str


@dataclass(frozen=True)
class Listed:
    """What to do, in order, and how many devices could not be told a day."""

    devices: tuple[Due, ...]
    without_interval: int  # passed, and their environment or kind is not known
    out_of_use: int


def due(register: Register, today: str, by: str, site: str = "") -> Listed:
    """What is to be done by a day. Raises UsageError where the register knows no such site."""
    place = _place(register, site)
    found = [_listed(row, today, by) for row in _rows(register, by, place)]
    order = list(STATUSES)
    found.sort(key=lambda d: (order.index(d.status), d.due or d.last_seen, d.site, d.board, d.device))
    here, values = ("", ()) if place is None else (" AND place = ?", (place,))
    undated = register.one(
        "SELECT count(*) FROM devices WHERE due IS NULL AND outcome = 0 AND out_of_use IS NULL AND replaced_by IS NULL"
        + here,
        *values,
    )
    gone = register.one(f"SELECT count(*) FROM devices WHERE out_of_use IS NOT NULL{here}", *values)
    return Listed(tuple(found), int(undated), int(gone))


def _place(register: Register, site: str) -> int | None:
    if not site:
        return None
    place = register.one("SELECT place FROM place_names WHERE key = ?", name_key(site))
    if place is None:
        near = [
            str(name) for (name,) in register.rows("SELECT name FROM places WHERE name <> '' ORDER BY name LIMIT 8")
        ]
        raise UsageError(f"--site {site} is not known to {register.path.name}. It knows {', '.join(near) or 'none'}.")
    return int(place)


CANDIDATES = """
    SELECT id FROM devices WHERE due <= :by
    UNION SELECT id FROM devices WHERE outcome > 0
    UNION SELECT moved_from FROM devices WHERE moved_from IS NOT NULL AND last_at IS NOT NULL
    UNION SELECT d.id FROM places p JOIN devices d ON d.place = p.id AND d.last_at < p.round_since
    UNION SELECT d.id FROM places p JOIN devices d ON d.place = p.id AND d.first_at >= p.round_since
        WHERE p.first_at < p.round_since AND d.moved_from IS NULL
"""


def _rows(register: Register, by: str, place: int | None) -> Iterator[tuple[object, ...]]:
    cursor = register.connection.execute(
        f"""SELECT d.due, p.name, d.board, d.name, d.serial, d.location, d.kind, d.environment, d.last_at, d.outcome,
            d.open_since, d.last_at < p.round_since,
            d.first_at >= p.round_since AND p.first_at < p.round_since AND d.moved_from IS NULL,
            p.last_at, (SELECT m.last_at || ' at ' || coalesce(nullif(q.name, ''), 'a site without a name')
                FROM devices m JOIN places q ON q.id = m.place
                WHERE m.moved_from = d.id AND m.last_at IS NOT NULL LIMIT 1),
            (SELECT o.serial FROM devices o WHERE o.id = d.replaces),
            (SELECT s.why FROM sightings s JOIN visits v ON v.id = s.visit
                WHERE s.device = d.id AND s.at = d.last_at AND v.replaced_by IS NULL ORDER BY s.id DESC LIMIT 1)
        FROM ({CANDIDATES}) c JOIN devices d ON d.id = c.id JOIN places p ON p.id = d.place
        WHERE d.last_at IS NOT NULL AND d.out_of_use IS NULL AND d.replaced_by IS NULL
            AND (:place IS NULL OR d.place = :place)""",
        {"by": by, "place": place},
    )
    yield from cursor


def _listed(row: tuple[object, ...], today: str, by: str) -> Due:
    day, site, board, name, serial, location, kind, environment, last = (str(text or "") for text in row[:9])
    outcome, opened, absent, fresh, seen, moved, replaced, why = row[9:]
    reasons = []
    if outcome == Outcome.FAIL or opened:
        since = f"seen again {last}" if opened and opened != last else "not seen since"
        reasons.append((WITHDRAWN, f"failed on {opened or last}, {since}"))
    elif outcome:
        reasons.append((UNFINISHED, str(why or "")))
    if day and day < today:
        reasons.append((OVERDUE, f"was due {day}"))
    if moved:
        reasons.append((MOVED, f"a device of this name was tested {moved}"))
    elif absent:
        reasons.append((MISSING, f"not in the round up to {seen}"))
    if day and today <= day <= by:
        reasons.append((DUE, f"due {day}"))
    if fresh:
        instead = f", in place of serial number {replaced}" if replaced else ""
        reasons.append((UNEXPECTED, f"first seen in the round up to {seen}, within {ROUND_DAYS} days{instead}"))
    status, said = reasons[0]
    if status == WITHDRAWN and why and opened == last:
        said = f"{said}: {why}"
    also = "; ".join(f"{word}: {text}" for word, text in reasons[1:])
    said = "; ".join(filter(None, (said.rstrip(" ."), also)))
    return Due(status, day, site, board, name, serial, location, kind, environment, last, said)
