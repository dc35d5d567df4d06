"""What speaks for each meaning of one column: its heading, the headings above it, its unit, its cells.

Log-odds that add up; the weights and their reasons stand in `schemas/evidence.toml`.
"""

from __future__ import annotations

import datetime as dt
import functools
import math
import re
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from rcdcheck import data
from rcdcheck.intake.cells.currents import PREFERRED
from rcdcheck.intake.cells.words import known, plain, says
from rcdcheck.intake.understood.asking import asks_for_fault
from rcdcheck.intake.understood.grammars import Kind
from rcdcheck.intake.understood.lexicon import names, words_of
from rcdcheck.intake.understood.meaning import Meaning
from rcdcheck.intake.understood.profiles import Profile
from rcdcheck.intake.understood.reading_headings import parts_of, readings_of
from rcdcheck.records import Numbers, Slot

TIMES = (0.5, 1.0, 1.4, 2.0, 3.0, 5.0, 10.0)  # multiples of the rated residual current at which devices are tested
IDENTITY = ("device", "board", "circuit", "serial")
CHECKS = ("visual", "push_button", "declared")
QUIET = ("ignore", "other_test")  # meanings that no outcome looks at


@dataclass(frozen=True)
class Candidate:
    """One meaning that a column may have: how strongly its heading and its cells say so, and why, in clauses."""

    meaning: Meaning
    heading: float
    cells: float = 0.0
    why: tuple[str, ...] = ()
    blank: bool = False  # its column holds nothing

    @functools.cached_property
    def weight(self) -> float:
        """Both together."""
        return self.heading + self.cells

    @functools.cached_property
    def key(self) -> tuple[Any, ...]:
        """What makes two candidates mean the same."""
        m = self.meaning
        current = m.test_current if math.isfinite(m.test_current) else 0.0
        multiple = m.slot.multiple if m.slot and math.isfinite(m.slot.multiple) else -1.0  # NaN never equals itself
        return m.field, m.slot._replace(multiple=round(multiple, 3)) if m.slot else None, current, m.check


NOTHING = Candidate(Meaning(""), 0.0)


@functools.cache
def weights() -> dict[str, Any]:
    """The tables of evidence.toml."""
    return data.toml("evidence.toml")


OTHER_UNITS = frozenset(
    {"V", "kV", "Ω", "\u2126", "MΩ", "M\u2126", "kΩ", "k\u2126", "ohm", "ohms", "Ohm", "Mohm", "MOhm", "µA", "uA", "Hz"}
)


# ── headings ──
@functools.lru_cache(maxsize=20_000)
def from_heading(heading: str, groups: tuple[str, ...] = ()) -> tuple[Candidate, ...]:
    """Every meaning that a heading below these group headings may have, strongest first."""
    told = weights()["heading"]
    found: list[Candidate] = []
    for text, factor in ((heading, 1.0), *(((" ".join((*groups, heading))), told["group"]) for _ in groups[:1])):
        for fit in names(text):
            quality = fit.quality * factor
            if quality >= told["least"] and not (fit.rest and _is_reading(text)):
                found.append(
                    _named(fit.part.kind, fit.part.value, told["phrase"] * quality * quality, heading, fit.how)
                )
    for read in readings_of(heading, groups):
        if read.meaning.field:
            weight = min(read.weight, told["reading"])
            found.append(Candidate(read.meaning, weight, why=("its heading speaks of it",)))
    found += (
        _other_unit(heading, groups)
        + _unit_alone(heading, groups)
        + _asks_pass(heading)
        + _asks_fault(heading)
        + _asks_phase(heading)
        + _asks_rating(heading)
    )
    if heading.casefold().rstrip(" ?:.").endswith(_FOR):  # "Safety switch for": what it protects
        found = [replace(c, meaning=Meaning("model")) if c.meaning.field == "device" else c for c in found]
    best: dict[tuple[Any, ...], Candidate] = {}
    for one in found:
        if one.key not in best or one.heading > best[one.key].heading:
            best[one.key] = one
    kept = (c for c in best.values() if c.heading >= told["weak"])
    return tuple(sorted(kept, key=lambda c: (-c.heading, c.meaning.field == "model", c.meaning.field)))


_FOR = (" for", " für", " pour", " para", " voor")


def _is_reading(heading: str) -> bool:
    """Whether every word speaks of a reading: the level in "trip level" is no floor of a house."""
    parts = parts_of(heading)
    return bool(parts.of("quantity") or parts.of("multiple") or parts.of("phase")) and not parts.rest


