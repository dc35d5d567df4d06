"""The options that settle what intake asks about a column, ready to paste."""

from __future__ import annotations

from collections.abc import Mapping

from rcdcheck.as_seen import column_letters
from rcdcheck.intake.opened.grids import Grid
from rcdcheck.intake.understood import stated
from rcdcheck.intake.understood.meaning import Meaning
from rcdcheck.intake.understood.table import Column, Table

DATE_ORDER = ("date-order-assumed", "date-orders-mixed")
OTHERWISE = {"class-read-as-rcd-type": "ignore", "class-read-as-insulation": "rcd_type"}  # what else was meant


def name_of(meaning: Meaning) -> str:
    """The meaning as `--column` reads it."""
    return meaning.slot.name if meaning.slot and meaning.field == "reading" else meaning.field


def option(grid: Grid, table: Table, c: Column, meaning: str) -> str:
    """The option that says what this column means; by its letters where it shares its heading with another."""
    alone = sum(other.heading == c.heading for other in table.columns) <= 1
    return stated.option(c.heading if alone else "", column_letters(c.number), meaning, grid.sheet)


def settling(grid: Grid, table: Table, c: Column, code: str, words: Mapping[str, str]) -> str:
    """The options that settle a finding on a whole column; empty where none does."""
    if code in DATE_ORDER:
        return "--date-order day-first or --date-order month-first"
    if code == "column-perhaps-other-unit":
        units = (words["meant"], words["stated"])
        return " or ".join(option(grid, table, c, f"{_said(c)} [{unit}]") for unit in units)
    return option(grid, table, c, OTHERWISE[code]) if code in OTHERWISE else ""


def _said(c: Column) -> str:
    """What a column is understood to be, as --column reads it; a test current is said best by the heading itself."""
    name = name_of(c.meaning)
    return c.heading if name.startswith("trip_time_x") else name
