"""Decision tables of the five rule sets: `decisions/*.toml` spelled out into rows of a sheet with the outcome due.

The tables are a second statement of the standards. They share neither code nor figures with the program, and were
written by someone who had not read how it judges. A table holds

    styles    how a device is stated in the sheet: rated current, type, delay, waveform type, portable or fixed
    windows   for some kinds of device and some readings, which outcome a reading of which size has:
              "fail under 130, pass to 500, fail" is: less than 130 fails, 130 to 500 passes, more fails
    rows      single sheets that no window tells: a missing phase, a rating that contradicts a type

Where honest readers of a standard may differ an outcome reads "pass|unclear". "open" is not asked at all: the standard
is silent, and neither answer endangers anybody. Each window is asked with a ladder of readings: below, at and above
each limit, bounds on either side of it, no trip, the ends of ranges, nothing, what cannot be read, and what no
mechanism can do. Every row is a device of its own that is complete and good but for the reading asked.
"""

from __future__ import annotations

import functools
import tomllib
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any
from zlib import crc32

FOLDER = Path(__file__).parent / "decisions"
SETS = ["anz-in-service", "international-product", "uk-present", "uk-former", "north-america-gfci"]
WORST = ["pass", "incomplete", "unclear", "fail"]  # a device has the worst of its readings' outcomes
Outcomes = frozenset[str]
Asked = tuple[str, Outcomes, str]
OPEN: Outcomes = frozenset(WORST)

CELLS = {
    "kind": "Kind", "rated": "Rated IΔn (mA)", "type": "RCD type", "waveform": "Waveform type", "delay": "Delay",
}  # fmt: skip
ENDS = {"Visual": "pass", "Test button": "pass", "Result": ""}
SIGNED = {
    "Tested by": "A. Snowfield", "Instrument": "Meter A", "Calibration due": "2027-04-30", "Date": "2026-11-20",
}  # fmt: skip
UNREADABLE = ["illegible", "2&.4", "-12.5", "0"]  # a word, a slip of the keys, and numbers that are no reading
BRIEF = ["no trip", ">1999", "24.1", "9.9", "9.3", "1000", *UNREADABLE]  # of what is unclear whatever it reads
BY_TURNS = ["0.5×", "2×", "5×", "pulsating 1.4×", "smooth d.c. 2×", "20 mA"]
SHORTEST = 1.5  # ms; contacts alone need some 3 ms to part (common practice, no source)


@dataclass(frozen=True)
class Row:
    """One device: its cells by heading, the outcomes allowed, and why in a few words."""

    style: str
    cells: dict[str, str]
    asked: str
    allowed: Outcomes
    why: str
    source: str


@dataclass(frozen=True)
class Bands:
    """Outcomes of a reading by its size: each edge with the outcome up to it, and what lies beyond the last."""

    edges: list[tuple[float, bool, Outcomes]] = field(default_factory=list)  # edge, whether it is inside, outcome
    beyond: Outcomes = OPEN

    @classmethod
    def of(cls, text: str, low: str) -> Bands:
        """Read "fail under 130, pass to 500, fail"; `low` is what a ramp at or below half of rated comes to."""
        edges = []
        *parts, last = [part.split() for part in text.split(", ")]
        for name, word, edge in parts:
            edges.append((float(edge), {"to": True, "under": False}[word], outcomes(name, low)))
        assert edges == sorted(edges, key=lambda one: one[0]), text
        return cls(edges, outcomes(last[0], low))

    def at(self, value: float) -> Outcomes:
        """Outcomes allowed for a reading of this size."""
        for edge, inside, outcome in self.edges:
            if value < edge or (inside and value == edge):
                return outcome
        return self.beyond

    def above(self, value: float) -> Outcomes:
        """Outcomes allowed where only "more than this" is known: all that lies beyond agrees, or nobody knows."""
        reached = [outcome for edge, _, outcome in self.edges if edge > value] + [self.beyond]
        return reached[0] if len(set(reached)) == 1 else frozenset({"unclear"} | frozenset.intersection(*reached))


def outcomes(text: str, low: str = "") -> Outcomes:
    """Read "pass|unclear", "open", or "low"."""
    names = frozenset((low if text == "low" else text).split("|"))
    assert names <= OPEN or names == {"open"}, text
    return OPEN if names == {"open"} else names


def with_standing(allowed: Outcomes, standing: Outcomes) -> Outcomes:
    """The worse of what a reading comes to and what the device's own description comes to."""
    return frozenset(max(one, other, key=WORST.index) for one in allowed for other in standing)


def table(name: str) -> dict[str, Any]:
    """One table, with the windows and rows of the tables that it is to be read with."""
    read: dict[str, Any] = tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))
    for other in read.get("with", []):
        more = table(other)
        last = {"last": True} if more.get("otherwise") else {}
        read["windows"] = read.get("windows", []) + [one | last for one in more.get("windows", [])]
        read["rows"] = read.get("rows", []) + more.get("rows", [])
        read["styles"] = more.get("styles", {}) | read.get("styles", {})
    return read


