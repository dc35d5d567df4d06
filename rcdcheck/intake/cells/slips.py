"""Values that make sense only in another unit, with the decimal point elsewhere, or in the neighbouring column.

Nothing is rescaled: such cells become unreadable, with what they may have meant. A slow device's genuine 310 among 28s
stays a reading, and so does every value that an instrument could have shown. Thresholds: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt

from rcdcheck.intake.cells.column_of_readings import ReadingColumn
from rcdcheck.intake.cells.numerals import perhaps
from rcdcheck.tables import Mask, Numbers, Texts

NEIGHBOURS = 3  # ordinary values that a lone one is held against
SWAPPED_ROWS = 6  # rows that tell whether two columns have changed places
ORDINARY = 3.0  # within this factor of the median
NEAR = 1.5  # a moved point must bring a value within this factor of the ordinary ones
CERTAIN_SLIP = 2000.0  # ms: beyond the longest window of trip-time tests
WHOLE_SLIP = 1000.0  # ms, mA: a whole number from here up, where its neighbours have decimals
SLOW_CURRENT = 13.0  # mA: at no more, inverse-time devices may take longer than that (UL 943, t = (20 mA ÷ I)^1.43 s)
RAMP_END = 5.0  # times the rated residual current: no ramp goes so far
RANGE_ENDS = (1000.0, 2000.0)  # ms: more likely a lost ">" than a lost point
_BASE, _LARGER = {"trip_time": "ms", "trip_current": "mA"}, {"trip_time": "s", "trip_current": "A"}


def other_unit(
    column: ReadingColumn, reread: Callable[[str], ReadingColumn], quantity: str, unit: str, rated: Numbers | None
) -> ReadingColumn:
    """Refuse a whole column that fits only another unit: times all below 1 ms, a median of 28 s, and so for currents.

    `reread` gives the same cells read in another unit.
    """
    base, larger = _BASE[quantity], _LARGER[quantity]
    plain = column.value[column.exact & ~column.own_unit]
    if unit != larger and (not len(plain) or plain.max() >= 1):
        return column
    other = reread(base if unit == larger else larger)
    at = other.present & ~np.isnan(other.value) & ~other.own_unit
    if not (at & other.exact).any():
        return column
    typical = np.median(other.value[at]) if at.any() else 0.0
    if unit == larger and typical * 1000 <= highest(quantity, rated):
        return column
    if typical < 1 or typical > highest(quantity, rated):
        return column
    suggestion = _for_each(other.value[at], lambda value: perhaps(f"{value:.10g} {base}"))
    words = {
        "stated": unit or base,
        "meant": base if unit == larger else larger,
        "example": f"{other.value[at][0]:.10g} {base}",
    }
    return column.refused(at, "", suggestion, (("column-perhaps-other-unit", words),))


def highest(quantity: str, rated: Numbers | None) -> float:
    """What a typical value can be at most: 10 s, or a hundred times the highest rated residual current."""
    if quantity == "trip_time":
        return 10_000.0
    known = rated[np.isfinite(rated)] if rated is not None else np.empty(0)
    return 100.0 * float(known.max()) if len(known) else 10_000.0


def lone_values(column: ReadingColumn, quantity: str, unit: str, rated: Numbers | None) -> ReadingColumn:
    """Refuse single values that no instrument shows and that fit their neighbours with the decimal point moved."""
    plain = column.exact & ~column.own_unit
    scale = np.ones(len(column.value))
    if quantity == "trip_current" and rated is not None:
        scale = np.where(rated > 0, rated, np.nan)
    size = column.value / scale
    suspects = plain & (_too_large(column.value, size, quantity, rated) | (column.value < 1))
    if not suspects.any():
        return column
    others = size[plain & ~suspects & np.isfinite(size)]
    ordinary = others[np.abs(np.log(others / np.median(others))) <= np.log(ORDINARY)] if len(others) else others
    if len(ordinary) < NEIGHBOURS or len(ordinary) < 0.8 * len(others):
        return column
    return _refuse_those_that_fit(
        column, suspects, scale, ordinary, f" {_BASE[quantity]}" if unit == _LARGER[quantity] else ""
    )


def _too_large(value: Numbers, size: Numbers, quantity: str, rated: Numbers | None) -> Mask:
    with np.errstate(invalid="ignore"):
        whole = value == np.round(value)
        neighbours = value < WHOLE_SLIP
        decimals = (neighbours & ~whole).sum() * 2 >= max(1, neighbours.sum())
        slip: Mask = (value >= WHOLE_SLIP) & whole & decimals & ~np.isin(value, RANGE_ENDS)
        if quantity == "trip_time":
            slip |= value > CERTAIN_SLIP
        elif rated is not None:
            slip = size > RAMP_END
    return slip


def _refuse_those_that_fit(
    column: ReadingColumn, suspects: Mask, scale: Numbers, ordinary: Numbers, unit: str
) -> ReadingColumn:
    low, high = ordinary.min(), ordinary.max()

    def meant(pair: complex) -> str:
        """What a value (real part) of a scale (imaginary part) may have meant; empty where nothing fits."""
        value, of = pair.real, pair.imag
        shifts = (-3, -2, -1) if value >= 1 else (1, 2, 3)
        fits = [s for s in shifts if low <= value * 10.0**s / of <= high]
        near = [s for s in shifts if value >= 1 and high < value * 10.0**s / of <= 10 * high]
        return perhaps(*(_moved(value, s) + unit for s in fits + near)) if fits else ""

    suggestion = _for_each(column.value[suspects] + 1j * scale[suspects], meant)
    at = suspects.copy()
    at[suspects] = suggestion != ""
    return column.refused(at, "decimal-point-perhaps-lost", suggestion[suggestion != ""]) if at.any() else column


def _moved(value: float, shift: int) -> str:
    """The digits with the point moved: 2840 by -2 is "28.40"."""
    return f"{value * 10.0**shift:.{-shift}f}" if shift < 0 and value.is_integer() else f"{value * 10.0**shift:.10g}"


def swapped(times: ReadingColumn, currents: ReadingColumn, rated: Numbers | None = None) -> bool:
    """Whether columns of trip times and trip currents have changed places.

    For certain where the cells themselves state the other unit; else where almost all "times" lie between half and all
    of the rated residual current, as ramp currents do, and most "currents" do not.
    """
    if _states_other_unit(times) and _states_other_unit(currents):
        return True
    if rated is None:
        return False
    both = times.exact & currents.exact & (rated > 0)
    if both.sum() < SWAPPED_ROWS:
        return False
    return bool(
        np.mean(_in_band(times.value, rated)[both]) >= 0.9 and np.mean(_in_band(currents.value, rated)[both]) <= 0.5
    )


def _states_other_unit(column: ReadingColumn) -> bool:
    stated = column.problem == "unit-of-other-quantity"
    return bool(stated.any() and stated.sum() >= 0.9 * column.present.sum())


def _in_band(value: Numbers, rated: Numbers) -> Mask:
    with np.errstate(invalid="ignore"):
        band: Mask = (value > 0.5 * rated) & (value <= 1.05 * rated)
    return band


def _for_each(values: npt.NDArray[Any], say: Callable[[Any], str]) -> Texts:
    """What `say` answers for each value, asked once for each distinct one."""
    distinct, back = np.unique(values, return_inverse=True)
    said: Texts = np.array([say(value) for value in distinct], dtype=object)[back]
    return said
