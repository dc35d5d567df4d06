"""What is due on a terminal, and as delimited text."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from itertools import groupby
from typing import TYPE_CHECKING

from rcdcheck.reports.register_tables import aligned
from rcdcheck.reports.text import counted
from rcdcheck.showing import visible

if TYPE_CHECKING:
    from rcdcheck.register.due import Due, Listed

HEAD = ("status", "due", "site", "board", "device", "serial", "location", "kind", "environment", "last seen", "why")
LINE = ("due", "site", "board", "device", "location", "last seen", "why")


def cells(device: Due) -> tuple[str, ...]:
    """The cells of a line, in the order of HEAD."""
    return (
        device.status, device.due, device.site, device.board, device.device, device.serial, device.location,
        device.kind, device.environment, device.last_seen, device.why,
    )  # fmt: skip


def due_text(listed: Listed, meanings: dict[str, str], today: str, by: str) -> str:
    """A block for each status with its meaning, and what could not be told; without a final line break."""
    parts = []
    for status, devices in groupby(listed.devices, key=lambda d: d.status):
        mine = list(devices)
        rows = [(d.due, d.site, d.board, d.device, d.location, d.last_seen, d.why) for d in mine]
        shown = [i for i in range(len(LINE)) if LINE[i] in ("device", "why") or any(row[i] for row in rows)]
        head = LINE
        table = aligned([head[i] for i in shown], [[row[i] for i in shown] for row in rows])
        lines = "\n".join(f"  {line}" for line in table.splitlines())
        parts.append(f"{status.upper()} ({len(mine):,}): {meanings[status]}\n{lines}")
    return "\n\n".join([*parts, "\n".join(_closing(listed, today, by))])


def _closing(listed: Listed, today: str, by: str) -> Iterator[str]:
    if listed.without_interval:
        yield (
            f"{counted(listed.without_interval, 'passed device has', 'passed devices have')} no due date: kind or "
            "environment is not known, or the rules give no interval. Audit their sheets --again with --kind and "
            "--environment."
        )
    if listed.out_of_use:
        yield f"{counted(listed.out_of_use, 'device is', 'devices are')} out of use and not listed."
    yield f"{counted(len(listed.devices), 'device needs', 'devices need')} something as of {today}, up to {by}."


def due_csv(listed: Listed) -> Iterator[bytes]:
    """UTF-8 with its mark, as spreadsheets want it; what could be taken for a formula is led by an apostrophe."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(HEAD)
    writer.writerows([_harmless(visible(text)) for text in cells(device)] for device in listed.devices)
    yield b"\xef\xbb\xbf" + out.getvalue().encode()


def _harmless(text: str) -> str:
    return f"'{text}" if text[:1] in ("=", "+", "-", "@") else text
