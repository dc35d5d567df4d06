"""A second model of honest work: habits of people and instruments that leave odd sheets, none of them an invention.

Each habit makes the files of one seeded month. Its honest truth: no doubt may be raised about any of it; what may be
said, as a note, is named beside it. `common practice, no source` for all of them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from people import (
    AT,
    COARSE,
    DAY,
    HALF,
    MONTH,
    RAMP,
    YEAR,
    ZERO,
    Device,
    Rng,
    Row,
    Way,
    aged,
    clock,
    fleet,
    rows,
    without,
)

Sheets = dict[str, list[Row]]
Files = dict[str, Sheets]  # by file name; a CSV has one sheet


@dataclass(frozen=True)
class Habit:
    """A habit, the files of one month that has it, and the notes that may honestly be made of it."""

    name: str
    make: Callable[[Rng], Files]
    notes: tuple[str, ...] = ()


HABITS: list[Habit] = []


def habit(name: str, *notes: str) -> Callable[[Callable[[Rng], Files]], Callable[[Rng], Files]]:
    """List a habit under its name."""

    def listed(make: Callable[[Rng], Files]) -> Callable[[Rng], Files]:
        HABITS.append(Habit(name, make, notes))
        return make

    return listed


def one(rows_: list[Row], name: str = "day.csv") -> Files:
    """One file of one sheet."""
    return {name: {"Tests": rows_}}


def size(rng: Rng) -> int:
    """Devices of a sheet."""
    return int(rng.choice([40, 60, 120]))


WAYS = tuple(
    Way(f"{letter}. {name}", f"Meter {letter}")
    for letter, name in zip(
        "ABCDEFGH",
        ["Snowfield", "Icicle", "Lantern", "Pinecone", "Sleighbell", "Mitten", "Ember", "Wreath"],
        strict=True,
    )
)


# ── the same tests listed again ──


@habit("the same list twice, one without a site")
def _no_site(rng: Rng) -> Files:
    day = rows(fleet(rng, size(rng)), rng)
    return one(day) | one(without(day, "Site"), "office.csv")


@habit("an export with other identifiers")
def _other_identifiers(rng: Rng) -> Files:
    day = rows(fleet(rng, size(rng)), rng)
    return one(day) | one([r | {"Asset": r["Asset"].replace("-", "")} for r in day], "export.csv")


@habit("an export with the instrument's own numbers")
def _memory_numbers(rng: Rng) -> Files:
    day = rows(fleet(rng, size(rng)), rng)
    return one(day) | one([r | {"Asset": f"{i + 1}"} for i, r in enumerate(without(day, "Site"))], "memory.csv")


@habit("a summary beside the detail")
def _summary(rng: Rng) -> Files:
    day = rows(fleet(rng, size(rng)), rng)
    short = [{k: r[k] for k in ("Asset", ZERO, HALF, RAMP, "Result")} for r in day]
    return {"month.xlsx": {"Tests": day, "Summary": short}}


@habit("a sheet for each site beside a sheet of all devices")
def _all_devices(rng: Rng) -> Files:
    here, there = (
        rows(fleet(rng, 40), rng),
        rows(fleet(rng, 30, site="Mill Lane", first=201), rng, start=DAY + timedelta(days=1)),
    )
    sheets = {"Lantern Street": without(here, "Site"), "Mill Lane": without(there, "Site"), "All devices": here + there}
    return {"month.xlsx": sheets}


@habit("a date slip mended and sent again")
def _date_slip(rng: Rng) -> Files:
    devices, state = fleet(rng, size(rng)), rng.bit_generator.state
    first = rows(devices, rng)
    rng.bit_generator.state = state
    mended = [r | {AT: _later(r[AT], timedelta(days=1))} for r in first]
    return one(first, "sent.csv") | one(mended, "sent-again.csv")


def _later(text: str, by: timedelta) -> str:
    return f"{datetime.strptime(text, '%Y-%m-%d %H:%M') + by:%Y-%m-%d %H:%M}"


@habit(
    "last visit's sheet as the form for this one, devices without access keep what stood there",
    "unchanged-since-earlier-visit-note",
)
def _form(rng: Rng) -> Files:
    devices = fleet(rng, size(rng))
    last = rows(devices, rng, start=DAY - YEAR)
    now = rows(aged(devices, rng), rng)
    shut = rng.random(len(now)) < 0.25
    return one(last, "last.csv") | one([old if s else new for old, new, s in zip(last, now, shut, strict=True)])


@habit(
    "last visit's sheet as the form, a locked building keeps its rows with a remark",
    "unchanged-since-earlier-visit-note",
    "copied-block",
)
def _locked(rng: Rng) -> Files:
    devices = fleet(rng, 60)
    last = rows(devices, rng, start=DAY - YEAR)
    now = [r | {"Remarks": ""} for r in rows(aged(devices, rng), rng)]
    at = int(rng.integers(0, 45))
    for i in range(at, at + 14):
        now[i] = last[i] | {AT: now[i][AT], "Remarks": "no access, building locked"}
    return one(last, "last.csv") | one(now)


@habit("a workbook that grows week by week, sent each week")
def _growing(rng: Rng) -> Files:
    devices = fleet(rng, 90)
    weeks = [rows(devices[30 * w : 30 * w + 30], rng, start=DAY + timedelta(days=7 * w)) for w in range(3)]
    return {f"week-{w + 1}.xlsx": {"Tests": [r for week in weeks[: w + 1] for r in week]} for w in range(3)}


@habit("the CSV of the instrument and the workbook made of it")
def _csv_and_book(rng: Rng) -> Files:
    day = rows(fleet(rng, size(rng)), rng)
    return one(day) | {"day.xlsx": {"Tests": [r | {ZERO: f"{float(r[ZERO]):.2f}"} for r in day]}}


@habit("a copy of the file in another order, by asset")
def _another_order(rng: Rng) -> Files:
    devices = fleet(rng, size(rng))
    day = rows([devices[i] for i in rng.permutation(len(devices))], rng)
    return one(day) | one(sorted(day, key=lambda r: r["Asset"]), "by-asset.csv")


@habit("a list for the client with readings in whole milliseconds")
def _rounded_copy(rng: Rng) -> Files:
    day = rows(fleet(rng, size(rng)), rng)
    return one(day) | one([r | {k: f"{float(r[k]):.0f}" for k in (ZERO, HALF, RAMP)} for r in day], "client.csv")


# ── devices and instruments ──


@habit("the same devices every month, no site, whole milliseconds")
def _monthly(rng: Rng) -> Files:
    devices = fleet(rng, 60, models=int(rng.integers(1, 4)))
    way = replace(COARSE, site_named=False)
    return {
        f"month-{m + 1}.csv": {"Tests": rows(aged(devices, rng, 0.01), rng, way, DAY - (3 - m) * MONTH)}
        for m in range(4)
    }


@habit("the same hired devices every month, model named, 0.1 ms")
def _monthly_named(rng: Rng) -> Files:
    devices = fleet(rng, 60)
    way = Way(model_named=True)
    return {
        f"month-{m + 1}.csv": {"Tests": rows(aged(devices, rng, 0.01), rng, way, DAY - (2 - m) * MONTH)}
        for m in range(3)
    }


def _outlets(rng: Rng, boards: int) -> list[Device]:
    """Boards whose four outlets hang on one device and carry identifiers of their own."""
    return [replace(d, name=f"B{i + 1:02d}-{k}") for i, d in enumerate(fleet(rng, boards)) for k in range(1, 5)]


@habit("boards of four outlets with identifiers of their own, whole milliseconds")
def _outlets_coarse(rng: Rng) -> Files:
    return one(rows(_outlets(rng, 20), rng, COARSE))


@habit("boards of four outlets with identifiers of their own, 0.1 ms")
def _outlets_fine(rng: Rng) -> Files:
    return one(rows(_outlets(rng, 20), rng))


@habit("one reading typed for all four outlets of a board", "repeated-sets-note", "filled-down-constant-note")
def _outlets_typed(rng: Rng) -> Files:
    way = COARSE if rng.random() < 0.5 else Way()
    day = rows(_outlets(rng, 20), rng, way)
    return one([r | {k: day[i - i % 4][k] for k in (ZERO, HALF, RAMP)} for i, r in enumerate(day)])


def _carton(rng: Rng, n: int, first: int = 301) -> list[Device]:
    made = fleet(rng, n, models=1, spread=0.012, phase=0.5, ramp_spread=0.2, first=first)
    return [replace(d, model="new model") for d in made]


@habit("a carton of new devices")
def _new(rng: Rng) -> Files:
    return one(rows(_carton(rng, 40), rng, Way() if rng.random() < 0.3 else COARSE))


@habit("a carton of new devices inside an older fleet")
def _new_inside(rng: Rng) -> Files:
    old = fleet(rng, 60)
    return one(rows(old[:30] + _carton(rng, 25) + old[30:], rng, COARSE))


@habit("a carton of new devices inside an older fleet, model named")
def _new_inside_named(rng: Rng) -> Files:
    old = fleet(rng, 60)
    return one(rows(old[:30] + _carton(rng, 25) + old[30:], rng, replace(COARSE, model_named=True)))


@habit("a few new devices inside an older fleet")
def _few_new_inside(rng: Rng) -> Files:
    old = fleet(rng, 60)
    return one(rows(old[:30] + _carton(rng, int(rng.integers(5, 15))) + old[30:], rng, COARSE))


@habit("new devices scattered over an older fleet")
def _new_scattered(rng: Rng) -> Files:
    both = fleet(rng, 60) + _carton(rng, 40)
    return one(rows([both[i] for i in rng.permutation(100)], rng, COARSE))


@habit("electronic devices that let go at one current")
def _electronic(rng: Rng) -> Files:
    devices = [replace(d, ramp=22.0, half=d.zero) for d in fleet(rng, 60, models=2)]
    way = Way(step=(1.0, 1.0)) if rng.random() < 0.5 else Way(step=(0.1, 1.0))
    return one(rows(devices, rng, way))


@habit("electronic devices that let go at one time and current")
def _electronic_both(rng: Rng) -> Files:
    devices = [replace(d, ramp=22.0, zero=25.0, half=25.0) for d in fleet(rng, 60)]
    return one(rows(devices, rng, COARSE))


@habit("an instrument that shows steps of 5 ms")
def _five(rng: Rng) -> Files:
    return one(rows(fleet(rng, size(rng)), rng, Way(step=(5.0, 1.0))))


@habit("an instrument that shows half milliseconds and steps the ramp by a tenth of rated")
def _half_steps(rng: Rng) -> Files:
    return one(rows(fleet(rng, size(rng)), rng, Way(step=(0.5, 3.0))))


@habit("an analogue habit: readings written to the nearest 5 ms")
def _nearest_five(rng: Rng) -> Files:
    day = rows(fleet(rng, 60), rng)
    return one([r | {k: f"{round(float(r[k]) / 5) * 5:.0f}" for k in (ZERO, HALF)} for r in day])


@habit("stable and worn devices mixed, two visits")
def _stable_and_worn(rng: Rng) -> Files:
    devices = fleet(rng, 120)
    now = [
        a if i % 2 else b
        for i, (a, b) in enumerate(zip(aged(devices, rng, 0.001), aged(devices, rng, 0.12), strict=True))
    ]
    way = Way() if rng.random() < 0.5 else COARSE
    first = rows(devices, rng, way, DAY - YEAR)
    half = rng.permutation(120)
    mine, others = sorted(half[:60]), sorted(half[60:])
    last_two = rows([now[i] for i in others], rng, replace(way, person="B. Icicle", instrument="Meter B"))
    return one(first, "last.csv") | one(rows([now[i] for i in mine], rng, way)) | one(last_two, "other.csv")


@habit("a stable fleet for one person, a worn one for the other, two visits")
def _stable_or_worn(rng: Rng) -> Files:
    mine, others = fleet(rng, 60), fleet(rng, 60, first=101, site="Mill Lane")
    second = replace(Way(), person="B. Icicle", instrument="Meter B")
    return (
        one(rows(mine, rng, start=DAY - YEAR) + rows(others, rng, second, DAY - YEAR), "last.csv")
        | one(rows(aged(mine, rng, 0.001), rng))
        | one(rows(aged(others, rng, 0.1), rng, second), "other.csv")
    )


@habit("sorted by ramp current in whole mA")
def _by_ramp(rng: Rng) -> Files:
    way = Way(step=(1.0, 1.0)) if rng.random() < 0.5 else Way(step=(0.1, 1.0))
    return one(sorted(rows(fleet(rng, 60), rng, way), key=lambda r: float(r[RAMP])))


@habit("sorted by trip time")
def _by_time(rng: Rng) -> Files:
    return one(sorted(rows(fleet(rng, 60), rng, COARSE), key=lambda r: float(r[ZERO])))


@habit("sorted by trip time from the longest, then by ramp")
def _by_both(rng: Rng) -> Files:
    return one(sorted(rows(fleet(rng, 120), rng, COARSE), key=lambda r: (-float(r[ZERO]), float(r[RAMP]))))


@habit("delayed devices in whole milliseconds")
def _delayed(rng: Rng) -> Files:
    devices = [replace(d, zero=4.8 * d.zero + 20, half=4.8 * d.half + 20) for d in fleet(rng, 60, spread=0.05)]
    return one([r | {"Delay": "S"} for r in rows(devices, rng, COARSE)])


@habit("the instrument shows the longer time, typed twice", "equal-phases-note")
def _longer(rng: Rng) -> Files:
    day = rows(fleet(rng, size(rng)), rng)
    return one([r | {k: max(r[ZERO], r[HALF], key=float) for k in (ZERO, HALF)} for r in day])


@habit("the longer time typed twice on the days of one of two instruments", "equal-phases-note")
def _longer_half(rng: Rng) -> Files:
    day = rows(fleet(rng, 80), rng)
    second = [
        r | {"Instrument": "Meter B"} | {k: max(r[ZERO], r[HALF], key=float) for k in (ZERO, HALF)} for r in day[40:]
    ]
    return one(day[:40] + second)


@habit("the longer time typed twice on the days of one of two instruments that nobody names", "equal-phases-note")
def _longer_unnamed(rng: Rng) -> Files:
    way = Way(instrument="") if rng.random() < 0.7 else replace(COARSE, instrument="")
    first = rows(fleet(rng, size(rng)), rng, way)
    second = rows(fleet(rng, size(rng), first=201), rng, way, start=DAY + timedelta(days=1))
    second = [r | {k: max(r[ZERO], r[HALF], key=float) for k in (ZERO, HALF)} for r in second]
    return one(first + second) if rng.random() < 0.5 else one(first, "first.csv") | one(second, "second.csv")


@habit("ramp measured only now and then")
def _few_ramps(rng: Rng) -> Files:
    return one([r | {RAMP: r[RAMP] if rng.random() < 0.2 else ""} for r in rows(fleet(rng, 120), rng, COARSE)])


@habit("each device tested twice, to be sure")
def _twice(rng: Rng) -> Files:
    day = rows(
        [d for d in fleet(rng, 40) for _ in range(2)],
        rng,
        Way(seconds=80) if rng.random() < 0.5 else replace(COARSE, seconds=80),
    )
    return one(day)


@habit("failures repaired and tested again the same day")
def _repaired(rng: Rng) -> Files:
    day = rows(fleet(rng, 60), rng)
    failed = [r | {HALF: ">300", "Result": "fail"} for r in day[:5]]
    again = rows(fleet(rng, 5), rng, start=DAY + timedelta(hours=7))
    return one(failed + day[5:] + again)


@habit("old devices beside a row of one make, board by board")
def _by_board(rng: Rng) -> Files:
    devices = [d for b in range(8) for d in fleet(rng, 9, models=1, spread=0.03, phase=1.0, first=10 * b + 1)]
    return one(rows(devices, rng, COARSE))


@habit("devices listed in pairs, left and right, of two makes")
def _pairs(rng: Rng) -> Files:
    left, right = fleet(rng, 40, models=1, spread=0.04), fleet(rng, 40, models=1, spread=0.04, first=101)
    return one(rows([d for pair in zip(left, right, strict=True) for d in pair], rng))


# ── months of several people ──


@habit("a month of eight people with mixed fleets, no model column, last year beside it")
def _eight(rng: Rng) -> Files:
    files: Files = {}
    last: list[Row] = []
    for i, way in enumerate(WAYS):
        devices = fleet(rng, 40, models=int(rng.integers(1, 4)), first=100 * i + 1, site=f"Site {i + 1}")
        last += rows(devices, rng, way, DAY - YEAR)
        files |= one(
            rows(aged(devices, rng, float(rng.choice([0.002, 0.01, 0.03, 0.08]))), rng, way),
            f"{way.person[3:].lower()}.csv",
        )
    return one(last, "last.csv") | files


@habit("a month of four people who share sites and instruments by the day")
def _shared(rng: Rng) -> Files:
    files: Files = {}
    for day in range(8):
        way = WAYS[int(rng.integers(4))]
        way = replace(way, instrument=f"Meter {'AB'[day % 2]}", step=(0.1, 0.1) if day % 2 else (1.0, 1.0))
        devices = fleet(rng, 30, first=100 * day + 1, site=f"Site {day % 3 + 1}")
        files |= one(rows(devices, rng, way, DAY + timedelta(days=day)), f"day-{day + 1}.csv")
    return files


@habit("the instrument handed over at noon")
def _hand_over(rng: Rng) -> Files:
    morning = rows(fleet(rng, 60), rng)
    start = datetime.strptime(morning[-1][AT], "%Y-%m-%d %H:%M") + timedelta(minutes=20)
    evening = rows(fleet(rng, 60, site="Mill Lane", first=101), rng, Way("B. Icicle"), start)
    return one(morning) | one(evening, "evening.csv")


@habit("two people under one team name")
def _team(rng: Rng) -> Files:
    team = Way(person="Team North", seconds=100)
    here = rows(fleet(rng, 60), rng, team)
    there = rows(fleet(rng, 60, site="Mill Lane", first=101), rng, replace(team, instrument="Meter B"))
    return one(here) | one(there, "mill-lane.csv")


@habit("two people under one team name, the instrument named by its make")
def _team_make(rng: Rng) -> Files:
    team = Way(person="Team North", instrument="multifunction tester", seconds=100)
    here = rows(fleet(rng, 60), rng, team)
    there = rows(fleet(rng, 60, site="Mill Lane", first=101), rng, team)
    return one(here) | one(there, "mill-lane.csv")


@habit("two people under one team name on one site, in one sheet")
def _team_one_sheet(rng: Rng) -> Files:
    team = Way(person="Team North", instrument="multifunction tester", seconds=70)
    both = [rows(fleet(rng, 50, first=f), rng, team, DAY + timedelta(seconds=s)) for f, s in ((1, 0), (101, 25))]
    return one(sorted(both[0] + both[1], key=lambda r: r[AT]))


# ── clocks ──


def _at(day: list[Row], times: list[datetime], form: str = "%Y-%m-%d %H:%M") -> list[Row]:
    return [r | {AT: f"{t:{form}}"} for r, t in zip(day, times, strict=True)]


@habit("times typed on the hour for part of the sheet")
def _on_the_hour(rng: Rng) -> Files:
    day = rows(fleet(rng, 60), rng)
    return one([r | {AT: r[AT][:-2] + "00"} if i >= 25 else r for i, r in enumerate(day)])


@habit("times of typing, in the evening", "tested-too-fast", "tested-fast")
def _typing(rng: Rng) -> Files:
    gaps = rng.uniform(9, 35, 60).cumsum()
    times = [DAY + timedelta(hours=10, seconds=float(g)) for g in gaps]
    return one(_at(rows(fleet(rng, 60), rng), times, "%Y-%m-%d %H:%M:%S"))


@habit("one time typed for each board", "tested-too-fast", "tested-fast")
def _board_times(rng: Rng) -> Files:
    day = rows(fleet(rng, 72), rng, replace(Way(), seconds=110))
    per = int(rng.choice([6, 9, 12, 18]))
    return one([r | {AT: day[i - i % per][AT]} for i, r in enumerate(day)])


@habit("one time for each board, by the minute, boards in a row", "tested-too-fast", "tested-fast")
def _board_times_dense(rng: Rng) -> Files:
    times = [DAY + timedelta(minutes=14 * (i // 12)) for i in range(72)]
    return one(_at(rows(fleet(rng, 72), rng), times))


@habit("stamps a second apart from an automatic sequence", "tested-too-fast", "tested-fast")
def _sequence(rng: Rng) -> Files:
    times = [DAY + timedelta(hours=9, seconds=i) for i in range(60)]
    return one(_at(rows(fleet(rng, 60), rng), times, "%Y-%m-%d %H:%M:%S"))


@habit("an automatic test of each board, a second an outlet, minutes between boards", "tested-too-fast", "tested-fast")
def _sequence_boards(rng: Rng) -> Files:
    times = [DAY + timedelta(minutes=11 * (i // 12), seconds=2 * (i % 12)) for i in range(72)]
    return one(_at(rows(fleet(rng, 72), rng), times, "%Y-%m-%d %H:%M:%S"))


@habit("the night the clocks go back")
def _clocks_back(rng: Rng) -> Files:
    true = clock(rng, 90, datetime(2026, 10, 24, 22, 0), 150)
    times = [t - timedelta(hours=1) if t >= datetime(2026, 10, 25, 3, 0) else t for t in true]
    return one(_at(rows(fleet(rng, 90), rng), times))


@habit("the night the clocks go back, two sites")
def _clocks_back_two(rng: Rng) -> Files:
    true = clock(rng, 90, datetime(2026, 10, 24, 23, 30), 150)
    times = [t - timedelta(hours=1) if t >= datetime(2026, 10, 25, 3, 0) else t for t in true]
    devices = fleet(rng, 70) + fleet(rng, 20, site="Mill Lane", first=101)
    return one(_at(rows(devices, rng), times))


@habit("an instrument whose clock is an hour off")
def _hour_off(rng: Rng) -> Files:
    start = DAY + timedelta(hours=3, minutes=20)
    return one(rows(fleet(rng, 60), rng)) | one(
        rows(fleet(rng, 30, site="Mill Lane", first=101), rng, Way(instrument="Meter B"), start), "mill-lane.csv"
    )


@habit("times on a twelve-hour face, no morning or afternoon")
def _twelve(rng: Rng) -> Files:
    day = rows(fleet(rng, 90), rng)
    times = [datetime.strptime(r[AT], "%Y-%m-%d %H:%M") for r in day]
    return one([r | {AT: f"{t:%Y-%m-%d} {(t.hour - 1) % 12 + 1:02d}:{t:%M}"} for r, t in zip(day, times, strict=True)])


@habit("the day only")
def _day_only(rng: Rng) -> Files:
    return one([r | {AT: r[AT][:10]} for r in rows(fleet(rng, 120), rng)])


@habit("the newest first, as the instrument's memory lists them")
def _newest_first(rng: Rng) -> Files:
    return one(rows(fleet(rng, 60), rng)[::-1])


@habit("a night shift past midnight")
def _midnight(rng: Rng) -> Files:
    return one(rows(fleet(rng, 80), rng, start=datetime(2026, 10, 5, 21, 40)))


@habit("two passes: all at 0°, then all at 180°, times of the second pass", "tested-too-fast", "tested-fast")
def _two_passes(rng: Rng) -> Files:
    times = [DAY + timedelta(hours=2, seconds=float(s)) for s in rng.uniform(32, 60, 40).cumsum()]
    return one(_at(rows(fleet(rng, 40), rng), times, "%Y-%m-%d %H:%M:%S"))


@habit("a few rows carry the depot as their site")
def _depot(rng: Rng) -> Files:
    return one([r | {"Site": "Depot"} if rng.random() < 0.08 else r for r in rows(fleet(rng, 60), rng)])


@habit("two sites of one estate, across a corridor, in turn")
def _corridor(rng: Rng) -> Files:
    devices = [replace(d, site=f"Hall {'AB'[(i // 15) % 2]}") for i, d in enumerate(fleet(rng, 90))]
    return one(rows(devices, rng))


@habit("times rounded to five minutes", "tested-too-fast", "tested-fast")
def _five_minutes(rng: Rng) -> Files:
    day = rows(fleet(rng, 60), rng, replace(Way(), seconds=75))
    return one([r | {AT: r[AT][:-2] + f"{int(r[AT][-2:]) // 5 * 5:02d}"} for r in day])


# ── templates and formulas ──


@habit("a template that keeps its old saved date", "saved-before-tested")
def _template(rng: Rng) -> Files:
    return {"saved-in-june.xlsx": {"Tests": rows(fleet(rng, size(rng)), rng)}}


@habit("seconds turned into milliseconds by formula", "reading-from-formula")
def _formula(rng: Rng) -> Files:
    day = rows(fleet(rng, size(rng)), rng)
    return {"formula.xlsx": {"Tests": [_in_seconds(r, i + 2) for i, r in enumerate(day)]}}


def _in_seconds(row: Row, line: int) -> Row:
    """Both trip times computed from columns of seconds that stand at the end of the row."""
    column = {k: chr(ord("A") + len(row) + i) for i, k in enumerate((ZERO, HALF))}
    computed = {k: f"={c}{line}*1000|{row[k]}" for k, c in column.items()}
    return row | computed | {"0° s": f"{float(row[ZERO]) / 1000:.4f}", "180° s": f"{float(row[HALF]) / 1000:.4f}"}


@habit("technician rounds what ends near a whole number")
def _rounds(rng: Rng) -> Files:
    day = rows(fleet(rng, 120), rng)

    def near(text: str) -> str:
        return f"{float(text):.0f}" if abs(float(text) - round(float(text))) < 0.25 else text

    return one([r | {k: near(r[k]) for k in (ZERO, HALF, RAMP)} for r in day])


@habit(
    "readings bounded: only that the device let go below the limit of the display",
    "equal-phases-note",
    "equal-phases-learned",
)
def _bounded(rng: Rng) -> Files:
    day = rows(fleet(rng, 60), rng)
    return one([r | dict.fromkeys((ZERO, HALF), "<40") if rng.random() < 0.5 else r for r in day])
