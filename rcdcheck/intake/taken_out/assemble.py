"""All inputs of a run put together into one set of tables, with the account of every row."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck import progress
from rcdcheck.as_seen import as_typed, column_letters
from rcdcheck.findings import Findings
from rcdcheck.intake.cells.classes import TypeNames, type_names
from rcdcheck.intake.cells.rounds import round_of
from rcdcheck.intake.opened.files import Opened
from rcdcheck.intake.opened.grids import Grid
from rcdcheck.intake.taken_out import columns as told
from rcdcheck.intake.taken_out.account import account_of, no_table, own_notes, passed_over
from rcdcheck.intake.taken_out.context import Context
from rcdcheck.intake.taken_out.layout import Block, lay_out
from rcdcheck.intake.taken_out.left_aside import Aside, unsettled_by
from rcdcheck.intake.taken_out.sites_of_sheets import sites_of, with_boards, with_repeats
from rcdcheck.intake.taken_out.unsettled import heard
from rcdcheck.intake.understood.alike import as_alike
from rcdcheck.intake.understood.facts import Fact
from rcdcheck.intake.understood.grammars import Kind, grammars
from rcdcheck.intake.understood.looked_up import with_codes
from rcdcheck.intake.understood.meaning import Meaning
from rcdcheck.intake.understood.rated_for_all import with_ratings
from rcdcheck.intake.understood.row_kinds import RowKind, Rows
from rcdcheck.intake.understood.sheet import Understood, beside, understand
from rcdcheck.intake.understood.stated import refuse_unmatched
from rcdcheck.intake.understood.table import Table
from rcdcheck.options import Options
from rcdcheck.tables import (
    CELLS,
    COLUMNS,
    PASSED_OVER,
    POINTED,
    READINGS,
    ROWS,
    SHEETS,
    TESTS,
    UNSETTLED,
    Input,
    Tables,
    Vocabulary,
    empty,
)
from rcdcheck.terms import Slot

World = Mapping[int, dict[tuple[int, int], Meaning]]  # sheet → column and row of its heading → its meaning there


@dataclass
class _Assembly:
    options: Options
    findings: Findings
    world: World
    types: TypeNames
    vocabulary: Vocabulary = field(default_factory=Vocabulary)
    slots: dict[Slot, int] = field(default_factory=dict)
    sheets: list[dict[str, Any]] = field(default_factory=list)
    columns: list[dict[str, Any]] = field(default_factory=list)
    passed_over: list[pd.DataFrame] = field(default_factory=list)
    cells: list[pd.DataFrame] = field(default_factory=list)
    unsettled: list[pd.DataFrame] = field(default_factory=list)
    asides: list[Aside] = field(default_factory=list)
    blocks: list[Block] = field(default_factory=list)
    headings: list[tuple[str, str, str]] = field(default_factory=list)  # sheet, letters, heading
    tests: int = 0  # in the blocks so far


def assemble(
    opened: Sequence[Opened], options: Options, findings: Findings, world: World | None, types: Iterable[str]
) -> Tables:
    """Read every grid of every input; an input without a table of tests becomes `not_audited` with the reason.

    types: what the rule set calls types of devices.
    Raises UsageError where the person stated the meaning of a heading that no sheet has.
    """
    assembly = _Assembly(options, findings, world or {}, type_names(types))
    inputs = tuple(_take_in(assembly, number, one) for number, one in enumerate(opened))
    if any(i.status == "audited" for i in inputs):
        refuse_unmatched(options.columns, assembly.headings)
    tests, readings, rows, pointed = _joined(assembly.blocks)
    files = np.array([sheet["input"] for sheet in assembly.sheets], dtype=np.int64)
    _rated_elsewhere(tests, files)
    texts = assembly.vocabulary.frozen()
    assembly.unsettled.append(unsettled_by(assembly.asides, files, tests, texts, options.columns, findings))
    return Tables(
        inputs=inputs,
        sheets=_frame(assembly.sheets, SHEETS),
        columns=_frame(assembly.columns, COLUMNS),
        tests=tests,
        readings=readings,
        rows=rows,
        passed_over=_stacked(assembly.passed_over, PASSED_OVER),
        cells=_stacked(assembly.cells, CELLS),
        unsettled=_stacked(assembly.unsettled, UNSETTLED),
        slots=tuple(assembly.slots),
        vocabulary=texts,
        pointed=pointed,
    )


def _take_in(assembly: _Assembly, number: int, opened: Opened) -> Input:
    progress.say("understanding sheets of file", number + 1)
    if opened.input.status != "audited":
        return opened.input
    first = len(assembly.sheets)
    senses = [_sense(assembly, first + i, grid) for i, grid in enumerate(opened.grids)]
    explained = [_sense(assembly, first + i, grid) if grid else None for i, grid in enumerate(with_codes(senses))]
    senses = [other or sense for sense, other in zip(senses, explained, strict=True)]
    settled = [assembly.world.get(first + i, {}) for i in range(len(senses))]
    senses = as_alike(senses, assembly.options, settled, assembly.types)
    senses = with_ratings(with_repeats(with_boards(senses)))
    sites = sites_of(senses)
    reasons = [
        _take_in_sheet(assembly, number, *one, opened.input.name)
        for one in zip(opened.grids, senses, sites, strict=True)
    ]
    if any(reason == "" for reason in reasons):
        return opened.input
    named = [f"{g.sheet}: {r}" if g.sheet else r for g, r in zip(opened.grids, reasons, strict=True)]
    reason = (
        "no table of tests was found: "
        + "; ".join(named or ["there is nothing in it"])
        + (
            '. If the headings are unusual, say what they mean with --column "HEADING=MEANING" '
            "(rcdcheck columns FILE shows how each was read)."
        )
    )
    return dataclasses.replace(opened.input, status="not_audited", reason=reason)


def _sense(assembly: _Assembly, sheet: int, grid: Grid) -> Understood:
    """What the sheet with this number means; one of notes is no table."""
    sense = understand(grid, assembly.options, assembly.world.get(sheet), assembly.types)
    return no_table(sense, grid) if own_notes(grid) else sense


def _take_in_sheet(assembly: _Assembly, number: int, grid: Grid, sense: Understood, site: str, name: str) -> str:
    """Read one sheet that is called by a site or not; the answer is empty, or why it holds no table of tests."""
    sheet = len(assembly.sheets)
    assembly.sheets.append(account_of(number, sense))
    assembly.headings += [(grid.sheet, column_letters(c), "") for c in range(len(grid.columns))]
    if sense.reason:
        lost = passed_over(sheet, sense, "sheet without a table of tests")
        if not own_notes(grid):
            assembly.asides.append(Aside(sheet, number, grid))
        if own_notes(grid):  # nobody asks about them, and their examples are no readings
            assembly.passed_over.append(lost.assign(holds_reading=False))
            return sense.reason
        assembly.passed_over.append(lost)
        reason = sense.reason
        assembly.findings.add("sheet-passed-over", sheet=sheet, sheet_name=grid.sheet or name, reason=reason)
        return reason
    assembly.passed_over.append(passed_over(sheet, sense, ""))
    assembly.cells.append(grid.special[~grid.special["kind"].isin(["filled", "struck"])].assign(sheet=sheet))
    facts = [_wanted(assembly.options, table, stated) for table, stated in zip(sense.tables, sense.facts, strict=True)]
    for table, rows, above in zip(sense.tables, sense.rows, facts, strict=True):
        _columns(assembly, sheet, sense, table)
        if (rows.kind == RowKind.TEST).any():
            _blocks(assembly, sheet, sense, site, table, rows, above)
    _say_stated(assembly, sheet, sense.grid, facts)
    _point_at_lost(assembly, sheet)
    return ""


def _wanted(options: Options, table: Table, facts: Sequence[Fact]) -> list[Fact]:
    """Facts above a table that none of its columns, and no option, states."""
    settled = ["site"] if options.site else []
    kept = [fact for fact in facts if not table.of(fact.field) and fact.field not in settled]
    # "all 30 mA unless it says other": of the rows that leave the column blank
    return kept + [fact for fact in facts if fact.field == "rated_residual_current" and fact not in kept]


def _say_stated(assembly: _Assembly, sheet: int, grid: Grid, facts: Sequence[Sequence[Fact]]) -> None:
    said = dict.fromkeys(fact for of_table in facts for fact in of_table if fact.row)
    if said:
        placed = [(*(grid.place(f.row, f.column) if not f.sheet else (f.row, f.column)), f) for f in said]
        ordered = sorted(placed, key=lambda told: (told[2].sheet, *told[:2]))
        words = ", ".join(
            f"{fact.field.replace('_', ' ')} “{as_typed(fact.value)}” (row {row}{_of_sheet(fact)})"
            for row, _, fact in ordered
        )
        own = [row for row, _, fact in ordered if not fact.sheet] or [0]
        first, last = min(own), max(own)
        assembly.findings.add("stated-above-the-table", sheet=sheet, row=first, last_row=last, words=words)


def _of_sheet(fact: Fact) -> str:
    return f" of sheet “{fact.sheet}”" if fact.sheet else ""


# ── tables into blocks ──
def _blocks(
    assembly: _Assembly, sheet: int, sense: Understood, site: str, table: Table, rows: Rows, facts: Sequence[Fact]
) -> None:
    """One block for a table, or one for each outlet where outlets have columns of their own."""
    outlets = list(dict.fromkeys(c.outlet for c in table.columns if c.outlet))
    for i, outlet in enumerate(outlets or [""]):
        own = replace(table, columns=tuple(c for c in table.columns if c.outlet in ("", outlet)))
        context = _context(assembly, sheet, sense, site, own, rows, facts)
        context.outlet, context.quiet = outlet, i > 0
        context.first = i == 0 and table is sense.tables[0]
        block = lay_out(context)
        if i > 0:
            block = _beside_first(context, block)
        if i == 0:
            assembly.unsettled.append(heard(replace(context, table=table), block, assembly.tests))
        assembly.tests += len(block.tests)
        assembly.blocks.append(_turned(block, sense.grid) if sense.grid.turned else block)


def _context(
    assembly: _Assembly, sheet: int, sense: Understood, site: str, table: Table, rows: Rows, facts: Sequence[Fact]
) -> Context:
    return Context(
        sense.grid, table, sheet, rows, assembly.options, assembly.findings, assembly.vocabulary, assembly.slots,
        assembly.options.site or site, {fact.field: fact for fact in facts},
        types=assembly.types, legend=sense.legend, colours=sense.colours, notes=sense.notes,
    )  # fmt: skip


def _beside_first(context: Context, block: Block) -> Block:
    """The tests of a further outlet, but those whose cells say that there is no such outlet ("-", "n/a"); of a later
    visit those that were tested again, or were to be ("no access").

    A blank outlet was not tested. Rows are accounted for with the first one.
    """
    said, closed = np.zeros(len(block.tests), dtype=bool), np.zeros(len(block.tests), dtype=bool)
    for column in context.table.columns:
        if column.outlet:
            codes, distinct = context.cells(column).parted()
            for told, kind in ((said, Kind.UNMEASURED), (closed, Kind.NO_ACCESS)):
                of_kind = np.array([c != "" and bool(grammars(c) & kind) for c in distinct], dtype=bool)[codes]
                told[block.rows["test"].to_numpy()[of_kind]] = True
    has = np.bincount(block.readings["test"], minlength=len(block.tests)) > 0
    kept = has | closed if round_of(context.outlet) else has | ~said
    number = np.cumsum(kept) - 1
    readings = block.readings.assign(test=number[block.readings["test"].to_numpy()].astype(np.int32))
    pointed = block.pointed[kept[block.pointed["test"].to_numpy()]]
    pointed = pointed.assign(test=number[pointed["test"].to_numpy()])
    return Block(block.tests[kept].reset_index(drop=True), readings, block.rows.iloc[:0], pointed)


def _turned(block: Block, grid: Grid) -> Block:
    """Addresses as the person sees them, of a table that was turned or folded from cards."""
    assert grid.places is not None
    row, column = grid.places[..., 0], grid.places[..., 1]
    at, of = grid.positions(block.readings["row"]), block.readings["column"].to_numpy()
    readings = block.readings.assign(row=row[at, of], column=column[at, of].astype(np.int16))
    tests = block.tests.assign(row=row[grid.positions(block.tests["row"]), 0])
    at = grid.positions(block.rows["row"])
    upright = bool((row == row[:, :1]).all())  # only widened: a row of it is a row of the sheet
    rows = block.rows.assign(row=row[at, 0], column=np.where(upright, -1, column[at, 0]).astype(np.int16))
    return Block(tests, readings, rows.astype(ROWS), block.pointed)


# ── what is said of a sheet ──
def _point_at_lost(assembly: _Assembly, sheet: int) -> None:
    """A passed-over row that holds something like a reading is a finding, not a footnote."""
    lost = assembly.passed_over[-1]
    lost = lost[lost["holds_reading"]]
    assembly.findings.add_many(
        "row-passed-over-holds-reading",
        {
            "sheet": np.full(len(lost), sheet),
            "row": lost["row"],
            "typed": lost["text"],
            "reason": lost["reason"],
        },
    )


def _columns(assembly: _Assembly, sheet: int, sense: Understood, table: Table) -> None:
    """How each column was understood, and what that leaves to say."""
    other = beside(table, sense.tables)
    assembly.columns += told.rows(sheet, sense.grid, table, other)
    assembly.headings += told.headings(sense.grid, table)
    told.point(sheet, sense.grid, table, other, assembly.findings)


def _joined(blocks: Sequence[Block]) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Tests, readings, rows and pointed cells of all blocks, with tests numbered through."""
    starts = np.cumsum([0] + [len(b.tests) for b in blocks[:-1]])
    for block, start in zip(blocks, starts, strict=False):
        for of_tests in (block.readings, block.rows, block.pointed):
            of_tests["test"] = (of_tests["test"] + start).astype("int32")
    return (
        _stacked([b.tests for b in blocks], TESTS),
        _stacked([b.readings for b in blocks], READINGS),
        _stacked([b.rows for b in blocks], ROWS),
        _stacked([b.pointed for b in blocks], POINTED),
    )


