"""What cells mean that name a rating, a class, a kind, a phase, a multiple or a device. Common practice, no source."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rcdcheck.findings import catalogue
from rcdcheck.intake.cells.currents import PREFERRED
from rcdcheck.intake.cells.whole_columns import (
    read_classes,
    read_identifiers,
    read_kinds,
    read_multiples,
    read_phases,
    read_quantities,
    read_rated,
    read_waveforms,
)
from rcdcheck.intake.opened.grids import coded
from rcdcheck.tables import Texts


def column(*cells: object) -> Texts:
    out = np.empty(len(cells), dtype=object)
    out[:] = cells
    return out


# ── rated residual currents ──
RATED: dict[object, float] = {
    "30mA": 30, "30 mA": 30, "30": 30, 30.0: 30, "30 MA": 30, "30 milliamps": 30, "0.03 A": 30, "0.03A": 30,
    "0,03 A": 30, "0,03": 30, 0.03: 30, "0.3": 300, "IΔn 30": 30, "IΔn=30mA": 30, "I∆n: 30 mA": 30,
    "10 mA": 10, "10": 10, "100mA": 100, "300 mA S": 300, "500": 500, "1 A": 1000, "30 mA type A": 30,
    "40A/30mA": 30, "40 A / 0.03 A": 30, "25/0,03": 30, "16A 30mA": 30, "３０ mA": 30, "30\u00a0mA": 30,
    "rated 30 mA": 30, "6 mA": 6, "1000": 1000,
}  # fmt: skip
NOT_RATED = [
    "30/100", "30-300 mA", "abc", "≤30", ">30", "~30", "30?", "0", 0.0, -30.0, "0.5.1", "type A", "40/63",
    "ditto", math.inf, "0.02", "25", "40", 63.0, dt.datetime(2026, 1, 30),
]  # fmt: skip


@pytest.mark.parametrize(("typed", "value"), RATED.items(), ids=repr)
def test_a_rated_current(typed: object, value: float) -> None:
    read = read_rated(column(typed))
    assert (read.value[0], read.problem[0]) == (value, "")


@pytest.mark.parametrize("typed", NOT_RATED, ids=repr)
def test_what_is_no_rated_current(typed: object) -> None:
    read = read_rated(column(typed))
    assert math.isnan(read.value[0])
    assert read.problem[0] == "rated-current-not-understood"


def test_the_unit_of_a_heading_holds_for_bare_ratings() -> None:
    assert read_rated(column("0.03", "30 mA"), "A").value.tolist() == [30.0, 30.0]
    wrong = read_rated(column("0.03"), "mA")
    assert (wrong.problem[0], wrong.suggestion[0]) == ("rated-current-not-understood", "perhaps 30 mA")
    wrong = read_rated(column("30"), "A")
    assert wrong.suggestion[0] == "perhaps 30 mA"


@given(
    value=st.sampled_from(PREFERRED),
    form=st.sampled_from(["{m:g}", "{m:g} mA", "{m:g}mA", "{a:g} A", "{a:g}", "IΔn {m:g} mA"]),
)
@settings(max_examples=60)
def test_a_preferred_rating_written_in_any_accepted_way_comes_back(value: float, form: str) -> None:
    assert read_rated(column(form.format(m=value, a=value / 1000))).value[0] == value


# ── classes, kinds, phases, multiples ──
CLASSES: dict[object, tuple[str, str, str]] = {
    "I": ("I", "", ""), "II": ("II", "", ""), "iii": ("III", "", ""), "IV": ("IV", "", ""),
    "Type II": ("II", "", ""), "2": ("II", "", ""), 2.0: ("II", "", ""), "Type 2": ("II", "", ""),
    "class 1": ("I", "", ""), "Klasse II": ("II", "", ""), "A": ("", "A", ""), "AC": ("", "AC", ""),
    "a.c.": ("", "AC", ""), "F": ("", "F", ""), "B": ("", "B", ""), "B+": ("", "B", ""),
    "Typ B": ("", "B", ""), "Type A": ("", "A", ""), "S": ("", "", "selective"),
    "selective": ("", "", "selective"), "selektiv": ("", "", "selective"), "sélectif": ("", "", "selective"),
    "time delayed": ("", "", "selective"), "G": ("", "", "general"), "general": ("", "", "general"),
    "non-selective": ("", "", "general"), "unverzögert": ("", "", "general"),
    "instantaneous": ("", "", "general"), "A S": ("", "A", "selective"), "A-S": ("", "A", "selective"),
    "A/S": ("",
    "A", "selective"), "Type A selective": ("", "A", "selective"), "II A": ("II", "A", ""),
    "II, A, S": ("II", "A", "selective"), "RCBO type A": ("", "A", ""), "": ("", "", ""), "-": ("", "", ""),
    "n/a": ("", "", ""),
}  # fmt: skip


@pytest.mark.parametrize(("typed", "said"), CLASSES.items(), ids=repr)
def test_classes_are_told_apart(typed: object, said: tuple[str, str, str]) -> None:
    read = read_classes(column(typed))
    assert (read.rcd_type[0], read.waveform_type[0], read.delay[0], read.problem[0]) == (*said, "")


@pytest.mark.parametrize("typed", ["V", "A AC", "I/II", "S G", "5", "C", "30", "abc", "type", '"', "?"])
def test_what_is_no_class(typed: str) -> None:
    read = read_classes(column(typed))
    assert (read.rcd_type[0], read.waveform_type[0], read.delay[0]) == ("", "", "")
    assert read.problem[0] == "entry-not-understood"


def test_kinds_quantities_and_waveforms() -> None:
    assert read_kinds(column("Portable", "FIXED", "ortsfest", "ortsveränderlich", "fixe", "portátil", "",
    "-")).value.tolist() == [
        "portable", "fixed", "fixed", "portable", "fixed", "portable", "", "",
    ]  # fmt: skip
    assert read_kinds(column("car")).problem[0] == "kind-not-understood"
    assert read_quantities(column("Trip time", "ramp", "Auslösezeit", "Auslösestrom", "t", "mA",
    "")).value.tolist() == [
        "trip_time", "trip_current", "trip_time", "trip_current", "trip_time", "trip_current", "",
    ]  # fmt: skip
    assert read_waveforms(column("AC", "a.c.", "A", "pulsating", "dc", "smooth d.c.", "~", "")).value.tolist() == [
        "ac", "ac", "pulsating", "pulsating", "smooth_dc", "smooth_dc", "ac", "",
    ]  # fmt: skip


PHASES = {
    "0": "0", "0°": "0", "0 deg": "0", 0.0: "0", "pos": "0", "+": "0", "180": "180", "180°": "180",
    "180º": "180", 180.0: "180", "neg.": "180", "negative Halbwelle": "180", "max": "worst", "worst": "worst",
    "0°/180°": "worst", "": "",
}  # fmt: skip


@pytest.mark.parametrize(("typed", "phase"), PHASES.items(), ids=repr)
def test_phases(typed: object, phase: str) -> None:
    read = read_phases(column(typed))
    assert (read.value[0], read.problem[0]) == (phase, "")


def test_a_dash_is_the_negative_half_wave_only_beside_a_plus() -> None:
    assert read_phases(column("+", "-", "−")).value.tolist() == ["0", "180", "180"]
    assert read_phases(column("0", "-", "180")).value.tolist() == ["0", "", "180"]
    assert read_phases(column("L1")).problem[0] == "entry-not-understood"


MULTIPLES: dict[object, float] = {
    "1": 1, 1.0: 1, "1x": 1, "x1": 1, "1×": 1, "×1": 1, "5x": 5, "x5": 5, "5 IΔn": 5, "5x IΔn": 5,
    "5 × I∆n": 5, "5 times": 5, "½": 0.5, "1/2": 0.5, "½ x": 0.5, "0.5": 0.5, "0,5": 0.5, "0.5x": 0.5,
    "x0.5": 0.5, "half": 0.5, "50%": 0.5, "100 %": 1, "500%": 5, "1-fach": 1, "5fach": 5, "2x": 2,
    "1x rated": 1,
}  # fmt: skip


@pytest.mark.parametrize(("typed", "multiple"), MULTIPLES.items(), ids=repr)
def test_multiples(typed: object, multiple: float) -> None:
    read = read_multiples(column(typed))
    assert (read.multiple[0], read.problem[0]) == (multiple, "")
    assert math.isnan(read.test_current[0])


def test_test_currents() -> None:
    read = read_multiples(column("150 mA", "0.15 A", "30mA"))
    assert read.test_current.tolist() == [150.0, 150.0, 30.0]
    assert np.isnan(read.multiple).all()
    read = read_multiples(column("150", 30.0, "5x", ""), test_current=True)
    assert read.test_current[:2].tolist() == [150.0, 30.0]
    assert read.multiple[2] == 5.0
    assert read_multiples(column("0.15"), test_current=True, unit="A").test_current[0] == 150.0


@pytest.mark.parametrize("typed", ["150", "abc", ">5", "x", "5 ms", "0"])
def test_what_is_no_multiple(typed: str) -> None:
    assert read_multiples(column(typed)).problem[0] == "entry-not-understood"


# ── identifiers ──
IDENTIFIERS: dict[object, str] = {
    "007": "007", " WM-014 ": "WM-014", "WM\u00a0014": "WM 014", "\u200bWM-014": "WM-014", "WM  014": "WM 014",
    "WM-014\u00a0": "WM-014", 28.0: "28", 28.5: "28.5", -3.0: "-3", 1e14: "100000000000000", "2E4": "2E4",
    "12E": "12E", "1/2": "1/2", "Möbelhaus 3": "Möbelhaus 3", "": "", "-": "", "—": "", "n/a": "", "N/A": "",
    "A-12": "A-12", "3-4": "3-4", "MAR-2026-1": "MAR-2026-1",
}  # fmt: skip


@pytest.mark.parametrize(("typed", "text"), IDENTIFIERS.items(), ids=repr)
def test_identifiers_are_kept_as_typed(typed: object, text: str) -> None:
    read = read_identifiers(coded(column(typed, "WM-1", "WM-2", "WM-3")))
    assert (read.value.cells()[0], read.problem[0]) == (text, "")


CHANGED: dict[object, str] = {
    "3-Mar": "identifier-turned-into-date", "03-Mar": "identifier-turned-into-date",
    "Mar-03": "identifier-turned-into-date", "3-Mrz": "identifier-turned-into-date",
    dt.datetime(2026, 3, 3): "identifier-turned-into-date", dt.time(3,
    4): "identifier-turned-into-date",
    "2026-03-03 00:00:00": "identifier-turned-into-date", "1.00E+05": "identifier-turned-into-power",
    "1E+05": "identifier-turned-into-power", 1e15: "identifier-turned-into-power",
    4.2e18: "identifier-turned-into-power",
}  # fmt: skip


@pytest.mark.parametrize(("typed", "code"), CHANGED.items(), ids=repr)
def test_identifiers_that_a_spreadsheet_changed_are_kept_and_pointed_at(typed: object, code: str) -> None:
    read = read_identifiers(coded(column(typed, "WM-1", "WM-2", "WM-3")))
    assert read.problem[0] == code
    assert read.value.cells()[0] != ""
    assert read.problem[1:].tolist() == ["", "", ""]


def test_a_naming_scheme_with_a_month_is_no_slip() -> None:
    assert set(read_identifiers(coded(column("Mar-01", "Mar-02", "Mar-03", "Mar-04"))).problem) == {""}


def test_what_the_identifier_may_have_been() -> None:
    assert read_identifiers(coded(column("5-Mar", "WM-1", "WM-2"))).suggestion[0] == "perhaps 5-3 or 3-5"


# ── properties ──
@given(cell=st.one_of(st.text(max_size=20), st.floats(allow_nan=False), st.datetimes(), st.times(), st.timedeltas()))
@settings(max_examples=150, deadline=None)
def test_any_cell_has_an_answer_and_none_raises(cell: object) -> None:
    one = column(cell)
    problems = {
        read(one).problem[0] for read in (read_classes, read_kinds, read_phases, read_quantities, read_waveforms)
    }
    problems |= {read_rated(one).problem[0], read_multiples(one).problem[0], read_identifiers(coded(one)).problem[0]}
    assert problems - {""} <= set(catalogue())


@given(texts=st.lists(st.text("WM-0123 \u00a0é.E+ar", max_size=8), max_size=10))
@settings(max_examples=100, deadline=None)
def test_identifiers_lose_only_spaces_and_a_second_reading_changes_nothing(texts: list[str]) -> None:
    once = read_identifiers(coded(column(*texts))).value.cells()
    assert ["".join(t.split()).strip("-") for t in texts] == ["".join(t.split()).strip("-") for t in once]
    assert read_identifiers(coded(column(*once))).value.cells().tolist() == once.tolist()
