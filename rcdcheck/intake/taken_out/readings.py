"""The reading columns of a table as readings, each with its slot: quantity, multiple, phase, waveform."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.intake.cells import whole_columns
from rcdcheck.intake.cells.phrases import says
from rcdcheck.intake.cells.readings import no_access, not_measured_because
from rcdcheck.intake.opened.grids import Coded, coded
from rcdcheck.intake.taken_out.context import Context
from rcdcheck.intake.taken_out.row_fields import with_units
from rcdcheck.intake.taken_out.swapped_columns import swapped_columns
from rcdcheck.intake.understood.asking import answers_unasked, below_rated
from rcdcheck.intake.understood.grammars import Kind
from rcdcheck.intake.understood.legend import Legend, explained, of_column
from rcdcheck.intake.understood.table import Column
from rcdcheck.tables import READINGS, Texts
from rcdcheck.terms import Slot, State

MUST_HOLD = 0.5  # times the rated residual current up to which no device may trip: IEC 61008-1, 5.3.4, from memory


def take_readings(context: Context, rated: npt.NDArray[np.float64], by_row: dict[str, Any]) -> Part:
    """All readings of the table; `test` holds the row's place among the test rows for now."""
    parts: list[Part] = []
    refused = swapped_columns(context, rated)
    for column in context.table.readings:
        below_rated = column.meaning.slot is not None and 0 < column.meaning.slot.multiple < 1
        cells = context.described(column) if below_rated else context.cells(column)  # there dittos stand for words
        if column.meaning.field == "pair":
            parts += _pair(context, column, cells, rated, by_row)
        else:
            refuse = column.number in refused
            parts += _reading_column(context, column, cells, rated, by_row, None, refuse=refuse)
    readings = _together(parts or [_no_readings()])
    if not by_row and not context.quiet:
        _say_blank_among_filled(context, readings)
    return readings


def _say_blank_among_filled(context: Context, readings: Part) -> None:
    """Above the rated current no reading may be needed, and one that most of the sheet has may have been forgotten."""
    row, of = readings["test"], readings["column"]
    measured = np.bincount(row, minlength=len(context.at)) > 0
    for column in context.table.readings:
        if column.meaning.slot is None or not column.meaning.slot.multiple > 1:
            continue
        blank = measured & (np.bincount(row[of == column.number], minlength=len(context.at)) == 0)
        if 0 < blank.sum() <= FORGOTTEN * measured.sum():
            places = [context.grid.place(int(number), column.number) for number in context.numbers[blank][[0, -1]]]
            (first, at), (last, _) = places
            context.findings.add("reading-blank-among-filled", sheet=context.sheet, row=first, last_row=last, column=at,
                                 heading=column.heading, blank=int(blank.sum()), tests=int(measured.sum()))  # fmt: skip


FORGOTTEN = 0.25  # share of the tests up to which a blank reading may have been forgotten


Part = dict[str, npt.NDArray[Any]]  # readings by the columns of READINGS


def _together(parts: list[Part]) -> Part:
    """All parts as one; each column leaves its parts as it is joined, so that readings are not held twice."""
    return {name: np.concatenate([part.pop(name) for part in parts]) for name in list(parts[0])}


def _no_readings() -> Part:
    return {name: np.zeros(0, dtype=dtype) for name, dtype in READINGS.items()}


def _pair(
    context: Context, column: Column, cells: Coded, rated: npt.NDArray[np.float64], by_row: dict[str, Any]
) -> list[Part]:
    """A column "0°/180°" holds two readings a cell; a cell that is no pair is one reading of unknown phase."""
    parts: list[Part] = []
    for side, phase in enumerate(("0", "180")):
        halves = cells.told(partial(_half, side=side))
        parts += _reading_column(context, column, halves, rated, by_row, phase, typed=cells)
    rest = cells.told(lambda cell: cell if whole_columns.split_pair(cell) is None else "")
    return parts + _reading_column(context, column, rest, rated, by_row, None)


def _half(cell: object, side: int) -> str:
    pair = whole_columns.split_pair(cell)
    return pair[side] if pair else ""


