"""What a column heading means: not a list of synonyms but a small grammar.

A heading is cut into tokens; the longest known phrases name its parts (quantity, phase, multiple, test current, unit,
waveform, or a descriptive field); the parts together are its meaning. Group headings above and bare neighbours
("0", "180") complete it. What can mean two things keeps its candidates, and the cells decide (`settle`).
"""

from __future__ import annotations

import difflib
import functools
import math
import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from rcdcheck import data
from rcdcheck.errors import SettingsError, UsageError
from rcdcheck.intake.heading_cells import settle
from rcdcheck.intake.heading_words import Part, longest, normal, phrases, tokens
from rcdcheck.intake.meaning import Meaning
from rcdcheck.records import Slot, slot_named

__all__ = ["Meaning", "column_file", "meanings", "normal", "settle", "stated"]

OF_ROWS = ("ignore", "phase", "multiple", "test_current", "quantity", "waveform", "value", "unit", "time", "class")
READING_KINDS = ("quantity", "phase", "multiple", "current", "waveform")
# where a heading names several fields ("date tested by", "visual result"), the first of these is meant
PRECEDENCE = (
    "retest_due", "calibration_due", "visual", "push_button", "serial", "rated_residual_current", "instrument",
    "technician", "delay", "waveform_type", "remedy", "remark", "tested_at", "outlet", "circuit", "board", "kind",
    "environment", "model", "location", "site", "setup", "declared", "device",
)  # fmt: skip


@dataclass
class _Parts:
    """The parts of one heading; `bare` are numbers that nothing beside them explains."""

    found: dict[str, list[str]] = field(default_factory=dict)
    either: tuple[str, ...] = ()
    bare: list[str] = field(default_factory=list)
    rest: list[str] = field(default_factory=list)
    slashed: bool = False

    def of(self, kind: str) -> list[str]:
        """Distinct values of a kind, in order."""
        return list(dict.fromkeys(self.found.get(kind, [])))

    def put(self, kind: str, value: str) -> None:
        self.found.setdefault(kind, []).append(value)

    @property
    def reads(self) -> bool:
        """Whether anything here speaks of a reading."""
        return any(self.found.get(k) for k in READING_KINDS) or any(b in ("0", "180") for b in self.bare)


def meanings(headings: Sequence[str], groups: Sequence[str]) -> list[Meaning]:
    """Meaning of each heading in its row, with the group heading over it (empty where none)."""
    found = [_meaning(h, g) for h, g in zip(headings, groups, strict=True)]
    found = _bare_neighbours(headings, groups, found)
    found = _multiples_from_the_left(found)
    named = any(m.field == "device" and not m.candidates for m in found)
    if named:
        found = [
            Meaning("ignore", how="a running number") if m.candidates == ("device", "ignore") else m for m in found
        ]
    return found


def stated(meaning: str) -> Meaning:
    """MEANING of --column: a field, a reading such as `trip_time_1x_0 [s]`, `ignore`, or a heading that can be read.

    Raises UsageError with near names where it is none of these.
    """
    match = re.fullmatch(r"\s*(.*?)\s*(?:\[\s*(ms|s|mA|A)\s*\])?\s*", meaning)
    name, unit = (match[1], match[2] or "") if match else (meaning, "")
    slot = slot_named(name)
    if slot is not None:
        return Meaning("reading", slot, unit, multiple_said=True)
    fields = [str(f["name"]) for f in data.document("test-sheet.json")["fields"]]
    if name == "pair":
        return Meaning(name, Slot("trip_time", 1.0), unit, multiple_said=True)
    if name in fields or name in OF_ROWS:
        return Meaning(name, unit=unit)
    read = _meaning(name, "")
    mistyped = "_" in name or (read.slot is None and bool(_parts(name).rest))  # "calibraton due" is not the re-test due
    if read.field and not read.candidates and not mistyped:
        return replace(read, unit=unit or read.unit)
    near = difflib.get_close_matches(name, [*fields, "ignore"], n=3, cutoff=0.5)
    raise UsageError(
        f"“{meaning}” is no meaning of a column"
        + (f"; perhaps {', '.join(near)}" if near else "")
        + ". Use a field such as "
        "device, trip_time_1x_0, trip_time_5x_180, trip_current, visual (with [s] or [A] for another unit), or ignore."
    )


