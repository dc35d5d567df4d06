"""Readings against limits: a verdict, its reason, its limit and its chance of conformity for every reading.

Readings that are alike in all that judging looks at are judged once. Those that share quantity, multiple, waveform and
the RCD types that their row leaves possible are judged together as columns, under every possible type: where all agree,
that is the verdict; where they differ, it is unclear. Where the delay is not stated a device counts as general, but a
time between the general and the selective maximum is unclear.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from rcdcheck.judging.batches import Batch, Whole, prepare
from rcdcheck.judging.judged import Judged, scatter, taken
from rcdcheck.judging.limit_checks import under_type
from rcdcheck.judging.limits_used import LimitsUsed
from rcdcheck.judging.possible_types import Possible, possible_types
from rcdcheck.numbering import Ints, combined
from rcdcheck.options import Options
from rcdcheck.rules import RuleSet
from rcdcheck.tables import Codes, Mask, Numbers, Tables
from rcdcheck.terms import State, Verdict


def judge(tables: Tables, rules: RuleSet, options: Options) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The tables of models.Verdicts and of models.Limits."""
    readings, used = tables.readings, LimitsUsed()
    if not len(readings):
        return _frame(Judged.blank(0), np.zeros(0)), used.frame()
    possible, sets = possible_types(tables, rules)
    whole = prepare(tables, rules)
    test = readings["test"].to_numpy()
    types, waves = possible[test], tables.tests["waveform_type"].to_numpy()[test]
    kind, first = _kinds(tables, whole, possible)
    kinds = whole.only(first)
    total = Judged.blank(len(first))
    groups = (
        pd.DataFrame({"slot": kinds.slot, "multiple": kinds.multiple, "types": types[first], "wave": waves[first],
                      "rated": kinds.rated})
        .groupby(["slot", "multiple", "types", "wave", "rated"], dropna=False, sort=True)
        .indices
    )  # fmt: skip
    for (slot, multiple, of_types, wave, _), at in groups.items():
        batch = kinds.batch(at, tables.slots[slot]._replace(multiple=float(multiple)))
        judged = _judge_batch(batch, sets[of_types], str(tables.vocabulary[wave]), rules, options, used)
        scatter(total, at, judged)
    judged = taken(total, kind)
    judged.hint[_beside_passing_time(tables, judged, whole.multiple)] = BESIDE_TIME
    return _frame(judged, whole.multiple), used.frame()


BESIDE_TIME = "Its trip time at the rated current passes: such devices are known, and the fault is real."


def _beside_passing_time(tables: Tables, judged: Judged, multiple: Numbers) -> Mask:
    """Ramps that fail in a test whose trip time at the rated current passes: a known fault, no contradiction."""
    ramp = np.array([s.quantity == "trip_current" for s in tables.slots] or [False])[tables.readings["slot"].to_numpy()]
    verdict, test = judged.verdict, tables.readings["test"].to_numpy()
    at_rated = ~ramp & (multiple == 1)
    passing = (verdict == Verdict.PASS) | (verdict == Verdict.MARGINAL)
    passed = np.bincount(test[at_rated & passing], minlength=len(tables.tests)) > 0
    slow: Mask = ramp & (verdict == Verdict.FAIL) & passed[test]
    slow[slow] = np.isin(judged.reason[slow], SLOW)
    return slow


SLOW = ("ramp-over-rated", "ramp-did-not-trip")


def _kinds(tables: Tables, whole: Whole, types: Codes) -> tuple[Ints, Ints]:
    """Number of each reading's kind, and the first reading of each kind: those of one kind are judged alike."""
    tests, test = tables.tests, tables.readings["test"].to_numpy()
    of_test = combined(types, tests["waveform_type"].to_numpy(), _coded(tests["rated_residual_current"].to_numpy()))
    stated = tables.readings["test_current"].to_numpy()
    figures = (whole.step, *([stated] if np.isfinite(stated).any() else []))
    kind = combined(
        of_test[test], whole.slot, whole.state, whole.bound, whole.says_ok, whole.figure, *map(_coded, figures)
    )
    first = np.zeros(int(kind.max()) + 1, dtype=np.int64)
    first[kind[::-1]] = np.arange(len(kind))[::-1]
    return kind, first


