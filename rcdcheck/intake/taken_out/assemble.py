"""All inputs of a run put together into one set of tables, with the account of every row."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.findings import Findings
from rcdcheck.intake.headings import Meaning, normal, stated
from rcdcheck.intake.labels import Fact
from rcdcheck.intake.opened.files import Opened
from rcdcheck.intake.opened.grids import Grid
from rcdcheck.intake.row_kinds import RowKind, Rows, classify
from rcdcheck.intake.table_finding import Column, Table, filled, find_tables, missing_parts
from rcdcheck.intake.taken_out.layout import Block, lay_out
from rcdcheck.intake.title_block import title_blocks
from rcdcheck.records import (
    CELLS,
    COLUMNS,
    PASSED_OVER,
    READINGS,
    ROWS,
    SHEETS,
    TESTS,
    UNSETTLED,
    Input,
    Mask,
    Options,
    Slot,
    Tables,
    Vocabulary,
    as_typed,
    empty,
)


@dataclass
class _Assembly:
    options: Options
    findings: Findings
    vocabulary: Vocabulary = field(default_factory=Vocabulary)
    slots: dict[Slot, int] = field(default_factory=dict)
    sheets: list[dict[str, Any]] = field(default_factory=list)
    columns: list[dict[str, Any]] = field(default_factory=list)
    passed_over: list[pd.DataFrame] = field(default_factory=list)
    cells: list[pd.DataFrame] = field(default_factory=list)
    unsettled: list[pd.DataFrame] = field(default_factory=list)
    blocks: list[Block] = field(default_factory=list)


def assemble(opened: Sequence[Opened], options: Options, findings: Findings) -> Tables:
    """Read every grid of every input; an input without a table of tests becomes `not_audited` with the reason."""
    assembly = _Assembly(options, findings)
    inputs = tuple(_take_in(assembly, number, one) for number, one in enumerate(opened))
    tests, readings, rows = _joined(assembly.blocks)
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
        vocabulary=assembly.vocabulary.frozen(),
    )


def _take_in(assembly: _Assembly, number: int, opened: Opened) -> Input:
    if opened.input.status != "audited":
        return opened.input
    reasons = [_take_in_sheet(assembly, number, grid, opened.input.name) for grid in opened.grids]
    if any(reason == "" for reason in reasons):
        return opened.input
    named = [f"{g.sheet}: {r}" if g.sheet else r for g, r in zip(opened.grids, reasons, strict=True)]
    reason = (
        "no table of tests was found. "
        + "; ".join(named or ["there is nothing in it"])
        + (
            '. If the headings are unusual, say what they mean with --column "HEADING=MEANING" '
            "(rcdcheck columns FILE shows how each was read)."
        )
    )
    return dataclasses.replace(opened.input, status="not_audited", reason=reason)


def _take_in_sheet(assembly: _Assembly, number: int, grid: Grid, name: str) -> str:
    """Read one sheet; the answer is empty, or why it holds no table of tests."""
    sheet = len(assembly.sheets)
    full = filled(grid)
    overrides = _stated(assembly.options.columns, grid.sheet)
    tables = find_tables(grid, full, overrides)
    kinds = np.where(full.any(axis=1), RowKind.TITLE, RowKind.BLANK).astype(np.int8)
    classified = [classify(grid, _only(full, _beside(table, tables)), table) for table in tables]
    for table, rows in zip(tables, classified, strict=True):
        kinds[list(table.heading_rows)] = RowKind.HEADING
        span = kinds[table.start : table.stop]  # what a table beside this one made of a row stands where it is a test
        kinds[table.start : table.stop] = np.where(span == RowKind.TEST, span, rows.kind)
    titles = title_blocks(grid, full, tables, np.isin(kinds, (RowKind.TEST, RowKind.HEADING)))
    above = {fact.row for facts in titles for fact in facts}
    kinds[grid.cells.index.isin(above)] = RowKind.TITLE
    tests = int((kinds == RowKind.TEST).sum())
    reason = "" if tests else _no_table(grid, full, overrides, tables)
    if not tests:
        kinds[kinds > 0] = RowKind.TITLE
    assembly.sheets.append(_account(number, grid, kinds, reason))
    if reason:
        assembly.passed_over.append(_passed_over(sheet, grid, full, kinds, "sheet without a table of tests", above))
        assembly.findings.add("sheet-passed-over", sheet=sheet, sheet_name=grid.sheet or name, reason=reason)
        return reason
    assembly.passed_over.append(_passed_over(sheet, grid, full, kinds, "", above))
    assembly.cells.append(grid.special.assign(sheet=sheet))
    facts = [_wanted(assembly.options, table, stated) for table, stated in zip(tables, titles, strict=True)]
    for table, rows, stated_above in zip(tables, classified, facts, strict=True):
        _columns(assembly, sheet, grid, table, _beside(table, tables))
        if (rows.kind == RowKind.TEST).any():
            assembly.blocks.append(_block(assembly, sheet, grid, table, rows, stated_above))
    _say_stated(assembly, sheet, facts)
    _point_at_lost(assembly, sheet)
    return ""


def _beside(table: Table, tables: Sequence[Table]) -> set[int]:
    """Columns of the tables that stand beside this one in the same rows."""
    return {c.number for t in tables if t is not table and t.start == table.start for c in t.columns}


def _only(full: Mask, beside: set[int]) -> Mask:
    """The filled cells that a table may look at: not those of a table beside it."""
    if not beside:
        return full
    own = full.copy()
    own[:, sorted(beside)] = False
    return own


def _wanted(options: Options, table: Table, facts: Sequence[Fact]) -> list[Fact]:
    """Facts above a table that none of its columns, and no option, states."""
    settled = ["site"] if options.site else []
    return [fact for fact in facts if not table.of(fact.field) and fact.field not in settled]


def _say_stated(assembly: _Assembly, sheet: int, facts: Sequence[Sequence[Fact]]) -> None:
    said = sorted({fact for of_table in facts for fact in of_table}, key=lambda fact: (fact.row, fact.column))
    if said:
        words = ", ".join(f"{fact.field.replace('_', ' ')} “{as_typed(fact.value)}” (row {fact.row})" for fact in said)
        first, last = said[0].row, said[-1].row
        assembly.findings.add("stated-above-the-table", sheet=sheet, row=first, last_row=last, words=words)


def _block(assembly: _Assembly, sheet: int, grid: Grid, table: Table, rows: Rows, facts: Sequence[Fact]) -> Block:
    return lay_out(
        grid,
        table,
        rows,
        sheet=sheet,
        site=assembly.options.site or site_of_sheet(grid.sheet),
        options=assembly.options,
        findings=assembly.findings,
        vocabulary=assembly.vocabulary,
        slots=assembly.slots,
        facts=facts,
    )


def _stated(pairs: Sequence[tuple[str, str]], sheet: str) -> dict[str, Meaning]:
    """Meanings that the person stated, by normalised heading; `SHEET!HEADING` holds for that sheet only."""
    out: dict[str, Meaning] = {}
    for heading, meaning in pairs:
        where, _, rest = heading.rpartition("!")
        if not where:
            out.setdefault(normal(heading), stated(meaning))
        elif normal(where) == normal(sheet):
            out[normal(rest)] = stated(meaning)
    return out


_DEFAULT_NAME = re.compile(
    r"^(sheet|tabelle|feuil|hoja|foglio|blad|planilha|folha|table|data|readings|results?)\s*\d*$"
)
_MONTHS = "jan|feb|mar|apr|may|mai|jun|jul|aug|sep|oct|okt|nov|dec|dez"


def site_of_sheet(name: str) -> str:
    """A sheet's name as a site: not where it is a default name, a month, a date or a number."""
    plain = normal(name)
    if not re.search(r"[^\W\d_]", plain) or _DEFAULT_NAME.match(plain):
        return ""
    if re.match(rf"^\d*\s*({_MONTHS})\w*\s*\d*$", plain):
        return ""
    return name.strip()


