"""What the heading of a column, and the headings above it, say of its meaning."""

from __future__ import annotations

import functools
import re
from dataclasses import replace

from rcdcheck import data
from rcdcheck.intake.cells.phrases import known, opens_with, plain, says
from rcdcheck.intake.understood.asking import asks_for_fault
from rcdcheck.intake.understood.candidates import CHECKS, IDENTITY, QUIET, Candidate, weights
from rcdcheck.intake.understood.lexicon import SLIP, further_field, names, normal, words_of
from rcdcheck.intake.understood.meaning import Meaning
from rcdcheck.intake.understood.reading_headings import parts_of, readings_of
from rcdcheck.terms import Slot


@functools.cache
def _other_units() -> frozenset[str]:
    return frozenset(data.toml("words.toml")["headings"]["other_units"]["any"])


@functools.lru_cache(maxsize=20_000)
def from_heading(heading: str, groups: tuple[str, ...] = ()) -> tuple[Candidate, ...]:
    """Every meaning that a heading below these group headings may have, strongest first."""
    told = weights()["heading"]
    if any(opens_with("former", group) for group in groups):  # "Last year (Nov 2025)" over readings of that year
        return (Candidate(Meaning("ignore"), 2 * told["phrase"], why=("its group is of a former visit",)),)
    further = further_field(heading) or (further_field(" ".join((*groups, heading))) if groups else "")
    if further:
        return (_named("field", further, told["phrase"], heading, ""),)
    found: list[Candidate] = []
    for text, factor in ((heading, 1.0), *(((" ".join((*groups, heading))), told["group"]) for _ in groups[:1])):
        fits = names(text)
        whole = any(fit.quality >= 1.0 and not fit.rest for fit in fits)  # then no other is meant by a beginning of it
        for fit in (f for f in fits if not (whole and (f.how or (f.part.value == "instrument" and f.quality < 0.9)))):
            if fit.part.value == "visit" and fit.how:  # "Vis" is visual
                continue
            quality = fit.quality * factor
            if quality >= told["least"] and not ((fit.rest or fit.how == SLIP) and _is_reading(text)):
                found.append(
                    _named(fit.part.kind, fit.part.value, told["phrase"] * quality * quality, heading, fit.how)
                )
    for read in readings_of(heading, groups) if not _other_unit(heading, ()) else ():  # "DC ins res + / MΩ"
        current = read.meaning.slot is not None and read.meaning.slot.quantity == "trip_current"
        if read.meaning.field and not (current and (only_rated(heading) or _in_amperes(heading, groups))):
            weight = min(read.weight, told["reading"])
            found.append(Candidate(read.meaning, weight, why=("its heading speaks of it",)))
    found += (
        _other_unit(heading, groups)
        + _unit_alone(heading)
        + _asks_pass(heading)
        + _asks_fault(heading)
        + _asks_phase(heading)
        + _asks_rating(heading)
        + _perhaps_rated(heading)
        + _of_a_kind(heading)
    )
    if _in_amperes(heading, groups):
        weight = 7.0 if heading.strip() in AMPERES else 5.0  # "Rated (A)" may be 0.03 A
        found.append(
            Candidate(Meaning("ignore"), weight, why=("its heading may be of the rated current of a circuit",))
        )
    best: dict[str, Candidate] = {}
    for one in _without_mistaken(found, heading):
        if one.key not in best or one.heading > best[one.key].heading:
            best[one.key] = one
    kept = (c for c in best.values() if c.heading >= told["weak"] and not _said_better(c, best))
    return tuple(sorted(kept, key=lambda c: (-c.heading, c.meaning.field == "model", c.meaning.field)))


def _without_mistaken(found: list[Candidate], heading: str) -> list[Candidate]:
    """The candidates without those that the whole heading speaks against."""
    if parts_of(heading).of("current"):  # "Test current 15 mA" heads readings at this current
        found = [c for c in found if c.meaning.field != "test_current"]
    if _is_at_multiple(heading):
        found = [c for c in found if c.meaning.field not in ("ignore", "rated_residual_current")]
    if heading.casefold().rstrip(" ?:.").endswith(_FOR):  # "Safety switch for": what it protects
        found += [replace(c, meaning=Meaning("model")) for c in found if c.meaning.field == "device"]
        found = [replace(c, heading=c.heading - 2.0) if c.meaning.field == "device" else c for c in found]
        found.append(Candidate(Meaning("device"), 3.0, why=("its heading asks what it is for",)))
    return found


def _said_better(one: Candidate, best: dict[str, Candidate]) -> bool:
    """Whether the heading names the phase of a reading that this candidate leaves without: "Tiempo +"."""
    slot = one.meaning.slot
    if slot is None or slot.phase != "none":
        return False
    others = (c.meaning.slot for c in best.values() if c.heading >= 3.0 and c.meaning.field == one.meaning.field)
    return any(s and s.phase != "none" and s._replace(phase="none") == slot for s in others)


