"""The tag list as CSV: one row a device, as a label printer takes it (RFC 4180, UTF-8 with its mark)."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator

import numpy as np
import pandas as pd

from rcdcheck.audits import Audit
from rcdcheck.reports import hidden_names
from rcdcheck.reports.excel.style import looks_like_formula
from rcdcheck.showing import visible
from rcdcheck.terms import Outcome

HEAD = ("Device", "Site", "Board", "Location", "Tested", "By", "Outcome", "Re-test due", "Tag")
TAG = {Outcome.PASS: "pass tag", Outcome.FAIL: "failed tag"}
NONE = "no tag until settled"
CHUNK = 5_000


def tag_list(audit: Audit, *, hide_names: bool = False) -> Iterator[bytes]:
    """The list in pieces. A text that a spreadsheet would take for a formula begins with an apostrophe."""
    if hide_names:
        audit = hidden_names.hidden(audit)
    yield b"\xef\xbb\xbf" + _csv([HEAD])
    rows = list(tag_rows(audit))
    for start in range(0, len(rows), CHUNK):
        yield _csv([tuple(map(_safe, row)) for row in rows[start : start + CHUNK]])


def tag_rows(audit: Audit) -> Iterator[tuple[str, ...]]:
    """Device, site, board, location, day, person, outcome, due day, tag: each as text."""
    by = audit.tables.texts(audit.tables.tests["technician"].to_numpy()[last_tests(audit)])
    texts = [audit.tables.texts(audit.devices[name]) for name in ("site", "board", "location")]
    for d, site, board, location, person in zip(audit.devices.itertuples(), *texts, by, strict=True):
        tested, due = ("" if pd.isna(at) else str(at.date()) for at in (d.tested_at, d.retest_due))
        tag = TAG.get(Outcome(d.outcome), NONE)
        yield str(d.name), site, board, location, tested, person, Outcome(d.outcome).word, due, tag


def last_tests(audit: Audit) -> np.ndarray:
    """Number of the latest test of each device, shape (devices,)."""
    when = audit.tables.tests["tested_at"].to_numpy().astype("datetime64[us]").astype(np.int64)
    order = np.argsort(when, kind="stable")  # no date sorts first
    last = np.zeros(len(audit.devices), dtype=np.int64)
    last[audit.test_outcomes["device"].to_numpy()[order]] = order
    return last


def _safe(text: str) -> str:
    return visible(f"'{text}" if looks_like_formula(text) else text)


def _csv(rows: list[tuple[str, ...]]) -> bytes:
    text = io.StringIO()
    csv.writer(text, lineterminator="\r\n").writerows(rows)
    return text.getvalue().encode()
