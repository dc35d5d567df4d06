"""Rule sets: limits, what a complete test needs, and intervals, as data of `schemas/rules/*.toml`.

Units throughout: ms, mA, months, Hz. Every figure carries where it comes from and how that is known:
`published`, `common practice` or `from memory`. A person's own file may stand alone or extend a shipped set.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal

import numpy as np
import numpy.typing as npt

from rcdcheck.terms import Slot

if TYPE_CHECKING:
    from rcdcheck.tables import Numbers

Standing = Literal["published", "common practice", "from memory"]
Delay = Literal["general", "selective"]
SHORT_TIME = "short_time"  # a stated delay of some 10 ms: a general device that also has a shortest time
Quantity = Literal["trip_time", "trip_current"]
Waveform = Literal["ac", "pulsating", "smooth_dc"]
NAN = math.nan
ROUNDED = 1e-3  # multiples from test currents are known to three digits


@dataclass(frozen=True)
class RcdType:
    """A type of device: rated above `rated_above` up to and including `rated_to` mA, with or without delay.

    `beside` names a type of the same range and delay that an unstated device may be instead; `only` is the kind of
    device that may be of this type where its type is not stated.
    """

    name: str
    rated_above: float
    rated_to: float
    delay: Delay
    source: str
    standing: Standing
    beside: str = ""
    only: Literal["", "portable", "fixed"] = ""

    def covers(self, rated: float) -> bool:
        """Whether a rated residual current in mA may be of this type; a missing one (NaN) may."""
        return math.isnan(rated) or self.rated_above < rated <= self.rated_to


@dataclass(frozen=True)
class Curve:
    """Inverse-time limit of ground-fault interrupters: t = (coefficient ÷ I)^exponent seconds, I in mA.

    Below `hold_below_ma` the device must not trip; from there to `from_ma` it may or may not.
    """

    coefficient_ma: float
    exponent: float
    from_ma: float
    to_ma: float
    beyond_ms: float
    beyond_source: str
    beyond_standing: Standing
    hold_below_ma: float
    hold_source: str
    hold_standing: Standing

    def maximum_ms(self, current_ma: npt.ArrayLike) -> Numbers:
        """Longest time in ms at test currents in mA: infinite below `from_ma`, NaN where that is NaN."""
        current = np.asarray(current_ma, dtype=np.float64)
        with np.errstate(divide="ignore", over="ignore"):
            on_curve = 1000 * np.power(self.coefficient_ma / np.abs(current), self.exponent)
        beyond = np.where(current > self.to_ma, self.beyond_ms, on_curve)
        return np.where(current < self.from_ma, np.inf, beyond)


@dataclass(frozen=True)
class Limit:
    """What a reading of one quantity, waveform and multiple must satisfy on devices of some types.

    `minimum` and `maximum` are absolute (ms or mA) and may themselves be reached. The shares are of the rated
    residual current: at or below `minimum_share` is too low, `maximum_share` may be reached. NaN stands for
    none; `multiple` is 0 for a ramp and NaN where the limit holds at every test current, or from `current`
    mA on whatever the rating. `window` is how long (ms) a device is watched where tripping is forbidden;
    `quick_below` (ms) is what a short-time delayed device should hold; `hint` is what a failure says beside
    its figures. `minimum_phases` are those of which the lower bound, or that it must hold, is known: without a phase
    its breach is unclear. A window, a caution, a shortest time, and a minimum that is known from elsewhere than the
    maximum, have a source of their own.
    """

    quantity: Quantity
    types: tuple[str, ...]
    source: str
    standing: Standing
    waveform: Waveform = "ac"
    multiple: float = NAN
    minimum: float = NAN
    maximum: float = NAN
    minimum_share: float = NAN
    maximum_share: float = NAN
    minimum_source: str = ""
    minimum_standing: Standing | Literal[""] = ""
    tripping: Literal["demanded", "forbidden"] = "demanded"
    on_exceed: Literal["fail", "unclear"] = "fail"
    on_below: Literal["fail", "caution"] = "fail"
    caution_above: float = NAN
    caution_source: str = ""
    caution_standing: Standing | Literal[""] = ""
    window: float = NAN
    window_source: str = ""
    window_standing: Standing | Literal[""] = ""
    quick_below: float = NAN
    quick_source: str = ""
    quick_standing: Standing | Literal[""] = ""
    waveform_types: tuple[Literal["AC", "A", "F", "B"], ...] = ()
    minimum_phases: tuple[Literal["0", "180"], ...] = ()
    current: float = NAN
    curve: Curve | None = None
    hint: str = ""
    text: str = ""

    def __post_init__(self) -> None:
        """Put the limit in words where the file gives none."""
        if not self.text:
            object.__setattr__(self, "text", _limit_text(self))

    def judges(self, slot: Slot) -> bool:
        """Whether this is about the readings of a slot, whatever their phase."""
        if self.quantity != slot.quantity or self.waveform != slot.waveform or not math.isnan(self.current):
            return False
        return math.isnan(self.multiple) or math.isclose(self.multiple, slot.multiple, rel_tol=0.01)

    def knows_minimum(self, phase: str) -> bool:
        """Whether the lower bound is one for this phase; the worse of both is of either."""
        return not self.minimum_phases or phase == "worst" or phase in self.minimum_phases

    def reached_at(self, rated: float) -> float:
        """Multiple of the rated residual current from which on this limit may judge; NaN where not known."""
        return self.multiple if math.isnan(self.current) else self.current / rated

    @property
    def is_time(self) -> bool:
        """Whether it gives a longest trip time at a multiple or current of its own."""
        return self.quantity == "trip_time" and not math.isnan(self.maximum)


@dataclass(frozen=True)
class Need:
    """A reading without which a test is incomplete, on devices rated up to `rated_to` mA.

    `phases` lists every phase that is needed; `("any",)` is satisfied by one reading of whatever phase. A
    `multiple` of NaN is satisfied at any test current, but the current must be known.
    """

    quantity: Quantity
    phases: tuple[Literal["0", "180", "any"], ...]
    source: str
    standing: Standing
    multiple: float = NAN
    waveform: Waveform = "ac"
    rated_to: float = math.inf

    @property
    def text(self) -> str:
        """Short words for it: `trip time 1× at 0° and 180°`."""
        at = " with its test current" if math.isnan(self.multiple) else f" {self.multiple:g}×"
        what = "ramp trip current" if self.quantity == "trip_current" else f"trip time{at}"
        phases = "" if self.phases == ("any",) else f" at {' and '.join(p + '°' for p in self.phases)}"
        return what + phases + ("" if math.isinf(self.rated_to) else f", up to {self.rated_to:g} mA")


@dataclass(frozen=True)
class Interval:
    """How long a passed operating-time test is good for."""

    kind: Literal["portable", "fixed"]
    environment: str
    months: int
    source: str
    standing: Standing


@dataclass(frozen=True)
class Ratings:
    """Preferred rated residual currents in mA, others that are met, and the highest of a portable device."""

    values: tuple[float, ...]
    source: str
    standing: Standing
    also: tuple[float, ...] = ()
    also_source: str = ""
    also_standing: Standing | Literal[""] = ""
    portable_to: float = math.inf
    portable_source: str = ""
    portable_standing: Standing | Literal[""] = ""


@dataclass(frozen=True)
class Plausibility:
    """What no mechanism can beat: the current must reach the trip level, then the contacts must part."""

    mains_frequency: float
    floor_1x_ms: float
    floor_5x_ms: float
    very_fast_1x_ms: float
    very_fast_5x_ms: float
    source: str
    standing: Standing

    def floor_ms(self, multiple: float) -> float:
        """Below this many ms a reading is not physical: straight between 1× and 5×, the lower where not known."""
        if math.isnan(multiple):
            return self.floor_5x_ms
        return float(np.interp(multiple, [1, 5], [self.floor_1x_ms, self.floor_5x_ms]))

    def very_fast_ms_at(self, multiple: float) -> float:
        """Below this many ms a reading is remarkably fast; straight between 1× and 5×."""
        return float(np.interp(multiple, [1, 5], [self.very_fast_1x_ms, self.very_fast_5x_ms]))


@dataclass(frozen=True, eq=False)
class RuleSet:
    """One rule set; see the module for where it comes from."""

    title: str
    document: str
    edition: str
    covers: str
    notice: str
    types: tuple[RcdType, ...]
    limits: tuple[Limit, ...]
    needs: tuple[Need, ...]
    must_pass: tuple[str, ...]
    ratings: Ratings
    plausibility: Plausibility
    intervals: tuple[Interval, ...] = ()
    class_names: dict[str, tuple[str, ...]] = field(default_factory=dict)
    environment_words: dict[str, tuple[str, ...]] = field(default_factory=dict)
    name: str = ""
    sha256: str = ""  # of the file, after that of the set it extends

    @property
    def preferred_ratings(self) -> tuple[float, ...]:
        """Preferred rated residual currents in mA, ascending."""
        return tuple(sorted(self.ratings.values))

    @property
    def typed_names(self) -> tuple[str, ...]:
        """What a sheet may call a type of device: names of types, and words that stand for some of them."""
        return tuple(dict.fromkeys([*(t.name for t in self.types), *self.class_names]))

    @property
    def multiples(self) -> tuple[float, ...]:
        """Multiples of the rated residual current at which trip times are judged, ascending."""
        return tuple(sorted({limit.multiple for limit in self.limits if limit.multiple > 0}))

    def multiples_of(self, waveform: str) -> tuple[float, ...]:
        """Those of them at which currents of one waveform are judged."""
        return tuple(sorted({x.multiple for x in self.limits if x.multiple > 0 and x.waveform == waveform}))

    def knows_rating(self, rated: float) -> bool:
        """Whether devices are made with this rated residual current; a missing one (NaN) may be any."""
        return math.isnan(rated) or any(math.isclose(rated, r) for r in (*self.ratings.values, *self.ratings.also))

    def possible_types(self, rated: float, rcd_type: str, delay: str, kind: str = "") -> tuple[str, ...]:
        """Names of the types that a row leaves possible; each statement may be missing (NaN, empty).

        Empty where they contradict each other, or where the rating is outside the set.
        """
        stated = self.class_names.get(rcd_type, (rcd_type,))
        delay = "general" if delay == SHORT_TIME else delay
        return tuple(
            t.name
            for t in self.types
            if t.covers(rated)
            and delay in ("", t.delay)
            and (t.name in stated if rcd_type else not kind or t.only in ("", kind))
        )

    def limit(self, type_name: str, slot: Slot, waveform_type: str = "") -> Limit | None:
        """The limit for readings of a slot on devices of a type, or None where the set has none of its own."""
        return next((x for x in self._of(type_name, waveform_type) if x.judges(slot)), None)

    def _of(self, type_name: str, waveform_type: str) -> list[Limit]:
        """Limits of devices of one type whose waveform, where it is known, they are meant for."""
        return [
            x
            for x in self.limits
            if type_name in x.types and (not waveform_type or not x.waveform_types or waveform_type in x.waveform_types)
        ]

    def reaching(self, type_name: str, slot: Slot, waveform_type: str = "", rated: float = NAN) -> Limit | None:
        """The limit that reaches a trip time at a multiple without a limit of its own, or None.

        More current never takes longer: the next lower multiple, or current, that has a longest time decides, and
        the shortest time is that of the next higher. What must hold at half rated must hold at less.
        """
        same = [x for x in self._of(type_name, waveform_type)
                if x.quantity == slot.quantity == "trip_time" and x.waveform == slot.waveform]  # fmt: skip
        hold = [x for x in same if x.tripping == "forbidden" and slot.multiple <= x.multiple]
        if hold:
            return min(hold, key=lambda x: x.multiple)
        if slot.multiple < 1:  # below the rated current it may trip or not, whatever a fixed current would demand
            return None
        below = [x for x in same if x.is_time and x.reached_at(rated) <= slot.multiple * (1 + ROUNDED)]
        if not below:
            return None
        limit = max(below, key=lambda x: x.reached_at(rated))
        if math.isclose(limit.reached_at(rated), slot.multiple, rel_tol=0.01):
            return limit
        # where the rating is not known a limit at a fixed current may stand anywhere above
        above = [x for x in same if not x.reached_at(rated) <= slot.multiple and not math.isnan(x.minimum)]
        minimum = min(above, key=lambda x: np.nan_to_num(x.reached_at(rated), nan=math.inf)).minimum if above else NAN
        at = f"{limit.multiple:g}×" if math.isnan(limit.current) else f"{limit.current:g} mA"
        text = f"{_between(minimum, limit.maximum, 'ms')} above {at}"
        return replace(limit, minimum=minimum, quick_below=NAN, caution_above=NAN, text=text)

    def retest_months(self, kind: str, environment: str) -> Interval | None:
        """Interval for a kind (portable, fixed) in an environment: the set's word for it or a synonym."""
        word = _plain(environment)
        for interval in self.intervals:
            known = (interval.environment, *self.environment_words.get(interval.environment, ()))
            if interval.kind == kind and word in map(_plain, known):
                return interval
        return None