def _is_at_multiple(heading: str) -> bool:
    """Whether the words are those of one multiple and nothing else: "At rated current" heads readings, no ratings."""
    parts = parts_of(heading)
    return len(words_of(heading)) > 1 and parts.of("multiple") == ["1"] and not parts.rest


_FOR = (" for", " für", " pour", " para", " voor")


def _is_reading(heading: str) -> bool:
    """Whether every word speaks of a reading: the level in "trip level" is no floor of a house, and "positive" is no
    slip of "position"."""
    parts = parts_of(heading)
    return bool(parts.of("quantity") or parts.of("multiple") or parts.of("phase")) and not parts.rest


def _named(kind: str, value: str, weight: float, heading: str, how: str) -> Candidate:
    why = (f"its heading, by {how}" if how else "its heading",)
    if value in IDENTITY and {"ma", "ms"} & set(words_of(heading)):  # "RCD mA" is a rating
        weight *= 0.3
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
    named = any(word in _other_units() for word in words) and not parts_of(heading).of("unit")
    return [Candidate(Meaning("other_test"), 6.0, why=("its unit is that of another test",))] if named else []


def _unit_alone(heading: str) -> list[Candidate]:
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
    if only_rated(heading):
        told = weights()["heading"]["rated_only"]
        return [Candidate(Meaning("rated_residual_current", unit=_unit(heading)), told, why=("its heading",))]
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


def _in_amperes(heading: str, groups: tuple[str, ...]) -> bool:
    """Whether a heading names a current in A that is of a circuit and not of an RCD: "Rating A", "Calibre (A)", "A"."""
    parts = parts_of(heading)
    alone = set(parts.found) <= {"rated", "unit"} and parts.of("unit") == ["A"] and not (parts.bare or parts.rest)
    circuit = bool(parts.of("rated")) and not _OF_RCD.search(normal(heading))
    return alone and not groups and (circuit or heading.strip() in AMPERES)


_OF_RCD = re.compile(r"iδn|r[eé]sidu|diff?[eé]ren|sens|leak|fehler")
AMPERES = ("A", "Amp", "Amps", "Ampere", "Amperes")


def only_rated(heading: str) -> bool:
    """Whether a heading names the rated residual current and nothing that is measured: "Rated IΔn (mA)", and
    not "RCD mA"."""
    parts = parts_of(heading)
    told = set(parts.found) <= {"rated", "unit"} and parts.of("unit") in ([], ["mA"]) and not parts.bare
    text = normal(heading)
    residual = bool(_RESIDUAL.search(text)) or (bool(_RATED.search(text)) and "ma" in words_of(heading))
    return told and bool(parts.of("rated")) and not parts.rest and residual


_RESIDUAL = re.compile(r"iδn|r[eé]sidu|diff?[eé]ren")
_RATED = re.compile(r"rated|rating|nenn|bemess|assign|nominal|sens")  # of a circuit, but with mA of an RCD


def _of_a_kind(heading: str) -> list[Candidate]:
    """ "RCBO", "FI": the name of each device, or what each is rated for."""
    told = says("kinds_of_device", heading) and not parts_of(heading).of("unit")
    return (
        [Candidate(Meaning("rated_residual_current"), 4.5, why=("its heading names a kind of device",))] if told else []
    )


def _perhaps_rated(heading: str) -> list[Candidate]:
    """ "Trip current": measured by a ramp, or the one it is rated for; which of them, the cells say."""
    parts = parts_of(heading)
    ramp = parts.of("quantity") in (["trip_current"], ["trip"]) and not (
        parts.of("phase") or parts.of("multiple") or parts.rest
    )
    why = ("its heading names a trip current",)
    weight = 4.5 if parts.of("rated") else 2.0  # "Trip current IΔn"
    return [Candidate(Meaning("rated_residual_current", unit=_unit(heading)), weight, why=why)] if ramp else []


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
        serial = any(fit.part.value == "serial" and fit.quality >= 1.0 for fit in names(word))  # "S/N" is no sí or no
        return [Candidate(Meaning("declared"), 6.5 if serial else 7.5, why=("its heading is pass or fail",))]
    return [Candidate(Meaning("declared"), 5.0, why=("its heading is a word for a pass",))] if said else []


def _asks_fault(heading: str) -> list[Candidate]:
    """ "Fault?", "Do I need to do anything?": a yes says that something is wrong."""
    why = ("its heading asks whether something is wrong",)
    fits = names(heading)
    weight = 7.5 if "?" in heading or not fits else 2.5
    if weight < 7.5 and any(fit.part.value == "remark" for fit in fits):  # "Comments / defects" is for words
        return []
    check = asks_for_fault(heading)
    return [Candidate(Meaning(check), weight, why=why)] if check else []


def _verdict(word: str) -> str:
    marks = {"fail": "fail_marks", "pass": "pass_marks"}  # "tick/X"
    return next((told for told, table in marks.items() if says(told, word) or says(table, word)), "")


def _bracketed(text: str) -> bool:
    """Whether a text stands in brackets, as units do: "(s)" is no Spanish yes."""
    return text[:1] in "([{"
