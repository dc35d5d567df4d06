"""Made sheets and what can be done to them: one cell made loud, two columns changed over, more rows, other orders.

Sheets come from `tests/bench/sheets/`, which knows the truth of each; seeds are fixed, so every run sees the same ones.
"""

from __future__ import annotations

import copy
import datetime as dt
import functools
import random
import re
from pathlib import Path

from sheets import phrases, scoring, writing
from sheets.layouts import LAYOUTS
from sheets.style import Cell
from sheets.tables import Grid, Sheet, make_sheet

from rcdcheck import pipeline
from rcdcheck.options import Options
from rcdcheck.reports.console import summary

SEED = 8  # of every sheet here; another one makes others
KINDS = {  # what a column holds, for those that are not to be changed over with one of the same kind
    "time": ("t1_0", "t1_180", "t5_0", "t5_180", "t1_worst"), "half": ("half_0", "half_180"), "current": ("ramp",),
    "pair": ("pair",), "check": ("visual", "button", "result"), "date": ("date", "retest_due"), "rated": ("rated",),
    "words": ("remark", "location", "technician", "description"), "code": ("device", "serial"),
}  # fmt: skip
KIND_OF = {key: kind for kind, keys in KINDS.items() for key in keys}
ONE_BY_ONE = ("sections", "stacked", "beside", "sheets", "repeated", "sideways")  # places whose rows do not stand alone


@functools.cache
def bank() -> phrases.Bank:
    """The phrases of the maker."""
    return phrases.load_bank(Path(phrases.__file__).with_name("phrases.toml"))


def made(layout: str, number: int) -> Sheet:
    """The sheet of a layout with this number, always the same, in cells of its own."""
    return make_sheet(bank(), layout, SEED * 100_000 + number)


def written(sheet: Sheet, folder: Path, stem: str) -> Path:
    """The file of a sheet."""
    return writing.write(sheet, folder, stem)


def audited(path: Path, *options: str) -> scoring.Document:
    """What the command says of a file; a run that breaks off is a failure of the test."""
    document = scoring.audit_document([path], list(options))
    assert document, f"the run over {path.name} broke off"
    return document


# ── two columns changed over ──
def swapped(sheet: Sheet, rng: random.Random) -> tuple[str, str] | None:
    """Change the cells of two columns of different kinds over, below headings that stay; their headings."""
    columns = {spot.column: spot for spots in sheet.spots for spot in spots if spot.key in KIND_OF}
    merged = {n for grid in sheet.grids for _, left, _, right in grid.merges for n in range(left, right + 1)}
    numbers = sorted(set(columns) - (merged if LAYOUTS[sheet.layout].outlets else set()))
    pairs = [(a, b) for a in numbers for b in numbers if a < b]
    pairs = [(a, b) for a, b in pairs if KIND_OF[columns[a].key] != KIND_OF[columns[b].key]]
    if not pairs:
        return None
    a, b = rng.choice(pairs)
    for grid in sheet.grids:
        for at in {spot.row for spots in sheet.spots for spot in spots if spot.sheet == grid.name}:
            row = grid.rows[at - 1]
            row[a - 1], row[b - 1] = row[b - 1], row[a - 1]
    return columns[a].heading, columns[b].heading


# ── rows ──
def stands_in_rows(layout: str) -> bool:
    """Whether each row names its own device, in one table."""
    rules = LAYOUTS[layout]
    alone = rules.place not in ONE_BY_ONE and rules.outlets in ("", "repeat") and rules.naming == "device"
    return alone and not rules.retests and not rules.footer


def only_passing(sheet: Sheet) -> Sheet:
    """The sheet without the rows of devices that would not pass."""
    gone = {spot.row for device, spots in zip(sheet.devices, sheet.spots, strict=True) for spot in spots
            if device.kind not in ("pass", "harmless")}  # fmt: skip
    grid = sheet.grids[0]
    kept = [n for n in range(1, len(grid.rows) + 1) if n not in gone]
    place = {old: new for new, old in enumerate(kept, 1)}
    grid.rows = [grid.rows[n - 1] for n in kept]
    both = [(d, s) for d, s in zip(sheet.devices, sheet.spots, strict=True) if s and s[0].row in place]
    sheet.devices, sheet.spots = [d for d, _ in both], [s for _, s in both]
    for spot in (spot for spots in sheet.spots for spot in spots):
        spot.row = place[spot.row]
    return sheet


def doubled(sheet: Sheet) -> Sheet:
    """The sheet with as many devices again below, each with the cells of another and a name of its own."""
    more = copy.deepcopy(sheet)
    grid = more.grids[0]
    names = {spot.column for spots in more.spots for spot in spots if spot.key == "device"}
    rows = sorted({spot.row for spots in more.spots for spot in spots})
    again = [_renamed(grid.rows[n - 1], names) for n in rows]
    grid.rows[rows[-1] : rows[-1]] = again
    return more


def _renamed(row: list[Cell], names: set[int]) -> list[Cell]:
    return [re.sub(r"(\d+)$", r"9\1", str(cell)) if n in names else cell for n, cell in enumerate(row, 1)]


def other_order(sheet: Sheet, rng: random.Random) -> Sheet:
    """The sheet with its devices in another order; rows of one device stay together."""
    more = copy.deepcopy(sheet)
    grid = more.grids[0]
    groups = [sorted({spot.row for spot in spots}) for spots in more.spots]
    first = min(rows[0] for rows in groups)
    cells = [[grid.rows[n - 1] for n in rows] for rows in groups]
    rng.shuffle(cells)
    together = [row for rows in cells for row in rows]
    grid.rows[first - 1 : first - 1 + len(together)] = together
    return more


def filled_rows(grid: Grid) -> int:
    """Rows of a sheet that hold something."""
    return sum(any(cell not in ("", None) for cell in row) for row in grid.rows)


def outcomes(document: scoring.Document) -> dict[str, str]:
    """Outcome by the name of each device."""
    return {device["device"]: device["outcome"] for device in document["devices"]}


def lines_to_mend(path: Path) -> int:
    """How many lines the terminal has on what is to be mended in the sheet."""
    audit = pipeline.run([str(path)], Options(as_of=dt.date.fromisoformat(scoring.AS_OF)))
    title = re.search(r"^MEND AT THE DESK \(([\d,]+) cause", summary(audit, []), re.MULTILINE)
    return int(title[1].replace(",", "")) if title else 0
