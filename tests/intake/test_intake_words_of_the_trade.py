"""What a hundred technicians, caretakers and clerks write, in seven languages: common practice, no source.

The phrases stand in `words_of_the_trade/`, one file a language, and were written down before anybody looked at what the
program understood. Each is a fact of its language.
"""

from __future__ import annotations

import functools
import re
import tomllib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from rcdcheck.intake.cells.checks import read_flags
from rcdcheck.intake.cells.classes import read_kinds
from rcdcheck.intake.cells.phrases import says
from rcdcheck.intake.cells.readings import reading
from rcdcheck.intake.cells.remarks import repeat_words, said
from rcdcheck.intake.understood.candidates import weights
from rcdcheck.intake.understood.heading_evidence import from_heading
from rcdcheck.intake.understood.meaning import Meaning
from rcdcheck.terms import Flag, State

LANGUAGES = ("de", "en", "es", "fr", "it", "nl", "pt")
READINGS = ("trip_time", "trip_current")


@functools.cache
def table(language: str) -> dict[str, dict[str, list[str]]]:
    """Group → kind → phrases."""
    path = Path(__file__).parent / "words_of_the_trade" / f"{language}.toml"
    groups = tomllib.loads(path.read_text(encoding="utf-8"))
    return {g: {k: re.split(r"\s+\|\s+", listed.strip()) for k, listed in kinds.items()} for g, kinds in groups.items()}


def rows(group: str) -> list[tuple[str, str]]:
    """Every language with each kind of a group."""
    return [(language, kind) for language in LANGUAGES for kind in table(language)[group]]


def misread(language: str, group: str, kind: str, read: Callable[[str], object]) -> dict[str, object]:
    """The phrases that are not read as this kind, with what they are read as."""
    told = {phrase: read(phrase) for phrase in table(language)[group][kind]}
    return {phrase: as_ for phrase, as_ in told.items() if as_ != kind}


# ── headings ──
def shown(meaning: Meaning) -> str:
    """ "technician", "trip_time_5x_0"; a multiple of 1 that nothing states is left away."""
    slot = meaning.slot
    if slot is None:
        return meaning.field
    multiple = f"_{slot.multiple:g}x" if slot.quantity == "trip_time" else ""
    return f"{slot.quantity}{multiple}" + (f"_{slot.phase}" if slot.phase in ("0", "180") else "")


def heading_as(kind: str, phrase: str) -> str:
    """What a heading is taken for by itself; where its cells decide, either will do.

    They decide between meanings that are as likely, and between readings and what has no numbers.
    """
    told = from_heading(phrase)
    least = weights()["decide"]["take"]
    best = [c for c in told if c.heading >= (least if kind.startswith("trip") else max(told[0].heading - 1e-9, least))]
    read = [shown(c.meaning) for c in best]
    read = ["trip_time" if kind == "trip_time" and r == "trip_time_1x" else r for r in read]
    return kind if kind in read else ", ".join(read)


@pytest.mark.parametrize(("language", "kind"), rows("headings"))
def test_headings_mean_what_their_language_says(language: str, kind: str) -> None:
    assert not misread(language, "headings", kind, functools.partial(heading_as, kind))


# ── cells ──
FLAGS = {Flag.PASS: "pass", Flag.FAIL: "fail", Flag.BLANK: "blank", Flag.UNCLEAR: "unclear"}


def check_as(phrase: str) -> str:
    """What a cell says in a column of checks."""
    return FLAGS[Flag(read_flags(np.array([phrase], dtype=object)).flag[0])]


def reading_as(kind: str, phrase: str) -> str:
    """What a cell says in a column of trip times; beyond its range the instrument saw no trip."""
    if says("tripped", phrase):
        return "tripped"
    read = reading(phrase, quantity="trip_time")
    if read.state == State.NOT_TRIPPED:
        return kind if kind == "over_range" else "no_trip"
    return "blank" if not read.measured and not read.problem else read.problem or f"{read.value:g}"


@pytest.mark.parametrize(("language", "kind"), rows("cells"))
def test_checks_say_what_their_language_says(language: str, kind: str) -> None:
    assert not misread(language, "cells", kind, check_as)


@pytest.mark.parametrize(("language", "kind"), rows("readings"))
def test_words_for_readings_say_what_their_language_says(language: str, kind: str) -> None:
    assert not misread(language, "readings", kind, functools.partial(reading_as, kind))


def kind_as(phrase: str) -> object:
    return read_kinds(np.array([phrase], dtype=object)).value[0]


@pytest.mark.parametrize(("language", "kind"), rows("kinds"))
def test_portable_and_fixed_are_told_apart(language: str, kind: str) -> None:
    assert not misread(language, "kinds", kind, kind_as)


# what stands in a column | language of its headings, if any | what each mark says
LETTERED = """
B M | | pass fail
B M | de | pass fail
C NC | | pass fail
P F | | pass fail
G S | | unclear unclear
G S | nl | pass fail
S N | | pass fail
S | nl | fail
S | es | pass
S N | nl | fail fail
B S | | unclear unclear
B | | unclear
B | fr | pass
B | en | fail
A R | es | pass fail
A | nl | unclear
A R | nl | unclear unclear
V O | nl | pass fail
B NC bon | fr | pass fail pass
NA C | es | blank pass
A B C D | | unclear unclear unclear unclear
A C G M | fr | unclear unclear unclear unclear
O N | fr | pass fail
"""


@pytest.mark.parametrize("line", LETTERED.strip().splitlines())
def test_letters_are_told_by_their_language_or_by_their_partner(line: str) -> None:
    cells, language, flags = (part.strip() for part in line.split("|"))
    read = read_flags(np.array(cells.split(), dtype=object), language=language)
    assert [FLAGS[Flag(flag)] for flag in read.flag] == flags.split()


# ── remarks ──
def remark_as(kind: str, phrase: str) -> str:
    """What a remark says, of the things that matter."""
    told = said(phrase)
    says_so = {
        "fault": told.open_fault,
        "remedy": told.remedy and not told.open_fault,
        "no_access": told.no_access,
        "out_of_use": told.out_of_use,
        "repeat": repeat_words(phrase),
        "ditto": says("ditto", phrase),
        "unknown": told.unknown,
    }
    read = [name for name, word in says_so.items() if word] or ["quiet"]
    return kind if kind in read else ", ".join(read)


@pytest.mark.parametrize(("language", "kind"), rows("remarks"))
def test_remarks_say_what_their_language_says(language: str, kind: str) -> None:
    assert not misread(language, "remarks", kind, functools.partial(remark_as, kind))
