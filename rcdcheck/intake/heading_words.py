"""The words that headings are made of, from the tables `[headings…]` of `words.toml`, and a heading's tokens."""

from __future__ import annotations

import functools
import re
import unicodedata
from typing import NamedTuple

from rcdcheck import data

_BEFORE = str.maketrans(
    {"∆": "δ", "Δ": "δ", "º": "°", "˚": "°", "½": "0.5", "×": "x", "✕": "x", "–": "-", "−": "-", "—": "-"}
)
_TOKEN = re.compile(r"\d+(?:[.,]\d+)?|[^\W\d_]+|[^\w\s]")


class Part(NamedTuple):
    """One recognised part of a heading: `kind` field, quantity, phase, … and which one."""

    kind: str
    value: str


def normal(heading: str) -> str:
    """The heading as it is compared: compatibility forms folded, no case, single spaces, signs spelled one way."""
    text = unicodedata.normalize("NFKC", heading.translate(_BEFORE)).casefold().replace("∆", "δ")
    return " ".join(text.split())


def tokens(heading: str) -> list[str]:
    """Words, numbers and signs of a heading, with `x` cut from the number or rated current that it is glued to."""
    text = normal(heading).rstrip(" :;.,*")
    text = re.sub(r"\+\s*ve\b", " positive ", re.sub(r"-\s*ve\b", " negative ", text))
    text = re.sub(r"(?<![^\W\d_])x(?=\d|i ?δ|idn)", "x ", text)
    text = re.sub(r"(?<=\d)x\b|(?<=δn)x(?=\s*\d)|(?<=idn)x(?=\s*\d)", " x ", text)
    return _TOKEN.findall(text)


@functools.cache
def phrases() -> dict[tuple[str, ...], tuple[Part, ...]]:
    """Every known phrase as its word tokens → what it can be; a phrase of several languages keeps the first meaning."""
    table = data.toml("words.toml")["headings"]
    found: dict[tuple[str, ...], tuple[Part, ...]] = {}
    for kind in ("quantity", "phase", "multiple", "unit", "waveform", "field", "row"):
        for value, languages in table[kind].items():
            _add(found, languages, (Part(kind, value),))
    for kind in ("other_test", "ignore", "times", "degrees"):
        _add(found, table[kind], (Part(kind, ""),))
    for entry in table["either"]:
        _add(found, {"any": entry["words"]}, tuple(Part("either", c) for c in entry["candidates"]))
    return found


def _add(
    found: dict[tuple[str, ...], tuple[Part, ...]], languages: dict[str, list[str]], parts: tuple[Part, ...]
) -> None:
    for words in languages.values():
        for phrase in words:
            key = tuple(t for t in tokens(phrase) if t[0].isalnum() or t in "°#↑↓")
            if parts[0].kind == "either":
                found[key] = parts  # what can mean several things is never taken for one of them
            else:
                found.setdefault(key, parts)


@functools.cache
def longest() -> int:
    """Tokens of the longest phrase."""
    return max(map(len, phrases()))