def _named(kind: str, value: str, weight: float, heading: str, how: str) -> Candidate:
    why = (f"its heading, by {how}" if how else "its heading",)
    if kind in QUIET:
        return Candidate(Meaning(kind), weight, why=why)
    if value == "reading":
        return Candidate(Meaning("reading", Slot("trip_time", 1.0), _unit(heading)), weight, why=why)
    return Candidate(Meaning(value, unit=_unit(heading)), weight, why=why)


def _unit(heading: str) -> str:
    return (parts_of(heading).of("unit") or [""])[0]


def _other_unit(heading: str, groups: tuple[str, ...]) -> list[Candidate]:
    """ "MΩ", "Touch | V": the unit of a quantity that is none of ours."""
    words = [part for text in (heading, *groups) for part in re.split(r"[\s()\[\]/,]+", text) if part]
    named = any(word in OTHER_UNITS for word in words) and not parts_of(heading).of("unit")
    return [Candidate(Meaning("other_test"), 6.0, why=("its unit is that of another test",))] if named else []


def _unit_alone(heading: str, groups: tuple[str, ...]) -> list[Candidate]:
    """ "RCD mA", "mA": a current of which nothing says whether it is rated or measured."""
    parts = parts_of(heading)
    unit = (parts.of("unit") or [""])[0]
    if unit == "A" and "ac" in words_of(heading):  # types of waveform
        return []
    if (
        unit not in ("mA", "A")
        or parts.of("quantity")
        or parts.of("waveform")
        or set(parts.of("multiple")) - {"1"}
        or parts.of("phase")
    ):
        return []
    told = weights()["heading"]["unit_alone"]
    return [Candidate(Meaning("rated_residual_current", unit=unit), told + 1.5, why=("its unit",))]


def _asks_rating(heading: str) -> list[Candidate]:
    """ "Trip current rating", "nominal mA": a word for what is rated, beside nothing that says at which multiple."""
    parts = parts_of(heading)
    rated = any(word in known("rating") for word in plain(heading).split(" "))
    tested = (
        parts.of("phase")
        or parts.of("waveform")
        or set(parts.of("multiple")) - {"1"}
        or parts.of("unit") in (["ms"], ["s"], ["A"])
    )
    if not rated or tested:  # "rated" alone is a multiple too
        return []
    return [
        Candidate(
            Meaning("rated_residual_current", unit=_unit(heading)),
            4.5 if parts.of("rated") or parts.of("quantity") else 2.5,
            why=("its heading asks for a rating",),
        )
    ]


def _asks_phase(heading: str) -> list[Candidate]:
    """ "0° or 180°", "+/-": both phases and nothing else ask which of them a row is of."""
    parts = parts_of(heading)
    both = {*parts.of("phase"), *parts.bare} == {"0", "180"}
    alone = both and not parts.rest and not (set(parts.found) - {"phase"})
    return [Candidate(Meaning("phase"), 1.4, why=("its heading names both phases",))] if alone else []


def _asks_pass(heading: str) -> list[Candidate]:
    """ "OK?", "all good?", "OK / not OK": the word for a pass, alone or against a fail, asks for the result."""
    word = heading.strip(" ?:.!¿¡")
    if parts_of(heading).of("phase"):  # "positive" is a half-wave
        return []
    head, _, tail = word.partition(" ")
    checked = any(fit.part.value in CHECKS for fit in names(head))  # "Visual OK": a pass of that check
    texts = (word,) if checked else (word, tail)
    said = any(says("pass", text) for text in texts if len(text) > 1 and not _bracketed(text))
    sides = [side.strip() for side in re.split(r"[/|]|\b(?:or|oder|ou|of|o)\b", word) if side.strip()]
    if len(sides) == 2 and {_verdict(side) for side in sides} == {"pass", "fail"}:
        return [Candidate(Meaning("declared"), 6.5, why=("its heading is pass or fail",))]
    return [Candidate(Meaning("declared"), 5.0, why=("its heading is a word for a pass",))] if said else []


def _asks_fault(heading: str) -> list[Candidate]:
    """ "Fault?", "Do I need to do anything?": a yes says that something is wrong."""
    why = ("its heading asks whether something is wrong",)
    weight = 7.5 if "?" in heading or not names(heading) else 2.5  # "Comments / defects" is for words
    check = asks_for_fault(heading)
    return [Candidate(Meaning(check), weight, why=why)] if check else []


