"""Readings against limits: a verdict, its reason, its limit and its chance of conformity for every reading.

Readings that share quantity, multiple, waveform and the RCD types that their row leaves possible are judged together
as columns. Each reading is judged under every possible type: where all agree, that is the verdict; where they differ,
it is unclear. Where the delay is not stated a device counts as general, but a time between the general and the
selective maximum is unclear.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.judging.confidence import default_spec, p_conform, standard_uncertainty
from rcdcheck.records import Bound, Mask, Numbers, Options, Slot, State, Tables, Texts, Verdict
from rcdcheck.rules import Limit, RuleSet

NEAR = 0.10  # a test current counts as a multiple of the rated current within this share
LOST_SIGN = (300.0, 500.0, 1000.0, 1999.0, 2000.0)  # bare ends of instrument ranges: perhaps a lost ">"
SURE = 0.95  # chance of conformity below which a pass is marginal

Verdicts = npt.NDArray[np.int8]


@dataclass
class Judged:
    """Verdicts of n readings with their reasons; limit and margin in the unit of the reading."""

    verdict: Verdicts
    reason: Texts
    limit: Numbers
    limit_id: npt.NDArray[np.int32]
    p_conform: Numbers

    @classmethod
    def blank(cls, n: int) -> Judged:
        """Nothing judged yet."""
        return cls(
            np.full(n, Verdict.NOT_JUDGED, dtype=np.int8),
            np.full(n, "", dtype=object),
            np.full(n, np.nan),
            np.full(n, -1, dtype=np.int32),
            np.full(n, np.nan),
        )

    def put(self, at: Mask | npt.NDArray[np.int64], verdict: Verdict, reason: str = "") -> None:
        """Set verdict and reason where `at` says."""
        self.verdict[at] = verdict
        self.reason[at] = reason


@dataclass(frozen=True)
class _Batch:
    """Readings judged together; arrays of shape (n,)."""

    slot: Slot
    value: Numbers
    state: npt.NDArray[np.int8]
    bound: npt.NDArray[np.int8]
    rated: Numbers
    current: Numbers  # mA that flowed, NaN where not known
    says_ok: Mask  # an unreadable cell that says "OK" or "pass"
    step: Numbers  # display step of the reading, for the uncertainty


def judge(tables: Tables, rules: RuleSet, options: Options) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Verdicts aligned with tables.readings, and the limits used with sources; see records.Audit for the columns."""
    readings, tests = tables.readings, tables.tests
    used = LimitsUsed(rules)
    total = Judged.blank(len(readings))
    multiple_of = np.zeros(len(readings))
    if len(readings):
        possible, sets = possible_types(tables, rules)
        whole = _prepare(tables, rules)
        multiple_of = whole.multiple
        test = readings["test"].to_numpy()
        waves = tests["waveform_type"].to_numpy()[test]
        groups = (
            pd.DataFrame({"slot": whole.slot, "multiple": whole.multiple, "types": possible[test], "wave": waves})
            .groupby(["slot", "multiple", "types", "wave"], dropna=False, sort=True)
            .indices
        )
        for (slot, multiple, types, wave), at in groups.items():
            batch = whole.batch(at, tables.slots[slot]._replace(multiple=float(multiple)))
            judged = _judge_batch(batch, sets[types], str(tables.vocabulary[wave]), rules, options, used)
            _scatter(total, at, judged)
    return _frame(total, readings, multiple_of), used.frame()


def _scatter(total: Judged, at: npt.NDArray[np.int64], part: Judged) -> None:
    for name in ("verdict", "reason", "limit", "limit_id", "p_conform"):
        getattr(total, name)[at] = getattr(part, name)


def _frame(total: Judged, readings: pd.DataFrame, multiple: Numbers) -> pd.DataFrame:
    margin = total.limit - readings["value"].to_numpy()
    return pd.DataFrame(
        {
            "verdict": total.verdict,
            "reason": total.reason,
            "multiple": multiple,
            "limit": total.limit,
            "limit_id": total.limit_id,
            "margin": margin,
            "p_conform": total.p_conform,
        }
    )


