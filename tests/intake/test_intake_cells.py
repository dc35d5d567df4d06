"""What typed cells mean as readings. Every line of the tables: common practice, no source."""

from __future__ import annotations

import datetime as dt
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rcdcheck.findings import catalogue
from rcdcheck.intake.cells.readings import Reading, reading
from rcdcheck.terms import Bound, State

NAN = math.nan

# typed under a trip time in ms, column with decimal point → value in ms
READ = {
    "28.4": 28.4,
    "28": 28.0,
    " 28.4 ": 28.4,
    "\u00a028.4\u2009ms": 28.4,  # no-break and thin space
    "28.4\u200b": 28.4,  # zero-width space
    "\ufeff28.4": 28.4,
    "28,4": 28.4,  # can only be a decimal comma
    "28,40": 28.4,
    "0,125 s": 125.0,
    ".5": 0.5,
    "+28.4": 28.4,
    "028": 28.0,  # padded by a display
    "08.4": 8.4,
    "28.4ms": 28.4,
    "28.4 ms": 28.4,
    "28.4 MS": 28.4,
    "28.4 m s": 28.4,
    "28.4 ms.": 28.4,
    "28.4 msec": 28.4,
    "28.4 milliseconds": 28.4,
    "28,4 Millisekunden": 28.4,
    "28.4 ㎳": 28.4,  # one sign for both letters
    "0.0284 s": 28.4,
    "0.0284s": 28.4,
    "0.0284 S": 28.4,
    "0,0284 Sek.": 28.4,
    "0.3 sec": 300.0,
    "1 s": 1000.0,
    "２８.４": 28.4,  # full-width digits
    "２８．４": 28.4,
    "٢٨٫٤": 28.4,  # Arabic-Indic digits and decimal sign
    "28·4": 28.4,  # raised point
    "'28.4": 28.4,  # stray apostrophe
    "’28.4": 28.4,
    "28.4'": 28.4,
    "2.84E+01": 28.4,
    "310": 310.0,  # slow, and genuine
    "998": 998.0,
    "1998": 1998.0,
    "10000": 10_000.0,
    "0.999 s": 999.0,  # no display that has run over
    "1.234": 1.234,
    28.4: 28.4,
    310.0: 310.0,
    28.412345678: 28.412346,  # rounded once
    0.1 + 0.2: 0.3,
}

# lower bounds
ABOVE = {
    ">300": 300.0,
    "> 300": 300.0,
    ">300ms": 300.0,
    "> 300 ms": 300.0,
    ">0.3 s": 300.0,
    "＞300": 300.0,
    "≥300": 300.0,
    ">=300": 300.0,
    "=>300": 300.0,
    ">>300": 300.0,
    "300+": 300.0,
    "300 +": 300.0,
    "300 ms+": 300.0,
    "over 300": 300.0,
    "Over 300 ms": 300.0,
    "more than 300": 300.0,
    "über 300": 300.0,
    "plus de 300": 300.0,
    "más de 300": 300.0,
    "oltre 300": 300.0,
    "meer dan 300": 300.0,
    "mais de 300": 300.0,
    ">1999": 1999.0,
    "> 1999": 1999.0,
    ">999": 999.0,
    ">28.4": 28.4,
}

NO_TRIP = [
    "no trip", "No Trip", "NO TRIP", "no-trip", "no  trip", "not tripped", "did not trip", "did not trip!",
    "didn't trip", "didn’t trip", "DNT", "won't trip", "would not trip", "failed to trip", "held", "(no trip)",
    "no trip.", "OL", "O/L", "O.L.", "0L", "o/l", "∞", "+∞", ">>>", ">∞", ">OL", "ovr", "OVR", "over range",
    "overrange", "out of range", "infinity", "keine Auslösung", "KEINE AUSLÖSUNG", "nicht ausgelöst",
    "nicht ausgeloest", "löst nicht aus", "Überlauf", "non déclenché", "non declenche", "pas de déclenchement",
    "ne déclenche pas", "hors gamme", "no dispara", "no disparó", "sin disparo", "fuera de rango",
    "nessun intervento", "non interviene", "fuori scala", "schakelt niet uit", "niet uitgeschakeld",
    "buiten bereik", "não disparou", "sem disparo", "fora de escala", "time out", ">300 no trip",
    "300 no trip", "1999 OL", ">1999 OL", "no trip\u00a0",
]  # fmt: skip

