"""Rule sets: limits, what a complete test needs, and intervals, as data of `schemas/rules/*.toml`.

Units throughout: ms, mA, months, Hz. Every figure carries where it comes from and how that is known:
`published`, `common practice` or `from memory`. A person's own file may stand alone or extend a shipped set.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import numpy.typing as npt

from rcdcheck import data
from rcdcheck.records import Numbers, Slot

Standing = Literal["published", "common practice", "from memory"]
Delay = Literal["general", "selective"]
Quantity = Literal["trip_time", "trip_current"]
Waveform = Literal["ac", "pulsating", "smooth_dc"]
NAN = math.nan


@dataclass(frozen=True)
class RcdType:
    """A type of device: rated above `rated_above` up to and including `rated_to` mA, with or without delay.

    `beside` names a type of the same range and delay that an unstated device may be instead.
    """

    name: str
    rated_above: float
    rated_to: float
    delay: Delay
    source: str
    standing: Standing
    beside: str = ""

    def covers(self, rated: float) -> bool:
        """Whether a rated residual current in mA may be of this type; a missing one (NaN) may."""
        return math.isnan(rated) or self.rated_above < rated <= self.rated_to


@dataclass(frozen=True)
class Curve:
    """Inverse-time limit of ground-fault interrupters: t = (coefficient ÷ I)^exponent seconds, I in mA."""

    coefficient_ma: float
    exponent: float
    from_ma: float
    to_ma: float
    beyond_ms: float
    beyond_source: str
    beyond_standing: Standing

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
    none; `multiple` is 0 for a ramp and NaN where the limit holds at every test current. `window` is how long
    (ms) a device is watched where tripping is forbidden. A window, a caution, and a minimum that is known
    from elsewhere than the maximum, have a source of their own.
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
    waveform_types: tuple[Literal["AC", "A", "F", "B"], ...] = ()
    curve: Curve | None = None
    text: str = ""

    def __post_init__(self) -> None:
        """Put the limit in words where the file gives none."""
        if not self.text:
            object.__setattr__(self, "text", _limit_text(self))

    def judges(self, slot: Slot) -> bool:
        """Whether this is about the readings of a slot, whatever their phase."""
        same = self.quantity == slot.quantity and self.waveform == slot.waveform
        return same and (math.isnan(self.multiple) or math.isclose(self.multiple, slot.multiple, rel_tol=0.01))


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
    """Preferred rated residual currents in mA."""

    values: tuple[float, ...]
    source: str
    standing: Standing


@dataclass(frozen=True)
class Plausibility:
    """What no mechanism can beat: the current must reach the trip level, then the contacts must part."""

    mains_frequency: float
    trip_level: float  # share of IΔn at which a device may let go at the earliest
    release_ms: float
    very_fast_1x_ms: float
    very_fast_5x_ms: float
    source: str
    standing: Standing

    def floor_ms(self, multiple: npt.ArrayLike, waveform: str = "ac") -> Numbers:
        """Shortest possible trip time in ms at test currents of `multiple` times rated, rounded up to 0.1 ms.

        The current starts at a zero crossing and reaches k·IΔn after t = arcsin(k ÷ (p·m)) ÷ (2πf), where p
        is the peak of a wave of r.m.s. value 1: √2 of a sine, 2 of half waves. Smooth current has no rise.
        """
        ratio = np.divide(self.trip_level, np.asarray(multiple, dtype=np.float64))
        peak = {"ac": math.sqrt(2), "pulsating": 2.0, "smooth_dc": math.inf}[waveform]
        rise = np.arcsin(np.clip(ratio / peak, 0, 1)) / (2 * math.pi * self.mains_frequency)
        floor: Numbers = np.ceil((1000 * rise + self.release_ms) * 10 - 1e-9) / 10
        return floor

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
    def multiples(self) -> tuple[float, ...]:
        """Multiples of the rated residual current at which trip times are judged, ascending."""
        return tuple(sorted({limit.multiple for limit in self.limits if limit.multiple > 0}))

    def possible_types(self, rated: float, rcd_type: str, delay: str) -> tuple[str, ...]:
        """Names of the types that a row leaves possible; each statement may be missing (NaN, empty).

        Empty where they contradict each other, or where the rating is outside the set.
        """
        stated = self.class_names.get(rcd_type, (rcd_type,))
        return tuple(
            t.name
            for t in self.types
            if t.covers(rated) and delay in ("", t.delay) and (not rcd_type or t.name in stated)
        )

    def limit(self, type_name: str, slot: Slot, waveform_type: str = "") -> Limit | None:
        """The limit for readings of a slot on devices of a type, or None where the set has none."""
        for limit in self.limits:
            senses = not waveform_type or not limit.waveform_types or waveform_type in limit.waveform_types
            if type_name in limit.types and senses and limit.judges(slot):
                return limit
        return None

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


def shipped() -> tuple[str, ...]:
    """Names of the rule sets that come with rcdcheck."""
    return tuple(sorted(path.stem for path in (data.schemas() / "rules").glob("*.toml")))


def load(name_or_path: str) -> RuleSet:
    """The shipped set of that name, else the one in the file at that path; SettingsError where unsound."""
    from rcdcheck import rule_loading  # which knows the classes above

    return rule_loading.load(name_or_path)


def _limit_text(limit: Limit) -> str:
    wave = {"ac": "", "pulsating": ", pulsating", "smooth_dc": ", smooth d.c."}[limit.waveform]
    if limit.quantity == "trip_current":
        return _band(limit.minimum_share, limit.maximum_share, limit.minimum, limit.maximum) + wave
    at = "" if math.isnan(limit.multiple) else " at half rated" if limit.multiple == 0.5 else f" at {limit.multiple:g}×"
    if limit.tripping == "forbidden":
        watched = "" if math.isnan(limit.window) else f" within {limit.window:g} ms"
        return f"must not trip{watched}{at}{wave}"
    if limit.curve is not None:
        return f"at most ({limit.curve.coefficient_ma:g} mA ÷ I)^{limit.curve.exponent:g} s{at}{wave}"
    return _between(limit.minimum, limit.maximum, "ms") + at + wave


def _band(low_share: float, high_share: float, low: float, high: float) -> str:
    if math.isnan(low_share) and math.isnan(high_share):
        return _between(low, high, "mA")
    above = "" if math.isnan(low_share) else f"above {low_share:g} and "
    return f"{above}at most {high_share:g} × IΔn"


def _between(low: float, high: float, unit: str) -> str:
    if math.isnan(low):
        return f"at most {high:g} {unit}"
    return f"at least {low:g} {unit}" if math.isnan(high) else f"{low:g} to {high:g} {unit}"
