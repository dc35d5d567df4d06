"""Whole audits of small sheets that a test writes out in place."""

from __future__ import annotations

import csv
import datetime as dt
import io
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from rcdcheck.audits import Audit
from rcdcheck.options import Options
from rcdcheck.pipeline import run
from rcdcheck.terms import Outcome

TODAY = dt.date(2026, 11, 25)
HEAD = ("Device", "Visual")


def audited(headings: Sequence[str], *rows: Sequence[str], **options: Any) -> Audit:
    """The audit of one sheet with these rows under these headings."""
    text = io.StringIO()
    csv.writer(text).writerows([headings, *rows])
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sheet.csv"
        path.write_text(text.getvalue(), encoding="utf-8")
        return run([str(path)], Options(as_of=TODAY, **options))


def one(readings: dict[str, str], **options: Any) -> Audit:
    """The audit of one device whose visual inspection passed, with these cells by heading."""
    return audited([*HEAD, *readings], ["D1", "pass", *readings.values()], **options)


def outcome(audit: Audit, device: str = "D1") -> str:
    """Outcome of a device in a word."""
    row = audit.devices[audit.devices["name"] == device].iloc[0]
    return Outcome(int(row["outcome"])).word


def codes(audit: Audit, device: str = "") -> set[str]:
    """Codes of the standing reasons, of one device or of all."""
    standing = audit.reasons[audit.reasons["standing"]]
    name = audit.devices["name"].to_numpy()[standing["device"]]
    return set(standing["code"][name == device] if device else standing["code"])


def messages(audit: Audit) -> str:
    """The sentences of the standing reasons, each on its line."""
    return "\n".join(audit.reasons.loc[audit.reasons["standing"], "message"])
