"""What each column of a table may mean by itself, strongest first: by its heading, its cells, and both together."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

from rcdcheck.intake.understood.candidates import NOTHING, Candidate, weights
from rcdcheck.intake.understood.cell_evidence import with_cells
from rcdcheck.intake.understood.cells_alone import BY_CELLS, by_cells_alone, device_by_cells
from rcdcheck.intake.understood.grammars import Kind
from rcdcheck.intake.understood.heading_evidence import from_heading
from rcdcheck.intake.understood.meaning import Meaning
from rcdcheck.intake.understood.profiles import Profile
from rcdcheck.intake.understood.reading_headings import parts_of
from rcdcheck.tables import Numbers

MOST = 6  # candidates of a column that are weighed against each other
OFTEN = 0.7  # share of names that come again, up to which a place may still name what is tested there
IN_RUNS = 0.92  # and where each stands in rows that follow one another, as the readings of a device do
STANDS_FOR = ("outlet", "location", "site", "model")  # may name the device where nothing else does
PAIRED = 0.6  # share of cells that hold two readings above which a column is one of pairs


@dataclass(frozen=True)
class Headed:
    """A column as it comes in: its number, the row of its lowest heading, its heading, and the headings above it."""

    number: int
    row: int
    heading: str
    groups: tuple[str, ...] = ()
    stated: Meaning | None = None  # by the person
    outlet: str = ""  # where each outlet has columns of its own

    @property
    def shown(self) -> str:
        """The heading as it is shown and named: with the headings above it."""
        return " ".join((*self.groups, self.heading)).strip()


def candidates(column: Headed, cells: Profile, rated: Numbers, as_of: dt.date) -> list[Candidate]:
    """Meanings of a column alone, strongest first; the last is that it has none."""
    if column.stated is not None:
        return [Candidate(column.stated, 100.0, why=("stated by you",))]
    told = [with_cells(c, cells, rated, as_of) for c in from_heading(column.heading, column.groups)]
    told += [with_cells(c, cells, rated, as_of) for c in _pairs(told, cells)]
    place = next((c for c in told if c.meaning.field in STANDS_FOR and c.heading >= 3.0), None)
    often = IN_RUNS if cells.in_runs else OFTEN  # for each reading, or on each visit and for each outlet
    repeated = place is not None and device_by_cells(cells, repeating=often)
    if place is not None and (repeated or device_by_cells(cells)):  # a place that no device is named for names it
        told_apart = (BY_CELLS, *place.why)
        less = 1.0 if place.meaning.field == "outlet" and _codes(cells) else 3.0  # outlets E1, E2, … that nothing bears
        as_device = Candidate(Meaning("device"), place.heading - less, why=told_apart)
        told.append(with_cells(as_device, cells, rated, as_of))
    told = _rated(_designation(told, cells), cells)
    known = any(c.heading > 3.5 and c.meaning.field != "ignore" for c in told) or any(
        c.weight > 0 for c in told if c.meaning.field == "reading"
    )
    if any(c.isalnum() for c in column.heading) or not column.shown:
        alone = [with_cells(c, cells, rated, as_of) for c in by_cells_alone(cells, column.shown)]
        parts = parts_of(column.heading)
        unit = {*parts.found} == {"unit"} and not parts.rest  # "ms": of a reading, or of whatever its row names
        kept = ("quantity", "multiple", "delay", "declared", *(["value"] if unit else []))
        told += [c for c in alone if not known or c.meaning.field in kept]
        if parts.of("phase") or parts.of("multiple"):  # "What we got (0°/180°)", "x5" name no device
            told = [c for c in told if c.why[:1] != (BY_CELLS,)]
    told = sorted((c for c in told if c.weight > 0), key=lambda c: -c.weight)[:MOST]
    return [*told, NOTHING]


def _rated(told: list[Candidate], cells: Profile) -> list[Candidate]:
    """Below a heading that asks for a rating, cells that all are preferred residual currents in mA are no nominal
    current of the load, and no current at which each device tripped."""
    asked = any(c.meaning.field == "rated_residual_current" for c in told)
    in_milli = cells.share(Kind.CURRENT) == 1.0 or any(c.meaning.unit == "mA" for c in told)
    if not asked or not in_milli or cells.share(Kind.RATED) < 1.0 or not cells.repeats:
        return told
    return [c for c in told if c.meaning.field not in ("ignore", "reading")]


def _codes(cells: Profile) -> bool:
    """Whether cells are codes of letters and digits, no two alike."""
    return not cells.repeats and cells.share(Kind.CODE) > 0.75 and cells.share(Kind.WHOLE | Kind.NUMBER) == 0.0


def _pairs(told: list[Candidate], cells: Profile) -> list[Candidate]:
    """Below "1x" two numbers in each cell can only be those of 0° and 180°, in this order as all write them."""
    if cells.share(Kind.PAIR) <= PAIRED:
        return []
    how = "two readings in a cell read as 0° and 180°"
    slots = [(c, c.meaning.slot) for c in told if c.meaning.field == "reading" and c.meaning.slot is not None]
    return [replace(c, meaning=replace(c.meaning, field="pair", how=how), cells=0.0) for c, slot in slots
            if slot.phase == "none" and slot.quantity == "trip_time"]  # fmt: skip


def _designation(told: list[Candidate], cells: Profile) -> list[Candidate]:
    """ "Designation" is a description or a name: of which no two are alike, it is rather a name."""
    fields = {c.meaning.field for c in told if c.heading >= 5.0}
    if not {"device", "model"} <= fields or cells.filled <= 3 or cells.repeats:
        return told
    less = weights()["shape"]["different_model"]
    return [replace(c, cells=c.cells + less) if c.meaning.field == "model" else c for c in told]