def _verdict(word: str) -> str:
    return "fail" if says("fail", word) else "pass" if says("pass", word) else ""


def _bracketed(text: str) -> bool:
    """Whether a text stands in brackets, as units do: "(s)" is no Spanish yes."""
    return text[:1] in "([{"


# ── cells ──
_HELD = Kind.PASS | Kind.FAIL | Kind.TICK  # below the rated current no time is needed: "OK" says that it held


@functools.cache
def _kinds_of(field: str) -> Kind:
    mask = Kind(0)
    for name in weights()["cells"][field]["kinds"]:
        mask |= Kind[name]
    return mask


def with_cells(candidate: Candidate, cells: Profile, rated: Numbers, as_of: dt.date) -> Candidate:
    """The candidate with what the cells say; `rated`: rated currents in mA of the rows looked at, NaN where unknown."""
    m = candidate.meaning
    name = m.slot.quantity if m.field == "reading" and m.slot else m.field
    told = weights()["cells"].get(name)
    below_rated = m.slot is not None and 0 < m.slot.multiple < 1
    if told is None or cells.rows == 0:
        return candidate
    if not cells.filled:
        told_plainly = candidate.heading >= weights()["heading"]["plainly"]  # it may be filled further down
        heading = candidate.heading if told_plainly else min(candidate.heading, weights()["heading"]["blank"])
        return replace(candidate, heading=heading, why=(*candidate.why, "its cells are blank"), blank=True)
    share = (
        cells.named_share if name == "quantity" else cells.share(_kinds_of(name) | (_HELD if below_rated else Kind(0)))
    )
    score = told["fit"] * share + told["misfit"] * (1 - share)
    clauses = []
    for weight, clause in _shape(name, m, cells, rated, as_of):
        score += weight
        if clause:
            clauses.append(clause)
    says = f"{share:.0%} of its cells read so"
    return replace(candidate, cells=score, why=(*candidate.why, says, *clauses))


def _shape(name: str, m: Meaning, cells: Profile, rated: Numbers, as_of: dt.date) -> list[tuple[float, str]]:
    s = weights()["shape"]
    if name in IDENTITY:
        return _identity(name, cells)
    if name == "outlet":
        return _outlet(cells)
    if name in ("technician", "instrument"):
        return _people(cells)
    if name in ("trip_time", "trip_current"):
        return _reading(name, cells, rated)
    if name == "test_current":
        return _test_current(cells, rated)
    if name in ("tested_at", "retest_due", "calibration_due"):
        return _date(name, cells, as_of)
    if m.field == "pair" and not cells.share(Kind.PAIR):
        angles = cells.filled > 2 and cells.share(Kind.PHASE) > 0.9
        return [(s["angles_read"] if angles else s["no_pair"], "no cell holds two")]
    if name == "value" and cells.share(Kind.NUMBER | Kind.BOUND | Kind.NO_TRIP | Kind.PAIR) < 0.3:
        return [(s["value_of_checks"], "hardly any cell is a number")]
    if name == "ignore" and cells.share(Kind.PASS | Kind.FAIL) > 0.8:
        return [(-3.0, "its cells are checks")]
    if name == "ignore" and cells.filled > 2 and cells.repeats == 0 and cells.share(Kind.CODE) > 0.8:
        return [(-3.0, "its cells tell the rows apart")]
    return []


def _identity(name: str, cells: Profile) -> list[tuple[float, str]]:
    s = weights()["shape"]
    out: list[tuple[float, str]] = []
    if cells.share(Kind.PASS | Kind.FAIL) > 0.7 and not cells.share(Kind.CODE | Kind.WHOLE) > 0.5:
        out.append((s["check_device"], "its cells are checks"))
    if name == "board" and cells.filled > 3 and cells.repeats == 0:
        out.append((s["board_apart"], "each row has its own"))
    if name != "device":
        return out
    if cells.running and cells.numbers[0] == 1:
        out.append((s["counting_device"], "it counts the rows"))
    if cells.repeats > 0 and all(_describes(text) for text in cells.texts):
        out.append((s["kinds_device"], "its cells say what kind of device"))
    if cells.constant:
        out.append((s["constant_device"], "one name in every row"))
    elif cells.distinct > 1:
        out.append((s["repeats_device"] * cells.repeats, ""))
    if cells.filled > 1 and cells.repeats == 0:
        out.append((s["different_device"], "its cells tell the rows apart"))
    whole = cells.share(Kind.WHOLE)
    if cells.share(Kind.NUMBER) - whole > 0.4:
        out.append((s["reading_device"], "its cells are numbers with decimals"))
    if cells.share(Kind.RATED) > 0.9 and cells.distinct < 5 and cells.filled > 2:
        out.append((s["constant_device"], "its cells are ratings"))
    return out


