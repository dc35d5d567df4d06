"""A second table for the rule sets: figures of the standards spelled out into devices, over every phase.

`decisions/from-the-standards.toml` holds the figures. Each device is good but for one reading, which is asked with a
ladder of values: at, below and above each limit, half a step off, bounds, no trip, what cannot be read, nothing. A
device may be of several kinds and waveform types; a reading that comes out differently among them is unclear.
"""

from __future__ import annotations

import itertools
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any
from zlib import crc32

from decision_tables import FOLDER, Bands, Outcomes, outcomes, with_standing

TABLE: dict[str, Any] = tomllib.loads((FOLDER / "from-the-standards.toml").read_text(encoding="utf-8"))
PASS, FAIL, UNCLEAR, INCOMPLETE = (frozenset({name}) for name in ("pass", "fail", "unclear", "incomplete"))
SILENT = PASS | UNCLEAR  # the standard asks nothing here: no failure, and no need to pass either
ANY = PASS | FAIL | UNCLEAR
WAVEFORMS = {"ac": "a.c.", "pulsating": "pulsating", "smooth": "smooth d.c."}
SHORT, LONG = -1.0, 1e9
UNDECIDED = ("which type", "which delay", "no rule", "no rating")


@dataclass(frozen=True)
class Reading:
    """What is typed of one reading, and what the standard makes of it."""

    waveform: str
    at: str  # "1×", "250 mA" or "ramp"
    phase: str
    typed: str
    allowed: Outcomes
    whys: tuple[str, ...] = ()


@dataclass(frozen=True)
class Device:
    """One device: how it is stated, its readings, the outcomes that the standard allows, and why in a few words."""

    name: str
    cells: dict[str, str]
    readings: tuple[Reading, ...]
    asked: str
    allowed: Outcomes
    whys: frozenset[str]


@dataclass(frozen=True)
class Due:
    """Outcomes of a reading by its size, and of one that did not trip."""

    bands: Bands
    never: Outcomes
    hold: bool = False
    quick_below: float = SHORT  # a failure below this is too quick, one above too slow


@dataclass
class Subject:
    """A device of the table under one rule set."""

    name: str
    said: dict[str, Any]
    rules: dict[str, Any]
    anz: bool
    cache: dict[tuple[str, str], list[Due]] = field(default_factory=dict)

    @property
    def rated(self) -> float | None:
        """Rated residual current in mA, where the row states one."""
        text = self.said.get("rated", "")
        return float(text) if text.isdigit() else None

    @property
    def beyond(self) -> bool:
        """Whether the rule set does not cover the device, so that nothing need be judged."""
        return bool(self.said.get("beyond")) or (self.rated or 0) > self.rules["rated_to"]

    @property
    def standing(self) -> Outcomes:
        """What the row comes to whatever its readings are."""
        return UNCLEAR if self.beyond else outcomes(self.said.get("standing", "pass"))

    @property
    def kinds(self) -> list[str]:
        """Figures that may bind the device."""
        kinds = self.said.get("anz", self.said["kinds"]) if self.anz else self.said["kinds"]
        return list(dict.fromkeys(itertools.chain(*(["30", "≤10"] if kind == "<30" else [kind] for kind in kinds))))

    @property
    def senses(self) -> list[str]:
        """Waveform types that the row leaves possible."""
        stated = self.said.get("waveform", "")
        return [stated] if stated in TABLE["senses"] else list(TABLE["senses"])

    def dues(self, waveform: str, at: str) -> list[Due]:
        """What each possible kind of device owes at one reading."""
        if (waveform, at) not in self.cache:
            self.cache[waveform, at] = [due(self, kind, sense, waveform, at) for kind, sense in self.possible]
        return self.cache[waveform, at]

    def both(self, sets: list[Outcomes]) -> Outcomes:
        """One outcome of several possible ones: theirs where they agree, else unclear.

        Nothing states S or F where no delay or type is stated, so that what is too quick for them alone is good, and
        what is too long for all others may be called a failure where it is not for S.
        """
        if len(set(sets)) == 1 and len(sets[0]) == 1:
            return sets[0]
        plain = [one for (kind, sense), one in zip(self.possible, sets, strict=True) if kind != "S" and sense != "F"]
        delayed = bool(plain) and any(kind == "S" for kind in self.kinds)
        sets = plain or sets
        fails = FAIL if delayed and any(FAIL & one for one in sets) else frozenset()
        return frozenset.intersection(*sets) | UNCLEAR | fails

    @property
    def possible(self) -> list[tuple[str, str]]:
        """Kinds and waveform types that the row leaves possible, one for each of `dues`."""
        return list(itertools.product(self.kinds, self.senses))