# ── one heading ──
@functools.lru_cache(maxsize=4096)
def _meaning(heading: str, group: str) -> Meaning:
    own = _parts(heading)
    if own.either and not own.reads:
        return _either(own, group)
    over = _parts(group) if group else _Parts()
    field_here = _field(own, over)
    if field_here is not None:
        return field_here
    whole = _together(over, own) if group else own
    if not group and own.of("unit") and not own.reads:
        return Meaning("", how="a unit and nothing else")
    return _reading(whole) or _field(whole, _Parts()) or Meaning("", how=_not_understood(own))


def _parts(text: str) -> _Parts:
    words = tokens(text)
    out, at = _Parts(), 0
    while at < len(words):
        named = _phrase(words, at, out) if words[at][0].isdigit() else 0  # "6 mA d.c." before "6 mA"
        at += named or _number(words, at, out) or _phrase(words, at, out) or _sign(words, at, out)
    return out


def _number(words: list[str], at: int, out: _Parts) -> int:
    """A number with what stands beside it: degrees, a multiple, a test current, a limit. Tokens taken, 0 if none."""
    word = words[at]
    after = words[at + 1] if at + 1 < len(words) else ""
    if word in ("x",) and after[:1].isdigit():
        out.put("multiple", after.replace(",", "."))
        return 2 + _rated(words, at + 2)
    if not word[0].isdigit():
        return 0
    number = word.replace(",", ".")
    kinds = {p.kind for p in phrases().get((after,), ())}
    if "degrees" in kinds:
        out.put("phase", number) if number in ("0", "180") else out.rest.append(word)
        return 2
    if "times" in kinds:
        out.put("multiple", number)
        return 2 + _rated(words, at + 2)
    if _rated(words, at + 1):
        out.put("multiple", number)
        return 1 + _rated(words, at + 1)
    if after in ("ma", "a"):
        out.put("current", str(float(number) * (1000 if after == "a" else 1)))
        return 2
    if after in ("ms", "s") and number not in ("0", "180"):
        out.rest.append(word + after)  # a limit in the heading: "max 300 ms"
        out.put("unit", after)
        out.found["phase"] = [p for p in out.of("phase") if p != "worst"]
        return 2
    out.bare.append(number)
    return 1


def _rated(words: list[str], at: int) -> int:
    """Tokens of "IΔn" at this place, 0 where there is none."""
    for n in (3, 2, 1):
        if tuple(words[at : at + n]) in (("iδn",), ("i", "δ", "n"), ("i", "δn"), ("idn",), ("i", "delta", "n")):
            return n
    return 0


def _phrase(words: list[str], at: int, out: _Parts) -> int:
    for n in range(min(longest(), len(words) - at), 0, -1):
        span = [w for w in words[at : at + n] if w[0].isalnum() or w in "°#↑↓"]
        whole = bool(span) and span[0] == words[at] and span[-1] == words[at + n - 1]
        parts = phrases().get(tuple(span)) if whole else None
        if parts is None:
            continue
        if parts[0].kind == "either":
            out.either = out.either or tuple(p.value for p in parts)
        else:
            _put(out, parts[0])
        return n
    return 0


def _put(out: _Parts, part: Part) -> None:
    if part.kind == "multiple":
        out.put("multiple", {"half": "0.5", "one": "1", "five": "5"}[part.value])
    elif part.kind not in ("times", "degrees"):
        out.put(part.kind, part.value)


def _sign(words: list[str], at: int, out: _Parts) -> int:
    word = words[at]
    if word in ("/", "|", "&") and 0 < at < len(words) - 1:
        out.slashed = True
    elif word == "+" and words.count("+") == 1:
        return _half_wave(words, at, out, "0")
    elif word == "-" and _is_minus(words, at):
        return _half_wave(words, at, out, "180")
    elif word[0].isalnum():
        out.rest.append(word)
    return 1


