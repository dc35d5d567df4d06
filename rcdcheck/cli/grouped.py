"""Commands whose options stand in groups, can be kept in a file, and can be completed by the shell."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

import click
from click.shell_completion import CompletionItem

from rcdcheck import data
from rcdcheck.errors import SettingsError, cause

# whether a file may be read is said where it is opened, so that one of many stops no other
PATH, NAME = click.Path(readable=False, path_type=Path), click.Path(readable=False)
Groups = tuple[tuple[str, tuple[str, ...]], ...]  # title, names of parameters
NEAR = 0.6  # likeness from which a name is offered instead of a mistyped one
OTHER = "Other"


def grouped(groups: Groups) -> type[click.Command]:
    """A command that lists its options under these titles, in this order; the rest comes last."""

    class Command(click.Command):
        def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
            """Write the options into the help, group by group."""
            options = {p.name: p for p in self.get_params(ctx) if isinstance(p, click.Option)}
            for title, names in groups:
                _section(formatter, ctx, title, [options.pop(name) for name in names])
            _section(formatter, ctx, OTHER, options.values())

    return Command


def _section(formatter: click.HelpFormatter, ctx: click.Context, title: str, options: Iterable[click.Option]) -> None:
    records = [record for option in options if (record := option.get_help_record(ctx))]
    if records:
        with formatter.section(title):
            formatter.write_dl(records)


def options_file(command: Callable[..., Any]) -> Callable[..., Any]:
    """`--options FILE`: choices of a firm; what the command line says goes before it."""
    return click.option(
        "--options",
        "options_file",
        type=PATH,
        is_eager=True,
        expose_value=False,
        callback=_kept,
        metavar="FILE",
        help='TOML file of options by their long names (rules = "uk-present"); the command line goes before it.',
    )(command)


def _kept(ctx: click.Context, _: click.Parameter, path: Path | None) -> None:
    if path is None:
        return
    try:
        read = data.toml_of(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise SettingsError(f"{path} could not be read as a file of options: {cause(error)}.") from error
    known = {opt.lstrip("-"): p for p in ctx.command.params for opt in p.opts if opt.startswith("--")}
    defaults: dict[str, Any] = {}
    for name, value in read.items():
        param = known.get(name)
        if param is None or param.name == "options_file":
            raise SettingsError(f"{path}: there is no option --{name}.{near(name, known)}")
        if "\0" in "".join(map(str, value)) if isinstance(value, list) else "\0" in str(value):
            raise SettingsError(f"{path}: {name} holds a character that no command line can hold (NUL). Take it out.")
        defaults[str(param.name)] = _as_given(param, value, path.parent)
    ctx.default_map = defaults


def _as_given(param: click.Parameter, value: Any, folder: Path) -> Any:
    """The value as the command line would give it; names of files are taken from the folder of the options."""
    if isinstance(param.type, click.Path) and isinstance(value, str):
        return str(folder / value)
    if isinstance(value, list):
        joined = "," if not param.multiple else None
        return joined.join(map(str, value)) if joined else [str(v) for v in value]
    return value if isinstance(value, bool) else str(value)


def near(name: str, known: Iterable[str] | Mapping[str, Any]) -> str:
    """` Did you mean “audit”?`, or nothing where no known name is near."""
    found = difflib.get_close_matches(name, list(known), n=1, cutoff=NEAR)
    return f" Did you mean “{found[0]}”?" if found else ""


def complete_rules(ctx: click.Context, param: click.Parameter, typed: str) -> list[CompletionItem]:
    """Names of rule sets, or files."""
    from rcdcheck.rules import shipped

    names = [CompletionItem(name) for name in shipped() if name.startswith(typed)]
    return names or [CompletionItem(typed, type="file")]


def complete_column(ctx: click.Context, param: click.Parameter, typed: str) -> list[CompletionItem]:
    """Fields that a heading may mean, behind its `=`."""
    from rcdcheck import data

    heading, equals, meaning = typed.rpartition("=")
    fields = [field["name"] for field in data.document("test-sheet.json")["fields"]]
    return [CompletionItem(f"{heading}={name}") for name in [*fields, "ignore"] if equals and name.startswith(meaning)]