def _reading_column(
    context: Context,
    column: Column,
    cells: Coded,
    rated: npt.NDArray[np.float64],
    by_row: dict[str, Any],
    phase: str | None,
    typed: Coded | None = None,
    refuse: bool = False,
) -> list[Part]:
    slot = column.meaning.slot or Slot("trip_time", 1.0)
    stated = {name: str(context.facts[name].value) for name in ("unit", "phase", "multiple") if name in context.facts}
    if slot.quantity == "trip_time" and "multiple" in stated and not column.meaning.multiple_said:
        slot = slot._replace(multiple=float(stated["multiple"]))
    if slot.quantity == "trip_time" and slot.phase == "none" and phase is None and "phase" not in by_row:
        slot = slot._replace(phase=stated.get("phase", "none"))
    if "check" in by_row:
        cells = cells.without(by_row["check"] != "")
    cells = with_units(context, _explained(of_column(context.legend, column.heading), cells))
    of_quantity = {slot.quantity: cells}
    if not column.meaning.multiple_said and "quantity" in by_row:  # "0° | 180°" over rows of which one is a ramp
        quantity = np.where(by_row["quantity"] != "", by_row["quantity"], slot.quantity)
        of_quantity = {name: cells.without(quantity != name) for name in pd.unique(quantity)}
    parts = []
    for name, here in of_quantity.items():
        read = whole_columns.read_readings(
            here,
            quantity=name,
            unit=column.meaning.unit or (stated.get("unit", "") if name == "trip_time" else ""),
            rated=rated,
            confirmed=refuse or (column.confirmed and bool(column.meaning.unit)),
            test_current=column.meaning.test_current,
        )
        if refuse:  # the finding on the column says why
            read = read.refused(read.present, "", read.suggestion[read.present])
        if name == "trip_time":
            multiples = _multiples(slot, by_row, rated)
            if ((multiples > 0) & (multiples < 1)).any():
                read = _tripped_below_rated(read, here, column.heading, multiples)
        problem, typed_here = _special(context, column, read, cells if typed is None else typed)
        _set_aside_no_access(context, read, problem, typed_here)
        context.point(column, problem, typed_here, read.suggestion)
        context.point(column, read.note, typed_here, read.remark)
        context.say(column, read.column_notes)
        parts.append(_part(context, column, read, typed_here, _of_quantity(slot, name), by_row, phase))
    return parts


def _explained(legend: Legend, cells: Coded) -> Coded:
    """Cells with the marks that the sheet itself explains as "not tested" or "no trip" replaced by these."""
    plain = {Kind.UNMEASURED: "", Kind.NO_TRIP: "no trip", Kind.TRIPPED: "tripped"}
    if not set(plain) & set(legend.values()):
        return cells
    return cells.told(lambda cell: plain.get(explained(cell, legend), cell))


def _of_quantity(slot: Slot, quantity: str) -> Slot:
    """The slot of a value that its row says to be of this quantity; a ramp has no multiple."""
    return slot._replace(quantity=quantity, multiple=0.0 if quantity == "trip_current" else slot.multiple)


