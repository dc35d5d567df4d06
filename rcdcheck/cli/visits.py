"""`rcdcheck visits`: what a register holds."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("visits", short_help="List the visits of a register.")
@click.option("--register", type=click.Path(path_type=Path), required=True, metavar="FILE", help="Register of visits.")
def command(register: Path) -> None:
    """List the visits that a register holds: number, file, days, grade, devices by outcome, and what replaced them.

    \b
    rcdcheck visits --register fleet.db
    """
    from rcdcheck.register.store import opened
    from rcdcheck.register.visits import listed
    from rcdcheck.reports.register_tables import visits_text

    with opened(register, writing=False) as known:
        click.echo(visits_text(listed(known)))
