"""`rcdcheck rates`: how often devices failed, from a register of visits."""

from __future__ import annotations

from pathlib import Path

import click

from rcdcheck.cli.grouped import PATH


@click.command("rates", short_help="Say how often devices failed.")
@click.option("--register", type=PATH, required=True, metavar="FILE", help="Register of visits.")
@click.option("--by", default="site", show_default=True, metavar="WORD", help="site, model, technician or years.")
def command(register: Path, by: str) -> None:
    """Say how often devices failed, by site, model, technician or years since first seen, each with its interval.

    \b
    rcdcheck rates --register fleet.db --by model
    """
    from rcdcheck.register.rates import rates
    from rcdcheck.register.store import opened
    from rcdcheck.reports.history_facts import rate_words
    from rcdcheck.reports.register_tables import aligned

    with opened(register, writing=False) as known:
        found = rates(known, by)
    rows = [rate_words(rate) for rate in found]
    click.echo(aligned((by, "failed", "share", "95 % interval"), rows) if rows else "No visit yet.")
    if rows:
        click.echo("Intervals that overlap rank nobody.")
