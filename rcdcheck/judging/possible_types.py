"""Which RCD types a row leaves possible, from its rated residual current, type and delay, each stated or missing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rcdcheck.records import Tables
from rcdcheck.rules import RuleSet


@dataclass(frozen=True)
class Possible:
    """Types that a row leaves possible: `general` decides, `selective` counts only beyond the general maximum where
    the delay is not stated. `trouble` is a finding code where the statements contradict each other or leave none."""

    general: tuple[str, ...]
    selective: tuple[str, ...]
    trouble: str = ""


def possible_types(tables: Tables, rules: RuleSet) -> tuple[npt.NDArray[np.int32], list[Possible]]:
    """For each test an index into the list of distinct possibilities."""
    tests = tables.tests
    keys = tests[["rated_residual_current", "rcd_type", "delay"]]
    number = keys.groupby(list(keys), dropna=False, sort=False).ngroup().to_numpy(np.int32)
    _, first = np.unique(number, return_index=True)
    sets = [
        _possible(rules, float(row[0]), str(tables.vocabulary[int(row[1])]), str(tables.vocabulary[int(row[2])]))
        for row in keys.iloc[first].itertuples(index=False)
    ]
    distinct = {p: i for i, p in enumerate(dict.fromkeys(sets))}
    merged = np.array([distinct[p] for p in sets] or [0], dtype=np.int32)
    return merged[number], list(distinct)


def _possible(rules: RuleSet, rated: float, rcd_type: str, delay: str) -> Possible:
    names, trouble = rules.possible_types(rated, rcd_type, delay), ""
    if not names:
        if np.isfinite(rated) and not rules.possible_types(rated, "", ""):
            return Possible((), (), "rating-outside-rules")
        trouble = "class-contradicts-rating"
        kept = [(np.nan, rcd_type, delay), (rated, "", delay), (rated, rcd_type, "")]
        names = tuple(dict.fromkeys(n for k in kept for n in rules.possible_types(*k)))
    slow = {t.name for t in rules.types if t.delay == "selective"}
    general = tuple(n for n in names if n not in slow)
    selective = tuple(n for n in names if n in slow)
    stated = bool(delay) or not general or bool(trouble)
    return Possible(general + selective, (), trouble) if stated else Possible(general, selective)
