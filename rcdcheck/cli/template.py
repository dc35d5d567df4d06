"""`rcdcheck template`: the workbook to type tomorrow's tests into."""

from __future__ import annotations

import os
from pathlib import Path

import click

from rcdcheck.cli import options as shared
from rcdcheck.cli.grouped import PATH


@click.command("template", short_help="Write the workbook to type tests into.")
@shared.rules_option
@click.option(
    "--out",
    type=PATH,
    default=Path("rcd-tests.xlsx"),
    show_default=True,
    metavar="FILE",
    help="Workbook to write; one that is there already is not overwritten.",
)
def command(rules: str, out: Path) -> None:
    """Write a workbook to type tests into: units in the headings, drop-downs, checks, and a sheet of notes.

    \b
    rcdcheck template --rules uk-present --out monday.xlsx
    """
    from rcdcheck.errors import OutputError
    from rcdcheck.reports.entry_workbook import entry_workbook
    from rcdcheck.rules import load
    from rcdcheck.showing import visible
    from rcdcheck.writing import write

    if os.path.lexists(out):
        raise OutputError(f"{out} is there already and may hold typed tests. Name another file with --out.")
    write(out, entry_workbook(load(rules)))
    click.echo(visible(f"Written: {out}. Fill it in, then: rcdcheck audit {out} --rules {rules}"))
