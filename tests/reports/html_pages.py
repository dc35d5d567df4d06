"""Pages that the tests of the HTML report share, and a reader of pages that is not ours."""

from __future__ import annotations

import dataclasses
import functools
import hashlib
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pandas as pd
from excel_books import HEADING, audit_of, sample

from rcdcheck.audits import Audit
from rcdcheck.reports.heading import Heading
from rcdcheck.reports.html.page import page
from rcdcheck.tables import Input

HOSTILE = [
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "{{ 7 * 7 }}{% raw %}",
    "\u202etxt.exe",
    "=1+1",
    "javascript:alert(1)",
    "</style><b>",
]


@functools.cache
def page_of(name: str, audience: str = "office", *, hide_names: bool = False) -> str:
    """The page of a sample's audit."""
    return text_of(sample(name), HEADING, audience=audience, hide_names=hide_names)


def text_of(audit: Audit, heading: Heading = HEADING, *, audience: str = "office", hide_names: bool = False) -> str:
    """The page of an audit as text."""
    return b"".join(page(audit, heading, audience=audience, hide_names=hide_names)).decode()


class Read(HTMLParser):
    """Tags with their attributes, visible text, and the texts of elements with `data-count`, in order."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.counts: dict[str, set[str]] = {}
        self.inside: dict[str, str] = {"style": "", "script": ""}
        self.said = ""
        self._counting, self._raw = "", ""
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = {name: value or "" for name, value in attrs}
        self.tags.append((tag, found))
        self._counting = found.get("data-count", "")
        self._raw = tag if tag in self.inside else ""

    def handle_endtag(self, tag: str) -> None:
        self._raw = ""

    def handle_data(self, data: str) -> None:
        if self._raw:
            self.inside[self._raw] += data
            return
        self.said += data.replace("\u00a0", " ")  # no line ends there; to read it is a blank
        if self._counting:
            self.counts.setdefault(self._counting, set()).add(data.replace(",", ""))
            self._counting = ""


def hostile_audit(folder: Path) -> Audit:
    """The audit of a sheet whose every text is an attack on the page."""
    lines = ["Device,Site,Location,Rated IΔn (mA),Trip time 1× 0° (ms),Trip time 1× 180° (ms),Tested by,Date,Remark"]
    for n, text in enumerate(HOSTILE):
        cell = '"' + text.replace('"', '""') + '"'
        time = cell if n % 2 else "412.3"
        lines.append(f"{cell},{cell},{cell},30,{time},20.{n},{cell},2026-11-20,{cell}")
    path = folder / "hostile.csv"
    path.write_text("\n".join(lines), encoding="utf-8")
    return audit_of(str(path))


def tiled(audit: Audit, times: int) -> Audit:
    """The audit as if its devices stood so many times in the sheet, without reading so large a sheet."""
    tests, devices, n = len(audit.test_outcomes), len(audit.devices), times
    tables = audit.tables

    def repeat(frame: pd.DataFrame, **steps: int) -> pd.DataFrame:
        out = pd.concat([frame] * n, ignore_index=True)
        turn = np.repeat(np.arange(n), len(frame))
        return out.assign(**{name: (out[name] + turn * step).astype(out[name].dtype) for name, step in steps.items()})

    outcomes = repeat(audit.test_outcomes, device=devices, visit=int(audit.test_outcomes["visit"].max()) + 1)
    names = repeat(audit.devices)
    turn = np.repeat(np.arange(n), devices).astype(str)
    return dataclasses.replace(
        audit,
        tables=dataclasses.replace(
            tables,
            tests=repeat(tables.tests),
            readings=repeat(tables.readings, test=tests),
            rows=repeat(tables.rows, test=tests),
        ),
        verdicts=repeat(audit.verdicts),
        test_outcomes=outcomes,
        devices=names.assign(name=names["name"] + "-" + turn),
        outlets=repeat(audit.outlets, device=devices) if len(audit.outlets) else audit.outlets,
        reasons=repeat(audit.reasons, device=devices, test=tests),
    )


def empty_audit(folder: Path) -> Audit:
    """An audit in which nothing could be read."""
    path = folder / "notes.csv"
    path.write_text("bring salt\nask for the key\n", encoding="utf-8")
    audit = audit_of(str(path))
    broken = Input("locked.xlsx", None, hashlib.sha256(b"").hexdigest(), 0, "not_audited", "it is locked")
    return dataclasses.replace(audit, tables=dataclasses.replace(audit.tables, inputs=(*audit.tables.inputs, broken)))
