"""What the rows of a long table say of their values: phase, multiple, quantity, waveform, or a check by name."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.cells import whole_columns
from rcdcheck.intake.opened.grids import Coded, coded
from rcdcheck.intake.taken_out.checks import beside_verdict
from rcdcheck.intake.taken_out.context import Context
from rcdcheck.intake.understood.grammars import Kind, grammars
from rcdcheck.intake.understood.meaning import Meaning
from rcdcheck.intake.understood.named_checks import RATED, check_named
from rcdcheck.intake.understood.parts_of_test import part_of_test
from rcdcheck.intake.understood.reading_headings import readings_of
from rcdcheck.numbering import combined, first_places
from rcdcheck.sheet_fields import CHECKED_FIELDS, WORDS_OF
from rcdcheck.tables import Mask, Texts

AGREES = 0.1  # share by which a test current may differ from its multiple of the rating
ROW_FIELDS = ("phase", "multiple", "test_current", "quantity", "waveform")  # columns that make a table long or mixed


def row_fields(context: Context) -> dict[str, Any]:
    """Phase, multiple, test current, quantity and waveform of each row, where columns state them."""
    out: dict[str, Any] = {}
    readers = {
        "phase": whole_columns.read_phases,
        "quantity": whole_columns.read_quantities,
        "waveform": whole_columns.read_waveforms,
    }
    for name, read_column in readers.items():
        for column in context.table.of(name)[:1]:
            cells = context.described(column)
            read = read_column(cells)
            out[name] = read.value
            problem = read.problem
            if name == "waveform" and (read.value != "ac").any():  # of a blank one nobody knows which it is
                blank = (read.value == "") & cells.blank
                problem = np.where(blank, "waveform-not-stated", problem).astype(object)
            if name == "quantity":
                out["check"] = _named_checks(context, cells, out)
                known = _as_headings(cells, out) | (out["check"] != "")
                problem = np.where(known, "", problem).astype(object)
            context.point(column, problem, cells, read.suggestion)
    for column in context.table.of("multiple", "test_current"):
        cells = context.described(column)
        multiples = whole_columns.read_multiples(cells, test_current=column.meaning.field == "test_current",
                                          unit=column.meaning.unit)  # fmt: skip
        for name, said in (("multiple", multiples.multiple), ("test_current", multiples.test_current)):
            known = out.get(name, said)
            out[name] = np.where(np.isfinite(known), known, said)
        ramps = whole_columns.read_quantities(cells.without(multiples.problem == "")).value
        if (ramps != "").any():  # "ramp" in the place of a multiple
            out["quantity"] = np.where(ramps != "", ramps, out.get("quantity", ramps)).astype(object)
        context.point(column, np.where(ramps != "", "", multiples.problem).astype(object), cells, multiples.suggestion)
    _of_sections(context, out)
    return out


def currents_agree(context: Context, by_row: dict[str, Any], rated: npt.NDArray[np.float64]) -> None:
    """Rows whose multiple and test current contradict each other by more than a tenth, at this rating, are told."""
    columns = context.table.of("test_current")[:1]
    if not columns or not context.table.of("multiple"):
        return
    meant = by_row["multiple"] * rated
    with np.errstate(invalid="ignore"):
        apart = np.abs(by_row["test_current"] - meant) > AGREES * meant
    code = np.where(apart, "current-contradicts-multiple", "").astype(object)
    context.point(columns[0], code, context.described(columns[0]), np.full(len(code), "", dtype=object))


def _of_sections(context: Context, out: dict[str, Any]) -> None:
    """The phase or multiple that lines between blocks of rows name: "NEGATIVE HALF CYCLE (180 deg)"."""
    field = context.rows.section_field
    said = any(column.meaning.multiple_said for column in context.table.readings)
    if field not in ("phase", "multiple") or field in out or (field == "multiple" and said):
        return
    lines = context.rows.section[context.at - context.table.start]
    codes, distinct = pd.factorize(lines)
    told = [part_of_test(str(line))[1] for line in distinct]
    if field == "phase":
        out["phase"] = np.array(told, dtype=object)[codes]
    else:
        out["multiple"] = np.array([float(one or "nan") for one in told])[codes]
        out["test_current"] = np.full(len(codes), np.nan)


def _named_checks(context: Context, cells: Coded, out: dict[str, Any]) -> Texts:
    """A check by its field, or RATED, where a row says that its value is one of these, else empty; shape (n,).

    "IΔn" names a rating only beside a value that can be one, and no phase: else it is the current of a test.
    """
    codes, distinct = cells.parted()
    said = [check_named(as_typed(c)) for c in distinct]
    result: Texts = np.array([*said, ""], dtype=object)[codes]
    rated = (result == RATED) & (out.get("phase", np.full(len(codes), "", dtype=object)) == "")
    columns = context.table.of("value")
    if rated.any() and columns:
        codes, distinct = with_units(context, context.cells(columns[0])).parted()
        rated &= np.array([bool(grammars(c) & Kind.RATED) for c in distinct], dtype=bool)[codes]
    named: Texts = np.where((result == RATED) & ~(rated & bool(columns)), "", result).astype(object)
    return named


def ratings_of_rows(context: Context, per_row: pd.DataFrame, by_row: dict[str, Any]) -> None:
    """Rows of a long table whose value is the rated current ("rated | 30 mA"): it holds for all rows of the device."""
    check = by_row.get("check")
    if check is None or not (check == RATED).any():
        return
    column = context.table.of("value")[0]
    cells = with_units(context, context.cells(column)).without(check != RATED)
    read = whole_columns.read_rated(cells, "")
    context.point(column, read.problem, cells, read.suggestion)
    named = per_row[["site", "board", "device", "outlet"]]
    told = pd.Series(np.where(check == RATED, read.value, np.nan)).groupby([named[c] for c in named]).transform("first")
    own = per_row["rated_residual_current"]
    per_row["rated_residual_current"] = own.where(own.notna(), told)


def _as_headings(cells: Coded, out: dict[str, Any]) -> Mask:
    """A cell such as "Trip time 5x 180°" says of its row what a heading says of a column; where it was read so."""
    codes, distinct = cells.parted()
    told = [readings_of(as_typed(c)) if c != "" else [] for c in distinct]
    found = [t[0].meaning if len(t) == 1 or (t and t[0].weight > t[1].weight) else Meaning("") for t in told]
    slots = [m.slot if m.field == "reading" else None for m in found]
    known = np.array([s is not None for s in slots] or [False], dtype=bool)[codes]
    for name, words in (
        ("quantity", [s.quantity if s else "" for s in slots]),
        ("phase", [s.phase if s and s.phase != "none" else "" for s in slots]),
    ):
        texts = np.array([*words, ""], dtype=object)[codes]
        out[name] = np.where(texts != "", texts, out.get(name, texts)).astype(object)
    said = [s.multiple if s and m.multiple_said else np.nan for s, m in zip(slots, found, strict=True)]
    if np.isfinite(said).any():
        out["multiple"] = np.array(said)[codes]
        out["test_current"] = np.array([m.test_current for m in found])[codes]
    return known


def checks_of_rows(context: Context, per_row: pd.DataFrame, by_row: dict[str, Any]) -> None:
    """Rows of a long table whose value is a check ("Visual | Pass"): the value is the flag, and no reading."""
    check = by_row.get("check")
    if check is None or not (check != "").any():
        return
    for name in CHECKED_FIELDS:
        here = check == name
        for column in context.table.of("value", "reading", "declared")[:1]:
            cells = context.cells(column).without(~here)
            read = whole_columns.read_flags(cells, button=name == "push_button")
            per_row[name] = np.where(here, read.flag, per_row[name]).astype(np.int8)
            words = context.codes(beside_verdict(cells))
            per_row[WORDS_OF[name]] = np.where(here, words, per_row[WORDS_OF[name]]).astype(np.int32)
            context.point(column, np.where(here, read.problem, "").astype(object), cells, read.suggestion)


def with_units(context: Context, cells: Coded) -> Coded:
    """Cells with the unit that a column of units gives them ("0.31" beside "s" is "0.31 s")."""
    for column in context.table.of("unit")[:1]:
        units = context.described(column).told(lambda cell: as_typed(cell).strip())
        number = combined(cells.codes, units.codes)
        first = first_places(number)
        pairs = zip(cells.cells(first), units.cells(first), strict=True)
        texts = np.empty(int(first.sum()), dtype=object)
        texts[:] = [f"{as_typed(cell)} {unit}" if unit and _only_number(cell) else cell for cell, unit in pairs]
        cells = coded(texts).taken(number)
    return cells


def _only_number(cell: object) -> bool:
    return isinstance(cell, float) or bool(_ONLY_NUMBER.fullmatch(as_typed(cell)))


_ONLY_NUMBER = re.compile(r"\s*[<>]?\s*\d+(?:[.,]\d+)?\s*")