def _multiples(slot: Slot, by_row: dict[str, Any], rated: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Multiple of the rated current of each row: what its heading says, else its row, also by a test current."""
    multiples = np.full(len(rated), slot.multiple)
    if 0 < slot.multiple < 1 or "multiple" not in by_row:
        return multiples
    own = np.where(np.isfinite(by_row["multiple"]), by_row["multiple"], by_row["test_current"] / rated)
    return np.where(np.isfinite(own), own, multiples)


def _tripped_below_rated(
    read: whole_columns.ReadingColumn, cells: Coded, heading: str, multiples: npt.NDArray[np.float64]
) -> whole_columns.ReadingColumn:
    """Below the rated current words do: "tripped" is a reading, since no time is needed there to fail, and up to half
    of it "OK" says that it held. The bare end of a display is no hold: it may be a time, or have lost its ">"."""
    codes, distinct = cells.parted()
    below = (multiples > 0) & (multiples < 1)
    must_hold = below & (multiples <= MUST_HOLD)  # above it a device may trip, and "OK" and "fail" say too little
    told = np.array([*(below_rated(c, heading) for c in distinct), ""], dtype=object)[codes]
    unasked = np.array([*answers_unasked(distinct, heading), False], dtype=bool)[codes]
    plain = np.array([isinstance(c, str) and says("tripped", c) for c in distinct] or [False], dtype=bool)[codes]
    read.problem[np.flatnonzero(below & unasked)] = "reading-not-understood"
    worded = below & (read.problem == "declared-not-measured")  # it held
    none = below & (read.problem == "none-as-reading")  # or was not tested
    tripped, held = worded & (plain | (must_hold & (told == "tripped"))), worded & must_hold & (told == "held")
    bare_end = below & (read.note == "over-range-number")
    if not (tripped | held | bare_end | none).any():
        return read
    state, problem, note = read.state.copy(), read.problem.copy(), read.note.copy()
    read.present[none], problem[none] = False, ""
    state[held], state[tripped | bare_end], problem[tripped | held] = State.NOT_TRIPPED, State.TRIPPED, ""
    note[held], note[bare_end] = "held-in-words", ""
    return replace(read, state=state, problem=problem, note=note)


def _set_aside_no_access(context: Context, read: whole_columns.ReadingColumn, problem: Texts, typed: Coded) -> None:
    """ "Locked" where a reading should stand is no reading: kept as a remark of its row."""
    at = np.flatnonzero(problem != "")
    codes, distinct = typed.taken(at).parted()
    said = np.array(
        [isinstance(t, str) and (bool(no_access(t)) or not_measured_because(t)) for t in distinct], dtype=bool
    )
    for i in at[said[codes]] if len(at) else ():
        read.present[i], problem[i] = False, ""
        context.said[int(i)] = str(typed.distinct[typed.codes[i]])


def _special(context: Context, column: Column, read: whole_columns.ReadingColumn, typed: Coded) -> tuple[Texts, Coded]:
    """Problems of a reading column with error cells and formulas without a stored value taken into account."""
    problem, special = read.problem.copy(), context.grid.special
    if not len(special) or not (special["column"] == column.number).any():
        return problem, typed
    special = special[special["column"] == column.number]
    shown = typed.cells()
    for kind, code in (("error", "error-cell"), ("formula_without_value", "formula-without-value")):
        mine = special[special["kind"] == kind]
        here = pd.Index(context.numbers).get_indexer(mine["row"])
        at, texts = here[here >= 0], mine["text"].to_numpy()[here >= 0]
        problem[at], shown[at] = code, texts
        read.present[at], read.state[at], read.value[at] = True, State.UNREADABLE, np.nan
    return problem, coded(shown)


def _part(
    context: Context,
    column: Column,
    read: whole_columns.ReadingColumn,
    typed: Coded,
    slot: Slot,
    by_row: dict[str, Any],
    phase: str | None,
) -> Part:
    at = np.flatnonzero(read.present)
    current = np.full(len(typed.codes), column.meaning.test_current)
    if "test_current" in by_row and not np.isfinite(column.meaning.test_current):
        current = by_row["test_current"]
    return {
        "test": at.astype(np.int32),
        "slot": _slot_codes(context, slot, by_row, phase, len(typed.codes), said=column.meaning.multiple_said)[at],
        "value": read.value[at],
        "state": read.state[at],
        "bound": read.bound[at],
        "test_current": current[at],
        "text": context.codes(typed.taken(at)),
        "row": context.numbers[at].astype(np.int32),
        "column": np.full(len(at), column.number, dtype=np.int16),
    }


def _slot_codes(
    context: Context, slot: Slot, by_row: dict[str, Any], phase: str | None, n: int, *, said: bool
) -> npt.NDArray[np.int16]:
    """Slot of each row: what the heading says, completed by what the row says.

    `said`: the heading states the multiple; one that neither states is not known.
    """
    if not by_row:
        return np.full(n, _slot_code(context.slots, slot._replace(phase=phase or slot.phase)), dtype=np.int16)
    phases = np.full(n, phase or slot.phase, dtype=object)
    if phase is None and slot.phase == "none" and "phase" in by_row:
        phases = np.where(by_row["phase"] != "", by_row["phase"], "none").astype(object)
    multiples = np.full(n, slot.multiple)
    if slot.quantity == "trip_time" and "multiple" in by_row:
        stated = np.isfinite(by_row["multiple"]) | np.isfinite(by_row["test_current"])
        multiples = np.where(stated, by_row["multiple"], multiples if said else np.nan)
    waves = np.full(n, slot.waveform, dtype=object)
    if slot.waveform == "ac" and "waveform" in by_row:
        waves = np.where(by_row["waveform"] != "", by_row["waveform"], "ac").astype(object)
    coded, distinct = pd.factorize(pd.MultiIndex.from_arrays([multiples, phases, waves]))
    found = [_slot_code(context.slots, Slot(slot.quantity, float(m), str(p), str(w))) for m, p, w in distinct]
    result: npt.NDArray[np.int16] = np.array(found or [0], dtype=np.int16)[coded]
    return result


def _slot_code(slots: dict[Slot, int], slot: Slot) -> int:
    if np.isnan(slot.multiple):  # NaN never equals itself: keep one of each
        known = [s for s in slots if np.isnan(s.multiple) and s[0] == slot[0] and s[2:] == slot[2:]]
        slot = known[0] if known else slot
    return slots.setdefault(slot, len(slots))
