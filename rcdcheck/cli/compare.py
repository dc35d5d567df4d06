"""`rcdcheck compare`: how far submitted readings agree with a re-test."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rcdcheck.cli import options as shared
from rcdcheck.cli.grouped import NAME, PATH
from rcdcheck.cli.streams import tell

if TYPE_CHECKING:
    from rcdcheck.witness.comparing import Comparison, Reading


@dataclass(frozen=True, kw_only=True)
class Asked(shared.OfReading):
    """The command line, parsed."""

    files: tuple[str, ...]
    retest: Path
    confidence: float
    rules: str
    as_of: dt.date


@click.command("compare", short_help="Say how far sheets agree with a re-test.")
@click.argument("files", nargs=-1, required=True, type=NAME)
@click.option(
    "--with",
    "retest",
    type=PATH,
    required=True,
    metavar="FILE",
    help="The re-test: the random part that `rcdcheck witness` drew.",
)
@shared.confidence_option("Of the upper bound on false records.")
@shared.reading_options
@shared.rules_option
@shared.day_option
def command(**given: Any) -> int:
    """Say how far the readings in FILES agree with those of a re-test, and which devices differ too much.

    \b
    rcdcheck compare sheets/ --with witness.xlsx
    """
    from rcdcheck import pipeline
    from rcdcheck.errors import ExitCode
    from rcdcheck.witness.comparing import compare

    asked = Asked(**given)
    options = replace(asked.options(), rules=asked.rules, as_of=asked.as_of)
    submitted = pipeline.run(asked.files, options, jobs=asked.jobs)
    again = pipeline.run([str(asked.retest)], options)
    found = compare(submitted, again)
    for line in lines(found, asked.confidence / 100):
        tell(line)
    broken = any(i.status != "audited" for i in (*submitted.tables.inputs, *again.tables.inputs))
    return ExitCode.INPUT if broken else ExitCode.ATTENTION if found.differing else ExitCode.CLEAN


def lines(found: Comparison, confidence: float) -> list[str]:
    """What the comparison says, line by line."""
    from rcdcheck.reports.text import counted

    out = [f"Tested again: {len(found.pairs)} of {counted(found.records, 'device')}."]
    out += [line for reading in found.readings for line in _of_reading(reading)]
    n = len(found.pairs)
    turned = int(found.pairs["turned"].sum())
    said = "Different by more than repeatability, in two readings or in the only one"
    out.append(f"{said}: {found.differing - turned} of {counted(n, 'device')}.")
    if turned:
        out.append(
            f"A reading fails as submitted or at the re-test, and not at both: {turned} of {counted(n, 'device')}."
        )
    for pair in found.pairs[found.pairs["differs"]].itertuples():
        alone = " fails as submitted alone;" if pair.failed else " fails at the re-test alone;"
        shown = ", ".join(
            f"{name} {_number(old)} → {_number(new)} {unit}"
            for name, old, new, unit in (
                ("0°", pair.time0, pair.time0_again, "ms"),
                ("180°", pair.time180, pair.time180_again, "ms"),
                ("ramp", pair.ramp, pair.ramp_again, "mA"),
            )
            if math.isnan(old) + math.isnan(new) <= pair.turned  # what only one of them measured differs in nothing
        )
        out.append(f"  {pair.device}, {pair.site or 'no site'}:{alone if pair.turned else ''} {shown}")
    most = found.most_false(confidence)
    out.append(
        f"If these were drawn at random from the batch, at most {most} of its {found.records} records are false "
        f"({most / found.records:.0%}, upper bound at {confidence:.0%}). A device may also have changed since, or been "
        "tested with another instrument: look before you conclude."
    )
    if found.missing:
        out.append(f"Not found in the files, or there more than once: {', '.join(found.missing)}.")
    return out


def _number(value: float) -> str:
    return "no number" if math.isnan(value) else f"{value:g}"


def _of_reading(r: Reading) -> list[str]:
    of = "repeats of the re-test" if r.measured else "settings, common practice without a source"
    out = [
        f"{r.name}: {r.outside} of {r.n} differ by more than {r.limit:.1f} {r.unit} (repeatability, from {of}); honest "
        f"re-tests show about 1 in 20. So many or more have chance {r.chance:.2g} if 1 in 10 did."
    ]
    if r.agreement is None:
        return [*out, f"  Too few devices for limits of agreement: {r.n} of 10."]
    a = r.agreement
    return [
        *out,
        f"  Re-test less submitted: {a.bias:+.2f} {r.unit} ({_between(a.of_bias)}); limits of agreement "
        f"{a.low:.2f} ({_between(a.of_low)}) and {a.high:.2f} ({_between(a.of_high)}).",
        f"  Rank correlation {r.correlation:.2f}: near 1 where the same devices were measured, near 0 where not.",
    ]


def _between(interval: tuple[float, float]) -> str:
    return f"{interval[0]:.2f} to {interval[1]:.2f}"
