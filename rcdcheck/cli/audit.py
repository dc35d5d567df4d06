"""`rcdcheck audit`: the whole path from sheets to decisions."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rcdcheck.cli import options as shared
from rcdcheck.cli.patience import patience
from rcdcheck.errors import UsageError

if TYPE_CHECKING:
    from rcdcheck.records import Audit

KINDS = ("html", "xlsx", "json")


@click.command("audit", short_help="Audit sheets of readings.")
@click.argument("files", nargs=-1, required=True)
@click.option("--rules", default="anz-in-service", show_default=True, help="Rule set by name, or a path to your own.")
@click.option("--as-of", metavar="DAY", default=None, help="Day that counts as today, as 2026-11-25.")
@shared.reading_options
@click.option(
    "--identity",
    type=click.Choice(["site", "fleet"]),
    default="site",
    show_default=True,
    help="Where an identifier is unique: within its site, or everywhere.",
)
@click.option(
    "--kind",
    type=click.Choice(["portable", "fixed"]),
    default=None,
    help="Kind of devices where no column says it.",
)
@click.option("--environment", default="", help="Environment where no column says it: factory, hostile, office, …")
@click.option(
    "--assume", multiple=True, metavar="rated=30mA", help="State what no column states; said in every report."
)
@click.option("--require", default="", metavar="visual,push_button,ramp", help="Make more of these necessary.")
@click.option(
    "--decision",
    type=click.Choice(["simple", "guarded"]),
    default="simple",
    show_default=True,
    help="guarded: a pass within the measurement uncertainty of its limit is unclear.",
)
@click.option("--uncertainty", multiple=True, metavar="trip_time=10%", help="Expanded uncertainty of the instrument.")
@click.option(
    "--remedied",
    type=click.Path(path_type=Path),
    default=None,
    metavar="FILE",
    help="CSV of remedies: device, date, what was done.",
)
@click.option(
    "--fail-on",
    default=None,
    metavar="LEVELS",
    help=f"What makes the exit code 1, by commas: {', '.join(shared.LEVELS)}.",
)
@click.option(
    "--out", type=click.Path(path_type=Path), default=Path(), show_default=".", help="Folder for the reports."
)
@click.option("--name", default="", help="File name of the reports, without its ending.")
@click.option(
    "--write",
    default="html,xlsx",
    show_default=True,
    metavar="html,xlsx,json",
    help="Reports to write, or none.",
)
@click.option(
    "--json",
    "json_file",
    default="",
    metavar="FILE",
    help="Write the JSON document here too; - is standard output.",
)
@click.option(
    "--devices", type=click.Choice(["all"]), default=None, help="List every device in the JSON, however many."
)
@click.option("--readings", type=click.Choice(["all"]), default=None, help="List every reading in the JSON.")
@click.option("--title", default="", help="Title of the reports.")
@click.option("--client", default="", help="Client named in the reports.")
@click.option("--prepared-by", default="", help="Who prepared the reports.")
@click.option(
    "--for",
    "audience",
    type=click.Choice(["office", "client"]),
    default="office",
    show_default=True,
    help="client: page and workbook to hand over, with nothing on credibility.",
)
@click.option("--hide-names", is_flag=True, help="Replace people by letters in page and workbook.")
@click.option("--mark", is_flag=True, help="Write a marked copy of each input, STEM-marked.xlsx.")
@click.option("--verbose", "-v", is_flag=True, help="Print every list in full.")
@click.option("--quiet", "-q", is_flag=True, help="Print nothing; the exit code and the files speak.")
def command(**asked: Any) -> int:  # fmt: skip
    """Audit sheets (xlsx, xlsm, xls, xlsb, ods, CSV; folders; - for standard input) of RCD test readings.

    \b
    rcdcheck audit day.xlsx
    rcdcheck audit sheets/ --out audits --json audits/last.json --quiet
    """
    from rcdcheck import pipeline

    writes = _kinds(asked["write"])
    options = _options(asked)
    with patience("rcdcheck: reading and judging …" if not asked["quiet"] else ""):
        audit = pipeline.run(asked["files"], options, jobs=asked["jobs"])
        written = _write(audit, asked, writes)
    if asked["json_file"] == "-":
        _json_to_stdout(audit, asked)
    elif not asked["quiet"]:
        from rcdcheck.reports.console import screen, summary

        on = screen(terminal=sys.stdout.isatty())
        click.echo(summary(audit, written, colour=_coloured(), verbose=asked["verbose"], on=on), color=_coloured())
    return int(audit.exit_code)


def _options(asked: dict[str, Any]) -> Any:
    rated = shared.assumptions(asked["assume"])
    fail_on = _listed("--fail-on", asked["fail_on"], shared.LEVELS)
    return shared.build(
        rules=asked["rules"],
        as_of=shared.day(asked["as_of"]),
        columns=shared.column_pairs(asked["column"], asked["columns_file"]),
        site=asked["site"],
        identity=asked["identity"],
        date_order=asked["date_order"] or "",
        encoding=asked["encoding"],
        delimiter=asked["delimiter"],
        kind=asked["kind"] or "",
        environment=asked["environment"],
        assume=rated,
        require=_listed("--require", asked["require"], ("visual", "push_button", "ramp")),
        decision=asked["decision"],
        uncertainty=shared.uncertainties(asked["uncertainty"]),
        remedied=shared.remedies(asked["remedied"]),
        **({} if asked["fail_on"] is None else {"fail_on": fail_on}),
    )


def _listed(option: str, text: str | None, known: tuple[str, ...]) -> tuple[str, ...]:
    words = tuple(w.strip() for w in (text or "").split(",") if w.strip())
    for word in words:
        if word not in known:
            raise UsageError(f"{option} {word} is not known; choose from {', '.join(known)}.")
    return words


def _kinds(text: str) -> tuple[str, ...]:
    return () if text.strip() == "none" else _listed("--write", text, KINDS)


def _write(audit: Audit, asked: dict[str, Any], kinds: tuple[str, ...]) -> list[Path]:
    from rcdcheck.reports import Heading, report_bytes
    from rcdcheck.writing import write

    sources = [i.path for i in audit.tables.inputs if i.path is not None]
    heading = Heading(asked["title"], asked["client"], asked["prepared_by"], asked["audience"], asked["hide_names"])
    name = _name(audit, asked["name"])
    written = []
    for kind in kinds:
        path = asked["out"] / f"{name}.{kind}"
        write(
            path,
            report_bytes(kind, audit, heading, asked["devices"] or "", asked["readings"] or ""),
            inputs=sources,
        )
        written.append(path)
    written += _mark(audit, asked["out"], sources) if asked["mark"] else []
    if asked["json_file"] not in ("", "-"):
        path = Path(asked["json_file"])
        write(
            path,
            report_bytes("json", audit, heading, asked["devices"] or "", asked["readings"] or ""),
            inputs=sources,
        )
        written.append(path)
    return written


def _mark(audit: Audit, out: Path, sources: list[Path]) -> list[Path]:
    """A marked copy of each audited input, named after it; namesakes are numbered."""
    from rcdcheck.reports.marked import marked_copy, not_carried
    from rcdcheck.writing import write

    written: list[Path] = []
    for number, one in enumerate(audit.tables.inputs):
        if one.status != "audited" or one.path is None:
            continue
        path, again = out / f"{one.path.stem}-marked.xlsx", 2
        while path in written:
            path, again = out / f"{one.path.stem}-marked-{again}.xlsx", again + 1
        write(path, marked_copy(audit, number), inputs=sources)
        written.append(path)
        for what in not_carried(audit, number):
            click.echo(f"rcdcheck: {path.name} does not carry {what}.", err=True)
    return written


def _name(audit: Audit, asked: str) -> str:
    """Stem of the reports: of the one input, else `audit`; never with a path in it."""
    if asked:
        if Path(asked).name != asked or asked.startswith("."):
            raise UsageError(f"--name {asked} must be a plain file name; the folder is given with --out.")
        return asked
    paths = [i.path for i in audit.tables.inputs]
    return f"{paths[0].stem}-audit" if len(paths) == 1 and paths[0] is not None else "audit"


def _json_to_stdout(audit: Audit, asked: dict[str, Any]) -> None:
    from rcdcheck.reports.json_document import chunks

    for piece in chunks(audit, devices=asked["devices"] or "", readings=asked["readings"] or ""):
        sys.stdout.buffer.write(piece)
    sys.stdout.buffer.flush()


def _coloured() -> bool:
    """Colour only on a terminal, and not where NO_COLOR is set."""
    import os

    return sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