def heading(reading: str, phase: str = "") -> str:
    """Heading of a reading's column, such as "Trip time pulsating 1.4× 0° (ms)"."""
    if reading in CELLS.values() or reading in ENDS or reading in SIGNED:
        return reading
    if reading.startswith("ramp"):
        return f"Ramp trip current {reading.removeprefix('ramp').strip()}".strip() + " (mA)"
    return f"Trip time {reading} {phase}".strip() + " (ms)"


def parted(place: str) -> tuple[str, str]:
    """Reading and phase of a place such as "pulsating 1.4× 180°"."""
    reading, _, phase = place.rpartition(" ")
    return (reading, phase) if phase.endswith("°") else (place, "")


def not_asked(name: str) -> list[tuple[str, str]]:
    """Style and reading of a rule set's table of which no window speaks."""
    read = table(name)
    readings = dict.fromkeys(reading for window in read["windows"] for reading in window["readings"])
    return [
        (style, reading)
        for style, said in read["styles"].items()
        for reading in readings
        if not any(reading in window["readings"] and covers(window, said) for window in read["windows"])
    ]


@functools.cache
def rows_of(name: str) -> list[Row]:
    """Every row of a rule set's table."""
    read = table(name)
    return [*window_rows(read), *single_rows(read)]


def window_rows(read: dict[str, Any]) -> Iterator[Row]:
    """The ladder of each window, for each style it covers and each reading it names."""
    met: set[tuple[str, str]] = set()
    for window in read["windows"]:
        for style, said in read["styles"].items():
            if not covers(window, said):
                continue
            for reading in window["readings"]:
                if window.get("last") and (style, reading) in met:
                    continue
                assert (style, reading) not in met, f"two windows for {style}, {reading}"
                met.add((style, reading))
                yield from ladder_rows(read, window, style, reading)


def covers(window: dict[str, Any], said: dict[str, Any]) -> bool:
    """Whether a window speaks of a style."""
    return all(
        said.get(of, "") in window.get(plural, [said.get(of, "")])
        for of, plural in (("of", "kinds"), ("waveform", "waveforms"), ("rated", "ratings"))
    )


def ladder_rows(read: dict[str, Any], window: dict[str, Any], style: str, reading: str) -> Iterator[Row]:
    """Rows of one style and one reading. Needed readings are asked from both phases, some from one and the other by
    turns, most from one: a column for each would be slow, and tells no more."""
    said = read["styles"][style]
    phases = [phase for need, phase in map(parted, said.get("needs", read["needs"])) if need == reading]
    needed = bool(phases)
    phases = phases or read.get("phases", ["0°", "180°"])
    turn = crc32(f"{style}, {reading}".encode())
    for step, (typed, comes_to, because) in enumerate(ladder(window, read.get("low", ""), reading, needed, turn)):
        either = because == "missing" and read.get("phases_needed") == "any"  # the other phase is enough
        of_reading = outcomes("pass") if either else comes_to
        if of_reading == OPEN:
            continue
        standing = outcomes(said.get("standing", "pass"))
        if window.get("last") and standing == {"unclear"} and typed not in BRIEF:
            continue
        allowed = with_standing(of_reading, standing)
        worsened = allowed != of_reading or either or allowed == standing == {"unclear"}
        why = said.get("why", window.get("why", "contradiction")) if worsened else because
        by_turns = step if reading in BY_TURNS else crc32(reading.encode())
        asked = [""] if reading.startswith("ramp") else phases if needed else [phases[by_turns % len(phases)]]
        for phase in asked:
            cells = {**base(read, said, step), heading(reading, phase): typed}
            yield Row(style, cells, f"{heading(reading, phase)}: {typed or 'blank'}", allowed, why, window["source"])


def ladder(window: dict[str, Any], low: str, reading: str, needed: bool, turn: int) -> Iterator[Asked]:
    """What is typed, the outcomes allowed, and why. A reading that is not needed gets fewer of what no limit tells."""
    bands = Bands.of(window["bands"], low)
    ramp, hold = reading.startswith("ramp"), window.get("hold", False)
    if needed:
        yield "", outcomes("incomplete"), "missing"
    elif turn % 3 == 0:
        yield "", outcomes("pass"), ""
    for text in some(UNREADABLE, needed, turn):
        yield text, outcomes("unclear"), "unreadable"
    if hold:
        yield from holding(window, bands, turn)
        return
    never = outcomes(window["no_trip"]) if "no_trip" in window else bands.beyond
    yield "no trip", never, "no trip"
    numbers = {edge + shift for edge, _, _ in bands.edges for shift in (-0.1, 0, 0.1)} | {9.9 if ramp else 24.1}
    numbers |= {(one[0] + other[0]) / 2 for one, other in pairwise(bands.edges)}
    numbers |= set() if ramp else {SHORTEST, *some([1999.0, 2000.0], needed, turn)} | ({0.02, 8.6} if needed else set())
    for number in sorted(numbers):
        allowed = bands.at(round(number, 3))
        why = window.get("why", "") if allowed == {"unclear"} else "let go too high" if ramp else "too slow"
        if number in (1999, 2000) and "pass" in allowed:  # a time, or the end of a range that lost its ">"
            allowed = outcomes("fail|unclear") if number == 1999 and "pass" not in bands.beyond else OPEN
        if not ramp and number <= SHORTEST:
            allowed, why = allowed & {"fail"} | {"unclear"}, "too fast to be"
        elif allowed == {"fail"} and any("pass" in outcome for edge, _, outcome in bands.edges if edge > number):
            why = "too quick"
        yield f"{number:.10g}", allowed, why
    yield from ramp_bounds(bands) if ramp else time_bounds(bands, never, needed, turn)


