"""Worked examples of JCGM 106:2012 (ISO/IEC Guide 98-4) and guard bands of ISO 14253-1 and ILAC-G8.

The examples of JCGM 106 are quoted from memory and agree with the formula. The inputs of the resistors are
from a secondary source; the ball bearings were read in an open metrology notebook that cites 9.5.4.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import gamma, norm

from rcdcheck.judging.confidence import guard_band, p_conform, standard_uncertainty

NONE = math.nan


@pytest.mark.parametrize(
    ("y", "low", "high", "u", "published"),
    [
        (-5.47, NONE, -5.40, 0.05, 0.92),  # Zener diode, one-sided upper; from memory
        (509.7, 490, NONE, 8.6, 0.99),  # container burst strength, one-sided lower; from memory
        (13.6, 12.5, 16.3, 1.8, 0.66),  # motor oil viscosity, two-sided; from memory
    ],
)
def test_conformance_probability(y: float, low: float, high: float, u: float, published: float) -> None:
    assert round(float(p_conform(y, low, high, u)), 2) == published


@pytest.mark.parametrize(("p", "z"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)])
def test_table_1_of_coverage(p: float, z: float) -> None:
    """JCGM 106 Table 1, from memory: the guard band for a wanted chance, in units of u."""
    assert float(guard_band(p, 1.0)) == pytest.approx(z, abs=0.005)
    assert float(p_conform(0.0, NONE, z, 1.0)) == pytest.approx(p, abs=0.002)


def test_speed_limit() -> None:
    """JCGM 106, from memory: 100 km/h, u = 2 % of the reading, 99.9 % sure of exceeding: from 107 km/h."""
    u = standard_uncertainty(1.0, 1.0, "4%r")  # expanded 4 %, k = 2
    assert float(u) == pytest.approx(0.02)
    assert round(100 / (1 - float(guard_band(0.999, u)))) == 107
    assert float(p_conform(106.6, NONE, 100, 106.6 * u)) == pytest.approx(0.001, abs=1e-4)


@pytest.mark.parametrize(
    ("w", "false_accept"),
    [
        (0.0, 0.50),  # simple acceptance: up to 50 % (ILAC-G8:09/2019)
        (0.83, 0.048),  # ISO 14253-1:2017 default, below 5 %; from memory
        (1.0, 0.0228),  # below 2.5 % (ILAC-G8:09/2019)
        (1.5, 0.00135),  # below 0.16 %; from memory
    ],
)
def test_guard_bands_in_units_of_expanded_uncertainty(w: float, false_accept: float) -> None:
    assert float(1 - p_conform(100 - w * 2, NONE, 100, 1.0)) == pytest.approx(false_accept, rel=0.02)


def test_precision_resistors() -> None:
    """JCGM 106, global risks of consumer and producer: 0.01 and 0.07 (results from memory)."""
    true = np.linspace(1499, 1501, 200_001)
    weight = norm.pdf(true, 1500, 0.12) * (true[1] - true[0])
    accepted = p_conform(true, 1499.82, 1500.18, 0.04)  # acceptance limits; normal errors are symmetric
    conforms = np.abs(true - 1500) <= 0.20
    assert float(np.sum(weight * accepted * ~conforms)) == pytest.approx(0.00988, abs=2e-5)
    assert float(np.sum(weight * (1 - accepted) * conforms)) == pytest.approx(0.06903, abs=2e-4)


@pytest.mark.parametrize(("acceptance", "risk"), [(2.0, 0.0080191119), (1.67182877, 0.001)])
def test_ball_bearings(acceptance: float, risk: float) -> None:
    """JCGM 106, 9.5.4 (read in a notebook): gamma(4, scale 1/4) μm, tolerance 2 μm, u = 0.25 μm."""
    true = np.linspace(2, 8, 400_001)
    weight = gamma.pdf(true, 4, scale=0.25) * (true[1] - true[0])
    weight[0] /= 2
    assert float(np.sum(weight)) == pytest.approx(0.04238011199, abs=1e-8)
    assert float(np.sum(weight * p_conform(true, NONE, acceptance, 0.25))) == pytest.approx(risk, rel=1e-6)
