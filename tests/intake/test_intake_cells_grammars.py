"""Small grammars of cells and headings, each with what a careful colleague reads, at both sides of each of its edges.

Every line: common practice, no source; preferred ratings IEC 61008-1 5.3.3 (from memory).
"""

from __future__ import annotations

import datetime as dt
import math
from typing import Any

import numpy as np
import pytest

from rcdcheck.intake.cells.classes import class_in_line, class_in_words, delay_beside
from rcdcheck.intake.cells.currents import read_multiples, read_one_rating, read_rated
from rcdcheck.intake.cells.date_cells import clock_cell, day_without_year
from rcdcheck.intake.cells.phrases import one_slip, opens_with, slip_of_no_trip
from rcdcheck.intake.cells.readings import not_measured_because
from rcdcheck.intake.cells.rounds import names_round, round_of, without_round
from rcdcheck.intake.cells.verdicts import (
    FAIL,
    NOTHING,
    PASS,
    after_verdict,
    one_denies_another,
    opens_with_fail,
    verdict,
)
from rcdcheck.intake.cells.whole_columns import phased_pair, split_pair

NAN = math.nan


def column(*cells: object) -> Any:
    out = np.empty(len(cells), dtype=object)
    out[:] = cells
    return out


# ── visits and rounds ──
ROUNDS = {  # of a text; of one that stands where a number or an ordinal alone is one
    "Visit 2": (2, 2), "2nd round": (2, 2), "Round 3": (3, 3), "first visit": (1, 1), "visit": (0, 0), "second": (0, 2),
    "2": (0, 2), "12": (0, 0), "visit 12": (0, 0), "visit 1 of 2": (0, 0), "kitchen": (0, 0), "as found": (1, 1),
    "As left (3 May)": (2, 2), "Visit 2 kitchen": (2, 2),
}  # fmt: skip
NAMED = {"2nd visit": True, "Round 3": True, "Besuch": True, "2026": True, "1999": True, "2126": False,
         "as found": True,
         "as left": True, "visit kitchen": False, "3": False, "second": False,
         "first or second visit": False}  # fmt: skip
WITHOUT = {
    "2nd 180": (2, "180"), "Outcome 1st test": (1, "Outcome"), "Outcome 2nd": (2, "Outcome"),
    "1st half of wave": (0, "1st half of wave"), "first test outcome": (1, "outcome"), "2nd": (0, "2nd"),
    "kitchen outcome": (0, "kitchen outcome"), "time of 1st test": (1, "time of"), "test time 2nd": (2, "test time"),
    "a 1st b c d": (0, "a 1st b c d"),
}  # fmt: skip


def test_rounds() -> None:
    assert {text: (round_of(text), round_of(text, bare=True)) for text in ROUNDS} == ROUNDS
    assert {text: names_round(text) for text in NAMED} == NAMED
    assert {text: without_round(text) for text in WITHOUT} == WITHOUT


# ── classes told in passing ──
IN_WORDS = {
    "RCCB 4 pole, selective": "selective", "Main switch (type S)": "type S", "RCBO type II": "type II",
    "A-type RCD": "A-type", "Workshop S": "", "RCD": "", "selective or short-time delayed": "",
    "RCD type A, selective": "selective", "type 2 board": "", "short-time delayed RCD": "",
}  # fmt: skip
BESIDE = {"300 mA sélectif (S)": "selective", "100 mA sel": "selective", "100 mA": "", "100 mA general": "general",
          "100 mA general selective": "", "300 mA short-time delayed": "short_time"}  # fmt: skip
IN_LINE = {"100 mA RCDs, general type": "general type", "Board A": "", "Board - type S": "type S",
           "Hall, RCCB selective 4 pole": "selective", "Hall, AC, kitchen": "", "Hall, IIa, kitchen": "",
           "Hall": ""}  # fmt: skip


def test_classes_that_words_tell_in_passing() -> None:
    assert {text: class_in_words(text) for text in IN_WORDS} == IN_WORDS
    assert {text: delay_beside(text) for text in BESIDE} == BESIDE
    assert {text: class_in_line(text) for text in IN_LINE} == IN_LINE


