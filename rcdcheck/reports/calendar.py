"""What is due as a calendar file (RFC 5545): an event for each site and day, that any scheduler takes in.

Lines are folded at 75 octets and end in CRLF (section 3.1), texts are escaped (3.3.11), days are all-day events whose
end is the day after (3.6.1). An event keeps its UID from run to run, so that a newer file replaces the older one; what
should have been done before today stands on today.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterable, Iterator
from itertools import groupby
from typing import TYPE_CHECKING

from rcdcheck.reports.text import counted
from rcdcheck.showing import visible

if TYPE_CHECKING:
    from rcdcheck.register.due import Due, Listed

OCTETS = 75  # of a line
NAMED = 200  # devices that one event names
TITLES = {
    "withdrawn": "RCDs failed and not passed since",
    "unfinished": "RCD tests to finish",
    "overdue": "RCD tests overdue",
    "missing": "RCDs missing",
    "perhaps moved": "RCDs perhaps moved",
    "due": "RCD tests due",
    "unexpected": "RCDs not known before",
}


def due_calendar(listed: Listed, today: str) -> Iterator[bytes]:
    """The file in pieces, the same for the same list and day."""
    stamp = f"{today.replace('-', '')}T000000Z"
    yield _lines(("BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//rcdcheck//due//EN", "CALSCALE:GREGORIAN"))
    keyed = sorted(listed.devices, key=lambda d: _key(d, today))
    for (day, site, status), devices in groupby(keyed, key=lambda d: _key(d, today)):
        yield _lines(_event(day, site, status, list(devices), stamp))
    yield _lines(("END:VCALENDAR",))


def _key(device: Due, today: str) -> tuple[str, str, str]:
    return device.due if device.status == "due" else today, device.site, device.status


def _event(day: str, site: str, status: str, devices: list[Due], stamp: str) -> Iterator[str]:
    first = dt.date.fromisoformat(day)
    when = day if status == "due" else ""  # what stands on today is the same event tomorrow
    uid = hashlib.sha256("\x1f".join((status, site, when)).encode()).hexdigest()[:32]
    place = site or "site not stated"
    yield "BEGIN:VEVENT"
    yield f"UID:{uid}@rcdcheck"
    yield f"DTSTAMP:{stamp}"
    yield f"DTSTART;VALUE=DATE:{first:%Y%m%d}"
    yield f"DTEND;VALUE=DATE:{first + dt.timedelta(days=1):%Y%m%d}"
    yield f"SUMMARY:{_escaped(f'{TITLES[status]}: {place} ({len(devices):,})')}"
    if site:
        yield f"LOCATION:{_escaped(site)}"
    yield f"DESCRIPTION:{_escaped(_description(devices))}"
    yield f"CATEGORIES:{_escaped(status)}"
    yield "TRANSP:TRANSPARENT"
    yield "END:VEVENT"


def _description(devices: list[Due]) -> str:
    lines = [" / ".join(filter(None, (d.board, d.device, d.location))) + f": {d.why}" for d in devices[:NAMED]]
    left = len(devices) - len(lines)
    return "\n".join([*lines, *([f"and {counted(left, 'device')} more"] if left else [])])


def _escaped(text: str) -> str:
    shown = "\n".join(map(visible, text.split("\n")))
    for sign, instead in (("\\", "\\\\"), (";", "\\;"), (",", "\\,"), ("\n", "\\n")):
        shown = shown.replace(sign, instead)
    return shown


def _lines(lines: Iterable[str]) -> bytes:
    return b"".join(_folded(line.encode()) for line in lines)


def _folded(line: bytes) -> bytes:
    """Never within a character: a continued line begins with a space, which counts."""
    out, room = b"", OCTETS
    while len(line) > room:
        cut = room
        while line[cut] & 0xC0 == 0x80:
            cut -= 1
        out, line, room = out + line[:cut] + b"\r\n ", line[cut:], OCTETS - 1
    return out + line + b"\r\n"
