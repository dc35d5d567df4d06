"""What a heading says of readings: quantity, multiple, phase, waveform, unit, each part by itself.

A small grammar and no list of headings: "Trip time 5× 180° (ms)", "x5 0°", "1/2 IΔn +", "trip_0_x5_ms", "Ramp mA". What
the headings above it say comes first; a multiple and a phase beside each other are told apart from either side.
"""

from __future__ import annotations

import functools
import math
import re
from dataclasses import dataclass, field, replace

from rcdcheck.intake.cells.currents import PREFERRED
from rcdcheck.intake.understood.lexicon import Part, fillers, likeness, longest, phrases, tokens
from rcdcheck.intake.understood.meaning import Meaning
from rcdcheck.terms import Slot

MULTIPLES = ("0.5", "1", "2", "3", "5", "10")
PHASES = ("0", "180")
_KINDS = ("quantity", "phase", "multiple", "waveform", "unit", "times", "degrees", "half_wave")
_NAMED = {"half": "0.5", "one": "1", "five": "5"}
_FUZZY = 5  # letters from which a word of a reading may be cut short or mistyped
_SHORTEST = 4  # and from which two of them may have changed places


@dataclass
class Parts:
    """The parts of a heading; `bare` are numbers that nothing beside them explains, `rest` words that say nothing."""

    found: dict[str, list[str]] = field(default_factory=dict)
    bare: list[str] = field(default_factory=list)
    rest: list[str] = field(default_factory=list)
    signs: int = 0

    def of(self, kind: str) -> list[str]:
        """Distinct values of a kind, in order."""
        return list(dict.fromkeys(self.found.get(kind, [])))

    def put(self, kind: str, value: str) -> None:
        """Note one part."""
        self.found.setdefault(kind, []).append(value)

    def __or__(self, other: Parts) -> Parts:
        """These parts and those of a heading below them, whose unit holds."""
        kinds = {*self.found, *other.found}
        found = {k: [*self.found.get(k, []), *other.found.get(k, [])] for k in kinds}
        if other.of("unit"):
            found["unit"] = other.found["unit"]
        return Parts(found, self.bare + other.bare, self.rest + other.rest, self.signs + other.signs)


_AMPERES = re.compile(r"(?<![^\W_])A(?![^\W_])|\d[.,]\d+\s*a(?![^\W_])|[(\[]\s*a\s*[)\]]|\da(?![^\W_])")


@functools.lru_cache(maxsize=20_000)
def parts_of(heading: str) -> Parts:
    """The parts of one heading; a caller must not change what it gets."""
    words, out, at = tokens(heading), Parts(), 0
    if "a" in words and not _AMPERES.search(heading):  # "5x a 180°": a preposition
        words = [w for w in words if w != "a"]
    while at < len(words):
        at += _number(words, at, out) or _phrase(words, at, out) or _sign(words, at, out)
    return out


# ── numbers ──
def _number(words: list[str], at: int, out: Parts) -> int:
    """A number with what stands beside it: degrees, a multiple, a test current, a limit. Tokens taken, 0 if none."""
    word = words[at]
    after = words[at + 1] if at + 1 < len(words) else ""
    if word in ("x", "*") and after[:1].isdecimal():
        out.put("multiple", _plain(after))
        return 2 + _rated(words, at + 2)
    if word == "iδn" and after == "x" and words[at + 2 : at + 3] and words[at + 2][0].isdecimal():
        out.put("multiple", _plain(words[at + 2]))
        return 3
    if not word[0].isdecimal():
        return 0
    number = _plain(word)
    return _beside_times(words, at, number, out) or _beside_unit(words, at, number, after, out)


def _beside_times(words: list[str], at: int, number: str, out: Parts) -> int:
    after, then = (words[i] if i < len(words) else "" for i in (at + 1, at + 2))
    kinds = {p.kind for p in phrases().get((after,), ())}
    if number in PHASES and after in ("x", "*") and _plain(then) in MULTIPLES:  # "180 x 5": the phase comes first
        out.put("phase", number)
        return 1
    if "times" in kinds and not (number in PHASES and after == "x"):
        out.put("multiple", number)
        return 2 + _rated(words, at + 2)
    if after == "%":
        out.put("multiple", f"{float(number) / 100:g}")
        return 2 + _rated(words, at + 2)
    if _rated(words, at + 1) and number not in PHASES:
        out.put("multiple", number)
        return 1 + _rated(words, at + 1)
    return 0


