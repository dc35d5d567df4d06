"""`rcdcheck audit`: the whole path from sheets to decisions."""

from __future__ import annotations

import datetime as dt
import os
import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rcdcheck import progress
from rcdcheck.cli import options as shared
from rcdcheck.cli.grouped import NAME, PATH, Groups, grouped, options_file
from rcdcheck.cli.log_lines import error_line, say
from rcdcheck.cli.parameter_types import Assumption, FileOf, Uncertainty, Words
from rcdcheck.cli.patience import patience
from rcdcheck.cli.streams import hush
from rcdcheck.errors import ExitCode, OutputError, RcdcheckError, UsageError
from rcdcheck.reports import FORMATS, report_bytes
from rcdcheck.reports.heading import Extent, Heading

if TYPE_CHECKING:
    from rcdcheck.audits import Audit
    from rcdcheck.options import Options
    from rcdcheck.register.store import Register
    from rcdcheck.writing import Together

GROUPS: Groups = (
    ("What to read", ("column", "columns_file", "encoding", "delimiter", "jobs")),
    ("How to understand it", ("site", "date_order", "identity", "kind", "environment", "assume", "remedied")),
    ("How to judge", ("rules", "as_of", "require", "decision", "uncertainty", "fail_on")),
    ("What to write", ("out", "name", "write", "json_file", "mark", "devices", "readings", "tests")),
    ("What to hand over", ("audience", "title", "number", "client", "prepared_by", "firm", "hide_names")),
    ("What to remember", ("register", "new_only", "again", "replaces")),
    ("What to say here", ("verbose", "quiet", "log_json")),
)


REQUIRABLE = ("visual", "push_button", "ramp")


@dataclass(frozen=True, kw_only=True)
class Asked(shared.OfReading):
    """The command line, parsed."""

    files: tuple[str, ...]
    identity: str
    kind: str | None
    environment: str
    assume: tuple[tuple[str, str], ...]
    remedied: tuple[tuple[str, str, str], ...]
    rules: str
    as_of: dt.date
    require: tuple[str, ...]
    decision: str
    uncertainty: tuple[tuple[str, str], ...]
    fail_on: tuple[str, ...] | None
    out: Path
    name: str
    write: tuple[str, ...]
    json_file: str
    mark: bool
    devices: str | None
    readings: str | None
    tests: str | None
    audience: str
    title: str
    number: str
    client: str
    prepared_by: str
    firm: Path | None
    hide_names: bool
    register: Path | None
    new_only: bool
    again: bool
    replaces: str
    log_json: bool
    verbose: bool
    quiet: bool