def _no_table(grid: Grid, full: Any, overrides: Mapping[str, Meaning], tables: Sequence[Table]) -> str:
    if tables:
        return "it has headings and no row of tests below them"
    return missing_parts(grid, full, overrides)


def _account(number: int, grid: Grid, kinds: Any, reason: str) -> dict[str, Any]:
    return {
        "input": number,
        "sheet": grid.sheet,
        "kind": grid.kind,
        "hidden": grid.hidden,
        "saved_at": pd.Timestamp(grid.saved_at) if grid.saved_at else pd.NaT,
        "non_blank": int((kinds != RowKind.BLANK).sum()),
        "heading": int((kinds == RowKind.HEADING).sum()),
        "test": int((kinds == RowKind.TEST).sum()),
        "passed_over": int((kinds >= RowKind.SECTION).sum()),
        "reason": reason,
    }


def _passed_over(sheet: int, grid: Grid, full: Any, kinds: Any, reason: str, above: set[int]) -> pd.DataFrame:
    """Rows passed over; `above` are title lines whose facts were read, which hold no lost readings."""
    at = np.flatnonzero(kinds >= RowKind.SECTION)
    rows = grid.cells.index.to_numpy()[at].astype(np.int32)
    texts = [" | ".join(as_typed(c) for c in grid.cells.iloc[i][full[i]])[:300] for i in at[:10_000]]
    texts += [""] * (len(at) - len(texts))
    return pd.DataFrame(
        {
            "sheet": np.full(len(at), sheet, dtype=np.int32),
            "row": rows,
            "reason": [reason or RowKind(k).reason for k in kinds[at]],
            "text": texts,
            "holds_reading": _hold_decimals(grid, at) & ~np.isin(rows, list(above)),
        }
    )


_DECIMAL = re.compile(r"(?<![\d.,/:-])\d+[.,]\d+(?![.,/:-]?\d)")  # 24.9, and not the date 24.11.2026


