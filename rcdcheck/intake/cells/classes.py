"""Cells that name one of a few things: RCD type, waveform type, delay; portable or fixed; phase, quantity, waveform."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.cells.distinct import Cells, TextColumn, parted, spread, text_column
from rcdcheck.intake.cells.phrases import folded, known, pattern, plain, says
from rcdcheck.intake.cells.verdicts import FAIL, PASS, verdict
from rcdcheck.tables import Texts

UNKNOWN = "entry-not-understood"
DELAYS = ("short_time", "general", "selective")  # the longer words first
TypeNames = Mapping[str, str]  # as they are typed, plain → names of types as a rule set has them
NO_NAMES: TypeNames = {}
_TYPES = {"i": "I", "ii": "II", "iii": "III", "iv": "IV", "1": "I", "2": "II", "3": "III", "4": "IV"}
_WAVES = {"ac": "AC", "a": "A", "f": "F", "b": "B", "b+": "B"}


@dataclass(frozen=True)
class ClassColumn:
    """rcd_type "I" to "IV" or one of a rule set, waveform_type "AC", "A", "F", "B", delay "general", "short_time",
    "selective"; shapes (n,). Each is empty where it is not said.
    """

    rcd_type: Texts
    waveform_type: Texts
    delay: Texts
    problem: Texts
    suggestion: Texts


def type_names(names: Iterable[str]) -> TypeNames:
    """Names of types of a rule set that only the set knows: what says a delay, as "general ≤ 10 mA", nobody types."""
    unknown = (name for name in names if class_cell(name)[3] and _take_delay(folded(name), set()) == folded(name))
    return {_bare(name): name for name in unknown}


def _bare(text: str) -> str:
    """A class without its words that carry no meaning: "Type V" as "v"."""
    return " ".join(word for word in folded(text).split() if plain(word) not in known("class_filler"))


def read_classes(cells: Cells, names: TypeNames = NO_NAMES) -> ClassColumn:
    """RCD type, waveform type and delay, alone or together ("A S", "Typ B", "Type 2", "II selective").

    names: of types that the rule set has beside I to IV.
    """
    return ClassColumn(*spread(cells, lambda cell: class_cell(cell, names), ("object",) * 5))


def answers(heading: str, cells: Cells) -> Cells:
    """Yes and no under a heading that asks for one delay ("Selective?", "Time delayed Y/N") as the delay they mean."""
    asked = next((table for table in DELAYS if pattern(table).search(folded(heading))), "")
    if asked not in ("selective", "short_time"):
        return cells
    meant = {PASS: asked, FAIL: "general"}

    def read(cell: object) -> tuple[object]:
        text = as_typed(cell)
        crossed = text.strip().casefold() == "x"  # ticks the row
        return (meant.get(PASS if crossed else verdict(text), cell) if class_cell(cell)[3] else cell,)

    return spread(cells, read, ("object",))[0]


def class_cell(cell: object, names: TypeNames = NO_NAMES) -> tuple[str, str, str, str, str]:
    """RCD type, waveform type, delay, problem and suggestion of one cell, each empty where it has none."""
    text = as_typed(cell)
    if not text.strip() or says("not_measured", text):
        return ("",) * 5
    if names and _bare(text) in names:
        return names[_bare(text)], "", "", "", ""
    found: dict[str, set[str]] = {"type": set(), "wave": set(), "delay": set()}
    rest = _take_delay(re.sub(r"\ba\.\s?c\.?", "ac", folded(text)), found["delay"])
    words = [w for w in re.split(r"[\s/,;:()\-–.]+", rest) if w and plain(w) not in known("class_filler")]
    for word in words:
        told = names.get(word) or _TYPES.get(word)
        kind, meaning = ("type", told) if told else ("wave", _WAVES.get(word))
        if meaning is None:
            return ("", "", "", UNKNOWN, "")
        found[kind].add(meaning)
    if any(len(meanings) > 1 for meanings in found.values()) or not any(found.values()):
        return ("", "", "", UNKNOWN, "")
    one = {kind: next(iter(meanings), "") for kind, meanings in found.items()}
    return one["type"], one["wave"], one["delay"], "", ""


def class_in_words(text: str, names: TypeNames = NO_NAMES) -> str:
    """The class that a description of a device tells in passing ("RCCB 4 pole, selective", "Main switch (type S)") as a
    cell of classes would say it; empty where it tells none, or several delays."""
    delays: set[str] = set()
    _take_delay(folded(text), delays)
    typed = _typed(names).search(text)
    told = ["selective"] if delays == {"selective"} and _NAMED.search(text) else []
    return " ".join([typed[0]] if typed and not told else told)


def delay_beside(text: str) -> str:
    """The one delay that words beside a rating tell ("300 mA sélectif (S)", "100 mA sel"); empty otherwise."""
    delays: set[str] = set()
    rest = _take_delay(folded(text), delays)
    if re.search(r"\bsel\b", rest):
        delays.add("selective")
    return delays.pop() if len(delays) == 1 else ""


def class_in_line(text: str, names: TypeNames = NO_NAMES) -> str:
    """The class that a line between rows tells: the piece that is nothing else ("100 mA RCDs, general type"), or one in
    passing; empty where it tells none."""
    whole = (piece for piece in pieces_of(text) if len(piece) > _MARK and not class_cell(piece, names)[3])
    return next(whole, "") or class_in_words(text, names)


def pieces_of(line: str) -> list[str]:
    """What dashes, commas and brackets part."""
    return [piece.strip() for piece in _PIECE.split(line) if piece.strip()]


_MARK = 2  # letters: "A" is rather a board's
_PIECE = re.compile(r"\s[-–—]\s|[,;:()|]")

# no single letter: the "S" of "Workshop S" is a point of the compass
_NAMED = re.compile(r"s[eé]l[eé][ck]ti[vf]|selettiv|seletiv|delayed|verzögert|temporis|retard|ritardat", re.IGNORECASE)


def _typed(names: TypeNames) -> re.Pattern[str]:
    """ "type II", "A-type", and "type" before a name of the rule set."""
    own = "".join(f"{re.escape(name)}|" for name in names)
    named = rf"\bt[yi]p[eo]?\s*(?:{own}AC|A|F|B|S|III?|IV|I)\b(?!\s?\d)|\b(?:AC|A|F|B|S)[- ]type\b"
    return re.compile(named, re.IGNORECASE)  # compiled once: `re` keeps it


def _take_delay(text: str, delays: set[str]) -> str:
    """The text without its words for delay, which are added to `delays`; "non-selective" and
    "short-time delayed" come before "selective"."""
    for table in DELAYS:
        if pattern(table).search(text):
            delays.add(table)
            text = pattern(table).sub(" ", text)
    return text


def _of_tables(cell: object, tables: dict[str, str], unknown: str = UNKNOWN) -> tuple[str, str, str]:
    text = as_typed(cell)
    for table, meaning in tables.items():
        if text.strip() and says(table, text):
            return meaning, "", ""
    if not text.strip() or says("not_measured", text):
        return "", "", ""
    return "", unknown, ""


def read_kinds(cells: Cells) -> TextColumn:
    """ "portable" or "fixed", empty where not said."""
    tables = {"portable": "portable", "fixed": "fixed"}
    return text_column(cells, lambda cell: _of_tables(cell, tables, "kind-not-understood"))


def read_quantities(cells: Cells) -> TextColumn:
    """ "trip_time" or "trip_current", empty where not said."""
    tables = {"quantity_trip_time": "trip_time", "quantity_trip_current": "trip_current"}
    return text_column(cells, lambda cell: _of_tables(cell, tables))


def read_waveforms(cells: Cells) -> TextColumn:
    """Of the test current: "ac", "pulsating" or "smooth_dc", empty where not said."""
    tables = {"waveform_ac": "ac", "waveform_pulsating": "pulsating", "waveform_smooth_dc": "smooth_dc"}
    return text_column(cells, lambda cell: _of_tables(cell, tables))


def read_phases(cells: Cells) -> TextColumn:
    """ "0", "180" or "worst", empty where not said. A "-" is the negative half-wave where the column also has a "+"."""
    tables = {"phase_0": "0", "phase_180": "180", "phase_worst": "worst"}
    signed = any(as_typed(cell).strip() == "+" for cell in parted(cells)[1])

    def read(cell: object) -> tuple[str, str, str]:
        text = as_typed(cell).strip()
        return ("180", "", "") if signed and text in ("-", "–", "−") else _of_tables(degrees_apart(text), tables)

    return text_column(cells, read)


def degrees_apart(text: str) -> str:
    """A phase angle with its unit parted from the number: "0deg" and "180grad" as "0 deg" and "180 grad"."""
    return re.sub(r"^(0|180)(?=[^\W\d_º])", r"\1 ", re.sub(r"\s+(?=[°º])", "", text.strip()))