def _is_minus(words: list[str], at: int) -> bool:
    """Whether a "-" stands alone, in brackets, at the end, or before a unit; elsewhere it is a dash."""
    return (
        len(words) == 1
        or words[at - 1 : at] in (["("], ["["])
        or (at > 0 and (at == len(words) - 1 or words[at + 1] in ("(", "[")))
    )


def _half_wave(words: list[str], at: int, out: _Parts, phase: str) -> int:
    """The sign of a half-wave; "+ half" is no half of the rated current. Tokens taken."""
    out.put("phase", phase)
    return 2 if words[at + 1 : at + 2] == ["half"] else 1


def _together(over: _Parts, own: _Parts) -> _Parts:
    """Parts of the group heading and the heading below it; what the lower says of a kind stands."""
    out = _Parts(either=over.either or own.either, bare=own.bare or over.bare, rest=[*over.rest, *own.rest])
    out.slashed = own.slashed
    for kind in {*over.found, *own.found}:
        values = own.of(kind) or over.of(kind)
        out.found[kind] = values
    return out


def _field(own: _Parts, over: _Parts) -> Meaning | None:
    """A heading that names a descriptive field, a row field, another test or something to ignore."""
    times = "trip_time" in own.of("quantity") or "trip_current" in own.of("quantity")
    if own.of("other_test") and not times:
        return Meaning("other_test", how="another test: kept, and not judged")
    fields = [f for f in PRECEDENCE if f in own.of("field")]
    if fields == ["rated_residual_current"] and (own.of("multiple") or own.of("phase") or times):
        return None  # "at 5 × rated": a reading
    rows = own.of("row")
    if own.of("ignore") and not times and not fields and not own.of("phase"):
        return Meaning("ignore", how="not needed")
    if fields and not times and not own.of("phase"):
        return _of_field(fields, own, over)
    if rows and not times and not own.of("phase") and not own.of("multiple") and not fields:
        return Meaning(rows[0], unit=_unit(own))
    return None


def _of_field(fields: list[str], own: _Parts, over: _Parts) -> Meaning:
    name = fields[0]
    group = [f for f in ("visual", "push_button") if f in over.of("field")]
    if name == "declared" and group:
        name = group[0]
    unit = _unit(own)
    if name == "rated_residual_current" and unit not in ("", "mA", "A"):
        return Meaning("", how="a rated residual current in ms makes no sense")
    return Meaning(name, unit=unit if name == "rated_residual_current" else "")


def _reading(parts: _Parts) -> Meaning | None:
    phases = parts.of("phase") + [b for b in parts.bare if b in ("0", "180")]
    phases = list(dict.fromkeys(phases))
    if not (parts.of("quantity") or phases or parts.of("multiple") or parts.of("waveform")):
        currents = parts.of("current")
        if not (currents and _unit(parts) == "ms"):
            return None
    quantity = _quantity(parts)
    if not quantity:
        return Meaning("", how="its unit and its quantity contradict each other")
    both = {"0", "180"} <= set(phases)
    if len(parts.of("multiple")) > 1 or (len(phases) > 1 and not both):
        return Meaning("", how="it names several multiples or phases")
    slot, said = _slot(parts, quantity, "none" if both else phases[0] if phases else "none")
    if not said and not parts.of("quantity") and [b for b in parts.bare if b not in ("0", "180")]:
        return Meaning("", how="a number in it is not explained")  # "T5 0°": five times, or test 5?
    injected = parts.of("current") and quantity == "trip_time" and not said
    current = float(parts.of("current")[0]) if injected else math.nan
    if not math.isnan(current):
        slot = slot._replace(multiple=math.nan)
    how = "" if said or quantity == "trip_current" or not math.isnan(current) else "no multiple given: read as 1×"
    how = "; ".join(filter(None, [how, f"not understood in it: {' '.join(parts.rest)}" if parts.rest else ""]))
    return Meaning("pair" if both else "reading", slot, _unit(parts), current, how=how,
                   multiple_said=said or not math.isnan(current))  # fmt: skip


