"""Worked numbers of handbooks, papers and open data against scrutiny's formulas; the source stands beside each."""

from __future__ import annotations

import itertools
import math
from pathlib import Path

import mistat
import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import stats
from statsmodels.sandbox.stats.runs import Runs
from statsmodels.stats.multitest import multipletests
from statsmodels.tsa.stattools import acf

from rcdcheck.scrutiny import (
    alternation,
    blocks,
    copied_blocks,
    digits,
    earlier_visit,
    equal_phases,
    filled_down,
    preparation,
    repeated_sets,
    strength,
    tails,
)
from rcdcheck.tables import Numbers

# ── duplicates and birthdays ──


def test_birthdays() -> None:
    """23 people: chance 0.5073 of a common birthday, 253/365 pairs expected (von Mises 1939; from memory)."""
    pairs = repeated_sets._pairs(np.array([23]))[0]
    assert pairs == 253
    assert pairs / 365 == pytest.approx(0.6932, abs=5e-5)
    exact = 1 - math.prod(1 - i / 365 for i in range(23))
    assert exact == pytest.approx(0.5073, abs=5e-5)
    assert tails.poisson(1, pairs / 365) == pytest.approx(exact, abs=0.01)  # the Poisson that the question uses


def test_share_of_equal_pairs_of_two_rounded_normals() -> None:
    """P(0 | within 5 steps) of a normal difference rounded twice: 0.369, 0.197, 0.109, 0.092 for SD 1, 2, 5, 20.

    Computed, nothing published: convolution of the normal with the triangle of two roundings. The cautious null of
    the question lies above it wherever the spread is at its floor or larger.
    """
    for sd, printed in ((1, 0.369), (2, 0.197), (3, 0.141), (5, 0.109), (10, 0.0955), (20, 0.092)):
        p = [_both_rounded(d, sd) for d in range(-5, 6)]
        exact = p[5] / sum(p)
        assert exact == pytest.approx(printed, abs=6e-4)
        assert equal_phases.share_of_zeros(1.0, sd) > exact


def _both_rounded(d: int, sd: float) -> float:
    grid = np.linspace(-1, 1, 2001)
    return float(np.trapezoid((1 - np.abs(grid)) * stats.norm.pdf(d + grid, 0, sd), grid))


# ── longest runs ──


def test_longest_run_of_a_coin() -> None:
    """200 tosses: P(7 heads in a row or more) is 0.5437 exactly and 0.5422 by 1 − exp(−n(1 − p)pᵗ).

    Schilling, The longest run of heads, 1990: about log2(n/2), "about seven" (rule as read; figures recomputed).
    """
    exact = 1 - _no_run(200, 7) / 2**200
    assert exact == pytest.approx(0.5437, abs=5e-5)
    assert tails.run(200 * 0.5, 0.5, 7) == pytest.approx(0.5422, abs=5e-5)
    assert tails.run(200 - 7 + 1, 0.5, 7) > exact  # without the factor (1 − p), as used: cautious


def _no_run(n: int, length: int) -> int:
    """Sequences of n tosses without a run of that many heads."""
    ways = [1]
    for i in range(1, n + 1):
        ways.append(sum(ways[max(0, i - length) : i]) + (i < length))
    return ways[n]


def test_longest_common_block_of_two_random_texts() -> None:
    """Two sequences of 300 over four letters: mean 7.94, SD 0.97; P(T ≥ 9) = 0.227 (Arratia and Waterman's formula).

    log_{1/p}(N(1 − p)) + 0.5772/ln(1/p) − 1/2 and √(π²/(6 ln²(1/p)) + 1/12) with N = 300², p = 1/4.
    """
    rng = np.random.default_rng(20)
    lengths = []
    for _ in range(600):
        x, y = rng.integers(0, 4, (2, 300))
        lines = blocks.Lines.of([x, y], [np.arange(300), 300 + np.arange(300)])
        found = blocks.longest_between(lines, blocks.levels(lines.code), 2)
        lengths.append(found[0].length)
    rate = math.log(4)
    mean = math.log(300**2 * 0.75) / rate + 0.5772 / rate - 0.5
    assert mean == pytest.approx(7.94, abs=0.01)
    assert np.mean(lengths) == pytest.approx(mean, abs=0.15)
    assert np.std(lengths) == pytest.approx(0.97, abs=0.1)
    assert tails.run(300**2 * 0.75, 0.25, 9) == pytest.approx(0.227, abs=5e-4)
    assert np.mean(np.array(lengths) >= 9) == pytest.approx(0.227, abs=0.05)


