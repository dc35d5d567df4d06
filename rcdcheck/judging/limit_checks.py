"""A batch of readings against the limit of one RCD type: times, ramps, holding at half rated, uncertainty."""

from __future__ import annotations

import numpy as np

from rcdcheck.judging.batches import Batch
from rcdcheck.judging.confidence import default_spec, p_conform, standard_uncertainty
from rcdcheck.judging.judged import Judged
from rcdcheck.judging.limits_used import LimitsUsed
from rcdcheck.records import Bound, Mask, Numbers, Options, State, Verdict
from rcdcheck.rules import Limit, RuleSet

LOST_SIGN = (300.0, 500.0, 1000.0, 1999.0, 2000.0)  # bare ends of instrument ranges: perhaps a lost ">"
SURE = 0.95  # chance of conformity below which a pass is marginal


def under_type(batch: Batch, name: str, wave: str, rules: RuleSet, options: Options, used: LimitsUsed) -> Judged:
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


def _bounds(limit: Limit, batch: Batch) -> tuple[Numbers, Numbers]:
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


def _must_hold(out: Judged, batch: Batch, limit: Limit) -> None:
    """At half the rated current the device must not trip."""
    number = (batch.state == State.TRIPPED) & (batch.bound == Bound.EXACT)
    held = (batch.state == State.NOT_TRIPPED) | (batch.bound == Bound.ABOVE) | batch.says_ok
    out.put(held, Verdict.PASS)
    short = (batch.bound == Bound.ABOVE) & (batch.value < limit.window)
    out.put(short & held, Verdict.PASS, "half-rated-window-short")
    out.put(number, Verdict.FAIL, "tripped-at-half-rated")
    out.put((batch.bound == Bound.EXACT) & np.isin(batch.value, LOST_SIGN), Verdict.UNCLEAR, "comparator-perhaps-lost")
    out.limit[:] = np.nan


def _trip_time(out: Judged, batch: Batch, limit: Limit, minimum: Numbers, maximum: Numbers, rules: RuleSet) -> None:
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


def _ramp(out: Judged, batch: Batch, limit: Limit, minimum: Numbers, maximum: Numbers, rules: RuleSet) -> None:
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


def _fits_smaller_rating(batch: Batch, rules: RuleSet) -> Mask:
    """Whether a smaller preferred rating r explains the ramp: r/2 < reading ≤ r."""
    fits = np.zeros(len(batch.value), dtype=bool)
    for r in rules.preferred_ratings:
        fits |= (r < batch.rated) & (batch.value > r / 2) & (batch.value <= r)
    return fits


def _weigh_uncertainty(
    out: Judged,
    batch: Batch,
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


def _without_limit(batch: Batch, name: str, wave: str, rules: RuleSet) -> Judged:
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