def _beside_unit(words: list[str], at: int, number: str, after: str, out: Parts) -> int:
    if _is_degrees(after, number):
        out.put("phase", number) if number in PHASES else out.rest.append(number)
        return 2
    if after in ("ma", "a") and number not in PHASES:
        out.put("current", f"{float(number) * (1000 if after == 'a' else 1):g}")
        return 2
    if after in ("ms", "s") and number not in PHASES:
        out.rest.append(number + after)  # a limit in the heading: "max 300 ms"
        out.put("unit", after)
        out.found["phase"] = [p for p in out.of("phase") if p != "worst"]
        return 2
    if number == "0.5" or (words[at - 1 : at] == ["iδn"] and number in MULTIPLES):  # "½", "IΔn/2"
        out.put("multiple", number)
        return 1
    out.bare.append(number)
    return 1


def _is_degrees(word: str, number: str) -> bool:
    """Whether a word says degrees; beside 0 or 180 a beginning or a slip of it does ("0 gr", "180 degres")."""
    if not word or word in fillers():
        return word == "°"
    if "degrees" in {p.kind for p in phrases().get((word,), ())}:
        return True
    return number in PHASES and word.isalpha() and len(word) > 1 and any(likeness(word, d)[0] for d in _degree_words())


@functools.cache
def _degree_words() -> tuple[str, ...]:
    """Single words for degrees."""
    return tuple(
        p[0]
        for p, parts in phrases().items()
        if len(p) == 1 and p[0][0].isalpha()
        for q in parts
        if q.kind == "degrees"
    )


def _plain(number: str) -> str:
    return f"{float(number.replace(',', '.')):g}" if number[:1].isdecimal() else number


def _rated(words: list[str], at: int) -> int:
    """Tokens of "IΔn" at this place, 0 where there is none; an "x" may stand before it."""
    if words[at : at + 1] == ["iδn"]:
        return 1
    return 2 if words[at : at + 2] in (["x", "iδn"], ["*", "iδn"]) else 0


# ── words and signs ──
def _phrase(words: list[str], at: int, out: Parts) -> int:
    for n in range(min(longest() + 2, len(words) - at), 0, -1):
        span = [w for w in words[at : at + n] if w[0].isalnum() or w in "°#↑↓"]
        whole = bool(span) and span[0] == words[at] and span[-1] == words[at + n - 1]
        known = phrases().get(tuple(span), ()) if whole else ()
        told = [p for p in known if p.kind in _KINDS or p == Part("field", "rated_residual_current")]
        if told:
            _put(out, told[0])
            return n
        if known and n > 1:  # the name of a field: its words are no parts of a reading
            out.rest += span
            return n
    return _fuzzy(words[at], out)


def _put(out: Parts, part: Part) -> None:
    if part.kind == "multiple":
        out.put("multiple", _NAMED[part.value])
    elif part.kind == "field":
        out.put("rated", "iδn")
    elif part.kind not in ("times", "degrees", "half_wave"):
        out.put(part.kind, part.value)


def _fuzzy(word: str, out: Parts) -> int:
    """A single word of a reading, cut short or mistyped: "posit.", "negat.", "Auslösez.", "tiem"."""
    if len(word) < _SHORTEST or not word[0].isalpha():
        return 0
    for known, part in _single_words():
        if (len(word) >= _FUZZY and likeness(word, known)[0] >= 0.8) or _swapped(word, known):
            _put(out, part)
            return 1
    return 0


def _swapped(word: str, known: str) -> bool:
    """Whether two letters that stand side by side have changed places behind the first."""
    at = next((i for i, (a, b) in enumerate(zip(word, known, strict=False)) if a != b), 0)
    return at > 0 and word != known and word == known[:at] + known[at + 1 : at + 2] + known[at] + known[at + 2 :]


