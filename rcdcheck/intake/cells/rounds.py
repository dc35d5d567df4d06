"""Which visit or round of tests words name: "Visit 2", "2nd round", "first"; words for both are in `words.toml`."""

from __future__ import annotations

import re

from rcdcheck.intake.cells.phrases import known, numbered, plain, says


def names_round(text: str) -> bool:
    """Whether a text is the name of a visit or round, and nothing else: "2nd visit", "Round 3", "Besuch"."""
    if names_year(text) or says("found", text) or says("left", text):
        return True
    words = plain(text).split(" ")
    rest = [w for w in words if w not in known("rounds")]
    return len(rest) < len(words) and all(
        w.isdigit() or w in numbered("ordinals") or w in known("joining") for w in rest
    )


def names_year(text: str) -> bool:
    """Whether a text is a year and nothing else, as over the columns of each year's visit."""
    return bool(_YEAR.fullmatch(text.strip()))


_YEAR = re.compile(r"(?:19|20)\d\d")


def round_of(text: str, *, bare: bool = False) -> int:
    """Number of the round that a text names, 0 where it names none; `bare`: a number or "second" alone names one."""
    plainly = plain(re.sub(r"\([^)]*\)", " ", text))  # "As left (3 May)"
    if plainly in known("found") or plainly in known("left"):
        return 1 if plainly in known("found") else 2
    words = plain(text).split(" ")
    if not bare and not any(w in known("rounds") for w in words):
        return 0
    numbers = [int(w) for w in words if w.isdigit() and len(w) == 1] + [
        numbered("ordinals")[w] for w in words if w in numbered("ordinals")
    ]
    return numbers[0] if len(numbers) == 1 else 0


def without_round(heading: str) -> tuple[int, str]:
    """Number of the visit that a heading begins or ends with, and the rest of it; 0 and the whole where there is none.

    "2nd 180" is (2, "180"), "Outcome 1st test" (1, "Outcome"); of "1st half of wave" the half-wave is the first.
    """
    words = heading.split()
    for at in (0, len(words) - 1, len(words) - 2):
        number = numbered("ordinals").get(plain(words[at]), 0) if 0 <= at < len(words) else 0
        rest = [w for i, w in enumerate(words) if i != at and not (abs(i - at) == 1 and plain(w) in known("rounds"))]
        beside = plain(words[at + 1]) if number and at + 1 < len(words) else ""
        if number and rest and not beside.startswith(tuple(known("half_waves"))):
            return number, " ".join(rest)
    return 0, heading
