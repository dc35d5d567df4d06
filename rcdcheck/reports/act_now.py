"""What to do first: devices to withdraw, where to go back, cells to mend, tests that fall due."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.findings import catalogue
from rcdcheck.records import Audit, Outcome, column_letters
from rcdcheck.reports.text import address

SOON = 60  # days ahead of `--as-of` in which a test or a calibration is said to fall due
PLACES = 30  # places of one remark that are listed
OF_RECORD = ("declared-pass-contradicted",)  # reasons that speak of the record and not of the device
UNTIL_SETTLED = "No pass tag until settled. "


@dataclass(frozen=True)
class Item:
    """A device with something to do: where it is, why, which cells say so, and what to do."""

    number: int  # row of Audit.devices
    name: str
    site: str
    board: str
    location: str
    outcome: Outcome
    danger: int
    why: tuple[str, ...]
    cells: tuple[str, ...]
    action: str


@dataclass(frozen=True)
class Mend:
    """A cell, row or column of the sheet to put right."""

    place: str  # file and sheet
    cell: str
    typed: str
    suggestion: str
    message: str
    do: str


@dataclass(frozen=True)
class Remark:
    """One kind of trouble with the sheet: its first instance in words, and every place."""

    message: str
    do: str
    places: tuple[str, ...]
    count: int


@dataclass(frozen=True)
class Due:
    """A passed device whose next test is past or near."""

    name: str
    site: str
    board: str
    location: str
    date: str
    past: bool


def order(audit: Audit, outcomes: Sequence[Outcome]) -> npt.NDArray[np.int64]:
    """Numbers of the devices with these outcomes, the most dangerous failure first, then as listed."""
    devices = audit.devices[audit.devices["outcome"].isin(list(outcomes))]
    rank = np.where(devices["danger"] > 0, devices["danger"], 99)
    keys = [devices["row"], devices["sheet"], rank, -devices["outcome"].to_numpy().astype(int)]
    return devices.index.to_numpy()[np.lexsort(keys)]


def withdraw(audit: Audit, most: int, *, of_record: bool = True) -> list[Item]:
    """The first `most` failed devices; without `of_record` only reasons that speak of the device itself."""
    return items(audit, order(audit, [Outcome.FAIL])[:most], of_record=of_record)


def settle(audit: Audit, most: int) -> list[Item]:
    """The first `most` unclear or incomplete devices by site and board, as a round would take them."""
    numbers = order(audit, [Outcome.UNCLEAR, Outcome.INCOMPLETE])
    devices = audit.devices.loc[numbers]
    site, board = (audit.tables.texts(devices[name]).astype(str) for name in ("site", "board"))
    return items(audit, numbers[np.lexsort([board, site])][:most])


def items(audit: Audit, numbers: npt.NDArray[np.int64], *, of_record: bool = True) -> list[Item]:
    """Devices with their standing reasons, in the order given."""
    devices = audit.devices.loc[numbers]
    texts = {name: audit.tables.texts(devices[name]) for name in ("site", "board", "location")}
    reasons = _standing(audit, numbers, () if of_record else OF_RECORD)
    return [
        Item(
            number=int(number),
            name=str(device.name),
            site=str(texts["site"][i]),
            board=str(texts["board"][i]),
            location=str(texts["location"][i]),
            outcome=Outcome(device.outcome),
            danger=int(device.danger),
            why=_words(reasons.get(int(number), ())),
            cells=_cells(audit, reasons.get(int(number), ())),
            action=str(device.next_action).removeprefix(UNTIL_SETTLED),
        )
        for i, (number, device) in enumerate(zip(numbers, devices.itertuples(index=False), strict=True))
    ]


def _standing(audit: Audit, numbers: npt.NDArray[np.int64], left_out: Sequence[str]) -> dict[int, list[Any]]:
    """Reasons as grave as the device's outcome, those that a later visit settled left out."""
    reasons = audit.reasons[audit.reasons["standing"] & audit.reasons["device"].isin(numbers)]
    reasons = reasons[~reasons["code"].isin(left_out)]
    as_grave = reasons["outcome"].to_numpy() == audit.devices["outcome"].to_numpy()[reasons["device"].to_numpy()]
    out: dict[int, list[Any]] = {}
    for reason in reasons[as_grave].itertuples():
        out.setdefault(int(reason.device), []).append(reason)
    return out


def _words(reasons: Sequence[Any]) -> tuple[str, ...]:
    """Sentences, each once; a declared fail adds nothing where a reading or an inspection says why."""
    said = dict.fromkeys(r.message for r in reasons if r.code != "declared-fail")
    return tuple(said or dict.fromkeys(r.message for r in reasons))