@functools.cache
def _single_words() -> tuple[tuple[str, Part], ...]:
    wanted = ("quantity", "phase", "waveform")
    return tuple(
        (phrase[0], part)
        for phrase, parts in phrases().items()
        for part in parts
        if len(phrase) == 1 and len(phrase[0]) >= _SHORTEST and part.kind in wanted
    )


def _sign(words: list[str], at: int, out: Parts) -> int:
    word = words[at]
    joins = 0 < at < len(words) - 1 and words[at + 1][0].isalpha() and not _beside_half_wave(words, at)
    if word == "+" and words.count("+") == 1 and not joins:
        return _half_wave(words, at, out, "0")
    if word == "-" and _is_minus(words, at):
        return _half_wave(words, at, out, "180")
    if word[0].isalnum() and word not in fillers():
        out.rest.append(word)
    elif not word[0].isalnum():
        out.signs += 1
    return 1


def _is_minus(words: list[str], at: int) -> bool:
    """Whether a "-" stands alone, in brackets, at the end, or before a bracket; elsewhere it is a dash."""
    last = at == len(words) - 1
    if words[max(at - 2, 0) : at] in (["+", "/"], ["+", "&"]):  # "(+/-)": both half-waves
        return True
    if "+" in words and _beside_half_wave(words, at):  # "(half wave + / half wave -)", "+ half / - half"
        return True
    if at == 0:  # "- / ms"
        return last or words[1] in ("(", "[", "/") or words[1:] in (["ms"], ["ma"]) or _is_half_wave(words, 1)
    return words[at - 1] in ("(", "[") or last or words[at + 1] in ("(", "[")


def _is_half_wave(words: list[str], at: int) -> bool:
    """Whether the next word or two name a half-wave."""
    return any(p.kind == "half_wave" for n in (1, 2) for p in phrases().get(tuple(words[at : at + n]), ()))


def _beside_half_wave(words: list[str], at: int) -> bool:
    """Whether a half-wave is named on either side of a sign."""
    before = any(_is_half_wave(words, at - n) for n in (1, 2) if n <= at)
    return before or _is_half_wave(words, at + 1) or words[at + 1 : at + 2] == ["half"]


def _half_wave(words: list[str], at: int, out: Parts, phase: str) -> int:
    """The sign of a half-wave; "+ half" is no half of the rated current. Tokens taken."""
    out.put("phase", phase)
    return 2 if words[at + 1 : at + 2] == ["half"] else 1


# ── from parts to readings ──
@dataclass(frozen=True)
class Read:
    """A reading that a heading may head: its meaning, how strongly its parts say so, and one clause on how."""

    meaning: Meaning
    weight: float
    how: str


WEIGHTS = {"quantity": 4.0, "phase": 3.0, "multiple": 2.5, "waveform": 2.0, "current": 2.0, "rated": 1.0, "unit": 2.0}


def readings_of(heading: str, groups: tuple[str, ...] = ()) -> list[Read]:
    """The readings that a heading below these group headings may head; empty where it speaks of none."""
    parts = parts_of(heading)
    for group in reversed(groups):
        parts = parts_of(group) | parts
    phases = list(dict.fromkeys([*parts.of("phase"), *(b for b in parts.bare if b in PHASES)]))
    at_current, said = _test_current(parts), []
    if at_current:  # "Test current 15 mA"
        said = [word for word in parts.rest if word in AT_CURRENT]
        parts = replace(parts, rest=[word for word in parts.rest if word not in said])
    alone = (parts.of("rated") or at_current) and not parts.rest  # "IΔn" over times is 1×
    if not (
        alone or parts.of("quantity") or phases or parts.of("multiple") or parts.of("waveform") or parts.of("unit")
    ):
        return []
    weight = sum(w for kind, w in WEIGHTS.items() if parts.of(kind))
    weight -= 2.0 if parts.of("quantity") == ["time"] else 0.0
    weight += 3.0 if at_current and said else 0.0
    weight += 1.5 if phases and not parts.of("phase") else 0.0
    most = 1.0 if parts.of("unit") == ["mA"] else 2.0 if parts.of("phase") or parts.of("unit") else 9.0
    weight -= min(1.5 * len(parts.rest), most)  # a current is told by its rating, whatever words its heading has
    ways = [phases]
    if "worst" in phases and len(phases) > 1:  # "worst of 0°/180°": one number, or both after all
        ways = [["worst"], [p for p in phases if p != "worst"]]
    return [
        read
        for quantity in _quantities(parts)
        for behind, way in enumerate(ways)
        for read in _read(parts, quantity, way, weight - 4.0 * behind)
    ]


