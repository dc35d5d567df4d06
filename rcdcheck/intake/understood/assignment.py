"""Columns of a table assigned together: the best whole assignment, and how far behind the next best lies.

What one column means bears on the others: one device column, each reading once, 0° beside 180°, a multiple that holds
for the column to its right. So all are decided at once, by improving one column after the other until nothing gains.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from rcdcheck.intake.understood.candidates import CHECKS, IDENTITY, NOTHING, Candidate, weights
from rcdcheck.intake.understood.cells_alone import BY_CELLS, device_by_cells
from rcdcheck.intake.understood.column_candidates import Headed, candidates
from rcdcheck.intake.understood.grammars import Kind
from rcdcheck.intake.understood.heading_evidence import from_heading
from rcdcheck.intake.understood.lexicon import normal
from rcdcheck.intake.understood.meaning import Meaning
from rcdcheck.intake.understood.profiles import Profile
from rcdcheck.intake.understood.reading_headings import parts_of
from rcdcheck.tables import Numbers
from rcdcheck.terms import Slot

MANY = frozenset(
    ("", "ignore", "other_test", "remark", "remedy", "location", "model", "visual", "push_button", "retest_due")
)  # may stand twice
LONG = ("quantity", "phase", "multiple", "unit", "test_current", "value", "reading", "pair")
ROUNDS = 30  # steps, each the one that gains most


@dataclass(frozen=True)
class Assigned:
    """What a column was taken to mean, what it could also mean, and how far that lies behind in log-odds."""

    column: Headed
    chosen: Candidate
    other: Candidate | None
    margin: float


@dataclass(frozen=True)
class Weighing:
    """The best assignment of a table's columns, with the candidates among which it was found."""

    columns: tuple[Headed, ...]
    options: list[list[Candidate]]
    best: list[Candidate]

    def assigned(self) -> list[Assigned]:
        """The best assignment; how sure each column is has not been asked."""
        return [Assigned(c, _taken(b), None, 99.0) for c, b in zip(self.columns, self.best, strict=True)]

    def with_margins(self) -> list[Assigned]:
        """The best assignment, with the next best meaning of each column and how far it lies behind."""
        outlets = [c.outlet for c in self.columns]
        total, out = _total(self.best, outlets), []
        for i, column in enumerate(self.columns):
            other, margin = _next_best(self.options, self.best, total, i, outlets)
            out.append(Assigned(column, _taken(self.best[i]), other, margin))
        return out


def assign(columns: Sequence[Headed], profiles: Sequence[Profile], rated: Numbers, as_of: dt.date) -> Weighing:
    """The best assignment of all columns together; `rated` as `evidence.with_cells` takes it."""
    options = [candidates(c, p, rated, as_of) for c, p in zip(columns, profiles, strict=True)]
    options = _neighbours(columns, _filled_first(_named_by_circuit(_named_by_heading(options), profiles)))
    outlets = [c.outlet for c in columns]
    return Weighing(tuple(columns), options, _improved(options, [o[0] for o in options], range(len(options)), outlets))


def _filled_first(options: list[list[Candidate]]) -> list[list[Candidate]]:
    """A blank column whose heading is not plain, as a title over a table on its side makes, claims nothing that a
    filled one may mean."""
    sure, plainly = weights()["decide"]["sure"], weights()["heading"]["plainly"]
    filled = {c.key for o in options for c in o if not c.blank and c.weight >= sure and c.meaning.field not in MANY}
    return [[c for c in o if not (c.blank and c.heading < plainly and c.key in filled)] for o in options]


def _named_by_heading(options: list[list[Candidate]]) -> list[list[Candidate]]:
    """A device is looked for by cells alone only where no heading speaks of one, or of a board and its circuits."""
    told = {c.meaning.field for o in options for c in o if c.why[:1] != (BY_CELLS,) and min(c.heading, c.weight) >= 4.0}
    if "device" not in told and not {"board", "circuit"} <= told:
        return options
    return [[c for c in o if c.why[:1] != (BY_CELLS,)] for o in options]


def _named_by_circuit(options: list[list[Candidate]], profiles: Sequence[Profile]) -> list[list[Candidate]]:
    """Of circuits with codes of their own ("F1") beside what may be a name or a description ("Sockets"), the circuit
    names the device and the other describes it, where nothing else names it."""
    told = [{c.meaning.field for c in o if c.heading >= 5.0} for o in options]
    codes = [i for i, (t, p) in enumerate(zip(told, profiles, strict=True))
             if "circuit" in t and p.share(Kind.CODE) > 0.75 and device_by_cells(p)]  # fmt: skip
    described = [i for i, t in enumerate(told) if {"device", "model"} <= t]
    others = any("board" in t or ("device" in t and i not in described) for i, t in enumerate(told))
    if len(codes) != 1 or len(described) != 1 or others:
        return options
    out = list(options)
    out[described[0]] = [c for c in options[described[0]] if c.meaning.field != "device"]
    out[codes[0]] = [replace(c, meaning=Meaning("device")) if c.meaning.field == "circuit" else c
                     for c in options[codes[0]] if c.meaning.field != "device"]  # fmt: skip
    return out