def _plain(word: str) -> str:
    return " ".join(re.findall(r"\w+", word.casefold()))


def _limit_text(limit: Limit) -> str:
    wave = {"ac": "", "pulsating": ", pulsating", "smooth_dc": ", smooth d.c."}[limit.waveform]
    if limit.quantity == "trip_current":
        return _band(limit.minimum_share, limit.maximum_share, limit.minimum, limit.maximum) + wave
    at = (
        _at_current(limit.current)
        if math.isnan(limit.multiple)
        else " at half rated"
        if limit.multiple == 0.5
        else f" at {limit.multiple:g}×"
    )
    if limit.tripping == "forbidden":
        watched = "" if math.isnan(limit.window) else f" within {limit.window:g} ms"
        return f"must not trip{watched}{at}{wave}"
    if limit.curve is not None:
        return f"at most ({limit.curve.coefficient_ma:g} mA ÷ I)^{limit.curve.exponent:g} s{at}{wave}"
    return _between(limit.minimum, limit.maximum, "ms") + at + wave


def _at_current(current: float) -> str:
    return "" if math.isnan(current) else f" at {current:g} mA"


def _band(low_share: float, high_share: float, low: float, high: float) -> str:
    if math.isnan(low_share) and math.isnan(high_share):
        return _between(low, high, "mA")
    above = "" if math.isnan(low_share) else f"above {low_share:g} and "
    return f"{above}at most {high_share:g} × IΔn"


def _between(low: float, high: float, unit: str) -> str:
    if math.isnan(low):
        return f"at most {high:g} {unit}"
    return f"at least {low:g} {unit}" if math.isnan(high) else f"{low:g} to {high:g} {unit}"