# ── two phases in one cell ──
PAIRS = {
    "24ms up, 26ms down": ("24ms", "26ms"), "180°: 31; 0°: 28": ("28", "31"), "0° 28 / 180° 31": ("28", "31"),
    "0° 28": None, "0° 28, 0° 31": None, "0° 28, 90° 31": None, "0° 28, 180° 31, 0° 29": None, "kitchen, hall": None,
    "0° kitchen, 180° 31": None, "0° no trip, 180° 31": ("no trip", "31"), "0° OL, 180° 31": ("ol", "31"),
}  # fmt: skip
SPLIT = {
    "28/31": ("28", "31"), "28 - 31": ("28", "31"), "+28 -31": ("28", "31"), "+28 -31 ms": ("28 ms", "31 ms"),
    "28/31/33": None, "22.7/n/t": ("22.7", "n/t"), "n/t/22.7": ("n/t", "22.7"), "28": None, "28 / 31 s": ("28 s",
    "31 s"),
    "28/": None, "22.7/a/b": None,
}  # fmt: skip


def test_pairs() -> None:
    assert {text: phased_pair(text) for text in PAIRS} == PAIRS
    assert {text: split_pair(text) for text in SPLIT} == SPLIT


# ── ratings and multiples ──
RATED: dict[object, tuple[float, str]] = {  # cell → mA without a unit in the heading, suggestion
    "30": (30, ""), "30mA": (30, ""), "0.03": (30, ""), "0,03 A": (30, ""), "0.5": (500, ""), "0.006": (6, ""),
    30.0: (30, ""), 0.03: (30, ""), "1 mA": (1, ""), "0.9 mA": (NAN, ""), "0.9": (NAN, ""), "0.03 mA": (NAN,
    "perhaps 30 mA"),
    "30000": (30_000, ""), "30001": (NAN, ""), "5 A": (5000, ""), "6 A": (NAN, "perhaps 6 mA"), "7 A": (NAN, ""),
    "30 A": (NAN, "perhaps 30 mA"), "40": (NAN, ""), "13": (NAN, ""), "40A/30mA": (30, ""), "25/0,03": (30, ""),
    "40/30": (NAN, ""), "40A/1mA": (1, ""), "40A/0.9mA": (NAN, "perhaps 0.9 mA"), "30mA/100mA": (NAN,
    "perhaps 30 mA or 100 mA"),
    "25/1": (NAN, ""), "n/a": (NAN, ""), "": (NAN, ""), math.inf: (NAN, ""), "30 mA?": (NAN, ""), "IΔn 30": (30, ""),
    "1.5 A": (1500, ""), "40A/1.5A": (NAN, ""),
}  # fmt: skip
MULTIPLES: dict[str, tuple[float, float, str]] = {  # cell → multiple, test current in mA, problem
    "1x": (1, NAN, ""), "×5": (5, NAN, ""), "½": (0.5, NAN, ""), "1/2 IΔn": (0.5, NAN, ""), "50 %": (0.5, NAN, ""),
    "5 IΔn": (5, NAN, ""), "IΔn": (1, NAN, ""), "10": (10, NAN, ""), "10.5": (NAN, NAN, "entry-not-understood"),
    "0": (NAN, NAN, "entry-not-understood"), "150 mA": (NAN, 150, ""), "0.15 A": (NAN, 150, ""), "n/a": (NAN, NAN, ""),
    "": (NAN, NAN, ""), "kitchen": (NAN, NAN, "entry-not-understood"), "half": (0.5, NAN, ""),
}  # fmt: skip


def test_ratings_and_multiples() -> None:
    rated = read_rated(column(*RATED))
    for cell, value, suggestion, problem in zip(RATED, rated.value, rated.suggestion, rated.problem, strict=True):
        assert value == pytest.approx(RATED[cell][0], nan_ok=True) and suggestion == RATED[cell][1], cell
        assert bool(problem) == (math.isnan(value) and cell not in ("", "n/a")), cell
    told = read_multiples(column(*MULTIPLES))
    for cell, *got in zip(MULTIPLES, told.multiple, told.test_current, told.problem, strict=True):
        assert tuple(got[:2]) == pytest.approx(MULTIPLES[cell][:2], nan_ok=True) and got[2] == MULTIPLES[cell][2], cell
    assert [text for text in ("30 mA", "40A/30mA", "300", "25 mA", "kitchen") if read_one_rating(text)] == [
        "30 mA", "40A/30mA", "300",
    ]  # fmt: skip


# ── dates and clocks ──
DAYS = {"12 Jan": True, "8-Sep": True, "3rd of March": True, "1 May": True, "31 May": True, "32 May": False,
        "0 May": False,
        "Jan": False, "12 13": False, "12 Jan 26": False, "Jan Feb": False, "x Jan": False}  # fmt: skip
