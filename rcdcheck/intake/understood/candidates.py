"""A meaning that a column may have, with what speaks for it: log-odds that add up.

The weights and their reasons stand in `schemas/evidence.toml`.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import Any

from rcdcheck import data
from rcdcheck.intake.understood.meaning import Meaning
from rcdcheck.sheet_fields import DATE_FIELDS, FLAG_FIELDS, NUMBER_FIELDS, TEXT_FIELDS

IDENTITY = ("device", "board", "circuit", "serial")


CHECKS = FLAG_FIELDS


QUIET = ("ignore", "other_test")  # meanings that no outcome looks at


@dataclass(frozen=True)
class Candidate:
    """One meaning that a column may have: how strongly its heading and its cells say so, and why, in clauses."""

    meaning: Meaning
    heading: float
    cells: float = 0.0
    why: tuple[str, ...] = ()
    blank: bool = False  # its column holds nothing

    @functools.cached_property
    def weight(self) -> float:
        """Both together."""
        return self.heading + self.cells

    @functools.cached_property
    def key(self) -> str:
        """What makes two candidates mean the same; a text, since those know their hash."""
        m = self.meaning
        current = m.test_current if math.isfinite(m.test_current) else 0.0
        multiple = m.slot.multiple if m.slot and math.isfinite(m.slot.multiple) else -1.0  # NaN never equals itself
        slot = m.slot._replace(multiple=round(multiple, 3)) if m.slot else None
        return f"{m.field} {slot} {current} {m.check}"


NOTHING = Candidate(Meaning(""), 0.0)


@functools.cache
def weights() -> dict[str, Any]:
    """The tables of evidence.toml."""
    return data.toml("evidence.toml")


_TYPES = {
    **dict.fromkeys(TEXT_FIELDS, "text"),
    **dict.fromkeys(DATE_FIELDS, "date"),
    **dict.fromkeys(FLAG_FIELDS, "check"),
    **dict.fromkeys(NUMBER_FIELDS, "number"),
}


def cells_of(name: str) -> dict[str, Any] | None:
    """What the cells below a meaning are like: told of it by name, else of its type; None where they say nothing."""
    told: dict[str, Any] | None = weights()["cells"].get(name) or weights()["types"].get(_TYPES.get(name, ""))
    return told