def multiple_of(at: str, rated: float | None) -> float | None:
    """Test current ÷ rated residual current of "2.8×" or "250 mA"; an instrument's rated current may be up to 10 %
    more (IEC 61557-6, from memory)."""
    if at.endswith("×"):
        return float(at[:-1])
    multiple = float(at.removesuffix(" mA")) / rated if rated else None
    return 1.0 if multiple and 1 <= multiple <= 1.1 + 1e-9 else multiple


def due(subject: Subject, kind: str, sense: str, waveform: str, at: str) -> Due:
    """What one kind of device owes at one reading."""
    if at == "ramp" and kind == "≤10" and (subject.rated or 0) > 10:
        kind = "30"  # only the times of half waves are doubted between 10 and 30 mA
    figure, rules = TABLE["figures"][kind][waveform], subject.rules
    if waveform not in TABLE["senses"][sense]:
        multiple = None if at == "ramp" else multiple_of(at, subject.rated)
        asked = multiple is None or any(point[0] <= multiple + 1e-9 for point in points(figure, subject.rated))
        upto = 300.0 if at != "ramp" else 2 * (subject.rated or 0)
        return Due(Bands([(upto, True, SILENT)], UNCLEAR), UNCLEAR) if asked else Due(Bands([], SILENT), SILENT)
    if at == "ramp":
        return ramp(figure, subject.rated, outcomes(rules["low"]))
    multiple = multiple_of(at, subject.rated)
    if multiple is None:  # a current, and no rating that it could be compared with
        return Due(Bands([], UNCLEAR | FAIL), UNCLEAR | FAIL)
    if multiple <= figure["hold"] + 1e-9:
        return Due(Bands([], FAIL), PASS, hold=True)
    if multiple <= figure.get("doubt", 0) + 1e-9:
        return Due(Bands([], FAIL | UNCLEAR), PASS, hold=True)
    reached = [point for point in points(figure, subject.rated) if point[0] <= multiple + 1e-9]
    if not reached:
        return Due(Bands([], SILENT), SILENT)
    return timed(subject, figure, sense, multiple, min(point[-1] for point in reached))


def points(figure: dict[str, Any], rated: float | None) -> list[list[float]]:
    """Points of a figure as multiples; fixed currents only where a rating is known."""
    fixed = [[current / rated, *rest] for current, *rest in figure.get("points_ma", [])] if rated else []
    return sorted(figure["points"] + fixed)


def ramp(figure: dict[str, Any], rated: float | None, low: Outcomes) -> Due:
    """What a rising current comes to: at most the upper end of the band, and above its lower end."""
    if rated is None:
        return Due(Bands([], UNCLEAR | FAIL), UNCLEAR | FAIL)
    above, to = (round(share * rated, 6) for share in figure["band"])
    edges = [(above, True, low), (to, True, PASS)]
    if "lowest" in figure:  # from 0° of the half wave; later in it less is allowed, and the row does not say which
        edges = [(round(figure["lowest"] * rated, 6), True, low), (above, True, low | ANY), *edges[1:]]
    return Due(Bands(edges, FAIL), FAIL, quick_below=above + 1e-9)


def timed(subject: Subject, figure: dict[str, Any], sense: str, multiple: float, longest: float) -> Due:
    """What a trip time comes to where tripping is demanded."""
    edges: list[tuple[float, bool, Outcomes]] = []
    shortest = [(point[0], point[1]) for point in figure["points"] if len(point) == 3]
    quick = 0.0
    if shortest:
        quick = next((ms for at, ms in shortest if at >= multiple - 1e-9), figure["shortest"])
        edges += [(quick, False, FAIL)]
        below = [ms for at, ms in shortest if at <= multiple + 1e-9]
        edges += [(below[-1], False, ANY)] if below[-1] > quick else []
    elif "quick" in figure:
        edges += [(130.0, False, outcomes(figure["quick"]))]
    else:
        holding = [TABLE["hold_ms"][name] for name in (sense, "short") if name in TABLE["hold_ms"]
                   and (name == sense or subject.said.get("short"))]  # fmt: skip
        edges += [(max(holding), False, FAIL | UNCLEAR if multiple == 1 else ANY)] if holding else []
    at, fast = figure.get("either", (LONG, LONG))
    if multiple >= at - 1e-9 and longest > fast:
        return Due(Bands([*edges, (fast, True, PASS), (longest, True, outcomes(subject.rules["either"]))], FAIL), FAIL)
    if "strict" in figure:
        return Due(Bands([(figure["strict"], True, PASS)], FAIL | UNCLEAR), FAIL | UNCLEAR)
    return Due(Bands([*edges, (longest, True, PASS)], FAIL), FAIL, quick_below=max(quick, SHORT))