BLANK = [
    "", " ", "\u00a0", "\u200b", "'", "-", "–", "—", "−", "/", "n/a", "N/A", "n.a.", "NA", "n.m.", "nm",
    "not measured", "not tested", "Not Tested", "not applicable", "no reading", "nil", "k.A.",
    "nicht gemessen", "nicht geprüft", "entfällt", "non mesuré", "sans objet", "s.o.", "no medido",
    "sin medir", "non misurato", "niet gemeten", "n.v.t.", "não medido",
]  # fmt: skip

UNCLEAR_MARKS = ["---", "--", "- - -", "———", "***", "*", "...", "…", "?", "??", "x", "X", "xx", "#", "_", "//", "."]

# refused: code, and words that the suggestion must hold
REFUSED = {
    "none": ("none-as-reading", ""),  # it did not trip, or nothing was measured
    "geen": ("none-as-reading", ""),
    "<40": ("upper-bound-only", ""),
    "≤40": ("upper-bound-only", ""),
    "< 40 ms": ("upper-bound-only", ""),
    "under 40": ("upper-bound-only", ""),
    "unter 40": ("upper-bound-only", ""),
    "moins de 40": ("upper-bound-only", ""),
    "max 40": ("upper-bound-only", ""),
    "~30": ("approximate-reading", "30"),
    "≈30": ("approximate-reading", "30"),
    "ca. 30": ("approximate-reading", "30"),
    "approx 30 ms": ("approximate-reading", "30"),
    "about 30": ("approximate-reading", "30"),
    "±30": ("approximate-reading", "30"),
    "OK": ("declared-not-measured", ""),
    "ok.": ("declared-not-measured", ""),
    "pass": ("declared-not-measured", ""),
    "P": ("declared-not-measured", ""),
    "✓": ("declared-not-measured", ""),
    "bestanden": ("declared-not-measured", ""),
    "i.O.": ("declared-not-measured", ""),
    "conforme": ("declared-not-measured", ""),
    "Fail": ("declared-not-measured", ""),
    "F": ("declared-not-measured", ""),
    "tripped": ("declared-not-measured", ""),
    "ausgelöst": ("declared-not-measured", ""),
    "déclenché": ("declared-not-measured", ""),
    "yes": ("declared-not-measured", ""),
    '"': ("ditto-mark", ""),
    "''": ("ditto-mark", ""),
    "〃": ("ditto-mark", ""),
    "do": ("ditto-mark", ""),
    "do.": ("ditto-mark", ""),
    "ditto": ("ditto-mark", ""),
    "dto": ("ditto-mark", ""),
    "as above": ("ditto-mark", ""),
    "wie oben": ("ditto-mark", ""),
    "idem": ("ditto-mark", ""),
    "28/31": ("several-numbers", "28 and 31"),
    "28 / 31": ("several-numbers", "28 and 31"),
    "28 | 31": ("several-numbers", "28 and 31"),
    "28;31": ("several-numbers", "28 and 31"),
    "28 & 31": ("several-numbers", "28 and 31"),
    "28\n31": ("several-numbers", "28"),
    "28 31": ("several-numbers", "28 and 31"),
    "28-31": ("several-numbers", "28 and 31"),
    "28 – 31 ms": ("several-numbers", "28 and 31"),
    "28.4 (31.2)": ("several-numbers", "28.4 and 31.2"),
    "28.4ms/22mA": ("several-numbers", "28.4 and 22"),
    "28.4, 31.2": ("several-numbers", "28.4 and 31.2"),
    "28 then 31": ("several-numbers", "28 and 31"),
    "0°: 28 180°: 31": ("several-numbers", ""),
    "2 8.4": ("several-numbers", "28.4"),
    "28. 4": ("several-numbers", "28.4"),
    "28 .4": ("several-numbers", "28.4"),
    "2O.4": ("letter-for-digit", "20.4"),
    "2o.4": ("letter-for-digit", "20.4"),
    "l8.4": ("letter-for-digit", "18.4"),
    "I8.4": ("letter-for-digit", "18.4"),
    "28.O": ("letter-for-digit", "28.0"),
    "3O0": ("letter-for-digit", "300"),
    "3l": ("letter-for-digit", "31"),
    "2B.4": ("letter-for-digit", "28.4"),
    ">3OO": ("letter-for-digit", "300"),
    "28.4?": ("reading-doubted", "28.4"),
    "?28.4": ("reading-doubted", "28.4"),
    "28.4 ?": ("reading-doubted", "28.4"),
    "28.4*": ("reading-doubted", "28.4"),
    "28.4!": ("reading-doubted", "28.4"),
    "(28.4)": ("reading-doubted", "28.4"),
    "28.4-": ("reading-doubted", "28.4"),
    "28²": ("reading-doubted", "28"),
    "28.4¹": ("reading-doubted", "28.4"),
    "28..4": ("number-mistyped", "28.4"),
    "28.4.": ("number-mistyped", "28.4"),
    "28.": ("number-mistyped", "28"),
    "28,": ("number-mistyped", "28"),
    "28,,4": ("number-mistyped", "28,4"),
    "0284": ("number-mistyped", "0.284"),
    "00284": ("number-mistyped", "0.284"),
    "1'234": ("thousands-separator", "1234"),
    "1’234": ("thousands-separator", "1234"),
    "1 234": ("thousands-separator", "1234"),
    "1,234,567": ("thousands-separator", "1234567"),
    "1.234,5": ("thousands-separator", "1234.5"),
    "1,234.5": ("thousands-separator", "1234.5"),
    "1,234": ("decimal-or-thousands", "1.234 or 1234"),
    "28,412": ("decimal-or-thousands", "28.412 or 28412"),
    "28mA": ("unit-of-other-quantity", ""),
    "28.4 mA": ("unit-of-other-quantity", ""),
    "0.03 A": ("unit-of-other-quantity", ""),
    "28 µA": ("unit-of-other-quantity", ""),
    "28%": ("unit-not-understood", ""),
    "28 V": ("unit-not-understood", ""),
    "28 Ω": ("unit-not-understood", ""),
    "28 ohm": ("unit-not-understood", ""),
    "28 µs": ("unit-not-understood", ""),
    "28 min": ("unit-not-understood", ""),
    "28°": ("unit-not-understood", ""),
    "28 m": ("unit-not-understood", ""),
    "28 S": ("unit-not-understood", ""),  # seconds, or a selective device?
    "5 S": ("unit-not-understood", ""),
    "28.4msx": ("unit-not-understood", "28.4"),
    "28.4foo": ("unit-not-understood", "28.4"),
    "-28.4": ("negative-reading", "28.4"),
    "−28.4": ("negative-reading", "28.4"),
    "– 28.4": ("reading-doubted", "28.4"),
    -28.4: ("negative-reading", "28.4"),
    "0": ("zero-reading", ""),
    "0.0": ("zero-reading", ""),
    "0 ms": ("zero-reading", ""),
    "00": ("zero-reading", ""),
    0.0: ("zero-reading", ""),
    "10001": ("beyond-any-instrument", ""),
    "12 s": ("beyond-any-instrument", ""),
    ">12000": ("beyond-any-instrument", ""),
    1e300: ("beyond-any-instrument", ""),
    math.inf: ("beyond-any-instrument", ""),
    "9" * 400: ("beyond-any-instrument", ""),
    "28:04": ("date-or-time-as-reading", "28.04"),
    "0:28": ("date-or-time-as-reading", "0.28"),
    "28:04:00": ("date-or-time-as-reading", "28.04"),
    "28-Apr": ("date-or-time-as-reading", ""),
    "28. Apr": ("date-or-time-as-reading", ""),
    "28/04/2026": ("date-or-time-as-reading", ""),
    "28.04.2026": ("date-or-time-as-reading", ""),
    "2026-04-28 00:00:00": ("date-or-time-as-reading", ""),
    dt.datetime(2026, 4, 28): ("date-or-time-as-reading", "28.4"),
    dt.time(0, 28): ("date-or-time-as-reading", "0.28"),
    dt.timedelta(hours=28, minutes=4): ("date-or-time-as-reading", "28.04"),
    "28.4 fail": ("fault-beside-reading", "28.4"),
    "28.4 (F)": ("fault-beside-reading", "28.4"),
    "28.4 sticky": ("fault-beside-reading", "28.4"),
    "28.4 ms, cracked": ("fault-beside-reading", "28.4"),
    "28.4 defekt": ("fault-beside-reading", "28.4"),
    "28.4 second press": ("fault-beside-reading", "28.4"),
    "28.4 2nd press": ("fault-beside-reading", "28.4"),
    "28.4 no trip": ("no-trip-contradicted", ""),
    "28.4 OL": ("no-trip-contradicted", ""),
    "no trip 28": ("no-trip-contradicted", ""),
    "no trip, then 28.4": ("no-trip-contradicted", ""),
    "#N/A": ("error-cell", ""),
    "#DIV/0!": ("error-cell", ""),
    "#REF!": ("error-cell", ""),
    "#WERT!": ("error-cell", ""),
    "nan": ("reading-not-understood", ""),
    "NaN": ("reading-not-understood", ""),
    "inf": ("reading-not-understood", ""),
    "-inf": ("reading-not-understood", ""),
    "1_000": ("reading-not-understood", ""),
    "1e3": ("reading-not-understood", ""),
    "0x1C": ("reading-not-understood", ""),
    "½": ("reading-not-understood", ""),
    "twenty": ("reading-not-understood", ""),
    "see note": ("reading-not-understood", ""),
    "=28.4": ("number-mistyped", "28.4"),
    "=A1": ("reading-not-understood", ""),
    "today": ("reading-not-understood", ""),
    "ms": ("reading-not-understood", ""),
    "📷": ("reading-not-understood", ""),
}

