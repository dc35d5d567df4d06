"""The command line. Commands read arguments, call one function, print, and give an exit code; they compute nothing.

This is the one place that turns an exception into an exit code. Command modules load when their command is named, so
that --help costs little more than starting Python.
"""

from __future__ import annotations

import contextlib
import errno
import gc
import importlib
import os
import sys
from collections.abc import Iterable
from typing import Any

import click

from rcdcheck.cli import streams
from rcdcheck.errors import ExitCode, RcdcheckError, TableError
from rcdcheck.showing import visible

COMMANDS = {
    "audit": "Audit sheets: what to withdraw, where to go back, what to mend, how far to trust them.",
    "columns": "Show how each column of each sheet is understood.",
    "rules": "List the rule sets, or print one with its sources.",
    "template": "Write the workbook to type tests into.",
    "difference": "Say what changed from one audit document to a later one.",
    "verify": "Say whether an audit document still gives the same answer.",
    "due": "List what falls due, what was left open, what is missing, from a register of visits.",
    "rates": "Say how often devices failed, by site, model or technician, from a register of visits.",
    "witness": "Draw the devices to test again yourself, and write the workbook for it.",
    "compare": "Say how far sheets agree with a re-test, and which devices differ too much.",
    "visits": "List the visits that a register holds.",
}


HYPHEN = "\u2011"  # at which no line ends


class _Help(click.HelpFormatter):
    """Help in which a name with hyphens stays on one line, so that it can be copied: `uk-present`, `--fail-on`."""

    def write_text(self, text: str) -> None:
        """Write a paragraph."""
        super().write_text(text.replace("-", HYPHEN))

    def write_dl(self, rows: Iterable[tuple[str, str]], col_max: int = 30, col_spacing: int = 2) -> None:
        """Write names with what they mean beside them."""
        super().write_dl([(name, said.replace("-", HYPHEN)) for name, said in rows], col_max, col_spacing)

    def getvalue(self) -> str:
        """The text, with hyphens as they are typed."""
        return super().getvalue().replace(HYPHEN, "-")


click.Context.formatter_class = _Help


class _Commands(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in order of use."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        """Load the module of one command."""
        if name not in COMMANDS:
            return None
        command: click.Command = importlib.import_module(f"rcdcheck.cli.{name}").command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """A command that is not known is answered with the name that is nearest."""
        name = args[0]
        if name not in COMMANDS and not name.startswith("-"):
            from rcdcheck.cli.grouped import near

            hint = near(name, COMMANDS) or f" The commands are {', '.join(COMMANDS)}."
            ctx.fail(f"There is no command “{name}”.{hint}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without loading them."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The exit codes."""
        with formatter.section("Exit codes"):
            formatter.write_dl([(str(int(code)), code.meaning) for code in ExitCode])


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="rcdcheck", message="rcdcheck %(version)s")
def group() -> None:
    """Audit sheets of residual current device (RCD) test readings: what comes out of service now, where to go back,
    what to mend at the desk, what is good until when, and how far the record can be relied on.

    A passed record is no proof that a device is safe today.

    \b
    rcdcheck audit day.xlsx
    rcdcheck audit --help
    """


SELDOM = 50_000  # objects made between two searches for circles: a run makes many objects, few circles, and ends


def main() -> None:
    """Entry point: run the command line and exit with one of the documented codes."""
    streams.begin()
    gc.set_threshold(SELDOM)
    code = _run()
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        streams.hush()
    except OSError as error:
        code = _unsaid(error)
    gc.freeze()  # what ends needs no search
    sys.exit(int(code))


def _run() -> int:
    try:
        result: Any = group.main(standalone_mode=False, prog_name="rcdcheck")
        return int(result or 0)
    except RcdcheckError as error:
        _say(str(error))
        return error.exit_code
    except click.UsageError as error:
        click.UsageError(visible(error.message), error.ctx).show()
        return ExitCode.USAGE
    except (click.exceptions.Abort, KeyboardInterrupt):
        _say("Interrupted; nothing half-written was left behind.")
        return ExitCode.INTERRUPTED
    except BrokenPipeError:
        streams.hush()
        return ExitCode.CLEAN
    except click.exceptions.Exit as stop:
        return stop.exit_code
    except Exception as error:
        return _unsaid(error) if isinstance(error, OSError) and error.errno in FULL else _fault(error)


FULL = (errno.ENOSPC, errno.EDQUOT, errno.EIO, errno.EFBIG)


def _unsaid(error: OSError) -> int:
    """Standard output takes no more: what it was to say is not known to anybody."""
    streams.hush()
    _say(f"what it found could not be printed: {error.strerror}. Make room there, or have reports written.")
    return ExitCode.OUTPUT


def _say(sentence: str) -> None:
    with contextlib.suppress(OSError):  # nobody listens
        click.echo(f"rcdcheck: {visible(sentence)}", err=True)


def _fault(error: Exception) -> int:
    """A fault of ours: one sentence, and the details in the temporary folder without texts from cells."""
    import tempfile
    import traceback

    frames = traceback.extract_tb(error.__traceback__)
    lines = [
        type(error).__name__ + (f": {error}" if isinstance(error, TableError) else ""),
        *(f"{f.filename}:{f.lineno} in {f.name}" for f in frames),
        sys.version,
    ]
    told = ""
    with contextlib.suppress(OSError):  # no temporary folder, no room
        handle, name = tempfile.mkstemp(prefix="rcdcheck-fault-", suffix=".txt", text=True)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write("\n".join(lines) + "\n")
        told = f" Details, without cell texts: {name}"
    _say(f"a fault of this program stopped the run; nothing counts as passed.{told}")
    return ExitCode.FAULT
