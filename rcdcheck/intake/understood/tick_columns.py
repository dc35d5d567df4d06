"""Columns of ticks: two headed pass and fail, of which each row ticks one, and one headed "Not tested"."""

from __future__ import annotations

import functools
from collections.abc import Sequence

from rcdcheck.intake.cells.phrases import says
from rcdcheck.intake.cells.verdicts import FAIL, PASS, verdict
from rcdcheck.intake.understood.candidates import CHECKS
from rcdcheck.intake.understood.column_candidates import Headed
from rcdcheck.intake.understood.grammars import Kind
from rcdcheck.intake.understood.lexicon import names
from rcdcheck.intake.understood.meaning import Meaning
from rcdcheck.intake.understood.profiles import Profile


def tick_columns(columns: Sequence[Headed], profiles: Sequence[Profile]) -> list[tuple[int, Meaning]]:
    """Places of neighbouring columns headed pass and fail, of which each row ticks one, and what they mean."""
    found: list[tuple[int, Meaning]] = []
    for i in range(len(columns) - 1):
        (check, first), (other, second) = _checked(columns[i]), _checked(columns[i + 1])
        if check != other or {first, second} != {PASS, FAIL} or any(place == i for place, _ in found):
            continue
        a, b = profiles[i], profiles[i + 1]
        n = min(len(a.codes), len(b.codes))
        both = (a.codes[:n] > 0) & (b.codes[:n] > 0)
        if max(a.distinct, b.distinct) <= 3 and both.mean() < 0.2:
            ways = ("pass_ticks", "fail_ticks") if first == PASS else ("fail_ticks", "pass_ticks")
            found += [(i + n, Meaning(field, check=check)) for n, field in enumerate(ways)]
    return found + [
        (i, Meaning("untested_ticks"))
        for i, (column, cells) in enumerate(zip(columns, profiles, strict=True))
        if column.stated is None and not_tested(column.heading) and cells.share(Kind.TICK) == 1.0
    ]


@functools.lru_cache(maxsize=2_000)
def not_tested(heading: str) -> bool:
    """Whether a tick below this heading says that a row was not tested: "Not tested", "No access"."""
    return any(says(table, heading) for table in ("not_measured", "not_tested", "no_access"))


def _checked(column: Headed) -> tuple[str, str]:
    """The check that a heading names and the verdict behind it: "Visual OK", "Button | bad"; "Pass" is of the result.

    Both empty where it names neither.
    """
    name, _, word = column.shown.rpartition(" ")
    fits = [fit.part.value for fit in names(name) if fit.part.value in CHECKS and fit.quality >= 0.6]
    if fits and verdict(word):
        return fits[0], verdict(word)
    said = FAIL if says("not_conforming", column.heading) else verdict(column.heading)
    return ("", "") if column.groups else ("declared", said)