# read, with a note that is kept
NOTED = {
    "28.4 retested": (28.4, "retested"),
    "28.4 (retested)": (28.4, "retested"),
    "28.4 ms - retested": (28.4, "retested"),
    "28.4, lead replaced": (28.4, "lead replaced"),
    "28.4 ok": (28.4, "ok"),
    "28.4 (P)": (28.4, "P"),
    "28.4 ✓": (28.4, "✓"),
    "28.4 pass": (28.4, "pass"),
    "28.4 no defects": (28.4, "no defects"),
    "28,4 i.O.": (28.4, "i.O."),
}


def read(cell: object, decimal: str = ".") -> Reading:
    return reading(cell, quantity="trip_time", decimal=decimal)


@pytest.mark.parametrize(("typed", "value"), READ.items(), ids=repr)
def test_a_number_is_read(typed: object, value: float) -> None:
    got = read(typed)
    assert (got.value, got.state, got.bound, got.problem, got.note) == (value, State.TRIPPED, Bound.EXACT, "", "")
    assert got.measured


@pytest.mark.parametrize(("typed", "value"), ABOVE.items(), ids=repr)
def test_a_comparator_makes_a_lower_bound(typed: str, value: float) -> None:
    got = read(typed)
    assert (got.value, got.state, got.bound, got.problem) == (value, State.TRIPPED, Bound.ABOVE, "")


