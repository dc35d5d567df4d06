"""What typed cells mean as dates and times of day. Common practice, no source, where no other is named."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rcdcheck.findings import catalogue
from rcdcheck.intake.cells.date_cells import EPOCH, clock_cell, date_cell
from rcdcheck.intake.cells.whole_columns import read_dates, read_times
from rcdcheck.tables import Texts

DAY = dt.date(2026, 11, 20)
AS_OF = dt.date(2026, 11, 25)


def column(*cells: object) -> Texts:
    out = np.empty(len(cells), dtype=object)
    out[:] = cells
    return out


def days(*cells: object, order: str = "", as_of: dt.date | None = AS_OF) -> list[str]:
    return [str(v)[:10] for v in read_dates(column(*cells), order=order, as_of=as_of).value]


SAME_DAY: list[object] = [
    "2026-11-20", "2026-11-20 00:00:00", "2026/11/20", "2026.11.20", "2026 11 20", "20261120", 20261120.0,
    "20/11/2026", "20/11/26", "20.11.2026", "20.11.26", "20.11.26.", "20-11-2026", "20 11 2026",
    "20 / 11 / 2026", "20. 11. 2026", "20-Nov-26", "20-nov-2026", "20 Nov 2026", "20 November 2026",
    "20th November 2026", "20th of November 2026", "November 20, 2026", "Nov 20 2026", "Fri 20 Nov 2026",
    "Friday, 20 November 2026", "20Nov2026", "20. November 2026", "Freitag, 20. Nov. 2026", "20 novembre 2026",
    "le 20 nov. 2026", "20 de noviembre de 2026", "20 novembre 2026", "20 november 2026",
    "20 de novembro de 2026", "２０２６-１１-２０", "\u00a020/11/2026 ", 46346.0, "46346", dt.datetime(2026, 11, 20),
    dt.date(2026, 11, 20),
]  # fmt: skip

MONTHS = {
    1: ["January", "Jan", "Januar", "Jänner", "janvier", "enero", "gennaio", "januari", "janeiro"],
    2: ["February", "Februar", "février", "fevrier", "febrero", "febbraio", "februari", "fevereiro"],
    3: ["March", "März", "Maerz", "mars", "marzo", "maart", "março", "Mrz"],
    4: ["April", "avril", "abril", "aprile"],
    5: ["May", "Mai", "mayo", "maggio", "mei", "maio"],
    6: ["June", "Juni", "juin", "junio", "giugno", "junho"],
    7: ["July", "Juli", "juillet", "julio", "luglio", "julho"],
    8: ["August", "août", "aout", "agosto", "augustus"],
    9: ["September", "Sept", "septembre", "septiembre", "settembre", "setembro"],
    10: ["October", "Oktober", "Okt", "octobre", "octubre", "ottobre", "outubro"],
    11: ["November", "novembre", "noviembre", "novembro"],
    12: ["December", "Dezember", "Dez", "décembre", "diciembre", "dicembre", "dezembro"],
}

NO_DATES = [
    "today", "now", "2026", "11/2026", "Nov 2026", "20 Nov", "31/2/2026", "2026-02-30", "0/5/2026",
    "32/1/2026", "13/13/2026", "28.4", 28.4, 12.0, -5.0, 1e9, "1_000", "20/11", "yesterday", "20-11-2026-1",
    "NaT", "20/11.2026", "20 Brumaire 2026", dt.time(9, 40), dt.timedelta(hours=3), "9:40",
]  # fmt: skip


@pytest.mark.parametrize("typed", SAME_DAY, ids=repr)
def test_a_day_written_in_any_accepted_way(typed: object) -> None:
    read = read_dates(column(typed), as_of=AS_OF)
    assert str(read.value[0])[:10] == "2026-11-20"
    assert (read.problem[0], read.clock_known[0], read.present[0]) == ("", False, True)


@pytest.mark.parametrize(("month", "name"), [(m, name) for m, names in MONTHS.items() for name in names])
def test_month_names_in_seven_languages(month: int, name: str) -> None:
    assert days(f"3 {name} 2025") == [f"2025-{month:02d}-03"]


@pytest.mark.parametrize("typed", NO_DATES, ids=repr)
def test_what_is_no_date_is_refused_and_never_guessed(typed: object) -> None:
    read = read_dates(column(typed), as_of=AS_OF)
    assert (read.problem[0], read.present[0], np.isnat(read.value[0])) == ("date-not-understood", True, True)


@pytest.mark.parametrize("typed", ["", " ", "-", "n/a", "not tested", "k.A."])
def test_no_date_at_all(typed: str) -> None:
    read = read_dates(column(typed))
    assert (read.present[0], read.problem[0]) == (False, "")


WITH_TIME = {
    "2026-11-20 09:40": "09:40:00",
    "2026-11-20T09:40:05": "09:40:05",
    "2026-11-20T09:40:05Z": "09:40:05",
    "2026-11-20T09:40:05+01:00": "09:40:05",  # the clock on the wall where the test was made
    "20/11/2026 9:40": "09:40:00",
    "20.11.2026 09:40 Uhr": "09:40:00",
    "20.11.2026 um 9.40 Uhr": "09:40:00",
    "20/11/26 9:40 pm": "21:40:00",
    "20/11/26 9:40PM": "21:40:00",
    "20/11/26, 12:05 am": "00:05:00",
    "20/11/26 at 12:05 pm": "12:05:00",
    "20 Nov 2026 09:40": "09:40:00",
    "20/11/2026 9h40": "09:40:00",
    46346.5: "12:00:00",
    "46346.75": "18:00:00",
    dt.datetime(2026, 11, 20, 9, 40): "09:40:00",
}


@pytest.mark.parametrize(("typed", "clock"), WITH_TIME.items(), ids=repr)
def test_a_time_of_day_beside_the_date(typed: object, clock: str) -> None:
    read = read_dates(column(typed), as_of=AS_OF)
    assert str(read.value[0])[:19] == f"2026-11-20T{clock}"
    assert read.clock_known[0]


def test_serial_numbers_count_days_as_spreadsheets_do() -> None:
    """ISO/IEC 29500-1 18.17.4.1, 1900 date base (from memory): serial 36526 is 2000-01-01."""
    assert days(36526.0, as_of=None) == ["2000-01-01"]
    assert dt.datetime(2000, 1, 1) == EPOCH + dt.timedelta(days=36526)


def test_two_digit_years_turn_at_69() -> None:
    """POSIX strptime %y: 69 to 99 are 1969 to 1999."""
    for typed in ("01.02.68", "01.02.69", "01.02.99", "01.02.00"):
        expected = dt.datetime.strptime(typed, "%d.%m.%y").date()
        assert date_cell(typed).day_first == expected


# ── day or month first ──
def test_one_day_above_twelve_settles_the_column() -> None:
    read = read_dates(column("05/11/2026", "20/11/2026"), as_of=AS_OF)
    assert (read.order, read.column_notes) == ("day-first", ())
    assert days("05/11/2026", "20/11/2026") == ["2026-11-05", "2026-11-20"]
    assert days("05/11/2026", "11/20/2026") == ["2026-05-11", "2026-11-20"]


def test_where_nothing_tells_day_first_is_taken_and_said_once() -> None:
    read = read_dates(column("05/11/2026", "06/11/2026", "2026-11-07"), as_of=AS_OF)
    assert [code for code, _ in read.column_notes] == ["date-order-assumed"]
    assert str(read.value[0])[:10] == "2026-11-05"


def test_points_and_equal_numbers_need_no_question() -> None:
    assert read_dates(column("05.11.2026"), as_of=AS_OF).column_notes == ()
    assert read_dates(column("11/11/2026"), as_of=AS_OF).column_notes == ()


def test_a_column_of_both_orders_reads_only_what_is_certain() -> None:
    read = read_dates(column("20/11/2026", "11/20/2026", "05/11/2026", "11/11/2026"), as_of=AS_OF)
    assert [str(v)[:10] for v in read.value] == ["2026-11-20", "2026-11-20", "NaT", "2026-11-11"]
    assert read.problem[2] == "date-not-certain"
    assert read.suggestion[2] == "perhaps 2026-11-05 or 2026-05-11"
    assert [code for code, _ in read.column_notes] == ["date-orders-mixed"]


def test_an_order_that_a_person_states_is_kept() -> None:
    assert days("05/11/2026", order="month-first") == ["2026-05-11"]
    read = read_dates(column("11/20/2026"), order="day-first", as_of=AS_OF)
    assert (read.problem[0], read.suggestion[0]) == ("date-not-understood", "perhaps 2026-11-20")


def test_stored_dates_beside_text_dates_are_perhaps_turned() -> None:
    stored = [dt.datetime(2026, 5, 11), dt.datetime(2026, 6, 11)]
    assert [c for c, _ in read_dates(column(*stored, "20/11/2026"), as_of=AS_OF).column_notes] == [
        "dates-perhaps-turned"
    ]
    assert read_dates(column(*stored, dt.datetime(2026, 5, 13), "20/11/2026"), as_of=AS_OF).column_notes == ()


# ── impossible days ──
def test_future_and_early_dates_are_refused() -> None:
    for typed in ("2026-11-27", "27/11/2026", dt.datetime(2026, 11, 27), "2062-11-20"):
        assert read_dates(column(typed), as_of=AS_OF).problem[0] == "date-in-future"
    for typed in ("1989-12-31", "31/12/1989", "1.1.70", dt.datetime(1989, 12, 31)):
        assert read_dates(column(typed), as_of=AS_OF).problem[0] == "date-too-early"
    assert days("2026-11-26", "26/11/2026") == ["2026-11-26"] * 2  # a day's grace for time zones
    assert days("2031-01-01", as_of=None) == ["2031-01-01"]  # a date to come, such as a calibration's end


# ── times of day ──
CLOCKS = {
    "9:40": dt.time(9, 40),
    "09:40": dt.time(9, 40),
    "09:40:30": dt.time(9, 40, 30),
    "9.40": dt.time(9, 40),
    "09.40 Uhr": dt.time(9, 40),
    "9 Uhr 40": dt.time(9, 40),
    "9h40": dt.time(9, 40),
    "9h": dt.time(9),
    "9 Uhr": dt.time(9),
    "9 am": dt.time(9),
    "9pm": dt.time(21),
    "9:40 am": dt.time(9, 40),
    "9:40 p.m.": dt.time(21, 40),
    "12:05 AM": dt.time(0, 5),
    0.5: dt.time(12),
    dt.time(9, 40): dt.time(9, 40),
    dt.timedelta(hours=9, minutes=40): dt.time(9, 40),
    dt.datetime(1899, 12, 31, 9, 40): dt.time(9, 40),
}


@pytest.mark.parametrize(("typed", "clock"), CLOCKS.items(), ids=repr)
def test_a_time_of_day(typed: object, clock: dt.time) -> None:
    assert clock_cell(typed) == clock
    read = read_times(column(typed))
    assert read.value[0] == np.timedelta64(clock.hour * 3600 + clock.minute * 60 + clock.second, "s")


@pytest.mark.parametrize(
    "typed",
    ["25:00", "9:75", "9.", "9:", "9", "noon", "940", 9.4, "13:00 pm", "0:30 am", dt.timedelta(hours=30), "28.4"],
)
def test_what_is_no_time_of_day(typed: object) -> None:
    read = read_times(column(typed))
    assert (read.problem[0], np.isnat(read.value[0])) == ("time-not-understood", True)


# ── properties ──
FORMATS = ["%Y-%m-%d", "%d/%m/%Y", "%d.%m.%Y", "%d-%b-%Y", "%d %B %Y", "%B %d, %Y", "%Y%m%d", "%d.%m.%y", "%Y/%m/%d"]


@given(
    days_written=st.lists(
        st.tuples(st.dates(dt.date(1990, 1, 1), dt.date(2068, 12, 31)), st.sampled_from(FORMATS)), max_size=8
    )
)
@settings(max_examples=150, deadline=None)
def test_dates_written_by_the_standard_library_come_back(days_written: list[tuple[dt.date, str]]) -> None:
    typed = [day.strftime(form) for day, form in days_written]
    read = read_dates(column(*typed), order="day-first")
    assert [str(v)[:10] for v in read.value] == [day.isoformat() for day, _ in days_written]


@given(moment=st.datetimes(dt.datetime(1990, 1, 1), dt.datetime(2068, 12, 31)).map(lambda m: m.replace(microsecond=0)))
@settings(max_examples=100, deadline=None)
def test_a_moment_comes_back_from_text_from_a_cell_and_from_its_serial_number(moment: dt.datetime) -> None:
    serial = (moment - EPOCH) / dt.timedelta(days=1)
    texts = (f"{moment:%Y-%m-%d %H:%M:%S}", f"{moment:%d/%m/%Y %H:%M:%S}", f"{moment:%d %b %Y %I:%M:%S %p}")
    read = read_dates(column(*texts, moment, serial), order="day-first")
    assert read.value.tolist() == [moment] * 5
    assert read.clock_known.tolist() == [moment.time() != dt.time()] * 5


@given(
    cell=st.one_of(
        st.text(max_size=14),
        st.text("0123456789/.-: TapmNovMar", max_size=16),
        st.floats(allow_nan=False),
        st.timedeltas(),
        st.times(),
    )
)
@settings(max_examples=300, deadline=None)
def test_any_cell_has_an_answer_and_none_raises(cell: object) -> None:
    dates, clocks = read_dates(column(cell), as_of=AS_OF), read_times(column(cell))
    assert not dates.problem[0] or dates.problem[0] in catalogue()
    assert bool(dates.problem[0]) == bool(dates.present[0] and np.isnat(dates.value[0]))
    assert bool(clocks.problem[0]) == bool(clocks.present[0] and np.isnat(clocks.value[0]))