def _rated_elsewhere(tests: pd.DataFrame, files: npt.NDArray[np.int64]) -> None:
    """A device that one sheet rates and types and another tests: what is stated of it once holds for all its tests.

    files: the file of each sheet, since sheets of other files may call other devices so.
    """
    lacking = tests["rated_residual_current"].isna() & ~tests["rated_unreadable"] & (tests["device"] > 0)
    if not lacking.any() or lacking.all():
        return
    device = [files[tests["sheet"].to_numpy()], *(tests[name] for name in ("site", "board", "device"))]
    stated = tests["rated_residual_current"].groupby(device)
    one = lacking & (stated.transform("nunique") == 1)
    if not one.any():
        return
    tests.loc[one, "rated_residual_current"] = stated.transform("first")[one]
    for name in ("rcd_type", "waveform_type", "delay"):
        codes = tests[name].where(tests[name] > 0).groupby(device)
        only = one & (tests[name] == 0) & (codes.transform("nunique") == 1)
        tests.loc[only, name] = codes.transform("first")[only].astype("int32")


def _frame(rows: list[dict[str, Any]], dtypes: Mapping[str, str]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=list(dtypes)).astype(dtypes)


def _stacked(frames: Sequence[pd.DataFrame], dtypes: Mapping[str, str]) -> pd.DataFrame:
    some = [f for f in frames if len(f)] or [empty(dtypes)]
    whole = (
        some[0].reset_index(drop=True) if len(some) == 1 else pd.concat(some, ignore_index=True)
    )  # one is not copied
    return whole[list(dtypes)].astype(dtypes)