def ladder(subject: Subject, waveform: str, at: str) -> Iterator[tuple[str, Outcomes, tuple[str, ...]]]:
    """What is typed of a reading, what it comes to, and why."""
    dues = subject.dues(waveform, at)
    edges = sorted({edge for one in dues for edge, _, _ in one.bands.edges if edge})
    steps = (-0.5, -0.05, 0, 0.05, 0.5) if at != "ramp" and len(edges) < 4 else (-0.05, 0, 0.05)
    numbers = sorted({round(edge + step, 3) for edge in edges for step in steps if edge + step > 0})
    common = [] if at == "ramp" else [1.5, 3.5, 8.6, 24.1, 299.5, 461.5]
    for number in sorted({*numbers, *common}):
        yield f"{number:.10g}", *of_number(subject, dues, at, number)
    yield "no trip", subject.both([one.never for one in dues]), ("no trip", *UNDECIDED)
    for edge in edges:
        beyond = subject.both([one.bands.above(edge) if not one.hold else FAIL | one.never for one in dues])
        yield f">{edge:g}", beyond, ("too slow", "let go too high", *UNDECIDED, "more than")
        yield f"<{edge:g}", under(subject, dues, edge), ("not a number", "too quick", *UNDECIDED)
    if at != "ramp":
        yield ">2000", subject.both([one.never for one in dues]), ("too slow", "no trip", *UNDECIDED)
        lost = subject.both([one.bands.beyond for one in dues]) | UNCLEAR
        yield "1999", lost if not dues[0].hold else FAIL | UNCLEAR, ("too slow", "a lost >", *UNDECIDED)
    for text in TABLE["readings"]["unreadable"]:
        held = (
            PASS if text == "OK" and any(one.never & PASS for one in dues) else frozenset()
        )  # "OK" where it must hold
        yield text, UNCLEAR | held, ("unreadable", "not a number")


def of_number(subject: Subject, dues: list[Due], at: str, number: float) -> tuple[Outcomes, tuple[str, ...]]:
    """What a reading of this size comes to; sooner than contacts can part it is no reading."""
    allowed = subject.both([one.bands.at(number) for one in dues])
    if at != "ramp":
        multiple = multiple_of(at, subject.rated)
        if number < TABLE["floor"]["at_5"] or (number < TABLE["floor"]["at_1"] and (multiple or 1) <= 1):
            return allowed & FAIL | UNCLEAR, ("too fast to be", "tripped at half", "too quick")
        if number < TABLE["floor"]["at_1"] and (multiple or 1) < 5:
            return allowed | UNCLEAR, ("too fast to be", "too quick", *UNDECIDED)
    if all(one.hold for one in dues):
        return allowed, ("tripped at half",)
    if at == "ramp":
        smaller = [
            one for one in TABLE["preferred"] if (one < (subject.rated or 0) and number <= 2 * one) or number < 1
        ]
        asks = UNCLEAR if smaller and allowed != PASS else frozenset()  # or the rating is mistaken for a larger one
        return allowed | asks, ("let go too high", "too quick", "unreadable", *UNDECIDED)
    quick = all(number < one.quick_below for one in dues)
    return allowed, ("too quick" if quick else "too slow", *UNDECIDED)


def under(subject: Subject, dues: list[Due], edge: float) -> Outcomes:
    """What "less than this" comes to: only that it let go sooner is known, and nobody need accept it as a reading."""
    found = set()
    for one in dues:
        below = {one.bands.at(edge - 0.01), *(outcome for bound, _, outcome in one.bands.edges if bound < edge)}
        found |= below
    return (
        frozenset.union(*found) & (PASS | FAIL) | UNCLEAR
        if len(found) == 1
        else UNCLEAR | (frozenset.union(*found) & PASS if not any(FAIL & one for one in found) else frozenset())
    )


