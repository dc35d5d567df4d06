"""A table of tests that was found in a sheet, and its columns with what they mean."""

from __future__ import annotations

from dataclasses import dataclass

from rcdcheck.intake.understood.candidates import Candidate
from rcdcheck.intake.understood.meaning import Meaning


@dataclass(frozen=True)
class Column:
    """One column of a table and how it was understood."""

    number: int
    row: int  # of its lowest heading, as the person sees it
    heading: str
    meaning: Meaning
    confirmed: bool = False  # a person stated it
    other: Candidate | None = None  # what it could also mean
    margin: float = 99.0  # how far that lies behind, in log-odds
    why: tuple[str, ...] = ()
    outlet: str = ""  # where each outlet, or each visit, has columns of its own: its name, or its date


@dataclass(frozen=True)
class Table:
    """A table in a grid: positions of its heading rows, its columns, the positions [start, stop) below, its sides."""

    heading_rows: tuple[int, ...]
    columns: tuple[Column, ...]
    start: int
    stop: int
    label: str = ""  # a heading over the whole table, where tables stand side by side
    beyond: int = -1  # the first column of the table to its right; -1 without one
    score: float = 0.0  # how much sense its columns make
    fit: float = 0.0  # what its cells say of their columns, on average

    def of(self, *fields: str) -> list[Column]:
        """Columns whose meaning is one of `fields`, from left to right."""
        return [c for c in self.columns if c.meaning.field in fields]

    @property
    def readings(self) -> list[Column]:
        """Columns that hold readings."""
        return self.of("reading", "value", "pair")
