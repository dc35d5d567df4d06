"""Which RCD types a row leaves possible, from its rated residual current, type, delay and kind, stated or missing."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rcdcheck.rules import NAN, SHORT_TIME, RuleSet
from rcdcheck.tables import Tables

TROUBLES = ("rating-outside-rules", "rating-not-preferred", "portable-over-rating", "class-contradicts-rating")


@dataclass(frozen=True)
class Possible:
    """Types that a row leaves possible: `general` decides, `selective` counts only beyond the general maximum where
    the delay is not stated. `trouble` is a finding code where the statements contradict each other or leave none:
    such a test is unclear, but for readings that fail under every type that any of them allows."""

    general: tuple[str, ...]
    selective: tuple[str, ...]
    trouble: str = ""
    short_time: bool = False


def possible_types(tables: Tables, rules: RuleSet) -> tuple[npt.NDArray[np.int32], list[Possible]]:
    """For each test an index into the list of distinct possibilities."""
    tests = tables.tests
    keys = tests[["rated_residual_current", "rcd_type", "delay", "kind"]]
    number = keys.groupby(list(keys), dropna=False, sort=False).ngroup().to_numpy(np.int32)
    _, first = np.unique(number, return_index=True)
    sets = [
        _possible(rules, float(row[0]), *(str(tables.vocabulary[int(code)]) for code in row[1:]))
        for row in keys.iloc[first].itertuples(index=False)
    ]
    distinct = {p: i for i, p in enumerate(dict.fromkeys(sets))}
    merged = np.array([distinct[p] for p in sets] or [0], dtype=np.int32)
    return merged[number], list(distinct)


def _possible(rules: RuleSet, rated: float, rcd_type: str, delay: str, kind: str) -> Possible:
    trouble = _trouble(rules, rated, rcd_type, delay, kind)
    names = rules.possible_types(rated, rcd_type, delay, "" if trouble else kind)
    if trouble == "rating-outside-rules":
        return Possible((), (), trouble)
    if trouble:
        kept = _whichever_is_wrong(rules, rated, rcd_type, delay, trouble)
        names = tuple(dict.fromkeys(n for k in kept for n in rules.possible_types(*k)))
    slow = {t.name for t in rules.types if t.delay == "selective"}
    general = tuple(n for n in names if n not in slow)
    selective = tuple(n for n in names if n in slow)
    stated = bool(delay) or not general or bool(trouble)
    short_time = delay == SHORT_TIME
    if stated:
        return Possible(general + selective, (), trouble, short_time)
    return Possible(general, selective, short_time=short_time)


def _whichever_is_wrong(
    rules: RuleSet, rated: float, rcd_type: str, delay: str, trouble: str
) -> list[tuple[float, str, str]]:
    """What a row may mean whose statements contradict each other: each as if one of those that do were not made, or two
    of three where any two do."""
    kept = [(rated, rcd_type, delay), (NAN, rcd_type, delay)]
    if not rules.possible_types(rated, rcd_type, delay):
        kept += [(rated, "", delay), (rated, rcd_type, "")]
    portable = rules.ratings.portable_to
    if trouble == "portable-over-rating" and not rules.possible_types(portable, rcd_type, delay):
        kept.append((portable, "", ""))
    if not any(rules.possible_types(*one) for one in kept):
        kept = [(rated, "", ""), (NAN, rcd_type, ""), (NAN, "", delay)]
    return kept


def _trouble(rules: RuleSet, rated: float, rcd_type: str, delay: str, kind: str) -> str:
    if math.isfinite(rated) and not rules.possible_types(rated, "", ""):
        return "rating-outside-rules"
    if not rules.knows_rating(rated):
        return "rating-not-preferred"
    if kind == "portable" and rated > rules.ratings.portable_to:
        return "portable-over-rating"
    return "" if rules.possible_types(rated, rcd_type, delay) else "class-contradicts-rating"