def phases_of(subject: Subject, spoken: str, main: list[str], turn: int, rules: str) -> list[str]:
    """Phases from which to ask one value. A main device is asked a main reading from one or two under every set.
    Of the rest each device and reading is asked a quarter of its values under one set of the four: the program decides
    each apart, which is slow, and the product standards behind the sets are the same."""
    phases = TABLE["readings"]["phases"]
    if subject.said.get("main") and spoken in main:
        return [phases[(turn + shift) % 4] for shift in ((0, 2) if turn % 2 else (0,))]
    of_set = (list(TABLE["sets"]).index(rules) + crc32(f"{spoken}, {subject.name}".encode())) % 4 == 0
    return [phases[turn // 4 % 4]] if of_set and turn % 4 == 0 else []


def subjects(rules: str) -> list[Subject]:
    """Every device of the table under one rule set."""
    of_set = TABLE["sets"][rules]
    return [Subject(name, said, of_set, rules == "anz-in-service") for name, said in TABLE["devices"].items()]


def devices(rules: str, *, currents: bool, illegible: bool) -> Iterator[Device]:
    """Every device of a rule set, its test currents stated as multiples or in mA; or those with an illegible cell."""
    asks = TABLE["readings"]
    main, others = (asks["mains_ma"], asks["others_ma"]) if currents else (asks["main"], asks["others"])
    for subject in subjects(rules):
        if illegible != (subject.said.get("why") == "cell not understood"):
            continue
        for spoken in [*main, *others]:
            waveform, at = spoken.split(" ", 1)
            for step, (typed, allowed, whys) in enumerate(ladder(subject, waveform, at)):
                turn = step + crc32(f"{subject.name}, {spoken}".encode())
                for phase in phases_of(subject, spoken, main, turn, rules):
                    asked = Reading(waveform, at, phase, typed, allowed, whys)
                    yield device(subject, asked, currents=currents, turn=turn)


def device(subject: Subject, asked: Reading, *, currents: bool, turn: int) -> Device:
    """A device that is complete and good but for one reading."""
    readings = [asked]
    for need in subject.rules["needs"]:
        for phase in ("0°", "180°"):
            one = good(subject, need, phase, currents=currents, turn=turn)
            if not same(subject, one, asked):
                readings.append(one)
    allowed = subject.standing
    for reading in readings:
        allowed = with_standing(allowed, reading.allowed)
    if subject.beyond or (subject.standing == UNCLEAR and (asked.waveform, asked.typed) != ("ac", "no trip")):
        allowed = allowed & FAIL | UNCLEAR
    whys = {why for reading in readings if reading.allowed & allowed for why in reading.whys}
    whys |= {subject.said.get("why", "rating" if subject.beyond else "")}
    at = f"{WAVEFORMS[asked.waveform]} {asked.at} {asked.phase or 'no phase'}"
    return Device(subject.name, cells(subject), tuple(readings), f"{at}: {asked.typed}", allowed, frozenset(whys))


def same(subject: Subject, one: Reading, asked: Reading) -> bool:
    """Whether the reading asked is the needed one, or stands for it: the worse of both phases does for both."""
    if asked.waveform != "ac" or asked.at == "ramp" or asked.phase not in (one.phase, "worst"):
        return False
    needed, current = multiple_of(one.at, subject.rated), multiple_of(asked.at, subject.rated)
    return one.at == asked.at if needed is None or current is None else current == needed


def good(subject: Subject, need: str, phase: str, *, currents: bool, turn: int) -> Reading:
    """A needed reading with a value that is good for the first kind the device may be of."""
    first = subject.said["kinds"][0]
    value = TABLE["readings"]["good"][first] * (1 if need == "1×" or first != "S" else 0.5)
    number = round(value - (7 if need == "5×" and first != "S" else 0) + turn % 41 / 10 + (phase == "180°") * 0.3, 1)
    at = f"{(subject.rated or 30) * float(need[:-1]):g} mA" if currents else need
    allowed, whys = of_number(subject, subject.dues("ac", at), at, number)
    return Reading("ac", at, phase, f"{number}", allowed, whys)


def cells(subject: Subject) -> dict[str, str]:
    """How a device is stated."""
    return {name: subject.said.get(name, "") for name in ("kind", "rated", "type", "waveform", "delay")}


def together(rules: str) -> Iterator[tuple[str, dict[str, str], dict[str, str], Outcomes]]:
    """Devices by which phases of a multiple stand: name, how it is stated, cells by reading, outcomes."""
    of = TABLE["together"]
    wanted = [subject for subject in subjects(rules) if subject.name in of["devices"]]
    for subject, multiple, row in itertools.product(wanted, of["multiples"], of["rows"]):
        values = of["good"]["S" if subject.kinds == ["S"] else "general"]
        needs = [need for need in subject.rules["needs"] if need == "1×" or (subject.rated or 0) <= 30]
        stand = {f"{need} {phase}": values[need][0] for need in needs if need != multiple for phase in ("0°", "180°")}
        good_, bad = values[multiple]
        words = {"good": good_, "bad": bad, "illegible": "illegible"}
        stand |= {f"{multiple} {phase}".strip(): words[word] for phase, word in row["cells"].items()}
        expect = row[("both" if subject.rules["both"] else "one") if multiple in needs else "none"]
        yield subject.name, cells(subject), stand, outcomes(expect)


def class_a(*, currents: bool) -> Iterator[Device]:
    """Interrupters of class A: each test current with another that is good, and alone."""
    phases = TABLE["readings"]["phases"]
    for name, said in TABLE["class_a"]["devices"].items():
        for at, milliamperes in asked_of_class_a(said, currents=currents):
            for step, (typed, allowed, whys) in enumerate(ladder_of_class_a(milliamperes)):
                for number, phase in enumerate(phases):
                    if (step // 2 + number) % 2:
                        continue
                    asked = Reading("ac", at, phase, typed, allowed, whys)
                    other = Reading("ac", "20 mA" if currents else "5×", "", f"{60 + step % 7}.4", PASS)
                    yield of_class_a(name, said, [asked] if number > 1 else [asked, other], milliamperes)


def of_class_a(name: str, said: dict[str, Any], readings: list[Reading], milliamperes: str | None) -> Device:
    """One interrupter: a reading that no limit judges is not the one time with its current that a test needs."""
    standing = outcomes(said.get("standing", "pass"))
    asked = readings[0]
    allowed = with_standing(asked.allowed, standing)
    if len(readings) == 1 and milliamperes not in TABLE["class_a"]["limits"] and asked.typed != "illegible":
        allowed = with_standing(allowed, INCOMPLETE | UNCLEAR)
    if standing == UNCLEAR:
        allowed = allowed & FAIL | UNCLEAR
    elif milliamperes is None:
        allowed |= UNCLEAR | INCOMPLETE
    stated = {key: said.get(key, "") for key in ("kind", "rated", "type", "waveform", "delay")}
    alone = " alone" if len(readings) == 1 else ""
    whys = frozenset({*asked.whys, said.get("why", "")})
    return Device(
        name,
        stated,
        tuple(readings),
        f"a.c. {asked.at} {asked.phase or 'no phase'}{alone}: {asked.typed}",
        allowed,
        whys,
    )


def asked_of_class_a(said: dict[str, Any], *, currents: bool) -> Iterator[tuple[str, str | None]]:
    """Test currents as typed, and what they are in mA; None where that needs a rating that is not known."""
    of = TABLE["class_a"]
    if currents:
        yield from ((f"{one} mA", one) for one in [*of["hold"], *of["silent"], *of["limits"]])
        yield "ramp", "ramp"
    else:
        known = of["multiples"].get(said.get("rated", ""), {})
        yield from ((multiple, known.get(multiple)) for multiple in ("0.5×", "1×", "2×", "5×"))


def ladder_of_class_a(milliamperes: str | None) -> Iterator[tuple[str, Outcomes, tuple[str, ...]]]:
    """What is typed at a test current, what it comes to, and why."""
    of = TABLE["class_a"]
    if milliamperes == "ramp":
        low, high = of["ramp"]
        for value in (low - 0.1, low, 5, high, high + 0.1):
            yield f"{value:g}", PASS if low <= value <= high else FAIL, ("let go too high", "too quick")
        yield "no trip", FAIL, ("no trip",)
    elif milliamperes is None:
        yield from ((typed, UNCLEAR | FAIL, ()) for typed in ("24.1", "no trip", ">9999"))
    elif milliamperes in of["limits"]:
        limit = of["limits"][milliamperes]
        long = UNCLEAR if limit > 2000 else frozenset()  # a time so long may have lost its decimal point
        yield f"{limit - 0.2:.1f}", PASS | long, ()
        yield f"{limit + 0.2:.1f}", FAIL | long, ("too slow",)
        yield f"{min(limit / 2, 24.1):.1f}", PASS, ()
        yield "no trip", FAIL, ("no trip",)
        yield "1.5", UNCLEAR, ("too fast to be",)
        yield f">{limit + 0.1:.1f}", FAIL, ("too slow",)
        yield f">{limit / 2:.1f}", UNCLEAR, ("more than",)
    elif float(milliamperes) < 4:
        yield "no trip", PASS, ()
        yield "24.1", FAIL, ("tripped at half",)
        yield "2500.5", FAIL | UNCLEAR, ()
        yield "1.5", FAIL | UNCLEAR, ()
    else:
        yield from ((typed, SILENT, ()) for typed in ("24.1", "9000.5", "no trip"))
        yield "1.5", UNCLEAR, ("too fast to be",)
    yield "illegible", UNCLEAR, ("unreadable",)
