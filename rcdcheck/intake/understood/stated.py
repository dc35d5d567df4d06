"""What a person says that a column means: `--column "HEADING=MEANING"` and column files."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from rcdcheck import data
from rcdcheck.as_seen import NO_HEADING
from rcdcheck.errors import SettingsError, UsageError, cause
from rcdcheck.intake.understood.heading_evidence import from_heading
from rcdcheck.intake.understood.lexicon import normal
from rcdcheck.intake.understood.meaning import Meaning
from rcdcheck.terms import Slot, slot_named

OF_ROWS = (
    "ignore", "other_test", "phase", "multiple", "test_current", "quantity", "waveform", "value", "unit", "time",
    "class", "visit", "pass_ticks", "fail_ticks", "untested_ticks",
)  # fmt: skip
QUESTION = "?"  # what a saved column file writes where a person has to decide


def fields() -> list[str]:
    """Names of the fields of a sheet, as MEANING may name them."""
    return [str(f["name"]) for f in data.document("test-sheet.json")["fields"]]


def stated(meaning: str) -> Meaning:
    """MEANING of --column: a field, a reading such as `trip_time_1x_0 [s]`, `ignore`, or a heading that can be read.

    Raises UsageError with near names where it is none of these.
    """
    match = re.fullmatch(r"\s*(.*?)\s*(?:\[\s*(ms|s|mA|A)\s*\])?\s*", meaning)
    name, unit = (match[1], match[2] or "") if match else (meaning, "")
    slot = slot_named(name)
    if slot is not None:
        return Meaning("reading", slot, unit, multiple_said=True)
    if name == "pair":
        return Meaning(name, Slot("trip_time", 1.0), unit, multiple_said=True)
    if name in fields() or name in OF_ROWS:
        return Meaning(name, unit=unit)
    told = from_heading(name)
    settled = len(told) == 1 or (len(told) > 1 and told[0].heading - told[1].heading > 1.5)
    if told and settled and told[0].heading >= 5.0 and "_" not in name and told[0].meaning.field not in ("", "class"):
        return replace(told[0].meaning, unit=unit or told[0].meaning.unit)
    near = difflib.get_close_matches(name, [*fields(), *OF_ROWS], n=3, cutoff=0.5)
    raise UsageError(
        f"“{meaning}” is no meaning of a column"
        + (f"; perhaps {', '.join(near)}" if near else "")
        + ". Use a field such as device, trip_time_1x_0, trip_time_5x_180, trip_current, visual (with [s] or [A] for "
        "another unit), or ignore; `rcdcheck columns --fields` lists them."
    )


def option(heading: str, letters: str, meaning: str, sheet: str = "") -> str:
    """`--column "HEADING=MEANING"`, ready to paste.

    A column is named by its letters, in its sheet, where its heading is none, could be taken for letters, or holds a
    sign that a shell would not leave as it is. `letters` alone name it where it shares its heading with another.
    """
    if heading in ("", NO_HEADING) or re.search(r'["$`\\!]', heading) or re.fullmatch(r"[A-Z]{1,2}", heading.strip()):
        name = f"{sheet}!{letters}" if sheet and not re.search(r'["$`\\]', sheet) else letters
    else:
        name = " ".join(heading.split())
    return f'--column "{name}={meaning}"'


def for_sheet(pairs: Sequence[tuple[str, str]], sheet: str) -> dict[str, Meaning]:
    """Meanings by normalised heading, and by "=A" for the column A; `SHEET!HEADING` holds for that sheet only."""
    out: dict[str, Meaning] = {}
    own: dict[str, Meaning] = {}
    for heading, meaning in pairs:
        where, _, rest = heading.rpartition("!")
        if not where or normal(where) == normal(sheet):
            target = own if where else out
            for key in _keys(rest):
                target.setdefault(key, stated(meaning))
    return {**out, **own}


def _keys(heading: str) -> tuple[str, ...]:
    """A heading as it is compared; one or two capital letters may also be those of a column."""
    letters = heading.strip()
    return (normal(heading), *([f"={letters}"] if re.fullmatch(r"[A-Z]{1,2}", letters) else []))


def refuse_unmatched(pairs: Sequence[tuple[str, str]], headings: Iterable[tuple[str, str, str]]) -> None:
    """Raise UsageError for a pair that names no heading of any sheet; `headings` are (sheet, letters, heading)."""
    known: set[str] = set()
    shown: dict[str, str] = {}
    for sheet, letters, heading in headings:
        for key in (normal(heading), f"={letters}"):
            known |= {key, f"{normal(sheet)}!{key}"}
        shown[normal(heading)] = heading
    for heading, meaning in pairs:
        where, _, rest = heading.rpartition("!")
        wanted = {f"{normal(where)}!{key}" if where else key for key in _keys(rest)} | set(_keys(heading))
        if wanted & known:
            continue
        near = difflib.get_close_matches(normal(rest), list(shown), n=3, cutoff=0.5)
        perhaps = f" Perhaps {', '.join(f'“{shown[n]}”' for n in near)}?" if near else ""
        raise UsageError(
            f"--column “{heading}={meaning}”: no sheet has such a heading.{perhaps} "
            "`rcdcheck columns FILE` lists them; a column without a heading is named by its letter."
        )


def column_file(path: Path) -> tuple[tuple[str, str], ...]:
    """Pairs of a TOML file with a table `[columns]`: "HEADING" or "SHEET!HEADING" = "MEANING".

    A line whose meaning is still a question is left out. Raises SettingsError where the file cannot be read or says
    something that no column can mean.
    """
    try:
        told = data.toml_of(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise SettingsError(f"{path} could not be read: {cause(error)}.") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise SettingsError(
            f"{path} is no TOML file: {cause(error)}. `rcdcheck columns FILE --save` writes one."
        ) from error
    columns = told.get("columns")
    if not isinstance(columns, dict) or set(told) != {"columns"}:
        raise SettingsError(f'{path} needs one table [columns] with lines "HEADING" = "MEANING", and nothing else.')
    for heading, meaning in columns.items():
        try:
            if str(meaning) != QUESTION:
                stated(str(meaning))
        except UsageError as error:
            raise SettingsError(f"{path}, “{heading}”: {error}") from error
    return tuple((str(h), str(m)) for h, m in columns.items() if str(m) != QUESTION)
