"""Options that several commands share, and how their texts become an `Options`."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rcdcheck.cli.grouped import PATH, complete_column, complete_rules
from rcdcheck.errors import SettingsError, UsageError, cause

if TYPE_CHECKING:
    from rcdcheck.records import Options

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
            click.option("--column", "column", multiple=True, shell_complete=complete_column,
                         metavar='"HEADING=MEANING"',
                         help="Say what a column means: a field such as trip_time_1x_0 ([s] for its unit), or ignore."),
            click.option("--columns", "columns_file", type=PATH, metavar="FILE",
                         help="TOML file of column meanings, as `rcdcheck columns --save` writes it."),
            click.option("--encoding", default="", help="Encoding of delimited text."),
            click.option("--delimiter", default="", help="Delimiter of delimited text."),
            click.option("--jobs", type=click.IntRange(1, 64), default=1, show_default=True,
                         help="Files to read at a time; changes no answer."),
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


def column_pairs(column: tuple[str, ...], columns_file: Path | None) -> tuple[tuple[str, str], ...]:
    """Pairs (HEADING, MEANING) from the command line, before those of the file."""
    from rcdcheck.intake.understood.stated import column_file, stated

    pairs = [_pair(text) for text in column]
    for _, meaning in pairs:
        stated(meaning)  # a meaning that is not known is told now, not after the files were read
    return (*pairs, *(column_file(columns_file) if columns_file else ()))


def _pair(text: str) -> tuple[str, str]:
    heading, equals, meaning = text.rpartition("=")
    if not equals or not heading.strip():
        raise UsageError(f'--column "{text}" needs the form "HEADING=MEANING", for instance "T1=trip_time_1x_0".')
    return heading.strip(), meaning.strip()


EARLIEST, LATEST = 1990, 2200  # years


def day(text: str | None, option: str = "--as-of") -> dt.date:
    """The day that an option names; today where it is not given."""
    if text is None:
        return dt.date.today()
    try:
        named = dt.date.fromisoformat(text)
    except ValueError:
        raise UsageError(f"{option} {text} is not a day; write it as 2026-11-25.") from None
    if not EARLIEST <= named.year <= LATEST:
        raise UsageError(f"{option} {text} is not a day of any test; it lies between {EARLIEST} and {LATEST}.")
    return named


ASSUMABLE = {"rated": "rated_residual_current", "rated_residual_current": "rated_residual_current"}


def assumptions(texts: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    """What no column states: `rated=30mA`. Nothing ever assumes an inspection."""
    out = []
    for text in texts:
        name, _, value = text.partition("=")
        field = ASSUMABLE.get(name.strip().casefold())
        if field is None or not value.strip():
            raise UsageError(
                f"--assume {text} is not possible; what can be assumed is rated=30mA (any rated residual current)."
            )
        if not _is_rating(value):
            raise UsageError(f"--assume {text} names no rated residual current; write it as rated=30mA.")
        out.append((field, value.strip()))
    return tuple(out)


def _is_rating(text: str) -> bool:
    import numpy as np

    from rcdcheck.intake.cells.conventions import read_rated

    return text.strip()[:1].isdecimal() and bool(read_rated(np.array([text.strip()], dtype=object)).value[0] > 0)


def uncertainties(texts: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    """`trip_time=10%` → ("trip_time", "10%"), checked."""
    from rcdcheck.judging.confidence import parse_spec

    out = []
    for text in texts:
        quantity, _, spec = text.partition("=")
        if quantity.strip() not in ("trip_time", "trip_current"):
            raise UsageError(f'--uncertainty "{text}" needs the form "trip_time=10%" or "trip_current=5%r".')
        parse_spec(spec)
        out.append((quantity.strip(), spec.strip()))
    return tuple(out)


def remedies(path: Path | None) -> tuple[tuple[str, str, str], ...]:
    """Rows of a CSV file with the columns device, date (2026-11-25) and what was done."""
    import csv

    if path is None:
        return ()
    try:
        rows = list(csv.reader(path.read_text(encoding="utf-8-sig").splitlines()))
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"{path} could not be read as a list of remedies (CSV): {cause(error)}.") from error
    out = []
    for number, row in enumerate(rows, 1):
        cells = [cell.strip() for cell in row]
        if not any(cells) or (number == 1 and "date" in cells[1:2][0:1] + [c.casefold() for c in cells]):
            continue
        out.append(_remedy(path, number, cells))
    return tuple(out)


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
    import csv

    try:
        rows = list(csv.reader(path.read_text(encoding="utf-8-sig").splitlines()))
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"{path} could not be read as a list of devices (CSV): {cause(error)}.") from error
    out = []
    for number, row in enumerate(rows, 1):
        cells = [cell.strip() for cell in (*row, "", "", "", "")][:5]
        if not any(cells) or cells[0] == "is":
            continue
        if cells[0] not in ("same", "different", "perhaps") or not cells[1] or not cells[3]:
            raise SettingsError(
                f"{path}, line {number}: a line needs same or different, a site and a device, and the other site and "
                f"device (without devices it speaks of the sites); found {', '.join(filter(None, cells))}."
            )
        out.append(tuple(cells))
    return tuple(out)


def of_reading(asked: dict[str, Any]) -> dict[str, Any]:
    """The fields of Options that `reading_options` ask for."""
    return of_columns(asked) | {"site": asked["site"], "date_order": asked["date_order"] or ""}


def of_columns(asked: dict[str, Any]) -> dict[str, Any]:
    """The fields of Options that `column_options` ask for."""
    return {
        "columns": column_pairs(asked["column"], asked["columns_file"]),
        "encoding": asked["encoding"],
        "delimiter": asked["delimiter"],
    }


def confidence_option(words: str) -> Callable[[Any], Any]:
    """`--confidence`, in per cent; `words` say of what."""
    between = click.FloatRange(0, 100, min_open=True, max_open=True)
    return click.option("--confidence", type=between, default=95.0, show_default=True, metavar="PER-CENT", help=words)


def build(**asked: Any) -> Options:
    """The frozen Options of a run from what the command line gave."""
    from rcdcheck.records import Options

    return Options(**asked)