@click.command("audit", cls=grouped(GROUPS), short_help="Audit sheets of readings.")
@click.argument("files", nargs=-1, required=True, type=NAME)
@shared.reading_options
@click.option(
    "--identity",
    type=click.Choice(["site", "fleet"]),
    default="site",
    show_default=True,
    help="Where an identifier is unique: within its site, or everywhere.",
)
@click.option(
    "--kind", type=click.Choice(["portable", "fixed"]), default=None, help="Kind of devices where no column says it."
)
@click.option("--environment", default="", help="Environment where no column says it: factory, hostile, office, …")
@click.option(
    "--assume",
    type=Assumption(),
    multiple=True,
    metavar="rated=30mA",
    help="State what no column states; every report says so.",
)
@click.option(
    "--remedied",
    type=FileOf(shared.remedies),
    default=(),
    metavar="FILE",
    help="CSV of remedies: device, date, what was done.",
)
@shared.rules_option
@shared.day_option
@click.option(
    "--require", type=Words(REQUIRABLE), default=(), metavar=",".join(REQUIRABLE), help="Make more of these necessary."
)
@click.option(
    "--decision",
    type=click.Choice(["simple", "guarded"]),
    default="simple",
    show_default=True,
    help="guarded: a pass within the measurement uncertainty of its limit is unclear.",
)
@click.option(
    "--uncertainty",
    type=Uncertainty(),
    multiple=True,
    metavar="trip_time=10%",
    help="Expanded uncertainty of the instrument.",
)
@click.option(
    "--fail-on",
    type=Words(shared.LEVELS, "never"),
    default=None,
    metavar="LEVELS",
    help=f"What makes the exit code 1, by commas: {', '.join(shared.LEVELS)}.",
)
@click.option("--out", type=PATH, default=Path(), show_default=".", help="Folder for the reports.")
@click.option("--name", default="", help="File name of the reports, without its ending.")
@click.option(
    "--write",
    type=Words(tuple(FORMATS), "none"),
    default="html,xlsx",
    show_default=True,
    metavar=",".join(FORMATS),
    help="Reports to write, or none; tags is the tag list as CSV.",
)
@click.option(
    "--json", "json_file", default="", metavar="FILE", help="Write the JSON document here too; - is standard output."
)
@click.option("--mark", is_flag=True, help="Write a marked copy of each input in which something is to be mended.")
@click.option(
    "--devices",
    type=click.Choice(["all", "attention"]),
    default=None,
    help="all: every device in the JSON, however many. attention: on the page only those without a pass.",
)
@click.option("--readings", type=click.Choice(["all"]), default=None, help="List every reading in the JSON.")
@click.option("--tests", type=click.Choice(["all"]), default=None, help="List every test in the JSON, however many.")
@click.option(
    "--for",
    "audience",
    type=click.Choice(["office", "client"]),
    default="office",
    show_default=True,
    help="client: page and workbook to hand over, with nothing on credibility.",
)
@click.option("--title", default="", help="Title of the reports: what the job is called.")
@click.option("--number", default="", help="Number of the report.")
@click.option("--client", default="", help="Client named in the reports.")
@click.option("--prepared-by", default="", help="Who prepared the reports.")
@click.option(
    "--firm",
    type=PATH,
    default=None,
    metavar="FILE",
    help="TOML file of the firm that hands over: name, address, licence, contact, picture.",
)
@click.option("--hide-names", is_flag=True, help="Replace people by letters in page, workbook and tag list.")
@shared.register_options
@click.option("--log-json", is_flag=True, help="Say what was done with each file on stderr, as a line of JSON each.")
@click.option("--verbose", "-v", is_flag=True, help="Print every list in full.")
@click.option("--quiet", "-q", is_flag=True, help="Print nothing; the exit code and the files speak.")
@options_file
def command(**given: Any) -> int:  # fmt: skip
    """Audit sheets (xlsx, xlsm, xls, xlsb, ods, CSV; folders; - for standard input) of RCD test readings.

    \b
    rcdcheck audit day.xlsx
    rcdcheck audit sheets/ --out audits --json audits/last.json --quiet
    """
    asked = Asked(**given)
    heading, options = _heading(asked), _options(asked)
    if asked.register is None:
        _needs_register(asked, options)
    try:
        return _with_register(asked, options, heading)
    except RcdcheckError as error:
        if not asked.log_json:
            raise
        click.echo(error_line(error), err=True)
        return error.exit_code


def _with_register(asked: Asked, options: Options, heading: Heading) -> int:
    if asked.register is None:
        return _audit(asked, options, heading, None)
    from rcdcheck.register.store import opened

    with opened(asked.register, writing=True) as register:
        return _audit(asked, options, heading, register)


def _audit(asked: Asked, options: Options, heading: Heading, register: Register | None) -> int:
    """Audit, write the reports, and only then take the visits in: a file counts when its report is whole."""
    from rcdcheck import pipeline

    with patience(wanted=not asked.quiet):
        audit = pipeline.run(asked.files, options, jobs=asked.jobs, register=register)
        nothing_new = audit.history.named and not audit.tables.inputs
        written, unmarked = _write(audit, asked, heading, () if nothing_new else asked.write)
        visits: dict[int, int] = {}
        if register is not None:
            from rcdcheck.register.taking_in import take_in

            visits = take_in(register, audit)
    try:
        say(audit, visits, asked.log_json)
        if asked.json_file == "-":
            _json_to_stdout(audit, asked)
        elif not asked.quiet and not nothing_new:
            from rcdcheck.reports.console import screen, summary

            on = screen(terminal=sys.stdout.isatty())
            click.echo(summary(audit, written, colour=_coloured(), verbose=asked.verbose, on=on), color=_coloured())
    except BrokenPipeError:  # whoever read it has read enough, which changes no answer
        hush()
    return int(ExitCode.OUTPUT if unmarked else audit.exit_code)


def _needs_register(asked: Asked, options: Options) -> None:
    for option, given in (
        ("--fail-on new", "new" in options.fail_on),
        ("--new-only", asked.new_only),
        ("--again", asked.again),
        ("--replaces", asked.replaces),
    ):
        if given:
            raise UsageError(f"{option} needs --register FILE, which tells what was known before.")


def _options(asked: Asked) -> Options:
    from rcdcheck.options import Options

    return replace(
        asked.options(),
        rules=asked.rules,
        as_of=asked.as_of,
        identity=asked.identity,
        kind=asked.kind or "",
        environment=asked.environment,
        assume=asked.assume,
        require=asked.require,
        decision=asked.decision,
        uncertainty=asked.uncertainty,
        remedied=asked.remedied,
        new_only=asked.new_only,
        again=asked.again,
        replaces=asked.replaces,
        fail_on=Options.fail_on if asked.fail_on is None else asked.fail_on,
    )


