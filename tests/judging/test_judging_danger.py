"""Ranks of failures, and curve c1 of IEC 60479-1 between its points."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import pytest

from rcdcheck import data
from rcdcheck.judging.danger import c1_time_ms, notice, plateau_ma, rank, sentences

NONE = math.nan


@pytest.mark.parametrize(
    ("current", "seconds"),
    [
        (500, 0.01),
        (400, 0.1),
        (300, 0.14),
        (250, 0.17),
        (150, 0.31),
        (100, 0.5),
        (60, 0.83),
        (50, 1),
        (40, 3),
    ],
)
def test_crossing_times_of_c1(current: float, seconds: float) -> None:
    """Points of IEC 60479-1, from memory (a text that was read prints only: above 500 mA for less than 0.1 s).

    Between the points worked by hand, log-log.
    """
    assert float(c1_time_ms(current)) / 1000 == pytest.approx(seconds, abs=0.006)


def test_c1_outside_its_points() -> None:
    assert c1_time_ms([30.0, 39.9, 501.0]).tolist() == [math.inf, math.inf, 0]
    assert np.isnan(c1_time_ms(NONE))
    assert plateau_ma() == 40


def test_points_of_c1_carry_their_standing() -> None:
    standing = {p["current"]: p["standing"] for p in data.toml("danger.toml")["c1"]}
    assert standing == dict.fromkeys((500, 400, 100, 50, 40), "from memory")  # read was only: above 500 mA, under 0.1 s
    assert all(p["source"] for p in data.toml("danger.toml")["c1"])


class Failure(NamedTuple):
    what: str
    expected: int
    value: float = NONE
    multiple: float = 1.0
    rated: float = 30.0
    held: bool = False
    low: bool = False
    ramp: bool = False
    test_current: float = NONE


FAILURES = [
    Failure("1× did not trip", 1, held=True),
    Failure("5× did not trip", 1, multiple=5, held=True),
    Failure("1× >300", 1, 300, held=True),
    Failure("ramp did not trip", 1, multiple=0, held=True, ramp=True),
    Failure("ramp 75 mA", 2, 75, multiple=0, ramp=True),
    Failure("ramp 110 mA on 100 mA", 2, 110, multiple=0, rated=100, ramp=True),
    Failure("5× in 450 ms: 150 mA crosses c1 at 0.31 s", 3, 450, multiple=5),
    Failure("1× on 300 mA in 400 ms: crosses at 0.14 s", 3, 400, rated=300),
    Failure("1× in 350 ms, rating not known", 3, 350, rated=NONE),
    Failure("1× in 350 ms: 30 mA is below the plateau", 4, 350),
    Failure("ramp 33 mA", 4, 33, multiple=0, ramp=True),
    Failure("ramp 40 mA: no more than the plateau", 4, 40, multiple=0, ramp=True),
    Failure("60 mA in 200 ms, multiple not known", 4, 200, multiple=NONE, test_current=60),
    Failure("5× in 60 ms", 5, 60, multiple=5),
    Failure("2× in 180 ms", 5, 180, multiple=2),
    Failure("tripped at half rated", 6, 40, multiple=0.5, low=True),
    Failure("selective in 80 ms", 6, 80, rated=100, low=True),
    Failure("ramp 12 mA", 6, 12, multiple=0, ramp=True, low=True),
]


def test_ranks_of_failures() -> None:
    columns = {name: np.array([getattr(f, name) for f in FAILURES]) for name in Failure._fields if name != "what"}
    expected = columns.pop("expected")
    for failure, got, wanted in zip(FAILURES, rank(**columns), expected, strict=True):
        assert got == wanted, failure.what


def test_every_rank_has_its_sentence_and_the_notice_claims_no_safety() -> None:
    assert sorted(sentences()) == sorted({f.expected for f in FAILURES}) == [1, 2, 3, 4, 5, 6]
    assert all(text.endswith(".") for text in sentences().values())
    assert notice().startswith("Withdraw every failed device")


def test_no_failures_no_ranks() -> None:
    nothing, never = np.empty(0), np.empty(0, dtype=bool)
    got = rank(
        ramp=never,
        held=never,
        low=never,
        value=nothing,
        multiple=nothing,
        rated=nothing,
        test_current=nothing,
    )
    assert got.dtype == np.int8
    assert got.shape == (0,)
