"""`rcdcheck witness`: which devices to test again oneself."""

from __future__ import annotations

import datetime as dt
import os
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import click

from rcdcheck.cli import options as shared
from rcdcheck.cli.grouped import NAME, PATH
from rcdcheck.cli.streams import tell


@dataclass(frozen=True, kw_only=True)
class Asked(shared.OfReading):
    """The command line, parsed."""

    files: tuple[str, ...]
    rules: str
    as_of: dt.date
    share: float
    confidence: float
    seed: int | None
    out: Path


@click.command("witness", short_help="Draw the devices to test again yourself.")
@click.argument("files", nargs=-1, required=True, type=NAME)
@click.option(
    "--share",
    type=click.FloatRange(0, 100, min_open=True),
    default=10.0,
    show_default=True,
    metavar="PER-CENT",
    help="Share of the records that might be false.",
)
@shared.confidence_option("How surely one of them is to be met.")
@click.option("--seed", type=click.IntRange(0), default=None, help="Seed of the draw, to draw the same again.")
@click.option(
    "--out",
    type=PATH,
    default=Path("witness.xlsx"),
    show_default=True,
    metavar="FILE",
    help="Workbook to type the re-test into; the doubtful ones go into one beside it.",
)
@shared.reading_options
@shared.rules_option
@shared.day_option
def command(**given: Any) -> int:
    """Draw so many devices that, if the stated share of the records were false, one of them would be met.

    The random part carries that statement. Devices that a doubt names are written apart, and left out of it.

    \b
    rcdcheck witness sheets/ --share 10 --confidence 95
    """
    import secrets

    from rcdcheck import pipeline, rules
    from rcdcheck.errors import ExitCode, OutputError
    from rcdcheck.reports.entry_workbook import entry_workbook
    from rcdcheck.reports.text import counted
    from rcdcheck.showing import visible
    from rcdcheck.witness.drawing import draw, entry_rows
    from rcdcheck.writing import write

    asked = Asked(**given)
    out = asked.out
    beside = out.with_name(f"{out.stem}-doubtful{out.suffix}")
    for path in (out, beside):
        if os.path.lexists(path):
            raise OutputError(f"{path} is there already and may hold typed tests. Name another file with --out.")
    options = replace(asked.options(), rules=asked.rules, as_of=asked.as_of)
    audit = pipeline.run(asked.files, options, jobs=asked.jobs)
    seed = secrets.randbelow(2**32) if asked.seed is None else asked.seed
    drawn = draw(audit, asked.share / 100, asked.confidence / 100, seed)
    rule_set = rules.load(options.rules)
    inputs = [i.path for i in audit.tables.inputs if i.path]
    write(out, entry_workbook(rule_set, entry_rows(audit, drawn.random)), inputs=inputs)
    tell(
        f"{counted(drawn.records, 'device has', 'devices have')} readings. If {drawn.false} or more were false "
        f"({asked.share:g} %), a random draw of {len(drawn.random)} holds at least one with a chance of "
        f"{drawn.reached:.1%}; "
        f"where a re-test exposes a false record only in 73 of 100 cases, one is exposed with "
        f"{drawn.reached_by_time:.1%}."
    )
    tell(f"Seed {seed}: the same files, options and seed draw the same devices.")
    tell(f"Written: {visible(str(out))}, the random part.")
    if len(drawn.doubtful):
        write(beside, entry_workbook(rule_set, entry_rows(audit, drawn.doubtful)), inputs=inputs)
        named = counted(len(drawn.doubtful), "device that a doubt names", "devices that a doubt names")
        tell(f"Written: {visible(str(beside))}, {named}; this part says nothing about the rest.")
    tell(f"Test them, then: rcdcheck compare FILES --with {visible(str(out))}")
    return ExitCode.INPUT if any(i.status != "audited" for i in audit.tables.inputs) else ExitCode.CLEAN
