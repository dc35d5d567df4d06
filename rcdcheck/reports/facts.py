"""What every face prints, worked out once: the three lists, the counts, the answer in words, what stands above it all.

Faces differ in how they lay things out, never in which things, how many and in which order: that is decided here.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from rcdcheck.audits import Audit
from rcdcheck.reports import desk, to_do
from rcdcheck.reports.text import counted

SOON = 60  # days ahead of `--as-of` in which a test is said to fall due
CLOSING = ("fail", "unclear", "incomplete", "pass")  # order of the counts in one line


@dataclass(frozen=True)
class Due:
    """A passed device whose next test is past or near."""

    number: int
    name: str
    site: str
    board: str
    location: str
    date: str
    past: bool


class Facts:
    """The facts of one audit; each is worked out when a face first asks for it."""

    def __init__(self, audit: Audit) -> None:
        self.audit = audit

    @cached_property
    def withdraw(self) -> list[to_do.Item]:
        """Every failed device, the most dangerous first."""
        return to_do.items(self.audit, to_do.failed(self.audit))

    @cached_property
    def go_back(self) -> list[to_do.Item]:
        """Every device that only a visit can settle, site by site and place by place in the order of the sheet."""
        return to_do.items(self.audit, to_do.to_visit(self.audit))

    @cached_property
    def desk(self) -> list[desk.Cause]:
        """What is mended at the desk, one entry a cause."""
        return desk.causes(self.audit)

    @cached_property
    def due(self) -> pd.DataFrame:
        """Devices whose re-test date is past, or within 60 days of `as_of`; the earliest first."""
        when = self.audit.devices["retest_due"]
        horizon = pd.Timestamp(self.audit.options.as_of + dt.timedelta(days=SOON))
        near = self.audit.devices[when.notna() & (when <= horizon)]
        return near.sort_values(["retest_due", "sheet", "row"], kind="stable")

    def dues(self, most: int) -> list[Due]:
        """The first of them as lines of a list."""
        devices, today = self.due.head(most), pd.Timestamp(self.audit.options.as_of)
        places = [self.audit.tables.texts(devices[name]) for name in ("site", "board", "location")]
        return [
            Due(int(d.Index), str(d.name), site, board, where, str(d.retest_due.date()), bool(d.retest_due < today))
            for d, site, board, where in zip(devices.itertuples(), *places, strict=True)
        ]

    @cached_property
    def counts(self) -> dict[str, int]:
        """Counts under the names that the JSON document gives them, joined by dots."""
        audit = self.audit
        sheets, inputs = audit.tables.sheets, audit.tables.inputs
        flat = {f"{kind}.{word}": n for kind, words in audit.counts().items() for word, n in words.items()}
        flat |= {"devices.all": len(audit.devices), "readings.all": len(audit.verdicts)}
        flat["tests.all"] = len(audit.test_outcomes)
        flat["tests.counted"] = int(audit.test_outcomes["counted"].sum())
        flat |= {f"rows.{name}": int(sheets[name].sum()) for name in ("non_blank", "heading", "test", "passed_over")}
        flat |= {"inputs.all": len(inputs), "inputs.not_audited": sum(i.status != "audited" for i in inputs)}
        return flat | {
            "to_do.withdraw": flat["devices.fail"],
            "to_do.go_back": len(to_do.to_visit(audit)),
            "to_do.desk": len(self.desk),
            "to_do.desk_cells": sum(cause.count for cause in self.desk),
            "to_do.due": len(self.due),
        }

    @cached_property
    def lead(self) -> tuple[str, str]:
        """The answer in words: what cannot wait, and the rest."""
        n = self.counts
        failed, everything = n["devices.fail"], n["devices.all"]
        unread = counted(n["inputs.not_audited"], "file could not be audited.", "files could not be audited.")
        beside = f" {unread}" if n["inputs.not_audited"] else ""
        if not everything:
            return "No device could be read.", beside.strip()
        read = " in what could be read" if n["inputs.not_audited"] else ""
        first = (
            f"{counted(failed, 'device comes', 'devices come')} out of service now."
            if failed
            else f"No device failed{read}."
        )
        open_ = n["devices.unclear"] + n["devices.incomplete"]
        settle = f"{counted(open_, 'device gets', 'devices get')} no pass tag until settled. " if open_ else ""
        return first, f"{settle}{n['devices.pass']:,} of {counted(everything, 'device')} passed.{beside}"

    @cached_property
    def closing(self) -> str:
        """The counts by outcome and the grade, in one line; no count where nothing was judged."""
        if not self.counts["devices.all"]:
            return f"Nothing was judged, and nothing is passed. Grade of the record: {self.audit.grade.grade}."
        said = ", ".join(f"{self.counts[f'devices.{word}']:,} {word}" for word in CLOSING)
        return f"{said}. Grade of the record: {self.audit.grade.grade}."

    @cached_property
    def notices(self) -> list[str]:
        """What must stand above everything: inputs not audited, assumptions, no visual inspection, calibration."""
        audit = self.audit
        out = [
            f"{one.name} could not be audited: {one.reason}" for one in audit.tables.inputs if one.status != "audited"
        ]
        out += [
            f"Assumed by whoever ran this: {name.replace('_', ' ')} = {value}." for name, value in audit.options.assume
        ]
        return [*out, *self._no_visual(), *self._lapsed()]

    def _no_visual(self) -> list[str]:
        without = self.audit.findings.loc[self.audit.findings["code"] == "no-visual-inspection", "sheet"].nunique()
        if not without:
            return []
        sheets = self.audit.tables.sheets
        if without == int((sheets["test"] > 0).sum()):
            return ["No visual inspection is on record: judged from measured readings only."]
        said = counted(without, "sheet has", "sheets have")
        return [f"{said} no visual inspection: judged there from measured readings only."]

    def _lapsed(self) -> list[str]:
        tests = self.audit.tables.tests
        late = (tests["tested_at"].dt.normalize() > tests["calibration_due"]).to_numpy()
        late = late & self.audit.test_outcomes["counted"].to_numpy()
        if not late.any():
            return []
        codes = np.unique(tests["instrument"].to_numpy()[late])
        named = [f"“{name}”" for name in self.audit.tables.texts(codes) if name]
        which = f" ({', '.join(named[:3])}{' and others' if len(named) > 3 else ''})" if named else ""
        said = counted(int(late.sum()), "test was", "tests were")
        return [f"{said} made after the calibration of the instrument had run out{which}."]


_last: list[Facts] = []


def of(audit: Audit) -> Facts:
    """The facts of an audit; those of the last one asked for are kept, since every face of a run asks for them."""
    if not _last or _last[0].audit is not audit:
        _last[:] = [Facts(audit)]
    return _last[0]
