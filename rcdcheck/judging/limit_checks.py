"""A batch of readings against the limit of one RCD type: times, ramps, holding at half rated, uncertainty."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from rcdcheck.judging.batches import Batch
from rcdcheck.judging.confidence import default_spec, p_conform, standard_uncertainty
from rcdcheck.judging.judged import Judged
from rcdcheck.judging.limits_used import LimitsUsed
from rcdcheck.options import Options
from rcdcheck.rules import Curve, Limit, RuleSet
from rcdcheck.tables import Mask, Numbers
from rcdcheck.terms import Bound, State, Verdict

LOST_SIGN = (300.0, 500.0, 1000.0, 1999.0, 2000.0)  # bare ends of instrument ranges: perhaps a lost ">"
SMALLER = "It would fit a smaller rating: look at the rated residual current on the device too."
SURE = 0.95  # chance of conformity below which a pass is marginal


def under_type(
    batch: Batch, name: str, wave: str, rules: RuleSet, options: Options, used: LimitsUsed, *, short_time: bool = False
) -> Judged:
    """Judge a batch as if every device were of the RCD type `name`; all have one slot and one rated current."""
    limit = rules.limit(name, batch.slot, wave) or rules.reaching(name, batch.slot, wave, float(batch.rated[0]))
    if limit is None:
        return _without_limit(batch, rules.plausibility.floor_ms(batch.slot.multiple))
    if limit.curve is not None:
        batch = _rated_at_most(batch, next(t.rated_to for t in rules.types if t.name == name))
    out = Judged.blank(len(batch.value))
    out.limit_id[:] = used.id(limit)
    maximum, minimum = _bounds(limit, batch)
    out.limit = maximum.copy()
    if limit.tripping == "forbidden":
        _must_hold(out, batch, limit)
    elif batch.slot.quantity == "trip_current":
        _ramp(out, batch, limit, minimum, maximum, rules)
    else:
        _trip_time(out, batch, limit, minimum, maximum, rules.plausibility.floor_ms(batch.slot.multiple))
        _short_delay(out, batch, limit, short_time)
    if limit.tripping != "forbidden":
        _weigh_uncertainty(out, batch, limit, minimum, maximum, options)
    if limit.curve is not None:
        _off_the_curve(out, batch, limit.curve)
    if limit.waveform_types and not wave:  # the device may be of a type that nothing is asked of here
        out.put(out.verdict == Verdict.FAIL, Verdict.UNCLEAR, "waveform-type-not-stated")
    unreadable = (batch.state == State.UNREADABLE) & ~(batch.says_ok & (limit.tripping == "forbidden"))
    out.put(unreadable, Verdict.UNCLEAR, "reading-unreadable")
    return out


def _rated_at_most(batch: Batch, highest: float) -> Batch:
    """A share of a rated current that nobody stated is at most that share of the type's highest, in mA."""
    unknown = np.isnan(batch.current) & (batch.slot.multiple < 1)
    current = np.where(unknown, batch.slot.multiple * highest, batch.current)
    return replace(batch, rated=np.where(unknown, highest, batch.rated), current=current)


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
    if not limit.knows_minimum(batch.slot.phase):
        out.put(number, Verdict.UNCLEAR, "phase-decides")
    out.put((batch.bound == Bound.EXACT) & np.isin(batch.value, LOST_SIGN), Verdict.UNCLEAR, "comparator-perhaps-lost")
    out.limit[:] = np.nan


def _trip_time(out: Judged, batch: Batch, limit: Limit, minimum: Numbers, maximum: Numbers, floor: float) -> None:
    exact = (batch.state == State.TRIPPED) & (batch.bound == Bound.EXACT)
    above = (batch.state == State.TRIPPED) & (batch.bound == Bound.ABOVE)
    out.put(exact, Verdict.PASS)
    if np.isfinite(limit.caution_above):
        stricter = f"{limit.caution_above:g} ms by {limit.caution_source}"
        out.put(exact & (batch.value > limit.caution_above), Verdict.PASS, "over-stricter-published-figure", stricter)
    whole = np.abs(batch.value - np.round(batch.value)) < 1e-9
    out.put(exact & (batch.value == maximum) & whole, Verdict.MARGINAL, "exactly-at-limit")
    out.put(exact & (batch.value < floor), Verdict.UNCLEAR, "below-physical-floor")
    out.put(exact & (batch.value < minimum), Verdict.FAIL, "selective-too-fast")
    exceed = Verdict.FAIL if limit.on_exceed == "fail" else Verdict.UNCLEAR
    over = "trip-time-over-limit" if exceed == Verdict.FAIL else "trip-time-over-doubted-limit"
    out.put(exact & (batch.value > maximum), exceed, over, limit.hint)
    out.put(above, Verdict.UNCLEAR, "lower-bound-below-limit")
    out.put(above & (batch.value >= maximum), exceed, over, limit.hint)
    never = "did-not-trip" if exceed == Verdict.FAIL else over
    out.put(batch.state == State.NOT_TRIPPED, exceed, never, limit.hint if never == over else "")


def _short_delay(out: Judged, batch: Batch, limit: Limit, short_time: bool) -> None:
    """A device with a short-time delay that lets go before it is not what the sheet says."""
    if short_time and np.isfinite(limit.quick_below):
        quick = (out.verdict == Verdict.PASS) & (batch.value < limit.quick_below)
        out.put(quick, Verdict.UNCLEAR, "quicker-than-its-delay", f"{limit.quick_below:g} ms")


