"""`rcdcheck visits`: what a register holds, what it took for the same device, and settling that."""

from __future__ import annotations

from pathlib import Path

import click

from rcdcheck.cli.grouped import PATH
from rcdcheck.cli.options import settling
from rcdcheck.cli.parameter_types import FileOf


@click.command("visits", short_help="List the visits of a register.")
@click.option("--register", type=PATH, required=True, metavar="FILE", help="Register of visits.")
@click.option("--same", is_flag=True, help="Print what was taken for the same device or may be, as CSV to settle it.")
@click.option("--settle", type=FileOf(settling), default=None, metavar="CSV",
              help="Keep what this CSV says: same or different, of devices or of sites.")  # fmt: skip
@click.option("--rules", default="anz-in-service", show_default=True, help="Rule set for due dates after --settle.")
def command(register: Path, same: bool, settle: tuple[tuple[str, ...], ...] | None, rules: str) -> None:
    """List the visits that a register holds: number, file, days, grade, devices by outcome, and what replaced them.

    \b
    rcdcheck visits --register fleet.db
    rcdcheck visits --register fleet.db --same > same.csv     (correct it, then)
    rcdcheck visits --register fleet.db --settle same.csv
    """
    from rcdcheck.register import settled
    from rcdcheck.register.store import opened
    from rcdcheck.register.visits import listed
    from rcdcheck.reports.register_tables import settling_lines, visits_text
    from rcdcheck.rules import load

    if settle is not None:
        with opened(register, writing=True) as known:
            count = settled.settle(known, settle, load(rules))
            known.commit()
        told = "Outcomes stand as they were judged; audit the sheets concerned with --again to judge them anew."
        click.echo(f"{count} settled. {told}" if count else "Nothing new to settle.")
        return
    with opened(register, writing=False) as known:
        text = settling_lines(settled.taken_for_the_same(known)) if same else visits_text(listed(known))
    click.echo(text)
