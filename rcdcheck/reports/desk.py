"""What is mended at the desk: one entry a cause, with its cells, what they may have been, and an option.

Findings about cells of one kind are one cause, findings about columns with one heading are one, and so is each remark
that was not understood: it is told word for word. Nothing here is settled by driving back.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.as_seen import column_letters
from rcdcheck.audits import Audit
from rcdcheck.findings import SEVERITIES, THE_REST, Kind, catalogue
from rcdcheck.reports.text import address, cell_or_rows
from rcdcheck.reports.to_do import WHOLE_COLUMN, settled_at
from rcdcheck.terms import Outcome

SPOTS = 300  # places of one cause that are listed
WORD_FOR_WORD = ("remark-not-understood", "cell-says-failed", "comment-says-failed", "no-access-and-tested",
                 "repeat-without-first", "withdrawn-and-tested", "out-of-use")  # fmt: skip


@dataclass(frozen=True)
class Spot:
    """A place of a cause."""

    sheet: str  # file and sheet, as far as they are needed
    cell: str
    typed: str
    perhaps: str
    device: str
    finding: int  # row of the findings, -1 where it is a reason that no finding repeats
    number: int  # of the sheet, -1 none
    device_number: int  # -1 none

    @property
    def where(self) -> str:
        """`North row!G7`."""
        sign = "!" if self.sheet and self.cell and self.cell[0].isupper() else " "
        return f"{self.sheet}{sign}{self.cell}".strip()


@dataclass(frozen=True)
class Cause:
    """One thing to mend: a sentence, what to do, the option that settles it too, and its places."""

    code: str
    severity: str
    message: str
    do: str
    option: str
    spots: tuple[Spot, ...]
    count: int  # of places
    devices: int  # that it keeps from passing


def causes(audit: Audit) -> list[Cause]:
    """All causes: what keeps most devices from passing first, then by severity and order of the sheet."""
    entries = _entries(audit)
    if entries.empty:
        return []
    entries["group"] = pd.factorize(pd.Series(_keys(audit, entries), dtype=object))[0]
    devices = _devices(audit, entries)
    kinds = catalogue()
    made = [
        _cause(audit, kinds[str(group["code"].iloc[0])], group, devices.get(int(number), 0))
        for number, group in entries.groupby("group", sort=False)
    ]
    return sorted(made, key=lambda c: (-c.devices, SEVERITIES.index(c.severity)))


def _entries(audit: Audit) -> pd.DataFrame:
    """Findings that the desk settles, and standing reasons of that kind which no finding repeats."""
    kinds = catalogue()
    at_desk = [code for code, kind in kinds.items() if kind.settled == "desk"]
    findings = audit.findings[audit.findings["code"].isin(at_desk)]
    found = findings[["code", "message", "sheet", "row", "last_row", "column", "typed", "suggestion", "test", "count"]]
    found = found.assign(finding=findings.index)
    reasons = _open_reasons(audit)
    told = pd.MultiIndex.from_frame(found[["code", "sheet"]])
    cells = pd.MultiIndex.from_frame(found[["sheet", "row", "column"]])
    kept = ~pd.MultiIndex.from_frame(reasons[["code", "sheet"]]).isin(told)
    pointed = pd.MultiIndex.from_frame(reasons[["sheet", "row", "column"]]).isin(cells)
    columns = pd.MultiIndex.from_frame(found.loc[found["test"] < 0, ["sheet", "column"]])
    pointed |= pd.MultiIndex.from_frame(reasons[["sheet", "column"]]).isin(columns)
    unread = (reasons["code"] == "reading-unreadable").to_numpy()
    missing = (reasons["code"] == "needed-reading-missing").to_numpy()
    rest = reasons[kept & ~(unread & pointed) & ~missing]
    rest = rest.assign(last_row=rest["row"], typed="", suggestion="", count=1, finding=-1)
    return pd.concat([found, rest[list(found)]], ignore_index=True) if len(rest) else found.reset_index(drop=True)


def held_devices(audit: Audit) -> npt.NDArray[np.int64]:
    """Numbers of the devices that something at the desk keeps from passing."""
    return np.unique(_open_reasons(audit)["device"].to_numpy()).astype(np.int64)


def _open_reasons(audit: Audit) -> pd.DataFrame:
    """Standing reasons that the desk settles, of devices that neither pass nor fail."""
    open_ = audit.devices["outcome"].isin([Outcome.UNCLEAR, Outcome.INCOMPLETE]).to_numpy()
    reasons = audit.reasons[audit.reasons["standing"] & open_[audit.reasons["device"].to_numpy()]]
    return reasons[settled_at(reasons, audit) == "desk"]


def _keys(audit: Audit, entries: pd.DataFrame) -> list[Hashable]:
    """What makes entries one cause: the kind, for a column its heading, for words the words."""
    headings = {(c.sheet, c.column): c.heading for c in audit.tables.columns.itertuples()}
    keys: list[Hashable] = []
    for e in entries.itertuples():
        if e.code in WORD_FOR_WORD:
            keys.append((e.code, e.typed or e.message))
        elif e.test < 0 and e.column >= 0 and e.row < THE_REST:
            keys.append((e.code, headings.get((e.sheet, e.column), "")))
        else:
            keys.append((e.code, ""))
    return keys


def _devices(audit: Audit, entries: pd.DataFrame) -> dict[int, int]:
    """How many devices each group of entries keeps from passing."""
    reasons = _open_reasons(audit)
    placed = entries[entries["column"] >= 0]
    by_cell = placed.drop_duplicates(["sheet", "row", "column"]).set_index(["sheet", "row", "column"])["group"]
    by_code = entries.drop_duplicates(["code", "sheet"]).set_index(["code", "sheet"])["group"]
    of_column = placed[placed["test"] < 0].drop_duplicates(["sheet", "column"])
    by_column = of_column.set_index(["sheet", "column"])["group"]
    group = np.full(len(reasons), -1.0)
    for known, key in ((by_code, ["code", "sheet"]), (by_cell, ["sheet", "row", "column"]),
                       (by_column, ["sheet", "column"])):  # fmt: skip
        found = known.reindex(pd.MultiIndex.from_frame(reasons[key])).to_numpy(dtype=float)
        group = np.where((group < 0) & ~np.isnan(found), found, group)
    whole = entries[entries["code"].isin(WHOLE_COLUMN)].drop_duplicates("sheet").set_index("sheet")["group"]
    found = whole.reindex(reasons["sheet"]).to_numpy(dtype=float)
    group = np.where((group < 0) & ~np.isnan(found), found, group)
    held = pd.DataFrame({"group": group.astype(int), "device": reasons["device"].to_numpy()})
    counts = held[held["group"] >= 0].groupby("group")["device"].nunique()
    return {int(number): int(n) for number, n in counts.items()}


def _cause(audit: Audit, kind: Kind, group: pd.DataFrame, devices: int) -> Cause:
    count = int(group["count"].sum())
    listed = group[group["row"] < THE_REST].head(SPOTS)
    messages = listed["message"].drop_duplicates()
    first = listed.iloc[0] if len(listed) else group.iloc[0]
    suggestion = str(first["suggestion"])
    asks = suggestion.startswith("--")
    return Cause(
        code=kind.code,
        severity=kind.severity,
        message=str(messages.iloc[0])
        if len(messages) == 1 and count >= 1
        else kind.many.format(n=f"{count:,}") or kind.why,
        do=kind.do,
        option=suggestion if asks else _option(audit, kind, first),
        spots=_spots(audit, listed),
        count=count,
        devices=devices,
    )


def _option(audit: Audit, kind: Kind, entry: Any) -> str:
    """The option of the catalogue, with the heading of the column; a column without one goes by its letter."""
    if "{heading}" not in kind.option:
        return kind.option
    columns = audit.tables.columns
    own = columns[(columns["sheet"] == entry["sheet"]) & (columns["column"] == entry["column"])]
    heading = str(own["heading"].iloc[0]) if len(own) else ""
    letter = column_letters(int(entry["column"])) if entry["column"] >= 0 else "HEADING"
    return kind.option.format(heading=heading or letter)


def _spots(audit: Audit, entries: pd.DataFrame) -> tuple[Spot, ...]:
    test, of_test = entries["test"].to_numpy(), audit.test_outcomes["device"].to_numpy()
    numbers = np.full(len(entries), -1)
    numbers[test >= 0] = of_test[test[test >= 0]]
    names = audit.devices["name"].to_numpy()
    return tuple(
        _spot(audit, entry, number, str(names[number]) if number >= 0 else "")
        for entry, number in zip(entries.itertuples(), numbers.tolist(), strict=True)
    )


def _spot(audit: Audit, entry: Any, number: int, device: str) -> Spot:
    suggestion = str(entry.suggestion)
    return Spot(
        sheet=address(audit, int(entry.sheet), 0, -1),
        cell=cell_or_rows(entry),
        typed=str(entry.typed),
        perhaps="" if suggestion.startswith("--") else suggestion,
        device=device,
        finding=int(entry.finding),
        number=int(entry.sheet),
        device_number=number,
    )