def _off_the_curve(out: Judged, batch: Batch, curve: Curve) -> None:
    """Test currents that the inverse-time curve does not reach: the lowest must not trip, the next may or may not."""
    tripped = batch.state == State.TRIPPED
    out.put(np.isnan(batch.current) & tripped, Verdict.UNCLEAR, "test-current-missing")
    low = batch.current < curve.from_ma
    out.limit[low], out.p_conform[low] = np.nan, np.nan
    open_to_both = low & (out.reason != "below-physical-floor")
    out.put(open_to_both, Verdict.UNCLEAR, "beyond-rules")
    out.put(open_to_both & (batch.current < batch.rated), Verdict.NOT_JUDGED, "not-in-rules")
    must_hold = batch.current < curve.hold_below_ma
    out.put(must_hold, Verdict.PASS)
    out.put(must_hold & tripped & (batch.bound == Bound.EXACT), Verdict.FAIL, "tripped-where-it-must-hold",
            f"{curve.hold_below_ma:g} mA")  # fmt: skip
    bare_end = (batch.bound == Bound.EXACT) & np.isin(batch.value, LOST_SIGN)
    out.put(must_hold & bare_end, Verdict.UNCLEAR, "comparator-perhaps-lost")


def _ramp(out: Judged, batch: Batch, limit: Limit, minimum: Numbers, maximum: Numbers, rules: RuleSet) -> None:
    exact = (batch.state == State.TRIPPED) & (batch.bound == Bound.EXACT)
    above = (batch.state == State.TRIPPED) & (batch.bound == Bound.ABOVE)
    out.put(exact, Verdict.PASS)
    out.put(exact & (batch.value == maximum), Verdict.MARGINAL, "exactly-at-limit")
    at_or_below = np.isfinite(
        limit.minimum_share
    )  # a share of rated must be exceeded, an absolute minimum may be reached
    low = exact & ((batch.value < minimum) | (at_or_below & (batch.value == minimum)))
    smaller = low & _fits_smaller_rating(batch, rules)
    if limit.on_below == "fail":
        out.put(low, Verdict.FAIL, "ramp-below-lower-limit")
        out.put(smaller, Verdict.FAIL, "ramp-below-lower-limit", SMALLER)
        if not limit.knows_minimum(batch.slot.phase):
            out.put(low, Verdict.UNCLEAR, "phase-decides")
    else:
        out.put(low, Verdict.PASS, "over-sensitive")
        out.put(smaller, Verdict.UNCLEAR, "rated-perhaps-smaller")
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
    out: Judged, batch: Batch, limit: Limit, minimum: Numbers, maximum: Numbers, options: Options
) -> None:
    """Chance of conformity (JCGM 106); a pass below 95 % is marginal, or unclear with --decision guarded.

    Each limit has the uncertainty of its own size: 10 % of 130 ms, not of 500 ms, at the minimum of selective types.
    """
    exact = (batch.state == State.TRIPPED) & (batch.bound == Bound.EXACT)
    stated = dict(options.uncertainty).get(batch.slot.quantity)
    spec = stated or default_spec(batch.slot.quantity)["spec"]
    lower = minimum if limit.on_below == "fail" else np.full(len(minimum), np.nan)
    ramp = batch.slot.quantity == "trip_current"
    references = (batch.rated, batch.rated) if ramp else (maximum, np.where(np.isnan(lower), maximum, lower))
    u_high, u_low = (standard_uncertainty(batch.value, of, spec, batch.step) for of in references)
    nothing = np.full(len(minimum), np.nan)
    below_maximum = p_conform(batch.value, nothing, maximum, u_high)
    above_minimum = p_conform(batch.value, lower, nothing, u_low)
    chance = np.clip(below_maximum + above_minimum - 1, 0, 1)
    out.p_conform = np.where(exact, chance, np.nan)
    doubtful = exact & (chance < SURE) & np.isin(out.verdict, (Verdict.PASS, Verdict.MARGINAL))
    if options.decision == "guarded":
        out.put(doubtful, Verdict.UNCLEAR, "inside-guard-band")
        return
    plain = doubtful & (out.verdict == Verdict.PASS)
    out.put(plain, Verdict.MARGINAL, "within-uncertainty-of-limit")
    out.put(plain & (above_minimum < below_maximum), Verdict.MARGINAL, "within-uncertainty-of-minimum")


def _without_limit(batch: Batch, floor: float) -> Judged:
    """Below the rated current a device may or may not trip; at it or above, what no limit reaches is unclear."""
    out = Judged.blank(len(batch.value))
    everything = np.ones(len(batch.value), dtype=bool)
    if batch.slot.quantity == "trip_time" and batch.slot.multiple < 1:
        out.put(everything, Verdict.NOT_JUDGED, "not-in-rules")
        tripped = (batch.state == State.TRIPPED) & (batch.bound == Bound.EXACT)
        if batch.slot.waveform != "ac":  # where its band begins depends on the angle: nobody knows whether it may
            out.put(tripped, Verdict.UNCLEAR, "beyond-rules")
    else:
        out.put(everything, Verdict.UNCLEAR, "beyond-rules")
    if batch.slot.quantity == "trip_time":
        exact = (batch.state == State.TRIPPED) & (batch.bound == Bound.EXACT)
        out.put(exact & (batch.value < floor), Verdict.UNCLEAR, "below-physical-floor")
    out.put(batch.state == State.UNREADABLE, Verdict.UNCLEAR, "reading-unreadable")
    return out
