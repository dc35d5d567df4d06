"""Chance of conformity as arrays: edges, missing values, and agreement with the standard library."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_sheets import audited

from rcdcheck.errors import UsageError
from rcdcheck.judging.batches import prepare
from rcdcheck.judging.confidence import default_spec, guard_band, p_conform, parse_spec, standard_uncertainty


@settings(max_examples=60)
@given(y=st.floats(0, 600), low=st.floats(0, 300), width=st.floats(0, 300), u=st.floats(0.01, 100))
def test_agrees_with_the_standard_library(y: float, low: float, width: float, u: float) -> None:
    truth = NormalDist(y, u)
    expected = truth.cdf(low + width) - truth.cdf(low)
    assert float(p_conform(y, low, low + width, u)) == pytest.approx(expected, abs=1e-12)


def test_columns_with_gaps() -> None:
    y = np.array([290.0, 300.0, 310.0, math.nan, 290.0, 300.0, 301.0])
    u = np.array([15.0, 15.0, 15.0, 15.0, math.nan, 0.0, 0.0])
    chance = p_conform(y, math.nan, 300.0, u)
    assert chance[0] + chance[2] == pytest.approx(1)
    assert chance[1] == 0.5
    assert np.isnan(chance[3:5]).all()
    assert chance[5:].tolist() == [1, 0]  # nothing uncertain: the plain comparison


def test_no_limits_at_all_is_certain() -> None:
    assert p_conform([1.0, 2.0], math.nan, math.nan, 0.5).tolist() == [1, 1]
    assert p_conform([], math.nan, 300, []).shape == (0,)


def test_a_million_readings_need_no_scipy() -> None:
    """Few distinct quotients, each computed once; the shape of the input is kept."""
    y = np.round(np.linspace(1, 400, 1_000_000)).reshape(1000, 1000)
    chance = p_conform(y, math.nan, 300.0, 15.0)
    assert chance.shape == y.shape
    assert np.all(np.diff(chance.ravel()) <= 0)


@pytest.mark.parametrize(
    ("spec", "share", "of_reading"),
    [("10%", 0.1, False), ("5%r", 0.05, True), (" 2.5 % R ", 0.025, True), ("0.5%", 0.005, False), ("100%", 1, False)],
)
def test_specs(spec: str, share: float, of_reading: bool) -> None:
    parsed = parse_spec(spec)
    assert parsed[0] == pytest.approx(share)
    assert parsed[1] == of_reading


@pytest.mark.parametrize("spec", ["", "10", "0%", "-5%", "ten%", "5%x", "100.5%", "150%", "5 ms"])
def test_bad_specs_are_a_sentence(spec: str) -> None:
    with pytest.raises(UsageError, match="is no uncertainty"):
        parse_spec(spec)


def test_uncertainty_of_limit_and_of_reading() -> None:
    """10 % of a limit of 300 ms is 30 ms expanded, 15 ms standard; a display of whole ms adds 0.289 ms."""
    assert standard_uncertainty([20.0, 290.0], 300.0, "10%").tolist() == [15, 15]
    assert standard_uncertainty([20.0, 290.0], 300.0, "10%r").tolist() == [1, 14.5]
    assert float(standard_uncertainty(0.0, 300.0, "10%r", 1.0)) == pytest.approx(0.288675)
    assert float(standard_uncertainty(1.0, 40.0, "10%", math.nan)) == 2
    assert float(standard_uncertainty(1.0, 30.0, "10%", 3.0)) == pytest.approx(math.hypot(1.5, 3 / math.sqrt(12)))


def test_defaults_say_that_they_are_from_memory() -> None:
    """IEC 61557-6: ±10 % of the limit, and of IΔn; from memory."""
    for quantity in ("trip_time", "trip_current"):
        default = default_spec(quantity)
        assert parse_spec(default["spec"]) == (0.1, False)
        assert default["standing"] == "from memory"
        assert "IEC 61557-6" in default["source"]


def test_guard_band_is_consistent_with_the_chance() -> None:
    u = np.array([1.0, 2.0, 15.0])
    chance = p_conform(300 - guard_band(0.95, u), math.nan, 300.0, u)
    np.testing.assert_allclose(chance, 0.95)


def test_the_display_step_is_that_of_the_finest_reading_of_a_column() -> None:
    head = ("Device", "Visual", "1× 0° (ms)", "1× 180° (ms)", "5× 0° (ms)", "5× 180° (ms)")
    audit = audited(head, ["D1", "pass", "24", "24.1", "12.13", "2&.4"], ["D2", "pass", "25", "26", "13.1", "14"])
    steps = dict(zip(audit.tables.readings["column"], prepare(audit.tables, audit.rules).step, strict=True))
    assert steps == {2: 1, 3: 0.1, 4: 0.01, 5: 1}  # the last of them holds a cell that cannot be read