def _hold_decimals(grid: Grid, at: npt.NDArray[np.int64]) -> Mask:
    """Rows at these places with something like a reading in any cell."""
    found = np.zeros(len(at), dtype=bool)
    for c in grid.cells.columns:
        codes, distinct = pd.factorize(grid.cells[c].to_numpy()[at])
        found |= np.array([_DECIMAL.search(as_typed(t)) is not None for t in distinct], dtype=bool)[codes]
    return found


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


def _columns(assembly: _Assembly, sheet: int, grid: Grid, table: Table, beside: set[int]) -> None:
    for c in table.columns:
        meaning = c.meaning.slot.name if c.meaning.slot and c.meaning.field == "reading" else c.meaning.field
        assembly.columns.append(
            {
                "sheet": sheet,
                "column": c.number,
                "row": c.row,
                "heading": c.heading,
                "meaning": meaning,
                "unit": c.meaning.unit,
                "how": "stated by you" if c.confirmed else c.meaning.how,
                "samples": _samples(grid, table, c),
            }
        )
        if not c.meaning.field:
            _point_at_unknown(assembly, sheet, c, assembly.columns[-1]["samples"])
    _point_at_unheaded(assembly, sheet, grid, table, beside)
    _point_at_twins(assembly, sheet, table)


SAMPLED_ROWS = 5_000


def _samples(grid: Grid, table: Table, column: Column) -> str:
    """The first three distinct cells of a column, as typed."""
    cells = grid.cells[column.number].to_numpy()[table.start : min(table.stop, table.start + SAMPLED_ROWS)]
    return ", ".join(as_typed(c) for c in pd.unique(cells[cells != ""])[:3])


def _point_at_unknown(assembly: _Assembly, sheet: int, column: Column, samples: str) -> None:
    numeric = bool(re.search(r"\d", samples))
    code = "column-not-understood-holds-numbers" if numeric else "column-not-understood"
    assembly.findings.add(code, sheet=sheet, row=column.row, column=column.number, heading=column.heading,
                          samples=samples or "nothing", how=column.meaning.how)  # fmt: skip


def _point_at_unheaded(assembly: _Assembly, sheet: int, grid: Grid, table: Table, beside: set[int]) -> None:
    """A column without a heading is not read; that it holds something is said."""
    headed = {c.number for c in table.columns} | beside
    for number in (int(c) for c in grid.cells.columns if int(c) not in headed):
        column = Column(number, int(grid.cells.index[table.heading_rows[-1]]), "(no heading)", Meaning(""))
        samples = _samples(grid, table, column)
        if samples:
            _point_at_unknown(assembly, sheet, column, samples)


def _point_at_twins(assembly: _Assembly, sheet: int, table: Table) -> None:
    """Two columns that claim the same meaning are an error that names both."""
    seen: dict[object, Column] = {}
    for c in table.columns:
        field = c.meaning.field
        if field in ("", "ignore", "other_test", "remark", "remedy"):
            continue
        key = (
            field,
            c.meaning.slot,
            c.meaning.test_current if c.meaning.test_current == c.meaning.test_current else 0,
        )
        first = seen.setdefault(key, c)
        if first is not c:
            code = "two-columns-one-reading" if field in ("reading", "pair", "value") else "two-columns-one-meaning"
            meaning = c.meaning.slot.title if c.meaning.slot else field.replace("_", " ")
            assembly.findings.add(code, sheet=sheet, row=c.row, column=c.number, heading=c.heading,
                                  first=first.heading, meaning=meaning)  # fmt: skip


def _joined(blocks: Sequence[Block]) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Tests, readings and rows of all blocks, with tests numbered through."""
    if not blocks:
        return empty(TESTS), empty(READINGS), empty(ROWS)
    starts = np.cumsum([0] + [len(b.tests) for b in blocks[:-1]])
    for block, start in zip(blocks, starts, strict=True):
        block.readings["test"] = (block.readings["test"] + start).astype("int32")
        block.rows["test"] = (block.rows["test"] + start).astype("int32")
    tests = pd.concat([b.tests for b in blocks], ignore_index=True)
    readings = pd.concat([b.readings for b in blocks if len(b.readings)] or [empty(READINGS)], ignore_index=True)
    rows = pd.concat([b.rows for b in blocks], ignore_index=True)
    return (
        tests[list(TESTS)].astype(TESTS),
        readings[list(READINGS)].astype(READINGS),
        rows[list(ROWS)].astype(ROWS),
    )


def _frame(rows: list[dict[str, Any]], dtypes: Mapping[str, str]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=list(dtypes)).astype(dtypes)


def _stacked(frames: Sequence[pd.DataFrame], dtypes: Mapping[str, str]) -> pd.DataFrame:
    some = [f for f in frames if len(f)]
    return pd.concat(some, ignore_index=True)[list(dtypes)].astype(dtypes) if some else empty(dtypes)