# ── which RCD types a row leaves possible ──
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


# ── preparation: multiples from test currents ──
@dataclass(frozen=True)
class _Whole:
    slot: npt.NDArray[np.int16]
    multiple: Numbers
    value: Numbers
    state: npt.NDArray[np.int8]
    bound: npt.NDArray[np.int8]
    rated: Numbers
    current: Numbers
    says_ok: Mask
    step: Numbers

    def batch(self, at: npt.NDArray[np.int64], slot: Slot) -> _Batch:
        return _Batch(
            slot,
            self.value[at],
            self.state[at],
            self.bound[at],
            self.rated[at],
            self.current[at],
            self.says_ok[at],
            self.step[at],
        )


def _prepare(tables: Tables, rules: RuleSet) -> _Whole:
    readings = tables.readings
    rated = tables.tests["rated_residual_current"].to_numpy()[readings["test"].to_numpy()]
    slot = readings["slot"].to_numpy()
    multiple = np.array([s.multiple for s in tables.slots])[slot]
    stated = readings["test_current"].to_numpy()
    from_current = np.isnan(multiple) & np.isfinite(stated)
    multiple = np.where(from_current, nearest_multiple(stated / rated, rules), multiple)
    current = np.where(np.isfinite(stated), stated, multiple * rated)
    state = readings["state"].to_numpy()
    return _Whole(
        slot, multiple, readings["value"].to_numpy(), state, readings["bound"].to_numpy(), rated, current,
        _says_ok(tables, state), _display_step(tables),
    )  # fmt: skip


def nearest_multiple(ratio: Numbers, rules: RuleSet) -> Numbers:
    """Ratio of test current to rated current as a multiple that the rules use, within ±10 %, else to 3 digits."""
    out = np.round(ratio, 3)
    for m in rules.multiples:
        out = np.where(np.abs(ratio - m) <= NEAR * m, m, out)
    return out


def _says_ok(tables: Tables, state: npt.NDArray[np.int8]) -> Mask:
    """Unreadable cells whose text is a plain pass word."""
    from rcdcheck.intake.conventions import read_flags
    from rcdcheck.records import Flag

    out = np.zeros(len(state), dtype=bool)
    at = np.flatnonzero(state == State.UNREADABLE)
    if len(at):
        codes, distinct = pd.factorize(tables.readings["text"].to_numpy()[at])
        out[at] = (read_flags(tables.texts(distinct)).flag == Flag.PASS)[codes]
    return out


def _display_step(tables: Tables) -> Numbers:
    """Display step of each reading: 1 where all readings of its column are whole, else 0.1 or 0.01 (ms or mA)."""
    readings = tables.readings
    value = readings["value"].to_numpy()
    sheet = tables.tests["sheet"].to_numpy()[readings["test"].to_numpy()]
    fine = np.select(
        [
            np.isnan(value) | (np.abs(value - np.round(value)) < 1e-9),
            np.abs(value - np.round(value, 1)) < 1e-9,
        ],
        [1.0, 0.1],
        0.01,
    )
    steps: Numbers = pd.Series(fine).groupby([sheet, readings["column"].to_numpy()]).transform("min").to_numpy()
    return steps


