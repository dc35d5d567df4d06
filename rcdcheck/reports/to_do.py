"""Devices with something to do: those to withdraw, and those to go back to, each with all that keeps it from passing.

What a person does next decides where a device stands: what only the device can tell is a drive, what the sheet can
tell is mended at the desk (`desk.py`). A device stands in each list that it needs.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.as_seen import column_letters
from rcdcheck.audits import Audit
from rcdcheck.findings import catalogue
from rcdcheck.reports.text import address, cell_or_rows, joined
from rcdcheck.sheet_fields import WORDS_OF
from rcdcheck.terms import Outcome

IN_REMARK = ("withdrawn-and-tested", "remark-names-fault", "no-access", "out-of-use")  # the remark itself says so
OF_RECORD = ("declared-pass-contradicted",)  # reasons that speak of the record and not of the device
UNPHASED = "phase-not-stated"
MISSING, UNREADABLE = "needed-reading-missing", "reading-unreadable"
WHOLE_COLUMN = ("column-not-understood-holds-numbers", "columns-perhaps-swapped", UNPHASED)  # hold what seems missing
BY_COLUMN = "Column “{heading}” is to be settled at the desk."
Devices = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Item:
    """A device with something to do: where it is, all that keeps it from passing, its cells, the step."""

    number: int  # row of Audit.devices
    name: str
    site: str
    board: str
    location: str
    outcome: Outcome
    danger: int
    why: tuple[str, ...]  # all standing reasons, the gravest first, with the outlet where there are several
    cells: tuple[str, ...]
    said: tuple[str, ...]  # remarks and remedies, word for word
    action: str
    rest: tuple[str, ...]  # of `why`, what the step does not say already
    at_desk: bool  # whether the desk has something else than a column to settle for it too

    @property
    def place(self) -> str:
        """Board and location in one text."""
        return ", ".join(filter(None, (self.board, self.location)))


def settled_at(reasons: pd.DataFrame, audit: Audit) -> npt.NDArray[np.object_]:
    """Where each reason is settled, "site" or "desk", shape (reasons,).

    A code of which the catalogue does not say it is settled by its outcome. What a whole sheet lacks while one of its
    columns of numbers is not understood is sought at the desk first.
    """
    kinds = catalogue()
    codes, distinct = pd.factorize(reasons["code"])
    known = np.array([kinds[c].settled if c in kinds else "" for c in distinct] or [""], dtype=object)[codes]
    by_outcome = np.where(reasons["outcome"].to_numpy() == Outcome.INCOMPLETE, "site", "desk")
    at = np.where(known == "", by_outcome, known)
    at[((reasons["code"] == MISSING) & (_perhaps_in_column(reasons, audit) >= 0)).to_numpy()] = "desk"
    return at


def _perhaps_in_column(reasons: pd.DataFrame, audit: Audit) -> pd.Series[int]:
    """Column that was not understood and perhaps holds what is missing, -1 none: of tests that have a cell in one."""
    out = pd.Series(-1, index=reasons.index)
    columns = audit.findings.loc[audit.findings["code"].isin(WHOLE_COLUMN), ["code", "sheet", "column"]]
    if columns.empty:
        return out
    readings, sheet = audit.tables.readings, audit.tables.tests["sheet"].to_numpy()
    for found in columns.drop_duplicates().itertuples():
        here = reasons["sheet"] == found.sheet
        if found.code == UNPHASED:
            mine = (readings["column"] == found.column).to_numpy() & (sheet[readings["test"].to_numpy()] == found.sheet)
            here &= reasons["test"].isin(readings["test"].to_numpy()[mine])
        else:
            here &= reasons["code"] == MISSING
            here &= here.sum() == (sheet == found.sheet).sum()
        out[here & (out < 0)] = found.column
    return out


def _told_by_column(reasons: pd.DataFrame, audit: Audit) -> pd.DataFrame:
    """Reasons, with those that a whole column at the desk gives to many devices told by its heading alone."""
    codes = [code for code, kind in catalogue().items() if kind.settled == "desk"]
    table = audit.findings
    whole = table[(table["test"] < 0) & (table["column"] >= 0) & table["code"].isin(codes)]
    at_desk = pd.MultiIndex.from_frame(reasons[["sheet", "column"]]).isin(
        pd.MultiIndex.from_frame(whole[["sheet", "column"]])
    )
    column = reasons["column"].where(at_desk & (reasons["code"] == UNREADABLE), _perhaps_in_column(reasons, audit))
    told = ((reasons["at"] == "desk") & (column >= 0) & reasons["code"].isin((UNREADABLE, MISSING))).to_numpy()
    columns = audit.tables.columns.drop_duplicates(["sheet", "column"]).set_index(["sheet", "column"])["heading"]
    which, distinct = pd.MultiIndex.from_arrays([reasons["sheet"][told], column[told]]).factorize()
    names = [columns.get(place, "") or column_letters(int(place[1])) for place in distinct]
    messages = reasons["message"].to_numpy(copy=True)
    messages[told] = np.array([BY_COLUMN.format(heading=name) for name in names] or [""], dtype=object)[which]
    return reasons.assign(message=messages, by_column=told)


def failed(audit: Audit) -> Devices:
    """Numbers of the failed devices, the most dangerous first, then as listed."""
    devices = audit.devices[audit.devices["outcome"] == Outcome.FAIL]
    rank = np.where(devices["danger"] > 0, devices["danger"], 99)
    return devices.index.to_numpy()[np.lexsort([devices["row"], devices["sheet"], rank])]


def to_visit(audit: Audit) -> Devices:
    """Numbers of the devices to go back to: site by site and place by place, in the order of the sheet."""
    reasons = audit.reasons[audit.reasons["standing"]]
    at_site = reasons["device"].to_numpy()[settled_at(reasons, audit) == "site"]
    devices = audit.devices
    open_ = devices["outcome"].isin([Outcome.UNCLEAR, Outcome.INCOMPLETE]).to_numpy()
    numbers = np.flatnonzero(open_ & np.isin(np.arange(len(devices)), at_site))
    chosen = devices.iloc[numbers]
    order = np.empty(len(chosen), dtype=np.int64)
    order[np.lexsort([chosen["row"], chosen["sheet"]])] = np.arange(len(chosen))
    place = chosen.assign(order=order)
    first_of_site = place.groupby("site")["order"].transform("min")
    first_of_place = place.groupby(["site", "board", "location"])["order"].transform("min")
    return numbers[np.lexsort([order, first_of_place, first_of_site])]


def unsettled(audit: Audit) -> Devices:
    """Numbers of all devices without a pass or a fail, in the order of the sheet."""
    devices = audit.devices[audit.devices["outcome"].isin([Outcome.UNCLEAR, Outcome.INCOMPLETE])]
    return devices.index.to_numpy()[np.lexsort([devices["row"], devices["sheet"]])]


def items(audit: Audit, numbers: Devices, *, of_record: bool = True) -> list[Item]:
    """These devices with all their standing reasons, in the order given; without `of_record` only of the device.

    What a column at the desk gives to all its devices is told there, and here in a word; to a client in full.
    """
    devices = audit.devices.iloc[numbers]
    texts = {name: audit.tables.texts(devices[name]) for name in ("site", "board", "location")}
    reasons = _standing(audit, numbers, () if of_record else OF_RECORD, by_column=of_record)
    said = written(audit, numbers)
    out = []
    for i, (number, device) in enumerate(zip(numbers.tolist(), devices.itertuples(index=False), strict=True)):
        mine = reasons.get(number, ())
        why = sentences(audit, mine)
        out.append(
            Item(
                number=number,
                name=str(device.name),
                site=str(texts["site"][i]),
                board="" if texts["board"][i] == device.name else str(texts["board"][i]),  # it is not said twice
                location=str(texts["location"][i]),
                outcome=Outcome(device.outcome),
                danger=int(device.danger),
                why=why,
                cells=_cells(audit, mine),
                said=tuple(text for text in said.get(number, ()) if not any(f"“{text}”" in w for w in why)),
                action=step(audit, Outcome(device.outcome), str(device.next_action), mine),
                rest=sentences(audit, [r for r in mine if r.code != MISSING or r.by_column]),
                at_desk=any(r.at == "desk" and not r.by_column for r in mine),
            )
        )
    return out


def _standing(
    audit: Audit, numbers: Devices, left_out: Sequence[str] = (), *, by_column: bool = True
) -> dict[int, list[Any]]:
    """Standing reasons by device, those that a later visit settled left out; `by_column`: as the office reads them."""
    wanted = np.zeros(len(audit.devices), dtype=bool)
    wanted[numbers] = True
    reasons = audit.reasons[audit.reasons["standing"] & wanted[audit.reasons["device"].to_numpy()]]
    reasons = reasons[~reasons["code"].isin(left_out)]
    reasons = reasons.assign(at=settled_at(reasons, audit), by_column=False)
    if by_column:
        reasons = _told_by_column(reasons, audit)
    out: dict[int, list[Any]] = {}
    for reason in reasons.itertuples():
        out.setdefault(int(reason.device), []).append(reason)
    return out


def sentences(audit: Audit, reasons: Sequence[Any]) -> tuple[str, ...]:
    """Each sentence once, with its outlets; a declared fail adds nothing where a reading or an inspection says why."""
    outlets: dict[str, list[str]] = {}
    if any(r.outcome == Outcome.FAIL for r in reasons):  # beside it a remark stands in its own words
        reasons = [r for r in reasons if r.code not in IN_REMARK]
    told = [r for r in reasons if r.code != "declared-fail"]
    for r in told if any(r.outcome == Outcome.FAIL for r in told) else reasons:
        of_it = outlets.setdefault(r.message, [])
        outlet = str(audit.tables.vocabulary[int(r.outlet)])
        if outlet and outlet not in of_it:
            of_it.append(outlet)
    return tuple(f"{_outlets(of_it)}{message}" for message, of_it in outlets.items())


def _outlets(names: Sequence[str]) -> str:
    if not names:
        return ""
    return f"Outlet{'s' * (len(names) > 1)} {joined(names)}: "


def _cells(audit: Audit, reasons: Iterable[Any]) -> tuple[str, ...]:
    """Addresses, those of one sheet together: `north.xlsx Tests: K17, L17`."""
    cells: dict[str, dict[str, None]] = {}
    for r in reasons:
        cells.setdefault(address(audit, int(r.sheet), 0, -1), {})[cell_or_rows(r)] = None
    return tuple(": ".join(filter(None, (place, ", ".join(filter(None, names))))) for place, names in cells.items())


WRITTEN = (*WORDS_OF.values(), "remark", "remedy")


def written(audit: Audit, numbers: Devices) -> dict[int, tuple[str, ...]]:
    """What the technicians wrote beside the readings of each device, word for word, each text once."""
    wanted = np.zeros(len(audit.devices), dtype=bool)
    wanted[numbers] = True
    tests, device = audit.tables.tests, audit.test_outcomes["device"].to_numpy()
    at = np.flatnonzero(wanted[device] & (tests[list(WRITTEN)] > 0).any(axis=1).to_numpy())
    out: dict[int, dict[str, None]] = {}
    for field in WRITTEN:
        for number, text in zip(device[at].tolist(), audit.tables.texts(tests[field].to_numpy()[at]), strict=True):
            if text:
                out.setdefault(number, {})[str(text)] = None
    return {number: tuple(texts) for number, texts in out.items()}


def steps(audit: Audit, numbers: Devices) -> list[str]:
    """What to do at each of these devices, in the order given."""
    devices, reasons = audit.devices.iloc[numbers], _standing(audit, numbers)
    return [
        step(audit, Outcome(outcome), action, reasons.get(number, ()))
        for number, outcome, action in zip(
            numbers.tolist(), devices["outcome"].tolist(), devices["next_action"].tolist(), strict=True
        )
    ]


def step(audit: Audit, outcome: Outcome, action: str, reasons: Sequence[Any]) -> str:
    """What to do at the device: the judge's step for a fail, else what each thing that is settled there asks for."""
    if outcome in (Outcome.FAIL, Outcome.PASS):
        return action
    kinds = catalogue()
    asked = [r for r in reasons if r.at == "site" and r.code in kinds] or [r for r in reasons if r.code in kinds]
    missing = sentences(audit, [r for r in asked if r.code == MISSING or r.by_column])
    others = dict.fromkeys(kinds[r.code].do for r in asked if r.code != MISSING and not r.by_column)
    return " ".join([*missing, *others]) or action
