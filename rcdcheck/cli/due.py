"""`rcdcheck due`: what falls due, what was left open, what is missing, from a register of visits."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rcdcheck.cli import options as shared
from rcdcheck.cli.grouped import PATH
from rcdcheck.cli.parameter_types import Day
from rcdcheck.errors import UsageError

if TYPE_CHECKING:
    from rcdcheck.register.due import Listed

AHEAD = 60  # days
KINDS = (".csv", ".xlsx", ".ics")


@click.command("due", short_help="List what falls due and what was left open.")
@click.option("--register", type=PATH, required=True, metavar="FILE", help="Register of visits.")
@click.option(
    "--by", type=Day(), metavar="DAY", default=None, help=f"Last day to look at; {AHEAD} days ahead otherwise."
)
@click.option("--site", default="", help="Only this site.")
@shared.day_option
@click.option("--out", type=PATH, multiple=True, metavar="FILE",
              help="Write a .csv, an .xlsx or a calendar (.ics) instead; may be given several times.")  # fmt: skip
def command(register: Path, by: dt.date | None, site: str, as_of: dt.date, out: tuple[Path, ...]) -> None:
    """List the devices of a register that need something: withdrawn, unfinished, overdue, missing, due, unexpected.

    \b
    rcdcheck due --register fleet.db --by 2027-01-31
    rcdcheck due --register fleet.db --site "North yard" --out north.xlsx --out north.ics
    """
    from rcdcheck.register.due import STATUSES, due
    from rcdcheck.register.store import opened
    from rcdcheck.reports.due_text import due_text
    from rcdcheck.showing import visible
    from rcdcheck.writing import write

    today, last = as_of, by or as_of + dt.timedelta(days=AHEAD)
    for path in out:
        if path.suffix.lower() not in KINDS:
            raise UsageError(f"--out {path} must end in {', '.join(KINDS)}.")
    with opened(register, writing=False) as known:
        listed = due(known, today.isoformat(), last.isoformat(), site)
        empty = known.one("SELECT 1 FROM visits LIMIT 1") is None
        for path in out:
            write(path, _pieces(path.suffix.lower(), listed, today.isoformat(), last.isoformat()), inputs=[register])
            click.echo(f"Written: {visible(str(path))}")
    if empty:
        click.echo("No visit yet.")
    elif not out:
        click.echo(due_text(listed, STATUSES, today.isoformat(), last.isoformat()))


def _pieces(kind: str, listed: Listed, today: str, by: str) -> Iterable[bytes]:
    from rcdcheck.register.due import STATUSES

    if kind == ".csv":
        from rcdcheck.reports.due_text import due_csv

        return due_csv(listed)
    if kind == ".ics":
        from rcdcheck.reports.calendar import due_calendar

        return due_calendar(listed, today)
    from rcdcheck.reports.excel.due import due_workbook

    return due_workbook(listed, STATUSES, today, by)
