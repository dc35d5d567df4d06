"""Which cells of an input to mark, how gravely, and what to say beside each."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from rcdcheck.audits import Audit
from rcdcheck.findings import SEVERITIES, THE_REST, catalogue
from rcdcheck.showing import visible

LONGEST = 2_000  # characters beside one cell
UNREADABLE = "reading-unreadable"
Place = tuple[int, int]  # row as the person sees it, column from 0


@dataclass(frozen=True)
class Mark:
    """A filled cell; `text` is empty for the further cells of a block, whose first says it all."""

    severity: str
    text: str = ""


@dataclass(frozen=True)
class _Sheet:
    rows: npt.NDArray[Any]  # that were read as tests
    headings: dict[int, int]  # column → row of its heading
    device: int  # column to mark where a finding speaks of a row and of no cell


def marks(audit: Audit, sheet: int) -> dict[Place, Mark]:
    """Cells of a sheet with something to say, in order: each finding about a cell, a row or a block of rows."""
    said: dict[Place, list[tuple[str, str]]] = {}
    filled: dict[Place, str] = {}
    for severity, text, places in _remarks(audit, sheet):
        said.setdefault(places[0], []).append((severity, text))
        for place in places[1:]:
            filled[place] = _graver(severity, filled.get(place, severity))
    out = {place: Mark(severity) for place, severity in filled.items()}
    out |= {place: _mark(remarks, filled.get(place, "note")) for place, remarks in said.items()}
    return dict(sorted(out.items()))


def worth_a_copy(found: Iterable[dict[Place, Mark]]) -> bool:
    """Whether anything graver than a note is marked in these sheets."""
    return any(mark.severity != "note" for sheet in found for mark in sheet.values())


def together(one: Mark, other: Mark) -> Mark:
    """Two marks on one cell."""
    return Mark(_graver(one.severity, other.severity), "\n".join(filter(None, (one.text, other.text))))


def _mark(remarks: list[tuple[str, str]], filled: str) -> Mark:
    ranked = sorted(remarks, key=lambda remark: SEVERITIES.index(remark[0]))
    text = "\n".join(dict.fromkeys(f"{severity.upper()}: {text}" for severity, text in ranked))
    cut = text if len(text) <= LONGEST else f"{text[:LONGEST]} … the rest is in the report."
    return Mark(_graver(ranked[0][0], filled), cut)


def _graver(one: str, other: str) -> str:
    return min(one, other, key=SEVERITIES.index)


def _remarks(audit: Audit, sheet: int) -> Iterator[tuple[str, str, list[Place]]]:
    """Severity, sentence and places of every finding of the sheet, and of every reason that no finding repeats."""
    kinds, here = catalogue(), _sheet(audit, sheet)
    found = audit.findings[(audit.findings["sheet"] == sheet) & (audit.findings["row"] < THE_REST)]
    known = set(zip(found["code"], found["row"], found["column"], strict=True))
    known |= {(UNREADABLE, row, column) for _, row, column in known}  # which says that another finding says it
    for f in found.itertuples():
        places = _of_tests(audit, sheet, f) or _places(int(f.row), int(f.last_row), int(f.column), here)
        if places:
            told = places[:1] if f.severity == "note" else places  # a note about a column asks nothing of its cells
            yield f.severity, _sentence(f.message, f.suggestion, kinds[f.code].do), told
            if f.severity == "error":
                known |= {(UNREADABLE, row, column) for row, column in places}
    standing = audit.reasons[(audit.reasons["sheet"] == sheet) & audit.reasons["standing"]]
    for r in standing.itertuples():
        places = _places(int(r.row), 0, int(r.column), here)
        if places and r.code in kinds and (r.code, r.row, r.column) not in known:
            yield kinds[r.code].severity, _sentence(r.message, "", kinds[r.code].do), places


def _sentence(message: str, suggestion: str, do: str) -> str:
    perhaps = ""
    if suggestion.startswith("--"):
        perhaps = f" Settle it with {suggestion}."
    elif suggestion and suggestion not in message:
        perhaps = f" {suggestion[0].upper()}{suggestion[1:].rstrip('.')}."
    return visible(f"{message}{perhaps}{'' if do == 'Nothing.' else ' ' + do}")


def _sheet(audit: Audit, sheet: int) -> _Sheet:
    rows = audit.tables.rows
    columns = audit.tables.columns[audit.tables.columns["sheet"] == sheet]
    device = columns.loc[columns["meaning"] == "device", "column"]
    headings = dict(zip(columns["column"].tolist(), columns["row"].tolist(), strict=True))
    return _Sheet(
        np.unique(rows.loc[rows["sheet"] == sheet, "row"]), headings, int(device.iloc[0]) if len(device) else 0
    )


def _of_tests(audit: Audit, sheet: int, finding: Any) -> list[Place]:
    """Every cell that a doubt speaks of: the readings of its tests, or of its block of rows where it lists not all."""
    seen = finding.evidence or {}
    if not seen or finding.last_row <= finding.row:
        return []
    tests, readings = audit.tables.tests, audit.tables.readings
    listed = np.array(seen.get("tests", []), dtype=np.int64)
    wanted = np.zeros(len(tests), dtype=bool)
    if len(listed) < seen.get("tests_total", 0):
        wanted = ((tests["row"] >= finding.row) & (tests["row"] <= finding.last_row)).to_numpy()
    else:
        wanted[listed] = True
    wanted = wanted & (tests["sheet"] == sheet).to_numpy()
    mine = wanted[readings["test"].to_numpy()]
    if finding.column >= 0:
        mine &= (readings["column"] == finding.column).to_numpy()
    cells = readings.loc[mine, ["row", "column"]].drop_duplicates()
    return sorted(zip(cells["row"].tolist(), cells["column"].tolist(), strict=True))


def _places(row: int, last_row: int, column: int, here: _Sheet) -> list[Place]:
    """Cells of a finding, that with the words first; what is the sheet's or a column's stands at the heading."""
    at = column if column >= 0 else here.device
    head = [(here.headings[at], at)] if at in here.headings else []
    if row <= 0:
        return head if column >= 0 else []
    if last_row <= row:
        return [(row, at)]
    if column < 0:
        return head
    return [*head, *((other, at) for other in here.rows[(here.rows >= row) & (here.rows <= last_row)].tolist())]
