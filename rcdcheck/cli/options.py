"""Options that several commands share, and how their texts become an `Options`."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import click

from rcdcheck.cli.grouped import PATH, complete_column, complete_rules
from rcdcheck.cli.parameter_types import ColumnMeaning, Day, FileOf
from rcdcheck.errors import SettingsError, cause
from rcdcheck.options import Options

LEVELS = ("fail", "unclear", "incomplete", "doubt", "grade-c", "grade-d", "new", "never")


def rules_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """`--rules`, completed with the names of the rule sets."""
    return click.option("--rules", default="anz-in-service", show_default=True, shell_complete=complete_rules,
                        help="Rule set by name, or a path to your own.")(command)  # fmt: skip


def reading_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Options on how files are read and their tests understood."""
    for option in (
        click.option("--date-order", type=click.Choice(["day-first", "month-first"]), default=None,
                     help="How 03/04/2026 is meant; decided by column otherwise."),
        click.option("--site", default="", help="Site of rows that no column or section line gives one."),
    ):  # fmt: skip
        command = option(command)
    return column_options(command)


def column_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Options on how files are read and their columns understood."""
    for option in reversed(
        [
            click.option("--column", "column", type=ColumnMeaning(), multiple=True, shell_complete=complete_column,
                         metavar='"HEADING=MEANING"',
                         help="Say what a column means: a field such as trip_time_1x_0 ([s] for its unit), or ignore."),
            click.option("--columns", "columns_file", type=FileOf(column_file), default=(), metavar="FILE",
                         help="TOML file of column meanings, as `rcdcheck columns --save` writes it."),
            click.option("--encoding", default="", help="Encoding of delimited text."),
            click.option("--delimiter", default="", help="Delimiter of delimited text."),
            click.option("--jobs", type=click.IntRange(1, 64), default=1, show_default=True,
                         help="Files to read at a time; of a large audit also processes. Changes no answer."),
        ]
    ):  # fmt: skip
        command = option(command)
    return command


def register_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Options of an audit with a register of visits."""
    for option in reversed(
        [
            click.option("--register", type=PATH, default=None, metavar="FILE",
                         help="Register of visits (made on first use): audit what is new to it, and take it in."),
            click.option("--new-only", is_flag=True, help="Judge and report only tests that the register lacks."),
            click.option("--again", is_flag=True, help="Audit files that the register has counted already, too."),
            click.option("--replaces", default="", metavar="VISIT",
                         help="Visit, by number or file name, that the one new file corrects."),
        ]
    ):  # fmt: skip
        command = option(command)
    return command


def column_file(path: Path) -> tuple[tuple[str, str], ...]:
    """Pairs (HEADING, MEANING) of a column file."""
    from rcdcheck.intake.understood import stated

    return stated.column_file(path)


def remedies(path: Path) -> tuple[tuple[str, str, str], ...]:
    """Rows of a CSV file with the columns device, date (2026-11-25) and what was done."""
    out = []
    for number, cells in _csv_rows(path, "remedies"):
        heads = number == 1 and "date" in cells[1:2] + [c.casefold() for c in cells]
        if any(cells) and not heads:
            out.append(_remedy(path, number, cells))
    return tuple(out)


def _csv_rows(path: Path, what: str) -> list[tuple[int, list[str]]]:
    """Number and trimmed cells of each row of a CSV file. Raises SettingsError where it cannot be read."""
    import csv

    try:
        rows = list(csv.reader(path.read_text(encoding="utf-8-sig").splitlines()))
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"{path} could not be read as a list of {what} (CSV): {cause(error)}.") from error
    return [(number, [cell.strip() for cell in row]) for number, row in enumerate(rows, 1)]


def _remedy(path: Path, line: int, cells: list[str]) -> tuple[str, str, str]:
    try:
        device, date, done = cells[:3]
        return device, dt.date.fromisoformat(date).isoformat(), done
    except ValueError:
        raise SettingsError(
            f"{path}, line {line}: a remedy needs device, date (as 2026-11-25) and what was done; "
            f"found {', '.join(cells)}."
        ) from None


def settling(path: Path) -> tuple[tuple[str, ...], ...]:
    """Lines of a settling file: same, different or perhaps; site and device; the other site and device."""
    out = []
    for number, row in _csv_rows(path, "devices"):
        cells = [*row, "", "", "", ""][:5] if row else [""] * 5
        if not any(cells) or cells[0] == "is":
            continue
        if cells[0] not in ("same", "different", "perhaps") or not cells[1] or not cells[3]:
            raise SettingsError(
                f"{path}, line {number}: a line needs same or different, a site and a device, and the other site and "
                f"device (without devices it speaks of the sites); found {', '.join(filter(None, cells))}."
            )
        out.append(tuple(cells))
    return tuple(out)


@dataclass(frozen=True, kw_only=True)
class OfColumns:
    """What `column_options` ask for."""

    column: tuple[tuple[str, str], ...]
    columns_file: tuple[tuple[str, str], ...]
    encoding: str
    delimiter: str
    jobs: int

    def options(self) -> Options:
        """Options as they say, and else as they are where nothing is said."""
        return Options(columns=(*self.column, *self.columns_file), encoding=self.encoding, delimiter=self.delimiter)


@dataclass(frozen=True, kw_only=True)
class OfReading(OfColumns):
    """What `reading_options` ask for."""

    site: str
    date_order: str | None

    def options(self) -> Options:
        """The same, with these."""
        return replace(super().options(), site=self.site, date_order=self.date_order or "")


def day_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """`--as-of`, today where it is not given."""
    said = "Day that counts as today, as 2026-11-25."
    return click.option("--as-of", type=Day(), metavar="DAY", default=dt.date.today, help=said)(command)


def confidence_option(words: str) -> Callable[[Any], Any]:
    """`--confidence`, in per cent; `words` say of what."""
    between = click.FloatRange(0, 100, min_open=True, max_open=True)
    return click.option("--confidence", type=between, default=95.0, show_default=True, metavar="PER-CENT", help=words)