@pytest.mark.parametrize("typed", NO_TRIP, ids=repr)
def test_words_for_no_trip(typed: str) -> None:
    got = read(typed)
    assert (got.state, got.problem, got.note, got.measured) == (State.NOT_TRIPPED, "", "", True)
    assert reading(typed, quantity="trip_current").state == State.NOT_TRIPPED


@pytest.mark.parametrize("typed", BLANK, ids=repr)
def test_words_for_not_measured(typed: str) -> None:
    got = read(typed)
    assert (got.measured, got.problem) == (False, "")


@pytest.mark.parametrize("typed", UNCLEAR_MARKS, ids=repr)
def test_unclear_marks_are_not_measured_and_said(typed: str) -> None:
    got = read(typed)
    assert (got.measured, got.problem) == (False, "unclear-mark")


@pytest.mark.parametrize(("typed", "expected"), REFUSED.items(), ids=lambda x: repr(x)[:40])
def test_a_cell_that_is_no_reading_is_refused_with_its_reason(typed: object, expected: tuple[str, str]) -> None:
    got = read(typed)
    assert (got.problem, got.state, got.measured) == (expected[0], State.UNREADABLE, True)
    assert math.isnan(got.value)
    assert expected[1] in got.suggestion
    assert not got.suggestion or got.suggestion.startswith("perhaps ")


@pytest.mark.parametrize(("typed", "expected"), NOTED.items(), ids=repr)
def test_a_note_beside_a_reading_is_kept_and_said(typed: str, expected: tuple[float, str]) -> None:
    got = read(typed)
    assert (got.value, got.remark, got.note, got.problem) == (*expected, "note-beside-reading", "")


@pytest.mark.parametrize(
    ("typed", "value"),
    {"22.4": 22.4, "22,4 mA": 22.4, "0.0224 A": 22.4, "22400 µA": 22.4, "999": 999.0, "1999": 1999.0}.items(),
)
def test_trip_currents(typed: str, value: float) -> None:
    got = reading(typed, quantity="trip_current")
    assert (got.value, got.state) == (value, State.TRIPPED)


def test_a_time_under_a_current_is_of_the_wrong_kind() -> None:
    assert reading("28.4 ms", quantity="trip_current").problem == "unit-of-other-quantity"


@pytest.mark.parametrize("typed", ["999", "1999", 999.0, 1999.0, "999 ms"])
def test_the_end_of_a_display_is_no_trip_and_said(typed: object) -> None:
    got = read(typed)
    assert (got.state, got.note) == (State.NOT_TRIPPED, "over-range-number")