# ── judging ──
def _judge_batch(
    batch: _Batch, possible: Possible, wave: str, rules: RuleSet, options: Options, used: LimitsUsed
) -> Judged:
    n = len(batch.value)
    if possible.trouble == "rating-outside-rules":
        out = Judged.blank(n)
        out.put(np.ones(n, dtype=bool), Verdict.UNCLEAR, "rating-outside-rules")
        return out
    if np.isnan(batch.slot.multiple) and not any(rules.limit(t, batch.slot, wave) for t in possible.general):
        return _unknown_multiple(batch, n)
    decided = [_under_type(batch, name, wave, rules, options, used) for name in possible.general]
    out = _agree(decided, possible.trouble or "type-undecided")
    for name in possible.selective:
        slower = _under_type(batch, name, wave, rules, options, used)
        rescued = (
            (out.verdict == Verdict.FAIL) & (slower.verdict != Verdict.FAIL) & (slower.verdict != Verdict.NOT_JUDGED)
        )
        out.put(rescued, Verdict.UNCLEAR, "perhaps-selective")
    return out


def _unknown_multiple(batch: _Batch, n: int) -> Judged:
    """A test current without a rated residual current: the multiple is not known."""
    out = Judged.blank(n)
    out.put(np.ones(n, dtype=bool), Verdict.UNCLEAR, "rated-missing")
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
        _scatter(out, np.flatnonzero(worse), _taken(other, worse))
        looser = (out.verdict == Verdict.FAIL) & same & (other.limit > out.limit)
        _scatter(out, np.flatnonzero(looser), _taken(other, looser))
        clash = ~same & ~not_both & (out.verdict != Verdict.UNCLEAR)
        stricter = clash & (out.verdict != Verdict.FAIL)
        _scatter(out, np.flatnonzero(stricter), _taken(other, stricter))
        out.put(clash, Verdict.UNCLEAR, differ)
        only_other = not_both & (out.verdict == Verdict.NOT_JUDGED)
        _scatter(out, np.flatnonzero(only_other), _taken(other, only_other))
    return out


def _taken(judged: Judged, at: Mask) -> Judged:
    return Judged(judged.verdict[at], judged.reason[at], judged.limit[at], judged.limit_id[at], judged.p_conform[at])


def _under_type(batch: _Batch, name: str, wave: str, rules: RuleSet, options: Options, used: LimitsUsed) -> Judged:
    """Judge a batch as if every device were of the RCD type `name`."""
    limit = rules.limit(name, batch.slot, wave)
    if limit is None:
        return _without_limit(batch, name, wave, rules)
    out = Judged.blank(len(batch.value))
    out.limit_id[:] = used.id(limit)
    maximum, minimum = _bounds(limit, batch)
    out.limit = maximum.copy()
    if limit.tripping == "forbidden":
        _must_hold(out, batch, limit)
    elif batch.slot.quantity == "trip_current":
        _ramp(out, batch, limit, minimum, maximum, rules)
    else:
        _trip_time(out, batch, limit, minimum, maximum, rules)
    if limit.tripping != "forbidden":
        _weigh_uncertainty(out, batch, limit, minimum, maximum, rules, options)
    unreadable = (batch.state == State.UNREADABLE) & ~(batch.says_ok & (limit.tripping == "forbidden"))
    out.put(unreadable, Verdict.UNCLEAR, "reading-unreadable")
    return out


def _bounds(limit: Limit, batch: _Batch) -> tuple[Numbers, Numbers]:
    """Maximum and minimum for each reading, NaN where there is none or the rated current is not known."""
    n = len(batch.value)
    maximum, minimum = np.full(n, limit.maximum), np.full(n, limit.minimum)
    if np.isfinite(limit.maximum_share):
        maximum = np.round(limit.maximum_share * batch.rated, 6)
    if np.isfinite(limit.minimum_share):
        minimum = np.round(limit.minimum_share * batch.rated, 6)
    if limit.curve is not None:
        maximum = limit.curve.maximum_ms(batch.current)
    return maximum, minimum


