"""The strict grammar of a typed number: comparator, digits, decimal sign, unit, and what stands behind.

Python's own `float` is far too generous (`1_000`, `nan`, `infinity`); it is called only once the text has matched.
"""

from __future__ import annotations

import functools
import re
import unicodedata
from dataclasses import dataclass

from rcdcheck import data
from rcdcheck.intake.cells.phrases import first_words, known, plain

_DASHES = "−﹣‐‑‒–—"
_LIKE_ASCII = {
    **dict.fromkeys(_DASHES, "-"),
    **dict.fromkeys("＞﹥›", ">"),
    **dict.fromkeys("＜﹤‹", "<"),
    **dict.fromkeys("≧⩾", "≥"),
    **dict.fromkeys("≦⩽", "≤"),
    **dict.fromkeys("∼～≃≅", "~"),
    **dict.fromkeys("·⋅∙٫．", "."),
    "，": ",",
    **dict.fromkeys("’‘´`٬＇", "'"),
    "μ": "µ",
    **dict.fromkeys("⁄∕／", "/"),
    "｜": "|",
}
_SIGNS = {
    **dict.fromkeys((">", "≥", ">=", "=>", ">>"), ">"),
    **dict.fromkeys(("<", "≤", "<=", "=<", "<<"), "<"),
    **dict.fromkeys(("~", "≈"), "~"),
}
_NUMERAL = re.compile(
    r"(?P<sign>[<>≥≤~≈=]{0,2})\s*(?P<number>\d[.,]\d+[eE][+-]\d{1,3}|[+-]?(?:\d+(?:[.,]\d+)?|[.,]\d+))(?P<tail>.*)",
    re.DOTALL,
)
_UNIT = re.compile(r"\s?(m\.?\s?s\b\.?|[a-zA-ZµΩ]+\.?(?![\w])|[%‰°]C?)")


@dataclass(frozen=True)
class Numeral:
    """A number as typed: `sign` is `>`, `<`, `~` or empty; `digits` as typed; `unit` as words.toml names it."""

    sign: str
    digits: str
    unit: str
    tail: str  # what follows the unit, with its spaces
    behind: str  # what follows the digits


def tidy(text: str) -> str:
    """Decimal digits of any script as 0-9, spaces plain, signs as ASCII; superscripts and fractions stay."""
    if not text.isascii():
        text = "".join(map(_like_ascii, text))
    return " ".join(text.split())


@functools.lru_cache(maxsize=4096)
def _like_ascii(char: str) -> str:
    if char in _LIKE_ASCII:
        return _LIKE_ASCII[char]
    digit = unicodedata.decimal(char, None)
    if digit is not None:
        return str(digit)
    category = unicodedata.category(char)
    if category in ("Zs", "Zl", "Zp"):
        return " "
    if category == "Cf":
        return ""
    wide = "\uff01" <= char <= "\uff5e" or "\u3300" <= char <= "\u33ff"
    return unicodedata.normalize("NFKC", char) if wide else char


def numeral(text: str) -> Numeral | None:
    """The number that a tidied text begins with, its comparator and unit; None where it does not begin with one."""
    match = _NUMERAL.fullmatch(_with_sign(text))
    if match is None or (match["sign"] and match["sign"] not in _SIGNS):
        return None
    unit, tail = _unit(match["tail"])
    if unit == "s" and match["tail"].strip() == "S" and not match["number"].startswith(("0", ".", ",")):
        unit = "other"  # "28 S": seconds, or a selective device?
    return Numeral(_SIGNS.get(match["sign"], ""), match["number"], unit, tail.rstrip(), match["tail"])


_WORDED = re.compile(r"([^\d><≥≤~≈]+?)(?<!\w-)\s*(?=[\d.,]*\d)")  # "C-1" names something


def _with_sign(text: str) -> str:
    """ "over 300" as ">300", "approx. 30" as "~30", "less than 40" as "<40"."""
    match = _WORDED.match(text) if plain(text).startswith(_worded()) else None
    word = plain(match[1]) if match else ""
    for table, sign in _SIGN_OF.items():
        if match and word in known(table):
            return sign + text[match.end() :]
    return text


_SIGN_OF = {"above": ">", "below": "<", "about": "~"}


@functools.cache
def _worded() -> tuple[str, ...]:
    """The beginnings of the words for a sign: most texts have none of them, and are done with."""
    return tuple(sorted(frozenset[str]().union(*map(first_words, _SIGN_OF))))


def _unit(tail: str) -> tuple[str, str]:
    """The unit at the head of what follows a number, and the rest; an unknown word is no unit."""
    match = _UNIT.match(tail)
    if match:
        unit = unit_named(match[1])
        if unit:
            return unit, tail[match.end() :]
    return "", tail


def unit_named(text: str) -> str:
    """ "ms", "s", "mA", "A", "uA" or "other" for a typed unit; empty where it is none."""
    return units().get(plain(text), "")


@functools.cache
def units() -> dict[str, str]:
    """Each typed unit, as `plain` makes it, as words.toml names it."""
    table = data.toml("words.toml")["cells"]["units"]
    return {plain(word): unit for unit, words in reversed(table.items()) for word in words}


def value_of(digits: str, decimal: str) -> float | None:
    """The number, or None where its sign could as well part thousands.

    `decimal` is the column's sign, `.` or `,`, or empty where the column does not tell. What can only be a decimal sign
    ("28,4", "0,125") is read as one whatever the column says.
    """
    if thousands_shaped(digits) and (not decimal or decimal not in digits):
        return None
    return float(digits.replace(",", "."))


def thousands_shaped(digits: str) -> bool:
    """Whether the sign may part thousands: one to three digits, a sign, exactly three digits ("1,234")."""
    return bool(re.fullmatch(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", digits))


def perhaps(*readings: str) -> str:
    """A suggestion: "perhaps 28.40 or 284.0"; empty where there is none."""
    some = list(dict.fromkeys(r for r in readings if r))
    return "perhaps " + " or ".join(some) if some else ""