def _describes(text: str) -> bool:
    """Whether a text says what kind of device it is, and no more: "RCBO", "RCBO B32", "16A C", "2P 63A"."""
    return all(says("kinds_of_device", word) or _MADE.fullmatch(word) for word in re.split(r"[\s/,]+", text) if word)


_LINE = re.compile(r"L[123]?|[RYB]|[RST]|[UVW]|red|yellow|white|blue", re.IGNORECASE)
_MADE = re.compile(
    r"(?:[BCD](?:6|1[036]|2[05]|32|40|50|63|80|100|125)?|\d{1,3}\s?A|\d+\s?mA|[1-4]P(?:\+?N)?|type|AC?)", re.IGNORECASE
)


def _outlet(cells: Profile) -> list[tuple[float, str]]:
    s = weights()["shape"]
    if cells.filled > 1 and all(_LINE.fullmatch(text) for text in cells.texts):
        return [(s["outlet_restarts"], "its cells name lines of the supply")]
    if cells.restarts:
        return [(s["outlet_restarts"], "small numbers that begin again")]
    large = len(cells.numbers) > 0 and float(np.median(cells.numbers)) > 60
    return [(s["outlet_large"], "its numbers are large")] if large else []


def _people(cells: Profile) -> list[tuple[float, str]]:
    s = weights()["shape"]
    if cells.share(Kind.PASS | Kind.FAIL | Kind.QUANTITY) > 0.5 or cells.named_share > 0.5:
        return [(s["check_people"], "its cells are checks")]
    if cells.filled > 3 and cells.distinct <= max(2, cells.filled / 4):
        return [(s["few_people"], "a few that repeat")]
    if cells.filled > 5 and cells.repeats < 0.1:
        return [(s["many_people"], "as many as rows")]
    return []


def _reading(name: str, cells: Profile, rated: Numbers) -> list[tuple[float, str]]:
    s, v = weights()["shape"], cells.numbers
    out: list[tuple[float, str]] = []
    if len(v) > 2 and np.isin(v, (0.0, 180.0)).all():
        out.append((s["angles_read"], "every cell is a phase angle"))
    if len(v) > 2 and cells.running:
        out.append((s["running_reading"] if v[0] == 1 else s["running_on"], "it counts the rows"))
    if len(v) > 4 and cells.distinct == 1 and cells.share(Kind.NUMBER) > 0.9:
        out.append((s["constant_reading"], "one number in every row"))
    if len(v) > 2 and cells.share(Kind.RATED) > 0.9:
        out.append((s["preferred_reading"], "every cell is a preferred rating"))
    if cells.share(Kind.CURRENT if name == "trip_time" else Kind.MILLISECONDS) > 0.5:
        out.append((s["unit_contradicts"], "its cells have another unit"))
    if name == "trip_time" and len(v) and float(np.median(v)) > 10_000:
        out.append((s["beyond_times"], "no instrument shows such times"))
    return out + _against_rated(name, cells, rated)


def _test_current(cells: Profile, rated: Numbers) -> list[tuple[float, str]]:
    """Test currents are multiples of the rated residual current; a ramp ends anywhere."""
    known = len(rated) == len(cells.values)
    with np.errstate(invalid="ignore", divide="ignore"):
        times = cells.values / rated if known else cells.values
    times = times[np.isfinite(times)]
    meant = np.array(TIMES) if known else np.outer(PREFERRED, TIMES).ravel()
    even = [bool(np.isclose(one, meant, rtol=0.02).any()) for one in np.unique(times)]
    if not even or np.mean(even) >= 0.8:
        return []
    return [
        (weights()["shape"]["uneven_current"] * float(1 - np.mean(even)), "its currents are no multiples of ratings")
    ]