def _must_hold(out: Judged, batch: _Batch, limit: Limit) -> None:
    """At half the rated current the device must not trip."""
    number = (batch.state == State.TRIPPED) & (batch.bound == Bound.EXACT)
    held = (batch.state == State.NOT_TRIPPED) | (batch.bound == Bound.ABOVE) | batch.says_ok
    out.put(held, Verdict.PASS)
    short = (batch.bound == Bound.ABOVE) & (batch.value < limit.window)
    out.put(short & held, Verdict.PASS, "half-rated-window-short")
    out.put(number, Verdict.FAIL, "tripped-at-half-rated")
    out.put((batch.bound == Bound.EXACT) & np.isin(batch.value, LOST_SIGN), Verdict.UNCLEAR, "comparator-perhaps-lost")
    out.limit[:] = np.nan


def _trip_time(out: Judged, batch: _Batch, limit: Limit, minimum: Numbers, maximum: Numbers, rules: RuleSet) -> None:
    exact = (batch.state == State.TRIPPED) & (batch.bound == Bound.EXACT)
    above = (batch.state == State.TRIPPED) & (batch.bound == Bound.ABOVE)
    out.put(exact, Verdict.PASS)
    if np.isfinite(limit.caution_above):
        out.put(exact & (batch.value > limit.caution_above), Verdict.PASS, "over-stricter-published-figure")
    whole = np.abs(batch.value - np.round(batch.value)) < 1e-9
    out.put(exact & (batch.value == maximum) & whole, Verdict.MARGINAL, "exactly-at-limit")
    floor = rules.plausibility.floor_ms(batch.slot.multiple, batch.slot.waveform)
    out.put(exact & (batch.value < floor), Verdict.UNCLEAR, "below-physical-floor")
    out.put(exact & (batch.value < minimum), Verdict.FAIL, "selective-too-fast")
    exceed = Verdict.FAIL if limit.on_exceed == "fail" else Verdict.UNCLEAR
    out.put(exact & (batch.value > maximum), exceed, "trip-time-over-limit")
    out.put(above, Verdict.UNCLEAR, "lower-bound-below-limit")
    out.put(above & (batch.value >= maximum), exceed, "trip-time-over-limit")
    out.put(batch.state == State.NOT_TRIPPED, Verdict.FAIL, "did-not-trip")
    if limit.curve is not None:
        out.put(np.isinf(maximum), Verdict.NOT_JUDGED, "not-in-rules")
        out.put(np.isnan(maximum) & (batch.state == State.TRIPPED), Verdict.UNCLEAR, "test-current-missing")


def _ramp(out: Judged, batch: _Batch, limit: Limit, minimum: Numbers, maximum: Numbers, rules: RuleSet) -> None:
    exact = (batch.state == State.TRIPPED) & (batch.bound == Bound.EXACT)
    above = (batch.state == State.TRIPPED) & (batch.bound == Bound.ABOVE)
    out.put(exact, Verdict.PASS)
    out.put(exact & (batch.value == maximum), Verdict.MARGINAL, "exactly-at-limit")
    at_or_below = np.isfinite(
        limit.minimum_share
    )  # a share of rated must be exceeded, an absolute minimum may be reached
    low = exact & ((batch.value < minimum) | (at_or_below & (batch.value == minimum)))
    out.put(low, Verdict.FAIL if limit.on_below == "fail" else Verdict.PASS, "over-sensitive")
    out.put(low & _fits_smaller_rating(batch, rules), Verdict.UNCLEAR, "rated-perhaps-smaller")
    over = exact & (batch.value > maximum)
    out.put(over, Verdict.FAIL, "ramp-over-rated")
    out.put(above, Verdict.UNCLEAR, "lower-bound-below-limit")
    out.put(above & (batch.value >= maximum), Verdict.FAIL, "ramp-over-rated")
    out.put(batch.state == State.NOT_TRIPPED, Verdict.FAIL, "ramp-did-not-trip")
    unknown = np.isnan(maximum) & (batch.state == State.TRIPPED)
    out.put(unknown, Verdict.UNCLEAR, "rated-missing")


