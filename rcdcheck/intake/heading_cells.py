"""Where a heading can mean two things, the cells below it decide: a person or an instrument, time of day or to trip."""

from __future__ import annotations

import re
from collections.abc import Callable, Container, Sequence
from dataclasses import replace

from rcdcheck.intake.meaning import Meaning

_CLOCK = re.compile(r"\d{1,2}[:.h]\d{2}(:\d{2})?")
_ROMAN = re.compile(r"(type |typ |tipo )?(i{1,3}|iv|[1-4])", re.IGNORECASE)
_LETTER = re.compile(r"(type |typ |tipo )?(ac|a|f|b\+?)", re.IGNORECASE)
_ANGLE = re.compile(r"0\s*[/&+]\s*180\s*°?|(0|180)\s*(°|deg.*)?|[+-]|pos.*|neg.*", re.IGNORECASE)


def settle(meaning: Meaning, cells: Sequence[str], taken: Container[str] = ()) -> Meaning:
    """Let up to 200 distinct cell texts decide between candidates; without cells the first not `taken` stands."""
    texts = [c.strip() for c in cells if c.strip() and c.strip() not in ("-", "n/a")]
    if meaning.candidates and not texts and meaning.field in taken:
        return replace(meaning, field=next((c for c in meaning.candidates if c not in taken), meaning.field))
    if not meaning.candidates or not texts:
        return meaning
    chosen = _chosen(meaning.candidates, texts)
    slot = meaning.slot if chosen == "reading" else None
    how = f"its cells say that it is {chosen.replace('_', ' ')}" if chosen != "ignore" else "a running number"
    return Meaning(chosen, slot, meaning.unit, how=how)


def _chosen(candidates: tuple[str, ...], texts: list[str]) -> str:
    def mostly(pattern: re.Pattern[str]) -> bool:
        return sum(bool(pattern.fullmatch(t)) for t in texts) >= 0.8 * len(texts)

    if "instrument" in candidates:
        digits = sum(any(c.isdigit() for c in t) for t in texts)
        return "instrument" if digits > len(texts) / 2 else "technician"
    if "time" in candidates:
        return "time" if mostly(_CLOCK) else "reading"
    if "phase" in candidates:
        return "phase" if mostly(_ANGLE) else "outlet"
    if "class" in candidates:
        return "waveform_type" if mostly(_LETTER) and not mostly(_ROMAN) else "class"
    if "waveform_type" in candidates:
        return _kind_of_type(mostly)
    return candidates[0]


def _kind_of_type(mostly: Callable[[re.Pattern[str]], bool]) -> str:
    tests = (
        ("waveform_type", _LETTER),
        ("rcd_type", _ROMAN),
        ("delay", re.compile(r"s|g|selective|general|delayed", re.IGNORECASE)),
        ("kind", re.compile(r"portable|fixed|ortsfest|ortsveränderlich", re.IGNORECASE)),
    )
    return next((name for name, pattern in tests if mostly(pattern)), "model")
