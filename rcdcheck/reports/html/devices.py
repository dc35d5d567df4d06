"""The table of devices: each with its tests and readings, as the page lists them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.audits import Audit
from rcdcheck.reports import fields, to_do
from rcdcheck.reports.fields import FLAGS
from rcdcheck.terms import Bound, Flag, Outcome, Slot, State, Verdict, current_of_test

COLUMNS = 10  # kinds of reading that have a column of their own
TESTS = 12  # tests of one device that are listed
OWN = {  # fields that the page shows in places of their own, or (retest_due, declared) says only what follows from them
    "device", "outlet", "board", "site", "location", "kind", "environment", "rated_residual_current", "rcd_type",
    "waveform_type", "delay", "visual", "push_button", "declared", "technician", "instrument", "calibration_due",
    "tested_at", "retest_due", "remedy", "remark",
}  # fmt: skip
PAD, POINT = "\u2007", "\u2008"  # spaces as wide as a digit and as a point, so that decimals stand under decimals
SYMBOLS = {"pass": "✓", "fail": "✗", "unclear": "?", "incomplete": "…"}
MARKS = {Verdict.FAIL: "fail", Verdict.UNCLEAR: "unclear", Verdict.MARGINAL: "marginal", Verdict.NOT_JUDGED: "none"}


FURTHER = fields.besides(OWN)
TO_FIND_IT = ("circuit", "serial", "model", "setup")  # said of what did not pass; a pass keeps its one line


@dataclass(frozen=True)
class Shown:
    """A reading in a cell of the table; `mark` is empty for a plain pass."""

    text: str
    mark: str = ""
    pad: str = ""  # spaces behind it, as wide as the decimals that others of its column have more


@dataclass(frozen=True)
class TestLine:
    """One test of a device: outlet, date, person, instrument, test currents, and a list of readings for each column."""

    outlet: str
    date: str
    technician: str
    instrument: str
    currents: str
    place: str
    visual: str  # "pass", "fail", "unclear", "blank", or empty: no such column
    button: str
    said: tuple[str, ...]  # remark and remedy, word for word
    further: tuple[str, ...]  # words of each of FURTHER
    readings: tuple[tuple[Shown, ...], ...]


@dataclass(frozen=True)
class DeviceLine:
    """One device of the table."""

    name: str
    about: str
    site: str
    where: str
    outcome: str
    symbol: str
    grade: str
    due: str
    asks: str  # what keeps it from a pass, and the step; empty for a pass
    said: tuple[str, ...]
    further: tuple[tuple[str, str], ...]  # title and words of the fields that have no place of their own
    tests: tuple[TestLine, ...]
    more: int


@dataclass(frozen=True)
class Table:
    """The lines, and the headings of the columns of readings as (short words, unit)."""

    headings: tuple[tuple[str, str], ...]
    lines: tuple[DeviceLine, ...]
    left_out: int  # kinds of reading without a column
    with_visual: bool  # whether any test has an entry, so that the column is shown
    with_button: bool
    with_people: bool


def device_table(audit: Audit, numbers: npt.NDArray[np.int64]) -> Table:
    """The table of these devices, in the order given."""
    chosen = audit.test_outcomes["counted"] & audit.test_outcomes["device"].isin(numbers)
    tests = np.flatnonzero(chosen)
    slots, readings = _readings(audit, tests)
    lines = _tests(audit, tests, len(slots[:COLUMNS]), readings)
    headings = tuple((short_title(slot), slot.unit) for slot in slots[:COLUMNS])
    shown = [test for of_device in lines.values() for test in of_device]
    return Table(
        headings,
        tuple(_devices(audit, numbers, _aligned(lines, len(headings)))),
        max(0, len(slots) - COLUMNS),
        with_visual=any(test.visual for test in shown),
        with_button=any(test.button for test in shown),
        with_people=any(test.technician for test in shown),
    )


def _aligned(lines: dict[int, list[TestLine]], columns: int) -> dict[int, list[TestLine]]:
    """The same lines with each reading padded to the most decimals of its column."""
    most = [0] * columns
    for test in (test for tests in lines.values() for test in tests):
        for column, readings in enumerate(test.readings):
            most[column] = max([most[column], *(decimals(r.text) for r in readings)])

    def padded(test: TestLine) -> TestLine:
        return replace(
            test,
            readings=tuple(
                tuple(replace(r, pad=_pad(r.text, n)) for r in readings)
                for n, readings in zip(most, test.readings, strict=True)
            ),
        )

    return {number: [padded(test) for test in tests] for number, tests in lines.items()}


def decimals(text: str) -> int:
    """Digits behind the point of a number."""
    return len(text.partition(".")[2]) if text[-1:].isdecimal() else 0


def _pad(text: str, most: int) -> str:
    own = decimals(text)
    if not text[-1:].isdecimal() or own == most:
        return ""
    return ("" if own else POINT) + PAD * (most - own)


def short_title(slot: Slot) -> str:
    """`1× 0°`, `½× 180°`, `ramp`: a heading for a narrow column."""
    wave = {"ac": "", "pulsating": " pulsating", "smooth_dc": " smooth d.c."}[slot.waveform]
    if slot.quantity == "trip_current":
        return "Ramp" + wave
    times = "Time" if np.isnan(slot.multiple) else "½×" if slot.multiple == 0.5 else f"{slot.multiple:.4g}×"
    return times + {"0": " 0°", "180": " 180°", "worst": " longer", "none": ""}[slot.phase] + wave


def _readings(audit: Audit, tests: npt.NDArray[np.int64]) -> tuple[list[Slot], dict[int, dict[int, list[Shown]]]]:
    """Kinds of reading in order, and readings by test and kind."""
    readings = audit.tables.readings
    at = np.flatnonzero(np.isin(readings["test"].to_numpy(), tests))
    multiple = audit.verdicts["multiple"].to_numpy()[at]
    slot_of = readings["slot"].to_numpy()[at]
    kinds = pd.MultiIndex.from_arrays([slot_of, np.nan_to_num(multiple, nan=-1.0)])
    number, distinct = pd.factorize(kinds)
    slots = [as_judged(audit.tables.slots[int(s)], float(m)) for s, m in distinct]
    order = sorted(range(len(slots)), key=lambda i: rank_of(slots[i]))
    place = np.empty(len(slots), dtype=np.int64)
    place[order] = np.arange(len(slots))
    out: dict[int, dict[int, list[Shown]]] = {}
    columns = [readings[n].to_numpy()[at] for n in ("test", "value", "state", "bound")]
    columns += [audit.tables.texts(readings["text"].to_numpy()[at]), audit.verdicts["verdict"].to_numpy()[at]]
    for column, (test, value, state, bound, text, verdict) in zip(
        place[number], zip(*columns, strict=True), strict=True
    ):
        shown = Shown(reading_text(value, state, bound, str(text)), MARKS.get(Verdict(verdict), ""))
        out.setdefault(int(test), {}).setdefault(int(column), []).append(shown)
    return [slots[i] for i in order], out


def as_judged(slot: Slot, multiple: float) -> Slot:
    """The slot with the multiple that it was judged by; -1 leaves it as it is."""
    return slot if multiple <= 0 else slot._replace(multiple=multiple)


def rank_of(slot: Slot) -> tuple[bool, float, bool, str, str]:
    """Trip times at the rated current first, then the higher multiples, half rated, ramps."""
    multiple = slot.multiple if slot.multiple >= 1 else 99.0
    return slot.quantity == "trip_current", multiple, slot.waveform != "ac", slot.waveform, slot.phase


def reading_text(value: float, state: int, bound: int, typed: str) -> str:
    """A reading without its unit, unrounded, with the zeros that were typed; what cannot be read is quoted as typed."""
    if state == State.UNREADABLE:
        return f"“{typed}”"
    if state == State.NOT_TRIPPED:
        return "no trip"
    return {Bound.ABOVE: ">", Bound.BELOW: "<"}.get(Bound(bound), "") + as_shown(value, typed)


def as_shown(value: float, typed: str) -> str:
    """The number with as many decimals as were typed, where what was typed is the number itself."""
    plain = typed.strip().lstrip(">< ").replace(",", ".")
    try:
        return plain if float(plain) == value and plain[0].isdecimal() and plain.isascii() else f"{value:.10g}"
    except (ValueError, IndexError):
        return f"{value:.10g}"


def _tests(
    audit: Audit, tests: npt.NDArray[np.int64], columns: int, readings: dict[int, dict[int, list[Shown]]]
) -> dict[int, list[TestLine]]:
    frame = audit.tables.tests.iloc[tests]
    texts = {n: audit.tables.texts(frame[n]) for n in ("outlet", "technician", "instrument", *to_do.WRITTEN)}
    further = [fields.words(audit, name, tests) for name in FURTHER]
    device = audit.test_outcomes["device"].to_numpy()[tests]
    currents = _currents(audit, tests)
    out: dict[int, list[TestLine]] = {}
    for i, (test, row) in enumerate(zip(tests, frame.itertuples(index=False), strict=True)):
        mine = readings.get(int(test), {})
        line = TestLine(
            outlet=str(texts["outlet"][i]),
            date="" if pd.isna(row.tested_at) else str(row.tested_at.date()),
            technician=str(texts["technician"][i]),
            instrument=str(texts["instrument"][i]),
            currents=currents.get(int(test), ""),
            place=f"{row.sheet}:{row.row}",
            visual=FLAGS[Flag(row.visual)],
            button=FLAGS[Flag(row.push_button)],
            said=tuple(filter(None, dict.fromkeys(str(texts[name][i]) for name in to_do.WRITTEN))),
            further=tuple(words[i] for words in further),
            readings=tuple(tuple(mine.get(c, ())) for c in range(columns)),
        )
        out.setdefault(int(device[i]), []).append(line)
    return out


def _currents(audit: Audit, tests: npt.NDArray[np.int64]) -> dict[int, str]:
    """Test currents of the trip times of each test in mA: stated, else the multiple of the rated current."""
    readings = audit.tables.readings
    is_time = np.array([s.quantity == "trip_time" for s in audit.tables.slots] or [False])
    at = np.flatnonzero(np.isin(readings["test"].to_numpy(), tests) & is_time[readings["slot"].to_numpy()])
    test = readings["test"].to_numpy()[at]
    stated = readings["test_current"].to_numpy()[at]
    rated = audit.tables.tests["rated_residual_current"].to_numpy()[test]
    current = current_of_test(stated, audit.verdicts["multiple"].to_numpy()[at], rated)
    pairs = (
        pd.DataFrame({"test": test, "current": np.round(current, 3)})
        .dropna()
        .drop_duplicates()
        .sort_values(["test", "current"])
    )
    return {int(t): ", ".join(f"{c:g}" for c in group) for t, group in pairs.groupby("test")["current"]}


def _devices(audit: Audit, numbers: npt.NDArray[np.int64], lines: dict[int, list[TestLine]]) -> Iterable[DeviceLine]:
    devices = audit.devices.loc[numbers]
    texts = {name: audit.tables.texts(devices[name]) for name in ("site", "board", "location")}
    about, said = _about(audit, numbers), to_do.written(audit, numbers)
    not_passed = numbers[devices["outcome"].to_numpy() != Outcome.PASS]
    open_ = {item.number: item for item in to_do.items(audit, not_passed)}
    for i, (number, device) in enumerate(zip(numbers, devices.itertuples(index=False), strict=True)):
        tests = lines.get(int(number), [])
        listed = tests[-TESTS:]
        outcome = Outcome(device.outcome).word
        yield DeviceLine(
            name=str(device.name),
            about=about.get(int(number), ""),
            site=str(texts["site"][i]),
            where=", ".join(filter(None, (str(texts["board"][i]), str(texts["location"][i])))),
            outcome=outcome,
            symbol=SYMBOLS[outcome],
            grade=str(device.grade),
            due="" if pd.isna(device.retest_due) else str(device.retest_due.date()),
            asks=" ".join(open_[int(number)].why) if int(number) in open_ else "",
            said=said.get(int(number), ()),
            further=_further(listed, passed=device.outcome == Outcome.PASS),
            tests=tuple(listed),
            more=max(0, len(tests) - TESTS),
        )


def _further(tests: list[TestLine], *, passed: bool) -> tuple[tuple[str, str], ...]:
    """Title and words of each further field of which a device's tests state something, each value once."""
    told = []
    for i, name in enumerate(FURTHER):
        words = dict.fromkeys(filter(None, (test.further[i] for test in tests)))
        if words and not (passed and name in TO_FIND_IT):
            told.append((fields.title(name), ", ".join(words)))
    return tuple(told)


def _about(audit: Audit, numbers: npt.NDArray[np.int64]) -> dict[int, str]:
    """Rated current, RCD type and waveform type of each device, as its first test states them."""
    tests = audit.tables.tests
    device = audit.test_outcomes["device"].to_numpy()
    at = np.flatnonzero(np.isin(device, numbers))
    _, first = np.unique(device[at], return_index=True)
    at = at[first]
    words = {name: audit.tables.texts(tests[name].to_numpy()[at]) for name in ("rcd_type", "waveform_type", "delay")}
    rated = tests["rated_residual_current"].to_numpy()[at]
    out = {}
    for i, number in enumerate(device[at]):
        parts = [f"{rated[i]:g} mA" if np.isfinite(rated[i]) else ""]
        parts += [str(words[n][i]) for n in ("rcd_type", "waveform_type") if words[n][i]]
        parts += ["selective"] if words["delay"][i] == "selective" else []
        out[int(number)] = " ".join(filter(None, parts))
    return out