@pytest.mark.parametrize("typed", ["NT", "N/T", "n.t."])
def test_an_abbreviation_for_no_trip_is_said(typed: str) -> None:
    got = read(typed)
    assert (got.state, got.note) == (State.NOT_TRIPPED, "abbreviation-read-as-no-trip")


def test_the_unit_in_a_cell_beats_the_heading() -> None:
    assert reading("0.0284", quantity="trip_time", unit="s").value == 28.4
    assert reading("28.4 ms", quantity="trip_time", unit="s").value == 28.4
    assert reading("0.0284 s", quantity="trip_time", unit="ms").value == 28.4
    assert reading(0.0224, quantity="trip_current", unit="A").value == 22.4


def test_the_decimal_sign_of_the_column_settles_what_may_be_thousands() -> None:
    assert read("1,234", ",").value == 1.234
    assert read("1.234", ",").problem == "decimal-or-thousands"
    assert read("1.234", "").problem == "decimal-or-thousands"
    assert read("28.4", ",").value == 28.4


def test_what_no_file_holds_is_refused_too() -> None:
    assert read(None).problem == "reading-not-understood"


def test_no_trip_at_a_current_is_read_with_its_note() -> None:
    got = read("no trip at 30 mA")
    assert (got.state, got.remark) == (State.NOT_TRIPPED, "no trip at 30 mA")


# ── properties ──
NUMBERS = st.integers(1, 9_980).map(lambda tenths: tenths / 10)
DIGITS = ["0123456789", "０１２３４５６７８９", "٠١٢٣٤٥٦٧٨٩", "०१२३४५६७८९"]


@given(
    number=NUMBERS.filter(lambda x: x not in (999.0, 1999.0)),
    sign=st.sampled_from(".,·"),
    unit=st.sampled_from(["", "ms", " ms", "\u202fms", " s"]),
    digits=st.sampled_from(DIGITS),
    around=st.sampled_from(["", " ", "\u00a0", "\u2009", "'"]),
    comparator=st.sampled_from(["", ">", "> ", "≥", ">="]),
)
@settings(max_examples=200)
def test_a_number_written_in_any_accepted_way_comes_back(
    number: float, sign: str, unit: str, digits: str, around: str, comparator: str
) -> None:
    typed = f"{number / 1000:.4f}" if unit == " s" else f"{number:.1f}"
    typed = typed.replace(".", sign).translate({48 + i: d for i, d in enumerate(digits)})
    got = read(around + comparator + typed + unit)
    assert got.value == number
    assert got.bound == (Bound.ABOVE if comparator else Bound.EXACT)


STRAY = [c for c in map(chr, range(32, 0x17F)) if not c.isdecimal()] + list("‘’“”–—−‰…∞≈≤≥½²①❶📷\u200b\u3000")


@given(
    number=st.integers(100, 999).map(lambda tenths: f"{tenths / 10:.1f}"),
    stray=st.sampled_from(STRAY),
    where=st.integers(0, 4),
)
@settings(max_examples=400)
def test_one_stray_character_never_turns_a_reading_into_another(number: str, stray: str, where: int) -> None:
    got = read(number[:where] + stray + number[where:])
    assert got.problem or got.value == float(number)


@given(st.integers(100, 999).map(lambda tenths: f"{tenths / 10:.1f}"), st.integers(0, 3), st.integers(0, 3))
@settings(max_examples=100)
def test_two_readings_run_together_are_never_one(first: str, spaces: int, seconds: int) -> None:
    for part in ("/", ";", "|", "&", " ", "\n", ", ", " - ", "\t"):
        got = read(first + " " * spaces + part + " " * seconds + "31.2")
        assert got.problem


CELLS = st.one_of(
    st.text(max_size=12),
    st.text("0123456789.,-+ ><=~'?OlmsAµ%/|:;EeNT\u00a0½²", max_size=10),
    st.floats(),
    st.datetimes(),
    st.times(),
    st.timedeltas(),
)


@given(cell=CELLS, quantity=st.sampled_from(["trip_time", "trip_current"]), decimal=st.sampled_from(["", ".", ","]))
@settings(max_examples=400)
def test_any_cell_has_an_answer_and_none_raises(cell: object, quantity: str, decimal: str) -> None:
    got = reading(cell, quantity=quantity, decimal=decimal)
    if got.problem:
        assert got.problem in catalogue()
        assert math.isnan(got.value)
    elif got.measured and got.state == State.TRIPPED:
        assert got.value > 0
    assert not got.note or got.note in catalogue()