# ── last digits ──

# Questioned and colleagues' cell counts by last digit 0 to 9: Pitt and Hill; from memory, counts and published
# statistics agree. The official inquiries did not find misconduct.
QUESTIONED = (475, 613, 736, 416, 335, 732, 363, 425, 372, 718)
QUESTIONED_TOO = (564, 324, 463, 313, 290, 478, 336, 408, 383, 526)
COLLEAGUES = (261, 311, 295, 259, 318, 290, 298, 283, 331, 296)


@pytest.mark.parametrize(
    ("counts", "statistic", "chance"),
    [(QUESTIONED, 466.9, 7.06e-95), (QUESTIONED_TOO, 200.7, None), (COLLEAGUES, 16.0, 0.067)],
)
def test_terminal_digits(counts: tuple[int, ...], statistic: float, chance: float | None) -> None:
    expected = sum(counts) / 10
    chi = sum((c - expected) ** 2 / expected for c in counts)
    assert chi == pytest.approx(statistic, abs=0.05)
    assert tails.chi_square(chi, 9) == pytest.approx(stats.chisquare(counts).pvalue, rel=1e-9)
    if chance is not None:
        assert tails.chi_square(chi, 9) == pytest.approx(chance, rel=0.01)


def test_eight_digits_are_pearsons_chi_square() -> None:
    eight = [c for d, c in enumerate(QUESTIONED) if d not in (0, 5)]
    expected = stats.chisquare(eight)
    assert digits.digit8(QUESTIONED) == pytest.approx(expected.statistic, rel=1e-12)
    assert tails.chi_square(digits.digit8(QUESTIONED), 7) == pytest.approx(expected.pvalue, rel=1e-9)


# ── order ──


def test_lag_one_is_that_of_statsmodels() -> None:
    """On open data: the Nile's yearly flow and sunspots."""
    for x in (sm.datasets.nile.load_pandas().data["volume"], sm.datasets.sunspots.load_pandas().data["SUNACTIVITY"]):
        assert alternation.lag_one(x.to_numpy()) == pytest.approx(acf(x, nlags=1, fft=False)[1], rel=1e-12)


def test_lag_one_of_beam_deflections() -> None:
    """NIST StRD Lew: r₁ = −0.307304800605679 of 200 values (certified value, quoted); honest, and yet far from 0.

    The data are in no package, so the formula of the deviate is checked: its variance (n − 2)/n² against n − 1
    shuffles of any series, and that so large an r₁ would be a note and could never be a doubt.
    """
    z = alternation.standardised(-0.307304800605679, 200)
    assert z == pytest.approx(-4.297, abs=5e-4)
    assert strength.word(tails.normal(-z), capped=True) == strength.NOTE
    rng = np.random.default_rng(2)
    series = np.arange(200.0)
    shuffled = [alternation.lag_one(rng.permutation(series)) for _ in range(4000)]
    assert np.mean(shuffled) == pytest.approx(-1 / 200, abs=4 * 0.07 / 4000**0.5)
    assert np.var(shuffled) == pytest.approx(198 / 200**2, rel=0.1)