def _quantity(parts: _Parts) -> str:
    """trip_time or trip_current; empty where unit and words contradict each other."""
    words, unit = parts.of("quantity"), _unit(parts)
    if "trip_current" in words:
        return "" if unit in ("ms", "s") else "trip_current"
    if "trip_time" in words:
        return "" if unit in ("mA", "A") else "trip_time"
    if unit in ("mA", "A"):
        return "" if parts.of("multiple") else "trip_current"
    return "trip_time"


def _slot(parts: _Parts, quantity: str, phase: str) -> tuple[Slot, bool]:
    wave = (parts.of("waveform") or ["ac"])[0]
    if quantity == "trip_current":
        return Slot(quantity, 0.0, phase, wave), True
    alone = not parts.rest and not parts.of("row")  # in "test 1" the number counts tests
    numbers = parts.of("multiple") or [b for b in parts.bare if alone and b in ("0.5", "1", "5")]
    said = bool(numbers) or "rated_residual_current" in parts.of("field")  # "trip time at IΔn"
    return Slot(quantity, float(numbers[0]) if numbers else 1.0, phase, wave), said


def _unit(parts: _Parts) -> str:
    units = parts.of("unit")
    return units[0] if units else ""


def _either(parts: _Parts, group: str) -> Meaning:
    unit = _unit(parts)
    if parts.either == ("time", "reading") and (unit or group):
        whole = _together(_parts(group), parts)
        whole.put("quantity", "trip_time")
        return _reading(whole) or Meaning("time")
    slot = Slot("trip_time", 1.0) if "reading" in parts.either else None
    if parts.of("field"):
        return _of_field([f for f in PRECEDENCE if f in parts.of("field")] or ["remark"], parts, _Parts())
    return Meaning(parts.either[0], slot, unit, candidates=parts.either)


def _not_understood(parts: _Parts) -> str:
    return "a number and nothing else" if parts.bare and not parts.rest else ""


# ── neighbours ──
def _bare_neighbours(headings: Sequence[str], groups: Sequence[str], found: list[Meaning]) -> list[Meaning]:
    """Bare "0" and "180", or "+" and "-", mean phases where both stand in one row; one alone means nothing."""
    for pair in (("0", "180"), ("+", "-")):
        bare = {h: i for i, h in enumerate(map(normal, headings)) if h in pair and not groups[i]}
        if len(bare) == 1:
            how = "a number and nothing else" if "0" in pair else "a sign and nothing else"
            found[next(iter(bare.values()))] = Meaning("", how=how)
    return found


def _multiples_from_the_left(found: list[Meaning]) -> list[Meaning]:
    """`5x 0°` followed by a bare `180°`: the second belongs to the first."""
    out = list(found)
    for i, m in enumerate(out[1:], 1):
        left = out[i - 1]
        if not (
            left.slot and m.slot and left.field == m.field == "reading" and left.multiple_said and not m.multiple_said
        ):
            continue
        times = left.slot.quantity == m.slot.quantity == "trip_time"
        if times and {left.slot.phase, m.slot.phase} == {"0", "180"}:
            slot = m.slot._replace(multiple=left.slot.multiple)
            how = "multiple taken from the column to the left"
            out[i] = replace(m, slot=slot, test_current=left.test_current, how=how, multiple_said=True)
    return out


# ── column files ──
def column_file(path: Path) -> tuple[tuple[str, str], ...]:
    """Pairs of a TOML file with a table `[columns]`: "HEADING" or "SHEET!HEADING" = "MEANING".

    Raises SettingsError where the file cannot be read or says something that no column can mean.
    """
    try:
        told = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise SettingsError(f"{path} could not be read: {error.strerror}.") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise SettingsError(f"{path} is no TOML file: {error}. `rcdcheck columns FILE --save` writes one.") from error
    columns = told.get("columns")
    if not isinstance(columns, dict) or set(told) != {"columns"}:
        raise SettingsError(f'{path} needs one table [columns] with lines "HEADING" = "MEANING", and nothing else.')
    for heading, meaning in columns.items():
        try:
            stated(str(meaning))
        except UsageError as error:
            raise SettingsError(f"{path}, “{heading}”: {error}") from error
    return tuple((str(h), str(m)) for h, m in columns.items())
