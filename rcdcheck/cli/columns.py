"""`rcdcheck columns`: how each column of each sheet is understood, with sample values."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from rcdcheck.cli import options as shared
from rcdcheck.cli.grouped import NAME, PATH
from rcdcheck.cli.streams import tell


@click.command("columns", short_help="Show how each column of each sheet is understood.")
@click.argument("files", nargs=-1, type=NAME)
@click.option("--fields", is_flag=True, help="List what MEANING of --column may be.")
@shared.rules_option
@shared.column_options
@click.option(
    "--save",
    type=PATH,
    default=None,
    metavar="FILE",
    help="Write the meanings as TOML, to correct and to use with --columns.",
)
def command(files: tuple[str, ...], fields: bool, save: Path | None, rules: str, **asked: Any) -> int:  # fmt: skip
    """Show how each column of FILES is understood, with three sample values, and what is not understood."""
    from rcdcheck.errors import ExitCode
    from rcdcheck.findings import Findings
    from rcdcheck.intake import read
    from rcdcheck.reports.columns_table import column_file_text, columns_text, fields_text
    from rcdcheck.rules import load
    from rcdcheck.showing import visible
    from rcdcheck.writing import write

    if fields:
        tell(fields_text())
        return ExitCode.CLEAN
    if not files:
        raise click.UsageError("Missing argument 'FILES...'.")

    reading = shared.OfColumns(**asked)
    tables = read(files, reading.options(), Findings(), load(rules).typed_names, jobs=reading.jobs)
    tell(columns_text(tables))
    if save is not None:
        write(save, [column_file_text(tables).encode()], inputs=[i.path for i in tables.inputs if i.path])
        shown = visible(str(save))
        tell(f"Written: {shown}. Correct it where needed, then: rcdcheck audit FILES --columns {shown}")
    return ExitCode.INPUT if any(i.status != "audited" for i in tables.inputs) else ExitCode.CLEAN