def test_runs_about_the_median() -> None:
    """NIST/SEMATECH 1.3.5.13: 120 runs of 100 above and 100 below: expected 101, sd 7.0533, Z = 2.6938 (quoted).

    The question of alternation ranks instead; on one and the same alternating series both agree in direction.
    """
    n1 = n2 = 100
    mean = 2 * n1 * n2 / (n1 + n2) + 1
    deviation = math.sqrt(2 * n1 * n2 * (2 * n1 * n2 - n1 - n2) / ((n1 + n2) ** 2 * (n1 + n2 - 1)))
    assert (mean, deviation) == pytest.approx((101, 7.0533), abs=5e-5)
    assert (120 - mean) / deviation == pytest.approx(2.6938, abs=5e-5)
    x = np.array([3.0, 9, 1, 8, 2, 7, 3, 8, 1, 9] * 4)
    z, _ = Runs((x > np.median(x)).astype(int)).runs_test(correction=False)
    assert z > 3
    assert alternation.standardised(alternation.lag_one(alternation.ranks(x)), len(x)) < -3


def test_longest_run_of_equal_values_is_that_of_groupby() -> None:
    nile = sm.datasets.nile.load_pandas().data["volume"].to_numpy()
    above = nile > np.median(nile)
    runs = [(key, len(list(group))) for key, group in itertools.groupby(above)]
    assert filled_down.longest(above)[1] == max(n for key, n in runs if key)


# ── many questions ──

# Benjamini and Hochberg 1995, 15 comparisons of a trial: 4 rejections at 0.05 where Bonferroni makes 3 (as quoted in
# the documentation of scipy.stats.false_discovery_control).
TRIAL = np.array(
    [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1]
)


def test_benjamini_hochberg() -> None:
    adjusted = strength.benjamini_hochberg(TRIAL)
    assert adjusted[:6] == pytest.approx([0.0015, 0.003, 0.0095, 0.035625, 0.0603, 0.063857], abs=5e-7)
    assert (adjusted <= 0.05).sum() == 4
    assert (np.minimum(1, TRIAL * 15) <= 0.05).sum() == 3
    assert adjusted == pytest.approx(stats.false_discovery_control(TRIAL), rel=1e-12)


def test_holm_is_that_of_statsmodels() -> None:
    rng = np.random.default_rng(6)
    for chances in (TRIAL, rng.random(40) ** 4, np.array([0.02])):
        assert strength.holm(chances) == pytest.approx(multipletests(chances, method="holm")[1], rel=1e-12)


def test_strength_of_evidence() -> None:
    """Sellke, Bayarri and Berger 2001: likelihood ratio at most 1/(−e p ln p); values recomputed from the formula."""
    printed = {0.05: 2.46, 0.01: 7.99, 0.001: 53, 1e-4: 399, 1e-5: 3195, 1e-6: 26628}
    for p, ratio in printed.items():
        assert strength.likelihood_ratio_at_most(p) == pytest.approx(ratio, rel=0.005)


def test_words_of_strength_lie_in_the_bands_of_the_forensic_scale() -> None:
    """ENFSI guideline 2015 (from memory): 100 to 1,000 moderately strong, 1,000 to 10,000 strong."""
    assert strength.word(1e-4) == strength.MODERATE
    assert 100 < strength.likelihood_ratio_at_most(1e-4) < 1000
    assert strength.word(1e-5) == strength.STRONG
    assert 1000 < strength.likelihood_ratio_at_most(1e-5) < 10_000


# ── comparisons ──


def test_fishers_tea_tasting() -> None:
    """Fisher 1935: all eight cups right has chance 1/70, three of four each way 17/70."""
    assert tails.hypergeometric(4, 8, 4, 4) == pytest.approx(1 / 70, rel=1e-12)
    assert tails.hypergeometric(3, 8, 4, 4) == pytest.approx(17 / 70, rel=1e-12)


