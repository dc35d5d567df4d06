"""Which part of the test a line of words or a name is of: a phase, a multiple, and what it says of all times."""

from __future__ import annotations

import re

from rcdcheck.intake.understood.lexicon import tokens
from rcdcheck.intake.understood.reading_headings import parts_of


def part_of_test(text: str) -> tuple[str, str]:
    """ "phase" or "multiple" and which, of a line or name that calls what stands below it by a part of the test:
    "Positive half cycle (0 deg)", "Half current test", "5 × IΔn"; both empty where it says anything else."""
    parts = parts_of(text)
    for field in ("phase", "multiple"):
        named = set(parts.of(field))
        plain = not parts.rest or (field == "multiple" and "iδn" in tokens(text))  # whatever else stands by "5x IΔn"
        if len(named) == 1 and plain and not parts.bare and set(parts.found) <= {field, "rated"}:
            return field, named.pop()
    return "", ""


def of_all_times(text: str) -> list[tuple[str, str]]:
    """What a line says of all times: "times in seconds" their unit, "slower of 0 and 180 deg" that both are in one,
    "times at 5x rated current" their multiple."""
    parts, told = parts_of(text), []
    both = {"0", "180"} <= {*parts.of("phase"), *parts.bare} or _BOTH.search(text)
    if len(text) > 20 and "worst" in parts.of("phase") and both:
        told.append(("phase", "worst"))
    if _SECONDS.search(text) and "trip_time" in {*parts.of("quantity")} | {_TIMES[q] for q in parts.of("quantity")
                                                                          if q in _TIMES}:  # fmt: skip
        told.append(("unit", "s"))
    multiples = [m for m in parts.of("multiple") if m != "1"] or parts.of("multiple")  # "5x rated" is no once
    if len(multiples) == 1 and not parts.rest and {"trip_time", "time", "trip"} & {*parts.of("quantity")}:
        told.append(("multiple", multiples[0]))
    return told


_BOTH = re.compile(  # "both half waves done, slower one typed"
    r"\b(?:both|beide[nr]?|les deux|ambos|ambas|entramb[ei]|begge|båda|obě|obie)\s+(?:the\s+|de\s+)?(?:half|ways|phases"
    r"|polarit|halbwelle|phasen|polarit|demi|alternance|semi|halve|halv|půlvln|polarit|półfal|połów|mezz|meias)",
    re.IGNORECASE,
)
_TIMES = {"time": "trip_time"}
_SECONDS = re.compile(
    r"(?<!\w)(?:in|en|em|as)\s+(?:s|sec|secs|seconds?|sekunden|secondes?|segundos|secondi|seconden)(?!\w)",
    re.IGNORECASE,
)