def _taken(candidate: Candidate) -> Candidate:
    return candidate if candidate.weight >= weights()["decide"]["take"] else NOTHING


def _improved(
    options: list[list[Candidate]], start: list[Candidate], movable: Sequence[int], outlets: Sequence[str]
) -> list[Candidate]:
    """The assignment reached from `start` by the steps that gain most, each of one of the movable columns."""
    best, total = list(start), _total(start, outlets)
    for _ in range(ROUNDS):
        found, step = total + 1e-9, (-1, NOTHING)
        for i in movable:
            kept = best[i]
            for option in options[i]:
                if option is kept:
                    continue
                best[i] = option
                tried = _total(best, outlets)
                if tried > found:
                    found, step = tried, (i, option)
            best[i] = kept
        if step[0] < 0:
            break
        best[step[0]], total = step[1], found
    return best


def _next_best(
    options: list[list[Candidate]], best: list[Candidate], total: float, i: int, outlets: Sequence[str]
) -> tuple[Candidate | None, float]:
    """The best candidate that means something else, and how far the whole assignment falls behind with it."""
    found: tuple[Candidate | None, float] = (None, 99.0)
    for other in options[i]:
        if other.key == best[i].key or best[i].weight - other.weight > 8.0:
            continue
        tried = [*best[:i], other, *best[i + 1 :]]
        rest = _total(_improved(options, tried, _touched(options, best[i], other, i), outlets), outlets)
        if total - rest < found[1]:
            found = other, max(0.0, total - rest)
    return found


def _touched(options: list[list[Candidate]], left: Candidate, taken: Candidate, i: int) -> list[int]:
    """Other columns that could mean what one column no longer means, or that what it means now bears on."""
    fields = {left.meaning.field, taken.meaning.field}
    for group in (IDENTITY, LONG):
        fields |= set(group) if fields & set(group) else set()
    fields -= set(MANY)
    return [n for n, of_column in enumerate(options) if n != i and any(c.meaning.field in fields for c in of_column)]


def _total(chosen: Sequence[Candidate], outlets: Sequence[str]) -> float:
    """Weight of a whole assignment: the columns, and what they say of each other. A wide table asks 100,000 times."""
    told = weights()["decide"]
    fields = [c.meaning.field for c in chosen]
    score: float = sum([c.weight for c in chosen]) + _long(fields)
    seen = set[tuple[str, str]]()
    for i, name in enumerate(fields):
        if name in MANY:
            continue
        key = (chosen[i].key, outlets[i])
        if key in seen:
            score -= told["twin_device" if name == "device" else "twin"]
        seen.add(key)
        if name == "device":
            score -= told["device_first"] * min(i, 4)
    if not any(name in IDENTITY and not chosen[i].blank for i, name in enumerate(fields)):
        score -= told["no_device"]
    if "board" in fields and "circuit" in fields:
        plain = {name for c, name in zip(chosen, fields, strict=True) if c.heading >= told["sure"]}
        score += told["board_circuit"] if {"board", "circuit"} <= plain else 0.0
    return score + _phases([c.meaning.slot for c, name in zip(chosen, fields, strict=True) if name == "reading"])


def _phases(slots: Sequence[Slot | None]) -> float:
    """0° beside 180° speaks for both; half-waves of which one is a current and the other a time ("trip 0 | trip 180"
    are two of one kind) speak against both."""
    told = weights()["decide"]
    times = [s for s in slots if s and s.quantity == "trip_time"]
    begun = {(s.multiple, s.waveform) for s in times if s.phase == "0"}
    pairs = len(begun & {(s.multiple, s.waveform) for s in times if s.phase == "180"})
    currents, timed = {s.phase for s in slots if s and s.quantity == "trip_current"}, {s.phase for s in times}
    mixed = sum(
        p in currents and q not in currents and q in timed and p not in timed for p, q in (("0", "180"), ("180", "0"))
    )
    return float(told["pair_of_phases"] * pairs + told["mixed_phases"] * mixed)


def _long(fields: Sequence[str]) -> float:
    """Columns that say of each row what its reading is go together with one of values, and neither goes alone."""
    told = weights()["decide"]["long"]
    rows, readings = {"quantity", "phase", "multiple"}.intersection(fields), sum(map(fields.count, ("reading", "pair")))
    if "value" in fields:
        return float((told if rows or "unit" in fields else -told) - 2 * told * (readings > 1))
    lonely = fields.count("quantity") + fields.count("unit") + (0 if readings else len(rows))
    return float(-told * min(lonely + ("test_current" in fields), 2) / 2)