def _cells(audit: Audit, reasons: Sequence[Any]) -> tuple[str, ...]:
    """Addresses, those of one sheet together: `north.xlsx Tests: K17, L17`."""
    cells: dict[str, dict[str, None]] = {}
    for r in reasons:
        place, cell = address(audit, int(r.sheet), 0, -1), cell_or_rows(r)
        cells.setdefault(place, {})[cell] = None
    return tuple(": ".join(filter(None, (place, ", ".join(filter(None, names))))) for place, names in cells.items())


def mendable(audit: Audit) -> pd.DataFrame:
    """Findings at a cell that cannot be right as typed, one a cell: what a person can put right at a desk."""
    findings = audit.findings
    judged = set(audit.verdicts["reason"].unique()) | set(audit.reasons["code"].unique())
    cells = findings[(findings["typed"] != "") & (findings["column"] >= 0)]
    cells = cells[(cells["suggestion"] != "") | ~cells["code"].isin(judged)]
    return cells[cells["severity"].isin(["danger", "error", "caution"])].drop_duplicates(["sheet", "row", "column"])


def also_wrong(audit: Audit) -> pd.DataFrame:
    """Other errors and cautions of the sheet itself: no verdict's reason, nothing of credibility, no value proposed."""
    findings = audit.findings
    judged = set(audit.verdicts["reason"].unique()) | set(audit.reasons["code"].unique())
    mine = findings["severity"].isin(["error", "caution"]) & ~findings["code"].isin(judged)
    mine &= (findings["sheet"] >= 0) & (findings["test"] < 0) & findings["evidence"].isna()
    return findings[mine & ~findings.index.isin(mendable(audit).index)]


def remarks(audit: Audit, findings: pd.DataFrame) -> list[Remark]:
    """Findings of the sheet; those of one kind about columns with one heading together."""
    columns = audit.tables.columns
    headings = {(c.sheet, c.column): c.heading for c in columns.itertuples()}
    about = [headings.get((f.sheet, f.column), f.message) for f in findings.itertuples()]
    kinds, out = catalogue(), []
    for (code, _), group in findings.groupby(["code", pd.Index(about, name="about")], sort=False):
        places = [
            " ".join(filter(None, (address(audit, int(f.sheet), 0, -1), cell_or_rows(f))))
            for f in group.head(PLACES).itertuples()
        ]
        count = int(group["count"].sum())
        do = settled_by(str(group["suggestion"].iloc[0])) or kinds[str(code)].do
        out.append(Remark(str(group["message"].iloc[0]), do, tuple(filter(None, places)), count))
    return out


def settled_by(suggestion: str) -> str:
    """The options that settle a question, as a sentence to paste from; empty where a finding offers none."""
    return f"Settle it with {suggestion}." if suggestion.startswith("--") else ""


def mends(audit: Audit, findings: pd.DataFrame) -> list[Mend]:
    """These findings as lines of a list."""
    kinds = catalogue()
    return [
        Mend(
            place=address(audit, int(f.sheet), 0, -1) or "the sheet",
            cell=cell_or_rows(f),
            typed=str(f.typed),
            suggestion=str(f.suggestion),
            message=str(f.message),
            do=kinds[str(f.code)].do,
        )
        for f in findings.itertuples()
    ]


def cell_or_rows(finding: Any) -> str:
    """`F12`, `rows 5–30 of column F`, `column F`, `row 7`, or empty."""
    last = np.iinfo(np.int32).max
    row, last_row = (int(n) if n < last else 0 for n in (finding.row, getattr(finding, "last_row", 0)))
    letters = column_letters(int(finding.column)) if finding.column >= 0 else ""
    if last_row > row:
        return f"{letters}{row}–{letters}{last_row}" if letters else f"rows {row}–{last_row}"
    if row:
        return f"{letters}{row}" if letters else f"row {row}"
    return f"column {letters}" if letters else ""


def due(audit: Audit) -> pd.DataFrame:
    """Devices whose re-test date is past, or within 60 days of `as_of`; the earliest first."""
    when = audit.devices["retest_due"]
    horizon = pd.Timestamp(audit.options.as_of + dt.timedelta(days=SOON))
    return audit.devices[when.notna() & (when <= horizon)].sort_values(["retest_due", "sheet", "row"], kind="stable")


def dues(audit: Audit, devices: pd.DataFrame) -> list[Due]:
    """These devices as lines of a list."""
    sites, boards, locations = (audit.tables.texts(devices[name]) for name in ("site", "board", "location"))
    today = pd.Timestamp(audit.options.as_of)
    lines = zip(devices.itertuples(index=False), sites, boards, locations, strict=True)
    return [
        Due(str(d.name), str(site), str(board), str(location), str(d.retest_due.date()), bool(d.retest_due < today))
        for d, site, board, location in lines
    ]
