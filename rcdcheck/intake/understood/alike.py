"""Sheets of one file under the same headings mean the same: a sheet of two rows is understood like that of fifty.

What a heading leaves open the cells decide, and few cells decide little. So where a small sheet read a column otherwise
than a larger one that is sure of it, it is understood again with what the larger one says.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from rcdcheck.as_seen import NO_HEADING
from rcdcheck.intake.understood.candidates import Candidate, weights
from rcdcheck.intake.understood.lexicon import normal
from rcdcheck.intake.understood.meaning import Meaning
from rcdcheck.intake.understood.row_kinds import RowKind
from rcdcheck.intake.understood.sheet import Understood, understand
from rcdcheck.intake.understood.table import Column, Table
from rcdcheck.options import Options

Place = tuple[int, int]  # number of a column and row of its heading
Largest = dict[tuple[str, ...], tuple[int, Table]]  # headings → tests of the largest table under them, and the table


def as_alike(
    senses: Sequence[Understood], options: Options, settled: Sequence[Mapping[Place, Meaning]]
) -> list[Understood]:
    """The sheets of one file, each column as the largest sheet under the same headings that is sure of it has it.

    settled: what is settled of the columns of each sheet, which stays.
    """
    largest: Largest = {}
    for sense in senses:
        for table, rows in zip(sense.tables, sense.rows, strict=True):
            tests = int((rows.kind == RowKind.TEST).sum())
            if tests > largest.get(_headings(table), (0, table))[0]:
                largest[_headings(table)] = tests, table
    return [_like(sense, largest, options, told) for sense, told in zip(senses, settled, strict=True)]


def _headings(table: Table) -> tuple[str, ...]:
    return tuple(normal(c.heading) for c in table.columns)


def _like(
    sense: Understood,
    largest: Mapping[tuple[str, ...], tuple[int, Table]],
    options: Options,
    told: Mapping[Place, Meaning],
) -> Understood:
    taken: dict[Place, Meaning] = {}
    for table in sense.tables:
        other = largest.get(_headings(table), (0, table))[1]
        pairs = zip(table.columns, other.columns, strict=True) if other is not table else ()
        taken |= {(own.number, own.row): same.meaning for own, same in pairs if _better(own, same)}
    if not taken:
        return sense
    again = understand(sense.grid, options, {**taken, **told})
    return replace(again, tables=tuple(_said(table, taken) for table in again.tables))


def _better(own: Column, same: Column) -> bool:
    """Whether a column is to mean what the same one of a larger sheet means: that one is sure, and it is not."""
    sure, named = weights()["decide"]["sure"], own.heading != NO_HEADING
    differs = Candidate(own.meaning, 0.0).key != Candidate(same.meaning, 0.0).key
    open_here = own.margin < sure or not own.meaning.field
    return named and differs and open_here and same.margin >= sure and bool(same.meaning.field) and not own.confirmed


def _said(table: Table, taken: Mapping[Place, Meaning]) -> Table:
    """The table, in which nothing that was taken over counts as stated by a person."""
    why = ("as under the same headings in another sheet",)
    columns = [replace(c, confirmed=False, why=why) if (c.number, c.row) in taken else c for c in table.columns]
    return replace(table, columns=tuple(columns))
