"""What names each row: device, switchboard, circuit and serial number, and its site."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pandas as pd

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.cells import whole_columns
from rcdcheck.intake.cells.phrases import says
from rcdcheck.intake.cells.repeats import repeat_words
from rcdcheck.intake.opened.grids import Coded, coded, nothing
from rcdcheck.intake.taken_out.context import Context


def trimmed(cells: Coded) -> Coded:
    """Cells as texts without the spaces around them."""
    return cells.told(lambda cell: as_typed(cell).replace("\xa0", " ").strip())


def typed_identifiers(context: Context, name: str) -> Coded:
    """Texts of an identifying column, blank where there is none."""
    for column in context.table.of(name)[:1]:
        typed = context.described(column)
        read = whole_columns.read_identifiers(typed)
        context.point(column, read.problem, typed, read.suggestion)
        return read.value
    return nothing(len(context.at))


def without_repeats(context: Context, device: Coded) -> Coded:
    """Names of devices without the word behind one of another row that calls it a repeat: "D3 retest" is D3 again."""
    columns = [context.described(column) for column in context.table.of("device")[:1]]
    said = (typed.ask(lambda cell: repeat_words(as_typed(cell)) != "", typed.codes) for typed in columns)
    again = np.flatnonzero(next(said, np.zeros(0, dtype=bool)))
    if not len(again):
        return device
    cells = device.cells().copy()
    names = set(pd.unique(cells))
    for i in again:
        name = _before_repeat(str(cells[i]))
        if name in names and name != cells[i]:
            context.said.setdefault(int(i), "re-test")
            cells[i] = name
    return coded(cells)


def _before_repeat(name: str) -> str:
    """What stands before the last one or two words, where these say no more than that it was tested again."""
    words = name.split()
    for last in (1, 2):
        if len(words) > last and says("repeat", " ".join(words[-last:]).strip("()[]")):
            return " ".join(words[:-last]).rstrip(" -–—(,:/")
    return name


def named_otherwise(identifiers: dict[str, Coded]) -> Coded:
    """The device's own identifier; else switchboard and circuit, which name a fixed device; else its serial number."""
    if not identifiers["device"].blank.any():
        return identifiers["device"]
    device, board, circuit, serial = (identifiers[name].cells() for name in ("device", "board", "circuit", "serial"))
    both = np.where((board != "") & (circuit != ""), board + " / " + circuit, board + circuit)
    fixed = np.where(both != "", both, serial)
    return coded(np.where(device != "", device, fixed).astype(object))


def carry_boards(context: Context, identifiers: dict[str, Coded]) -> None:
    """A switchboard named once above its circuits holds until the next is named; so does one in a line above them."""
    board = identifiers["board"]
    if context.table.of("board") and context.table.of("circuit") and not board.blank[:1].any():
        named = np.where(board.blank, 0, np.arange(len(context.at)))
        identifiers["board"] = board.taken(np.maximum.accumulate(named))
    elif (context.rows.section_field == "board" or "board" in context.facts) and not context.table.of("board"):
        above = as_typed(context.facts["board"].value) if "board" in context.facts else ""
        within = context.rows.section_field == "board"
        lines = trimmed(coded(context.sections(identifiers["device"].codes))) if within else board
        identifiers["board"] = lines.told(lambda line: line or above)
    else:
        return
    if not context.table.of("device"):
        identifiers["device"] = nothing(len(context.at))
        identifiers["device"] = named_otherwise(identifiers)


def lines_apart(context: Context, identifiers: dict[str, Coded]) -> bool:
    """Ways of a three-phase board: "1" comes again for each line of the supply, which is a part of its name then.

    The answer: whether the column of outlets was one of lines.
    """
    lines = context.table.of("outlet")[:1]
    if not lines or context.table.of("device") or not context.table.of("circuit"):
        return False
    cells = trimmed(context.cells(lines[0])).cells()
    names = [as_typed(t) for t in pd.unique(cells) if t != ""]
    if len(names) < 2 or not all(_LINE.fullmatch(name) for name in names):
        return False
    circuit = identifiers["circuit"].cells()
    identifiers["circuit"] = coded(np.where(cells != "", circuit + " " + cells, circuit).astype(object))
    identifiers["device"] = nothing(len(cells))
    identifiers["device"] = named_otherwise(identifiers)
    return True


# lines of the supply; TP, TPN, 3P: a way across all three of them
_LINE = re.compile(r"L[123]+|[RYB]|[RST]|[UVW]|red|yellow|white|blue|brown|black|grey|TPN?|3P?N?|SPN?", re.IGNORECASE)


def places_apart(context: Context, identifiers: dict[str, Coded]) -> None:
    """Names such as "main" and "sockets" that come again in each flat name a device only with its place.

    So where names without a number repeat, no column of boards or outlets tells them apart, and each place has each
    name once: the place stands for the board.
    """
    places, device = context.table.of("location")[:1], identifiers["device"].cells()
    if not places or context.table.of("board", "circuit", "outlet") or not identifiers["board"].blank.all():
        return
    place = trimmed(context.described(places[0]))
    both = pd.DataFrame({"place": place.cells(), "device": device})[device != ""]
    names = both["device"].unique()
    again = both.groupby("device")["place"].nunique()
    apart = len(both) and not both.duplicated().any() and (again > 1).mean() > 0.5 and (both["place"] != "").all()
    if apart and not any(re.search(r"\d\d", name) for name in names):
        identifiers["board"] = place


def take_sites(context: Context, out: dict[str, Any]) -> None:
    """Site from its column, else from the section line above, else what the caller gave or stands above the table."""
    if not context.table.of("site") and context.rows.section_field not in ("board", "tested_at", "phase", "multiple"):
        section = context.codes(trimmed(coded(context.sections(out["device"]))))
        within = "site" in context.facts and context.rows.section_field != "site"
        name = "location" if within else "site"  # below a stated site, section lines name places within it
        if not context.table.of(name):
            out[name] = np.where(section > 0, section, out[name]).astype(np.int32)
    blank = out["site"] == 0
    out["site"][blank] = context.vocabulary.code(context.site)