def _against_rated(name: str, cells: Profile, rated: Numbers) -> list[tuple[float, str]]:
    """How numbers lie to the rated residual current: a ramp ends between half of it and somewhat above it."""
    s = weights()["shape"]
    if len(rated) != len(cells.values):
        return []
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = cells.values / rated
    ratio = ratio[np.isfinite(ratio) & (ratio > 0)]
    if len(ratio) < 3:
        return []
    near = float(np.mean((ratio > 0.4) & (ratio <= 1.7)))
    tight = near > 0.9 and float(np.std(np.log(ratio))) < 0.35
    if name == "trip_current":
        if near > 0.8:
            return [(s["near_rated"] if tight else 0.5, "its numbers lie about the rated residual current")]
        return [(s["far_from_rated"] * (1 - near), "its numbers lie far from the rated residual current")]
    return [(s["times_near_rated"], "")] if tight else []


def _date(name: str, cells: Profile, as_of: dt.date) -> list[tuple[float, str]]:
    from rcdcheck.intake.cells.date_columns import read_dates

    s = weights()["shape"]
    some = np.array([t for t, k in zip(cells.texts, cells.kinds, strict=True) if k & Kind.DATE][:20], dtype=object)
    if not len(some):
        return []
    at = read_dates(some).value
    ahead = float(np.mean(at[~np.isnat(at)] > np.datetime64(as_of))) if (~np.isnat(at)).any() else 0.0
    if name == "tested_at":
        return [(-s["future_date"] * 2, "its dates lie ahead")] if ahead > 0.5 else []
    return [(s["future_date"], "its dates lie ahead")] if ahead > 0.5 else [(s["past_due"], "")]


def by_cells_alone(cells: Profile, heading: str = "?") -> list[Candidate]:
    """What a column may mean whose heading nobody knows, or that has none: cells of one clear kind that few hold."""
    told = weights()["heading"]
    out = []
    if device_by_cells(cells):
        out.append(Candidate(Meaning("device"), told["unknown_device"], why=(BY_CELLS,)))
    for field, kind in _CLEAR.items():
        if cells.filled > 2 and cells.share(kind) >= told["unknown_share"]:
            out.append(Candidate(Meaning(field), told["unknown_heading"], why=(ONLY_CELLS,)))
    if cells.named_share >= told["unknown_share"] and 2 <= cells.distinct <= MOST_NAMES:
        out.append(Candidate(Meaning("quantity"), told["unknown_heading"], why=(ONLY_CELLS,)))
    if min(cells.share(Kind.RATED), cells.share(Kind.CURRENT)) >= told["unknown_share"]:
        out.append(Candidate(Meaning("rated_residual_current"), told["unknown_heading"], why=(ONLY_CELLS,)))
    if cells.share(Kind.CURRENT) >= told["unknown_share"] and not cells.share(Kind.RATED) > 0.5:
        ramp = Meaning("reading", Slot("trip_current", 0.0), multiple_said=True)
        out.append(Candidate(ramp, told["unknown_heading"], why=(ONLY_CELLS,)))
    if remarks(cells):
        why = (
            "its heading is not known, and its cells are words"
            if heading
            else "it has no heading, and its cells are words"
        )
        out.append(Candidate(Meaning("remark"), told["words"], why=(why,)))
    if cells.counts:
        out.append(Candidate(Meaning("outlet"), told["unknown_heading"], why=(ONLY_CELLS,)))
    return out


def remarks(cells: Profile) -> bool:
    """Whether cells are words, several in a cell here and there, as remarks are and names of people and places too."""
    return (
        cells.share(Kind.WORDS) > 0.8 and any(" " in text for text in cells.texts) and not cells.share(Kind.CODE) > 0.5
    )


_CLEAR = {"tested_at": Kind.DATE, "phase": Kind.PHASE, "time": Kind.CLOCK}
BY_CELLS, ONLY_CELLS = "its cells tell rows apart", "its heading is not known, and its cells are"
REPEATING = 0.15  # share of names that come again, as those of devices do that were tested again
MOST_NAMES = 40  # different names of measurements in a column


def device_by_cells(cells: Profile) -> bool:
    """Whether the cells tell the rows apart as names of devices do, whatever their heading says."""
    named = cells.share(Kind.CODE | Kind.NAME | Kind.WHOLE) > 0.75 and cells.filled >= 0.15 * cells.rows
    decimals = cells.share(Kind.NUMBER) - cells.share(Kind.WHOLE) > 0.1
    return (
        named
        and not decimals
        and cells.repeats < REPEATING
        and not cells.share(Kind.PASS | Kind.FAIL | Kind.DATE) > 0.1
    )