# ── neighbours ──
def _neighbours(columns: Sequence[Headed], options: list[list[Candidate]]) -> list[list[Candidate]]:
    """Multiples taken over from the left, and bare signs that stand alone taken for nothing."""
    bare = {
        n: [i for i, c in enumerate(columns) if normal(c.heading) == n and not c.groups] for n in ["0", "180", "+", "-"]
    }
    lonely = {
        i
        for a, b in (("0", "180"), ("+", "-"))
        for i in (*bare[a], *bare[b])
        if not (bare[a] and bare[b]) and columns[i].stated is None
    }
    out = [[NOTHING] if i in lonely else o for i, o in enumerate(options)]
    if any(normal(c.heading) == "neg" for c in columns):  # beside it "pos" is no position
        out = [[o for o in told if normal(c.heading) != "pos" or o.meaning.field in ("", "reading")]
               for c, told in zip(columns, out, strict=True)]  # fmt: skip
    for i in range(1, len(out)):
        if columns[i].number == columns[i - 1].number + 1 and not _paired_elsewhere(i, columns):
            out[i] = [_from_left(out[i - 1][0], c) for c in out[i]]
    begun = {_at(o[0], "0") for o in out}
    for i in range(len(out) - 1):
        if columns[i + 1].number == columns[i].number + 1 and _at(out[i + 1][0], "180") not in begun:
            out[i] = [_before_other(c, out[i + 1][0]) for c in out[i]]
    return out


def _paired_elsewhere(i: int, columns: Sequence[Headed]) -> bool:
    """Whether one column elsewhere has the words of this one with the other phase: "Time 0° | 5x 180° | 5x 0° | Time
    180°"."""
    said = [(c.outlet, *_without_phase(c)) for c in columns]
    own, phase = said[i][:-1], said[i][-1]
    others = [a[-1] for n, a in enumerate(said) if a[:-1] == own and n not in (i, i - 1)]
    return bool(own[-1]) and len(others) == 1 and {phase, *others} == {"0", "180"}


def _without_phase(column: Headed) -> tuple[tuple[str, ...], str, str]:
    """The groups and words of a heading that names a quantity beside one phase, and that phase; else empty ones."""
    parts = parts_of(column.heading)
    phases = parts.of("phase")
    words = "" if len(phases) != 1 or parts.of("multiple") else " ".join((*parts.of("quantity"), *parts.rest))
    return column.groups, words, phases[0] if phases else ""


def _at(c: Candidate, phase: str) -> tuple[str, float, str, str] | None:
    """What a column reads of a trip time in this phase, and in which rows of columns, told from its 180°; else None."""
    slot = c.meaning.slot
    own = slot is not None and c.meaning.field == "reading" and slot.quantity == "trip_time" and slot.phase == phase
    return (slot.quantity, slot.multiple, slot.waveform, c.meaning.unit) if own and slot is not None else None


def _before_other(c: Candidate, right: Candidate) -> Candidate:
    """`trip time` before `other way (180)`: the first is the one from 0°."""
    told = _at(right, "180")
    if told is None or _at(c, "none") != told:
        return c
    slot = c.meaning.slot
    assert slot is not None
    how = "taken for 0°: the column beside it is the same at 180°"
    return replace(c, meaning=replace(c.meaning, slot=slot._replace(phase="0"), how=how))


def _from_left(left: Candidate, c: Candidate) -> Candidate:
    """`5x 0°` followed by a bare `180°`: the second belongs to the first."""
    a, b = left.meaning, c.meaning
    if not (a.slot and b.slot and a.field == b.field == "reading" and a.multiple_said and not b.multiple_said):
        return c
    times = a.slot.quantity == b.slot.quantity == "trip_time"
    if not times or {a.slot.phase, b.slot.phase} != {"0", "180"} or a.how.startswith("multiple taken"):
        return c
    slot = b.slot._replace(multiple=a.slot.multiple)
    how = "multiple taken from the column to the left"
    return replace(c, meaning=replace(b, slot=slot, test_current=a.test_current, how=how, multiple_said=True))


def rated_of(columns: Sequence[Headed], profiles: Sequence[Profile]) -> Numbers:
    """Rated residual currents in mA of the rows looked at, from the column that looks most like them; else empty."""
    best, found = 0.0, np.zeros(0)
    for column, cells in zip(columns, profiles, strict=True):
        told = [column.stated] if column.stated else [c.meaning for c in from_heading(column.heading, column.groups)]
        if not any(m.field == "rated_residual_current" for m in told):
            continue
        share = cells.share(Kind.RATED)
        if share > max(best, 0.5):
            values = np.where(cells.values < 1, cells.values * 1000, cells.values)
            best, found = share, values
    return found


def named(assigned: Sequence[Assigned]) -> bool:
    """Whether the devices are named and a reading or result stands beside them."""
    fields = {a.chosen.meaning.field for a in assigned}
    results = {"reading", "value", "pair", "pass_ticks", *CHECKS}
    return bool(fields & set(IDENTITY)) and bool(fields & results)