def _test_current(parts: Parts) -> bool:
    """Whether a heading names one current that no RCD is rated for, at which it can only have been tested: "15 mA"."""
    currents = parts.of("current")
    return len(currents) == 1 and float(currents[0]) not in PREFERRED


AT_CURRENT = ("test", "current", "injected", "at", "with")


def _quantities(parts: Parts) -> tuple[str, ...]:
    """trip_time, trip_current, or both where nothing tells; none where unit and words contradict each other."""
    words, unit = parts.of("quantity"), (parts.of("unit") or [""])[0]
    if "trip_current" in words:
        return () if unit in ("ms", "s") else ("trip_current",)
    if "trip_time" in words or "time" in words:
        return () if unit in ("mA", "A") else ("trip_time",)
    if unit in ("mA", "A"):
        return () if parts.of("multiple") else ("trip_current",)
    if unit or parts.of("phase") or parts.of("multiple"):
        return ("trip_time",)
    return ("trip_time", "trip_current") if "trip" in words else ("trip_time",)


def _read(parts: Parts, quantity: str, phases: list[str], weight: float) -> list[Read]:
    both = {"0", "180"} <= set(phases)
    multiples = parts.of("multiple")
    bare = [b for b in parts.bare if b not in PHASES]
    if len(multiples) > 1 or (len(phases) > 1 and not both):
        return [Read(Meaning("", how="it names several multiples or phases"), 0.0, "")]
    phase = "none" if both or not phases else phases[0]
    waves = parts.of("waveform") or ["ac"]
    wave = "pulsating" if "pulsating" in waves else waves[0]  # "DC, pulsating"
    unit = (parts.of("unit") or [""])[0]
    if quantity == "trip_current":
        slot = Slot("trip_current", 0.0, phase, wave)
        return [Read(Meaning("pair" if both else "reading", slot, unit, multiple_said=True), weight, "")]
    said = bool(multiples) or bool(parts.of("rated"))
    current = float(parts.of("current")[0]) if parts.of("current") and not said else math.nan
    if not multiples and len(bare) == 1 and bare[0] in MULTIPLES and not math.isfinite(current):
        return _numbered(parts, both, phase, wave, unit, bare[0], weight)
    multiple = math.nan if math.isfinite(current) else float(multiples[0]) if multiples else 1.0
    how = "" if said or math.isfinite(current) else "no multiple given: read as 1×"
    if parts.rest:
        how = "; ".join(filter(None, [how, f"not understood in it: {' '.join(parts.rest)}"]))
    meaning = Meaning("pair" if both else "reading", Slot("trip_time", multiple, phase, wave), unit, current, how=how,
                      multiple_said=said or math.isfinite(current))  # fmt: skip
    return [Read(meaning, weight, how)]


def _numbered(parts: Parts, both: bool, phase: str, wave: str, unit: str, number: str, weight: float) -> list[Read]:
    """ "T5 0°", "Time 5": five times, or the fifth test? Both, the multiple first where nothing else is unexplained."""
    field = "pair" if both else "reading"
    as_multiple = Meaning(field, Slot("trip_time", float(number), phase, wave), unit, multiple_said=True,
                          how=f"its {number} read as a multiple")  # fmt: skip
    as_count = Meaning(field, Slot("trip_time", 1.0, phase, wave), unit, how="a number in it is not explained")
    if parts.of("quantity") == ["time"] and not parts.of("phase") and not parts.of("unit"):
        weight -= 4.0  # "T1": no more than a number
    if parts.rest:
        return [Read(as_multiple, weight, as_multiple.how), Read(as_count, weight, as_count.how)]
    return [Read(as_multiple, weight + 2.0, as_multiple.how), Read(as_count, weight - 1.0, as_count.how)]