def ramp_bounds(bands: Bands) -> Iterator[Asked]:
    """More than, or less than, one of the limits of a ramp: what either leaves open nobody knows."""
    for bound in sorted({edge + shift for edge, _, _ in bands.edges for shift in (-1, 0)}):
        yield f">{bound:g}", bands.above(bound), "" if bands.above(bound) == {"unclear"} else "let go too high"
    for edge, _, _ in bands.edges[-1:]:
        yield f"<{edge:g}", outcomes("unclear"), "not a number"


def time_bounds(bands: Bands, never: Outcomes, needed: bool, turn: int) -> Iterator[Asked]:
    """More than one of the limits of a time, the end of a range, and words in the place of a number."""
    for bound in some([shift + edge for edge, _, _ in bands.edges for shift in (-1, 0)], True, turn):
        yield f">{bound:g}", bands.above(bound), "" if bands.above(bound) == {"unclear"} else "too slow"
    yield ">1999", never if bands.above(1999) == bands.beyond else bands.above(1999), ""
    for text in some(["<40", "OK"], needed, turn):
        yield text, outcomes("unclear"), "not a number"
    if needed:
        yield "9000", bands.beyond | {"unclear"}, ""  # too slow, or a decimal point was lost


def some(texts: list[Any], needed: bool, turn: int) -> list[Any]:
    """All of them for a needed reading, one of them for another."""
    return texts if needed else [texts[turn % len(texts)]]


def holding(window: dict[str, Any], bands: Bands, turn: int) -> Iterator[Asked]:
    """Where a device must not trip: holding passes, and the bare end of a range is two things at once."""
    for text in ("no trip", *some([">2000", ">300", "OK"], False, turn)):
        yield text, outcomes(window.get("held", "pass")) | ({"unclear"} if text == "OK" else OPEN & {"pass"}), ""
    for text in (*some(["300", "500", "1000"], False, turn), *some(["1999", "2000"], False, turn)):
        yield text, outcomes("unclear") if bands.beyond == {"fail"} else OPEN - {"pass", "incomplete"}, "a lost >"
    yield "1.5", outcomes("fail|unclear"), ""
    for text in ("9.3", "25.3", "299.5", "461.5"):
        yield text, bands.beyond, "tripped at half"


def base(read: dict[str, Any], said: dict[str, Any], step: int) -> dict[str, str]:
    """Cells of a complete and good device of this style; its readings differ a little from row to row."""
    cells = {heading_: str(said[name]) for name, heading_ in CELLS.items() if name in said}
    cells |= ENDS
    good = {**read["good"], **said.get("good", {})}
    for place, need in enumerate(said.get("needs", read["needs"])):
        reading, phase = parted(need)
        cells[heading(reading, phase)] = f"{good[reading] + (7 * step + 3 * place) % 41 / 10:.1f}"
    return cells


def single_rows(read: dict[str, Any]) -> Iterator[Row]:
    """Rows written out by hand: `cells` of them replace those of a good device, reading by reading."""
    for number, row in enumerate(read.get("rows", [])):
        for style in row.get("styles", [read["plain"]]):
            if style not in read["styles"]:
                continue
            said = read["styles"][style]
            cells = base(read, said, number)
            for place, typed in row["cells"].items():
                cells[heading(*parted(place))] = typed
            allowed = with_standing(outcomes(row["expect"]), outcomes(said.get("standing", "pass")))
            asked = ", ".join(f"{place}: {typed or 'blank'}" for place, typed in row["cells"].items())
            yield Row(style, cells, asked, allowed, row.get("why", ""), row["source"])


def told(title: str, wrong: Iterable[str], behind: str, shown: int) -> str:
    """Mismatches below a title: of lines that are alike up to `behind` the first few."""
    seen: Counter[str] = Counter()
    lines = []
    for line in wrong:
        of = line.split(behind)[0]
        seen[of] += 1
        if seen[of] <= shown:
            lines.append(line)
    return "\n".join([title, *lines])