def test_mann_whitney_is_that_of_scipy() -> None:
    rng = np.random.default_rng(12)
    mine, others = np.abs(np.round(rng.normal(0, 0.4, 40), 1)), np.abs(np.round(rng.normal(0, 1.5, 90), 1))
    expected = stats.mannwhitneyu(mine / 0.5, others, alternative="less", method="asymptotic")
    assert earlier_visit.closer_chance(mine, others, 0.5) == pytest.approx(expected.pvalue, rel=1e-9)


# ── open data: industrial data of mistat (Kenett and Zacks, Modern Industrial Statistics) ──

# Columns that are no independent readings of different items, and why.
NOT_INDEPENDENT = {
    "ABC": "survey categories",
    "ABC2": "survey categories",
    "AIRLINE_SURVEY": "survey categories",
    "ALMPIN": "consecutive pins of one machine, which differ by 0.01 mm",
    "ALMPIN2": "consecutive pins of one machine",
    "BLEMISHES": "running number",
    "CAR_EXAMPLE": "weights of design classes, in blocks",
    "FAILURE_J2": "running number",
    "FAILURE_J3": "running number",
    "FOOD": "items listed again in other portions",
    "GASOL": "properties of ten crude oils, listed once for each experiment",
    "LAPTOP_REVIEWS": "scores of reviews, mostly zero",
    "PROCESS_SEGMENT": "a process sampled in time",
    "SCM_WHEELS": "sensors sampled in time",
    "SCM_TIMESERIES": "sensors sampled in time",
    "SENSORS": "sensors with structural zeros",
    "SOLDEF": "the positive control",
}


def open_columns() -> dict[str, Numbers]:
    """Numeric columns with 20 or more values, 8 or more of them different, in at most three decimals."""
    found = {}
    for path in sorted(Path(mistat.__file__).parent.joinpath("csvFiles").glob("*.csv.gz")):
        name = path.name.removesuffix(".csv.gz")
        if name in NOT_INDEPENDENT:
            continue
        frame = pd.read_csv(path).select_dtypes("number")
        for column in frame:
            x = frame[column].dropna().to_numpy(dtype=np.float64)
            if len(x) >= 20 and len(np.unique(x)) >= 8 and np.allclose(x * 1000, np.rint(x * 1000), atol=1e-6):
                found[f"{name} {column}"] = x
    return found


def test_no_doubt_on_open_data_that_are_honest_and_independent() -> None:
    """Runs, equal steps, blocks, alternation and digits; the other questions need trip times in ms."""
    columns = open_columns()
    assert len(columns) >= 60
    doubted = {}
    for name, x in columns.items():
        none = np.full(len(x), np.nan)
        alone, beside = preparation.group(x, none, none), preparation.group(x, np.ones(len(x)), none)
        answers = [*filled_down.ask(alone), *alternation.ask(alone), *digits.ask(alone), *copied_blocks.ask(beside)]
        asked = [a for a in answers if a.asked and not a.direct]
        adjusted = strength.holm(np.array([a.chance for a in asked]))
        words = [strength.word(p, capped=a.capped) for p, a in zip(adjusted, asked, strict=True)]
        doubted[name] = [w for w in words if w in (strength.MODERATE, strength.STRONG)]
    assert {name: words for name, words in doubted.items() if words} == {}


def soldef() -> Numbers:
    data: Numbers = mistat.load_data("SOLDEF").to_numpy(dtype=np.float64)
    return data


def test_solder_defects_stand_twice() -> None:
    """Positive control: rows 190 to 379 of SOLDEF repeat rows 0 to 189 exactly."""
    x = soldef()
    (answer,) = copied_blocks.ask(preparation.group(x, np.ones(len(x)), np.full(len(x), np.nan)))
    assert answer.statistic == 190
    assert answer.chance < 1e-9


def test_one_half_of_the_solder_defects_is_ordinary() -> None:
    x = soldef()[:190]
    (answer,) = copied_blocks.ask(preparation.group(x, np.ones(len(x)), np.full(len(x), np.nan)))
    assert answer.chance > 0.001
