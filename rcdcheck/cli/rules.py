"""`rcdcheck rules`: the rule sets, or one with every figure and its source."""

from __future__ import annotations

import click

from rcdcheck.cli.grouped import complete_rules


@click.command("rules", short_help="List the rule sets, or print one with its sources.")
@click.argument("name", required=False, shell_complete=complete_rules)
def command(name: str | None) -> None:
    """List the rule sets, or print the one called NAME (or the file at that path) with every figure and its source."""
    from rcdcheck.reports.rules_table import rules_list_text, rules_text
    from rcdcheck.rules import load

    click.echo(rules_text(load(name)) if name else rules_list_text())