def _fits_smaller_rating(batch: _Batch, rules: RuleSet) -> Mask:
    """Whether a smaller preferred rating r explains the ramp: r/2 < reading ≤ r."""
    fits = np.zeros(len(batch.value), dtype=bool)
    for r in rules.preferred_ratings:
        fits |= (r < batch.rated) & (batch.value > r / 2) & (batch.value <= r)
    return fits


def _weigh_uncertainty(
    out: Judged,
    batch: _Batch,
    limit: Limit,
    minimum: Numbers,
    maximum: Numbers,
    rules: RuleSet,
    options: Options,
) -> None:
    """Chance of conformity (JCGM 106); a pass below 95 % is marginal, or unclear with --decision guarded."""
    exact = (batch.state == State.TRIPPED) & (batch.bound == Bound.EXACT)
    stated = dict(options.uncertainty).get(batch.slot.quantity)
    spec = stated or default_spec(batch.slot.quantity)["spec"]
    reference = maximum if batch.slot.quantity == "trip_time" else batch.rated
    u = standard_uncertainty(batch.value, reference, spec, batch.step)
    lower = minimum if limit.on_below == "fail" else np.full(len(minimum), np.nan)
    chance = p_conform(batch.value, lower, maximum, u)
    out.p_conform = np.where(exact, chance, np.nan)
    doubtful = exact & (chance < SURE) & np.isin(out.verdict, (Verdict.PASS, Verdict.MARGINAL))
    if options.decision == "guarded":
        out.put(doubtful, Verdict.UNCLEAR, "inside-guard-band")
    else:
        plain = doubtful & (out.verdict == Verdict.PASS)
        out.put(plain, Verdict.MARGINAL, "within-uncertainty-of-limit")


def _without_limit(batch: _Batch, name: str, wave: str, rules: RuleSet) -> Judged:
    """A multiple or waveform that the rules do not use is not judged, unless it fails anyway."""
    out = Judged.blank(len(batch.value))
    out.put(np.ones(len(batch.value), dtype=bool), Verdict.NOT_JUDGED, "not-in-rules")
    if batch.slot.quantity != "trip_time" or batch.slot.multiple < 1 or batch.slot.waveform != "ac":
        return out
    at_rated = rules.limit(name, batch.slot._replace(multiple=1.0), wave)
    if at_rated is not None and np.isfinite(at_rated.maximum):
        tripped = batch.state == State.TRIPPED
        slow = tripped & (
            (batch.value > at_rated.maximum) | ((batch.bound == Bound.ABOVE) & (batch.value >= at_rated.maximum))
        )
        out.put(slow, Verdict.FAIL, "slower-than-at-rated")
        out.limit[slow] = at_rated.maximum
    out.put(batch.state == State.NOT_TRIPPED, Verdict.FAIL, "did-not-trip")
    return out


class LimitsUsed:
    """Numbers the limits that judged something, in order of first use."""

    def __init__(self, rules: RuleSet) -> None:
        self._rules = rules
        self._ids: dict[int, int] = {}
        self._limits: list[Limit] = []

    def id(self, limit: Limit) -> int:
        """Number of a limit."""
        if id(limit) not in self._ids:
            self._ids[id(limit)] = len(self._limits)
            self._limits.append(limit)
        return self._ids[id(limit)]

    def frame(self) -> pd.DataFrame:
        """The table `limits` of records.Audit."""
        rows: list[dict[str, Any]] = [
            {
                "quantity": x.quantity,
                "rcd_type": ", ".join(x.types),
                "waveform": x.waveform,
                "multiple": x.multiple,
                "minimum": x.minimum,
                "maximum": x.maximum,
                "unit": "ms" if x.quantity == "trip_time" else "mA",
                "text": x.text,
                "source": x.source,
                "standing": x.standing,
            }
            for x in self._limits
        ]
        names = [
            "quantity",
            "rcd_type",
            "waveform",
            "multiple",
            "minimum",
            "maximum",
            "unit",
            "text",
            "source",
            "standing",
        ]
        return pd.DataFrame(rows, columns=names)