def _coded(figures: Numbers) -> Ints:
    return pd.factorize(figures)[0] + 1  # NaN is 0


def _frame(total: Judged, multiple: Numbers) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "verdict": total.verdict,
            "reason": pd.Series(total.reason, dtype=object),
            "multiple": multiple,
            "limit": total.limit,
            "limit_id": total.limit_id,
            "p_conform": total.p_conform,
            "hint": pd.Series(total.hint, dtype=object),
        },
        copy=False,
    )


def _judge_batch(
    batch: Batch, possible: Possible, wave: str, rules: RuleSet, options: Options, used: LimitsUsed
) -> Judged:
    n = len(batch.value)
    if possible.trouble == "rating-outside-rules":
        out = Judged.blank(n)
        out.put(np.ones(n, dtype=bool), Verdict.UNCLEAR, "rating-outside-rules")
        return out
    if np.isnan(batch.slot.multiple) and not any(rules.limit(t, batch.slot, wave) for t in possible.general):
        return _unknown_multiple(batch, n)
    short_time = possible.short_time or wave == "F"
    decided = [under_type(batch, t, wave, rules, options, used, short_time=short_time) for t in possible.general]
    out = _agree(decided, "type-undecided")
    if possible.trouble:
        return _under_trouble(out, batch, possible.trouble)
    for name in possible.selective:
        slower = under_type(batch, name, wave, rules, options, used)
        rescued = (out.verdict == Verdict.FAIL) & ~np.isin(slower.verdict, (Verdict.FAIL, Verdict.NOT_JUDGED))
        out.put(rescued, Verdict.UNCLEAR, "perhaps-selective")
    return out


def _under_trouble(out: Judged, batch: Batch, trouble: str) -> Judged:
    """Where type, rating and kind contradict each other only a reading that fails whichever is right still fails."""
    by_rating = (batch.slot.quantity == "trip_current") & (batch.state == State.TRIPPED)
    judged = (out.verdict != Verdict.NOT_JUDGED) & ((out.verdict != Verdict.FAIL) | by_rating)
    unreadable = out.reason == "reading-unreadable"
    out.put(judged & ~unreadable, Verdict.UNCLEAR, trouble)
    return out


def _unknown_multiple(batch: Batch, n: int) -> Judged:
    """A test current without a rated residual current, or neither multiple nor current: the limit is not known."""
    out = Judged.blank(n)
    out.put(np.ones(n, dtype=bool), Verdict.UNCLEAR, "rated-missing")
    out.put(np.isnan(batch.current), Verdict.UNCLEAR, "test-current-missing")
    return out


def _agree(decided: list[Judged], differ: str) -> Judged:
    """One verdict where all types agree (a marginal pass agrees with a pass), else unclear."""
    out = decided[0]
    for other in decided[1:]:
        passes = np.isin(out.verdict, (Verdict.PASS, Verdict.MARGINAL)) & np.isin(
            other.verdict, (Verdict.PASS, Verdict.MARGINAL)
        )
        worse = passes & (other.verdict > out.verdict)
        same = (out.verdict == other.verdict) | passes
        not_both = (out.verdict == Verdict.NOT_JUDGED) ^ (other.verdict == Verdict.NOT_JUDGED)
        scatter(out, np.flatnonzero(worse), taken(other, worse))
        looser = (out.verdict == Verdict.FAIL) & same & (other.limit > out.limit)
        scatter(out, np.flatnonzero(looser), taken(other, looser))
        clash = ~same & ~not_both & (out.verdict != Verdict.UNCLEAR)
        stricter = clash & (out.verdict != Verdict.FAIL)
        scatter(out, np.flatnonzero(stricter), taken(other, stricter))
        out.put(clash, Verdict.UNCLEAR, differ)
        only_other = not_both & (out.verdict == Verdict.NOT_JUDGED)
        scatter(out, np.flatnonzero(only_other), taken(other, only_other))
    return out