def _write(audit: Audit, asked: Asked, heading: Heading, kinds: tuple[str, ...]) -> tuple[list[Path], list[str]]:
    """Write the reports that were asked for, all or none; where nothing could be audited only the JSON document.

    What was written, and the names of inputs whose marked copies could not be made.
    """
    from rcdcheck.intake.opened.file_kinds import ours
    from rcdcheck.writing import Together, unfinished, unfinished_sentence

    sources = [i.path for i in audit.tables.inputs if i.path is not None]
    name, extent = _name(audit, asked.name), _extent(asked)
    if not any(i.status == "audited" for i in audit.tables.inputs):
        kinds = tuple(kind for kind in kinds if kind == "json")
    unmarked: list[str] = []
    with Together(inputs=sources) as together:
        for number, kind in enumerate((kind for kind in FORMATS if kind in kinds), 1):
            path = asked.out / f"{name}{FORMATS[kind].suffix}"
            progress.say(f"writing {path.name}, report", number, len(kinds))
            together.add(
                path, report_bytes(kind, audit, heading, extent), only_over=ours if FORMATS[kind].known else None
            )
        if asked.mark:
            unmarked = _mark(audit, asked.out, together)
        if asked.json_file not in ("", "-"):
            together.add(Path(asked.json_file), report_bytes("json", audit, heading, extent))
    for marker, names in unfinished(asked.out).items():
        _tell(f"{asked.out}: {unfinished_sentence(names)} Make them again, or delete them and {marker.name}.")
    return together.written, unmarked


def _extent(asked: Asked) -> Extent:
    return Extent(asked.devices or "", asked.readings or "", asked.tests or "")


def _heading(asked: Asked) -> Heading:
    from rcdcheck.reports.firm import firm

    return Heading(
        title=asked.title,
        client=asked.client,
        prepared_by=asked.prepared_by,
        audience=asked.audience,
        hide_names=asked.hide_names,
        number=asked.number,
        firm=firm(asked.firm) if asked.firm else None,
    )


def _mark(audit: Audit, out: Path, together: Together) -> list[str]:
    """A marked copy of each audited input that has something to mark, named after it; namesakes are numbered.

    A copy that somebody has worked in is kept, and the new one gets the next number. The names of those that could not
    be made; the others are.
    """
    from rcdcheck.intake.opened.file_kinds import untouched
    from rcdcheck.reports.marked.copy import marked_copy, nothing_to_mark
    from rcdcheck.showing import plain_name

    failed: list[str] = []
    for number, one in enumerate(audit.tables.inputs):
        if one.status != "audited" or one.path is None or nothing_to_mark(audit, number):
            continue
        stem, again = plain_name(one.path.stem), 2
        path = out / f"{stem}-marked.xlsx"
        while path in together.written or (os.path.lexists(path) and not untouched(path)):
            path, again = out / f"{stem}-marked-{again}.xlsx", again + 1
        try:
            copy, lost = marked_copy(audit, number)
            together.add(path, [copy])
        except OutputError as error:
            _tell(str(error))
            failed.append(one.name)
            continue
        for what in lost:
            _tell(f"{path.name} does not carry {what}.")
        if again > 2:
            _tell(f"{path.name} stands beside a copy that was worked in, or that is of another sheet.")
    return failed


def _tell(sentence: str) -> None:
    from rcdcheck.showing import visible

    click.echo(f"rcdcheck: {visible(sentence)}", err=True)


def _name(audit: Audit, asked: str) -> str:
    """Stem of the reports: of the one input, else `audit`; never with a path in it."""
    if asked:
        if Path(asked).name != asked or asked.startswith("."):
            raise UsageError(f"--name {asked} must be a plain file name; the folder is given with --out.")
        return asked
    from rcdcheck.showing import plain_name

    paths = [i.path for i in audit.tables.inputs]
    return f"{plain_name(paths[0].stem)}-audit" if len(paths) == 1 and paths[0] is not None else "audit"


def _json_to_stdout(audit: Audit, asked: Asked) -> None:
    from rcdcheck.showing import visible_json

    for piece in report_bytes("json", audit, Heading(), _extent(asked)):
        sys.stdout.buffer.write(visible_json(piece.decode()).encode())
    sys.stdout.buffer.flush()


def _coloured() -> bool:
    """Colour only on a terminal, and not where NO_COLOR is set."""
    return sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
