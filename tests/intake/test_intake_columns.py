"""What a column tells about its cells: decimal sign, unit, slips, swapped columns. Common practice, no source."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rcdcheck.findings import catalogue
from rcdcheck.intake.cells.phrases import known
from rcdcheck.intake.cells.readings import reading
from rcdcheck.intake.cells.whole_columns import ReadingColumn, looks_swapped, read_readings, split_pair
from rcdcheck.tables import Texts
from rcdcheck.terms import Bound, State


def column(*cells: object) -> Texts:
    out = np.empty(len(cells), dtype=object)
    out[:] = cells
    return out


def times(*cells: object, **how: Any) -> ReadingColumn:
    return read_readings(column(*cells), quantity="trip_time", **how)


def currents(*cells: object, rated: float | None = 30.0, **how: Any) -> ReadingColumn:
    of_each = None if rated is None else np.full(len(cells), rated)
    return read_readings(column(*cells), quantity="trip_current", rated=of_each, **how)


def codes(read: ReadingColumn) -> list[str]:
    return [code for code, _ in read.column_notes]


# ── decimal sign ──
def test_one_certain_comma_settles_the_column_and_is_said_once() -> None:
    read = times("28,4", "31,2", "1,234", "19,05", "")
    assert read.value[:4].tolist() == [28.4, 31.2, 1.234, 19.05]
    assert codes(read) == ["decimal-comma-understood"]
    assert read.present.tolist() == [True, True, True, True, False]


def test_one_certain_point_makes_a_comma_thousands_or_decimals_unreadable() -> None:
    read = times("28.4", "31.2", "1,234")
    assert read.problem.tolist() == ["", "", "decimal-or-thousands"]
    assert read.suggestion[2] == "perhaps 1.234 or 1234"
    assert codes(read) == []


@pytest.mark.parametrize("typed", ["1,234", "1.234"])
def test_a_column_that_does_not_tell_is_asked_once(typed: str) -> None:
    read = times("28", "31", typed, typed)
    assert read.state.tolist() == [0, 0, State.UNREADABLE, State.UNREADABLE]
    assert read.problem.tolist() == ["", "", "", ""]
    assert read.column_notes == (("decimal-sign-undecided", {"example": "perhaps 1.234 or 1234", "cells": "2"}),)


def test_a_reading_too_large_to_be_thousands_tells() -> None:
    assert times("28.412", "31.207").value.tolist() == [28.412, 31.207]
    assert times("28,412", "31,207").value.tolist() == [28.412, 31.207]
    assert currents("22,125", "21,875").value.tolist() == [22.125, 21.875]
    assert times("1.234", "1.301", unit="s").value.tolist() == [1234.0, 1301.0]


def test_both_signs_in_one_column_are_read_where_certain_and_said() -> None:
    read = times("28.4", "31,2", "1,234")
    assert read.value[:2].tolist() == [28.4, 31.2]
    assert read.state[2] == State.UNREADABLE
    assert codes(read) == ["decimal-signs-mixed", "decimal-sign-undecided"]


def test_the_caller_may_settle_the_sign() -> None:
    assert times("1,234", decimal=",").value.tolist() == [1.234]


# ── units of whole columns ──
def test_times_all_below_one_look_like_seconds() -> None:
    read = times("0.028", 0.031, ">0.3", "no trip", "", unit="ms")
    assert read.state[:4].tolist() == [State.UNREADABLE, State.UNREADABLE, State.UNREADABLE, State.NOT_TRIPPED]
    assert read.suggestion[:3].tolist() == ["perhaps 28 ms", "perhaps 31 ms", "perhaps 300 ms"]
    assert read.problem.tolist() == [""] * 5
    assert read.column_notes == (("column-perhaps-other-unit", {"stated": "ms", "meant": "s", "example": "28 ms"}),)


def test_a_unit_in_the_heading_or_the_cell_or_from_a_person_is_believed() -> None:
    assert times("0.028", 0.031, unit="s").value.tolist() == [28.0, 31.0]
    assert times("0.028 s", "0.031 s").value.tolist() == [28.0, 31.0]
    assert times(0.4, 0.7, confirmed=True).value.tolist() == [0.4, 0.7]


def test_one_value_from_one_upwards_keeps_the_column() -> None:
    read = times(0.028, 31.0, 29.0)
    assert read.value.tolist() == [0.028, 31.0, 29.0]
    assert read.column_notes == ()


def test_values_that_fit_no_unit_are_left_to_the_judge() -> None:
    read = times(0.0004, 0.0003)
    assert (read.value.tolist(), read.column_notes) == ([0.0004, 0.0003], ())


def test_milliseconds_under_seconds_are_asked_once() -> None:
    read = times("28.4", "31.2", ">300", "0.03 s", unit="s")
    assert read.state.tolist() == [State.UNREADABLE] * 3 + [State.TRIPPED]
    assert read.suggestion[:3].tolist() == ["perhaps 28.4 ms", "perhaps 31.2 ms", "perhaps 300 ms"]
    assert read.problem.tolist() == [""] * 4
    assert codes(read) == ["column-perhaps-other-unit"]


def test_slow_seconds_under_seconds_stay() -> None:
    assert times("0.028", "2.5", ">2", unit="s").value.tolist() == [28.0, 2500.0, 2000.0]


def test_amperes_under_milliamperes_and_the_reverse() -> None:
    read = currents(0.0224, 0.0213, unit="mA")
    assert read.suggestion.tolist() == ["perhaps 22.4 mA", "perhaps 21.3 mA"]
    read = currents(22.4, 21.3, unit="A")
    assert read.suggestion.tolist() == ["perhaps 22.4 mA", "perhaps 21.3 mA"]
    assert codes(read) == ["column-perhaps-other-unit"]
    assert currents(0.0224, 0.0213, unit="A").value.tolist() == [22.4, 21.3]


# ── lone values ──
HONEST = [28.1, 28.2, 30.1, 31.2, 29.9, 27.7, 33.0, 24.6]


@pytest.mark.parametrize(
    ("slip", "suggestion"),
    [(2840.0, "perhaps 28.40 or 284.0"), ("2840", "perhaps 28.40 or 284.0"), ("3010", "perhaps 30.10 or 301.0"),
     (0.0284, "perhaps 28.4"), ("0.284", "perhaps 28.4"), (2841.5, "perhaps 28.415 or 284.15")],
)  # fmt: skip
def test_a_lone_value_that_fits_with_the_point_moved_is_refused(slip: object, suggestion: str) -> None:
    read = times(*HONEST, slip)
    assert (read.problem[-1], read.state[-1]) == ("decimal-point-perhaps-lost", State.UNREADABLE)
    assert read.suggestion[-1] == suggestion
    assert read.value[:-1].tolist() == HONEST


@pytest.mark.parametrize(
    "genuine", [310.0, 284.0, 281, 305.5, 499.0, 998.0, 1000.0, 2000.0, 1500.5, 4.0, 2.8, "2.84 s"]
)
def test_what_an_instrument_can_show_stays_a_reading(genuine: object) -> None:
    read = times(*HONEST, genuine if isinstance(genuine, str) else float(genuine))  # type: ignore[arg-type]
    assert (read.problem[-1], read.state[-1]) == ("", State.TRIPPED)


def test_in_a_column_of_seconds_the_suggestion_has_its_unit() -> None:
    read = times(*(x / 1000 for x in HONEST), 2.84, unit="s")
    assert read.suggestion[-1] == "perhaps 28.40 ms or 284.0 ms"


def test_bounds_and_no_trip_are_never_slips() -> None:
    read = times(*HONEST, ">2840", 1999.0, "no trip")
    assert read.state[-3:].tolist() == [State.TRIPPED, State.NOT_TRIPPED, State.NOT_TRIPPED]
    assert read.bound[-3] == Bound.ABOVE


def test_whole_neighbours_or_few_or_scattered_ones_prove_nothing() -> None:
    assert times(28.0, 31.0, 30.0, 25.0, 27.0, 33.0, 1840.0).problem[-1] == ""
    assert times(28.1, 28.2, 2840.0).problem[-1] == ""
    assert times(3.1, 28.2, 301.4, 99.1, 12.6, 240.3, 55.5, 2840.0).problem[-1] == ""


def test_a_ramp_far_beyond_its_rated_current_is_a_slip_and_one_a_little_above_is_a_reading() -> None:
    honest = [22.1, 21.4, 23.9, 20.8, 24.4, 22.7]
    read = currents(*honest, 224.0, 33.5, 45.0, 0.0221)
    assert read.problem.tolist() == [""] * 6 + ["decimal-point-perhaps-lost", "", "", "decimal-point-perhaps-lost"]
    assert read.suggestion[6] == "perhaps 22.4"


def test_ramps_of_devices_of_other_ratings_are_held_against_their_own() -> None:
    rated = np.array([30.0] * 6 + [300.0, 30.0])
    read = read_readings(column(22.1, 21.4, 23.9, 20.8, 24.4, 22.7, 224.0, 224.0), quantity="trip_current", rated=rated)
    assert read.problem.tolist() == [""] * 7 + ["decimal-point-perhaps-lost"]


def test_a_current_beyond_a_hundred_times_rated_is_refused() -> None:
    assert currents(3001.0, 22.0).problem.tolist() == ["beyond-any-instrument", ""]
    assert currents(3001.0, 22.0, rated=math.nan).problem.tolist() == ["", ""]


# ── swapped columns ──
def test_columns_that_state_each_others_units_are_swapped() -> None:
    assert looks_swapped(times("22.4 mA", "21 mA"), currents("28 ms", "31 ms"))
    assert not looks_swapped(times("28 ms", "31 ms"), currents("22.4 mA", "21 mA"))
    assert not looks_swapped(times("28 ms", "31 ms"), currents("22.4 mA", "21 mA"), np.full(2, 30.0))


def test_columns_are_swapped_where_only_times_look_like_ramps() -> None:
    ramps, slow = [22.1, 21.4, 23.9, 20.8, 24.4, 22.7], [38.0, 41.2, 12.6, 55.1, 36.9, 48.8]
    rated = np.full(6, 30.0)
    assert looks_swapped(times(*ramps), currents(*slow), rated)
    assert not looks_swapped(times(*slow), currents(*ramps), rated)
    assert not looks_swapped(times(*ramps), currents(*ramps), rated)  # nobody can tell


# ── both ways of reading agree ──
TYPED = st.one_of(
    st.sampled_from(["", "-", "no trip", ">300", "999", "0", "1,234", "28,4", "28.4 ms", "0.03 s", "OL", "028",
    "0.5", "28.", "5"]),
    st.integers(0, 20_000).map(str),
    st.integers(0, 99_999).map(lambda x: f"{x / 100:.2f}"),
    st.floats(-1, 20_000),
    st.text("0123456789.,\n٣ ", max_size=6),
)  # fmt: skip


@given(
    cells=st.lists(TYPED, max_size=30),
    decimal=st.sampled_from([".", ","]),
    unit=st.sampled_from(["", "ms", "s"]),
)
@settings(max_examples=150, deadline=None)
def test_reading_in_one_go_equals_reading_cell_by_cell(cells: list[object], decimal: str, unit: str) -> None:
    read = read_readings(column(*cells), quantity="trip_time", unit=unit, decimal=decimal, confirmed=True)
    for i, cell in enumerate(cells):
        one = reading(cell, quantity="trip_time", decimal=decimal, unit=unit)
        if read.problem[i] == "decimal-point-perhaps-lost":
            continue
        assert (read.present[i], read.state[i], read.bound[i]) == (one.measured, one.state, one.bound)
        assert read.problem[i] == one.problem
        assert read.note[i] == one.note
        assert read.value[i] == one.value or (math.isnan(read.value[i]) and math.isnan(one.value))


@given(cells=st.lists(TYPED, max_size=20), quantity=st.sampled_from(["trip_time", "trip_current"]))
@settings(max_examples=100, deadline=None)
def test_every_code_of_a_column_is_in_the_catalogue(cells: list[object], quantity: str) -> None:
    read = read_readings(column(*cells), quantity=quantity, rated=np.full(len(cells), 30.0))
    assert {*read.problem, *read.note, *codes(read)} - {""} <= set(catalogue())
    unreadable = read.state == State.UNREADABLE
    assert np.isnan(read.value[unreadable]).all()
    assert read.present[unreadable].all()


# ── pairs ──
PAIRS = {
    "28/31": ("28", "31"),
    "28 / 31": ("28", "31"),
    "28 | 31": ("28", "31"),
    "28;31": ("28", "31"),
    "28\n31": ("28", "31"),
    "28 & 31": ("28", "31"),
    "28, 31": ("28", "31"),
    "28,4, 31,2": ("28,4", "31,2"),
    "28,4/31,2": ("28,4", "31,2"),
    "28 / 31 ms": ("28 ms", "31 ms"),
    ">300/28": (">300", "28"),
    "O/L / 28": ("O/L", "28"),
    "28 / O/L": ("28", "O/L"),
    "no trip/28": ("no trip", "28"),
}


@pytest.mark.parametrize(("typed", "halves"), PAIRS.items(), ids=repr)
def test_a_pair_is_split(typed: str, halves: tuple[str, str]) -> None:
    assert split_pair(typed) == halves


@pytest.mark.parametrize("typed", ["28", "O/L", "n/a", "N/T", "28/31/40", "28/", "/31", "", 28.0, "28 31"])
def test_what_is_no_pair_is_not_split(typed: object) -> None:
    assert split_pair(typed) is None


def test_no_word_means_two_things_in_a_reading_cell() -> None:
    tables = ["no_trip", "no_trip_abbreviations", "over_range", "not_measured", "pass", "fail", "tripped", "ditto"]
    seen: dict[str, str] = {}
    for table in tables:
        for word in known(table):
            assert word not in seen, (word, table, seen.get(word))
            seen[word] = table


# ── edges of what is asked about ──
def test_a_column_is_asked_about_only_where_all_of_it_fits_the_other_unit() -> None:
    assert times(0.028, 0.031).column_notes == (
        ("column-perhaps-other-unit", {"stated": "ms", "meant": "s", "example": "28 ms"}),
    )
    assert times(28.5, 31.5, unit="s").column_notes == (
        ("column-perhaps-other-unit", {"stated": "s", "meant": "ms", "example": "28.5 ms"}),
    )
    asked = [times(0.5, 0.9), times(0.001, 0.001), times(0.0015, 0.0015), currents(0.5, 0.5, rated=5.0)]
    kept = [times(0.5, 1.0), times(">300", ">400", unit="s"), times(10.0, 10.0, unit="s"), times(0.0009, 0.0009),
            currents(0.502, 0.502, rated=5.0), times("0.5 s", "0.9 s")]  # fmt: skip
    assert [codes(one) for one in asked] == [["column-perhaps-other-unit"]] * len(asked)
    assert [codes(one) for one in kept] == [[]] * len(kept)


def test_a_rating_is_no_measure_of_a_time() -> None:
    rated = np.array([30.0] * 8 + [300.0])
    assert times(*HONEST, 2840.0, rated=rated).suggestion[-1] == "perhaps 28.40 or 284.0"


@pytest.mark.parametrize(
    ("honest", "typed", "refused"),
    [
        (HONEST[:3], 2840.0, True),  # three neighbours are enough, two are not
        (HONEST[:2], 2840.0, False),
        ([*HONEST, 99.1, 3.1], 2840.0, True),  # eight of ten alike
        ([*HONEST, 99.1, 3.1, 201.5], 2840.0, False),
        (HONEST, 1010.0, False),  # 10.1 and 101 are not among them
        (HONEST, 1001.0, False), (HONEST, 3000.0, True), (HONEST, 2000.0, False), (HONEST, 2000.5, False),
        (HONEST, 2450.5, False), (HONEST, 2460.5, True), (HONEST, 3300.0, True), (HONEST, 3301.0, False),
        ([28.0, 31.0, 30.5, 25.5], 2840.0, True), ([28.0, 31.0, 30.0, 25.5], 1840.0, False),
        ([28.0, 31.0, 30.0, 25.0], 2840.0, True),  # beyond any window of a test
    ],
)  # fmt: skip
def test_a_slip_of_the_point_has_to_fit_what_stands_around_it(honest: list[float], typed: float, refused: bool) -> None:
    assert (times(*honest, typed).problem[-1] == "decimal-point-perhaps-lost") == refused


@pytest.mark.parametrize(("ramp", "refused"), [(149.9, False), (150.0, False), (220.0, True), (224.0, True)])
def test_no_ramp_goes_beyond_five_times_its_rated_current(ramp: float, refused: bool) -> None:
    read = currents(22.1, 21.4, 23.9, 20.8, 24.4, 14.7, ramp)
    assert (read.problem[-1] == "decimal-point-perhaps-lost") == refused


def test_columns_are_swapped_only_where_nearly_all_rows_say_so() -> None:
    """Half to all of the rated residual current, with a twentieth to spare, is what a ramp shows."""
    ramps, slow, rated = [22.1] * 9, [38.0] * 9, np.full(10, 30.0)
    assert looks_swapped(times(*ramps, 99.0), currents(*slow, 99.0), rated)  # nine of ten
    assert not looks_swapped(times(*ramps[1:], 99.0, 99.0), currents(*slow, 99.0), rated)
    assert looks_swapped(times(*ramps, 22.0), currents(*slow[:5], *ramps[:5]), rated)  # a half
    assert not looks_swapped(times(*ramps, 22.0), currents(*slow[:4], *ramps[:6]), rated)
    assert not looks_swapped(times(*[15.0] * 10), currents(*slow, 38.0), rated)
    assert looks_swapped(times(*[31.5] * 10), currents(*slow, 38.0), rated)
    assert not looks_swapped(times(*ramps[:5]), currents(*slow[:5]), rated[:5])  # too few
    assert not looks_swapped(times("22.4 mA", "21.2"), currents("28 ms", "31 ms"))