CLOCKS: dict[object, dt.time | None] = {
    0.0: dt.time(), 0.5: dt.time(12), 0.25: dt.time(6), 1.0: None, 1.5: None, 0.40278: dt.time(9, 40),
    dt.timedelta(0): dt.time(), dt.timedelta(hours=9): dt.time(9), dt.timedelta(days=1): None, "9:40": dt.time(9, 40),
    "09.40 Uhr": dt.time(9, 40), "9h40": dt.time(9, 40), "9:40 pm": dt.time(21, 40), "12:05 am": dt.time(0, 5),
    "13:05 pm": None, "0:05 am": None, "25:00": None, "kitchen": None, dt.datetime(2026, 11, 20, 9, 40): dt.time(9, 40),
}  # fmt: skip


def test_days_and_clocks() -> None:
    assert {text: day_without_year(text) for text in DAYS} == DAYS
    got = {cell: clock_cell(cell) for cell in CLOCKS}
    assert {cell: time and time.replace(second=0) for cell, time in got.items()} == CLOCKS


# ── words with a slip ──
ONE_SLIP = [("trip", "trpi"), ("trip", "trp"), ("trp", "trip"), ("trip", "trjp"), ("trip", "strip"), ("ab", "ba")]
NO_SLIP = [("trip", "trip"), ("trip", "tp"), ("tp", "trip"), ("trip", "part"), ("trip", "tripped"), ("trip", "rtpi")]
SLIPS_OF_NO_TRIP = [
    "did nto trip",
    "did not trp",
    "did not trpi",
    "keine Ausl.",
    "k. Ausl.",
    "pas de décl.",
    "no tripp",
]
NO_SLIPS_OF_IT = [
    "trip",
    "no strap",
    "did not trip 2",
    "x trip",
    "kitchen door",
    "did nto trp",
    "keine Ausl",
    "k. A.",
    "go trip",
]


def test_slips_of_one_letter() -> None:
    assert [pair for pair in ONE_SLIP if not one_slip(*pair)] == []
    assert [pair for pair in NO_SLIP if one_slip(*pair)] == []
    assert [text for text in SLIPS_OF_NO_TRIP if not slip_of_no_trip(text)] == []
    assert [text for text in NO_SLIPS_OF_IT if slip_of_no_trip(text)] == []
    assert opens_with("no_trip", "did not trip at 30 mA") and not opens_with("no_trip", "did not try")


VERDICTS = {
    "pased": PASS, "Pasd": PASS, "passsed": PASS, "bestandn": PASS, "faild": FAIL, "failled": FAIL, "past": NOTHING,
    "unsound": FAIL, "unsafe": FAIL, "is not in order": FAIL, "not not in order": NOTHING, "works fine": PASS,
    "OK ✓": PASS,
    "goed gekeurd": PASS, "inorde": PASS, "OK - JS": PASS, "Pass (12/03)": PASS, "pass (new unit)": PASS,
    "pass (new unit, cracked)": NOTHING, "kleine Mängel": NOTHING, "keine Mängel": PASS, "1-1": NOTHING, "mA": NOTHING,
    "all in order": PASS, "sehr gut": PASS, "no": FAIL, "x" * 90: NOTHING, "OK " + "very " * 20: NOTHING,
}  # fmt: skip


def test_verdicts_in_other_words() -> None:
    assert {text: verdict(text) for text in VERDICTS} == VERDICTS
    assert {text: after_verdict(text) for text in ("P 29ms", "OK no trip", "OK >300", "OK kitchen", "2 29",
    "kitchen 29")} == {
        "P 29ms": (PASS, "29ms"), "OK no trip": (PASS, "no trip"), "OK >300": (PASS, ">300"),
        "OK kitchen": (NOTHING, "OK kitchen"), "2 29": (NOTHING, "2 29"), "kitchen 29": (NOTHING, "kitchen 29"),
    }  # fmt: skip
    denied = ["uygun değil", "uygun"]  # Turkish: "suitable", "suitable not"
    for texts, due in ((denied, True), (["ne jó", "jó"], True), (["uygun"], False), (["uygun", "kırık"], False),
                       (["uygun çok değil", "uygun"], False), ([*denied, "kırık", "yok"], True),
                       ([*denied, "kırık", "yok", "boş"], False)):  # fmt: skip
        assert one_denies_another(texts) == due, texts
    assert opens_with_fail("failed: cracked") and opens_with_fail("voldoet niet aan de norm")
    assert not opens_with_fail("no defects") and not opens_with_fail("kitchen failed")


BECAUSE = {"n/a - freezer full": True, "not done, locked": True, "n/a": False, "n/a - cracked": False, "28 - 31": False,
           "n/a, locked, no key": True}  # fmt: skip


def test_what_was_not_measured_says_why() -> None:
    assert {text: not_measured_because(text) for text in BECAUSE} == BECAUSE
