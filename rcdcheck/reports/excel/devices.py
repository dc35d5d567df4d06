"""The sheet with one row a device: place, outcome, checks, readings, the limit that decides, what was written.

Readings are those of the latest visit; where several stand in one place (outlets, repeats) the gravest does, as judged.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.audits import Audit
from rcdcheck.judging.reasons import shown_limit
from rcdcheck.reports import fields, to_do
from rcdcheck.reports.excel.places import EMPTY, Places, chunks, moment
from rcdcheck.reports.excel.readings import shown_reading
from rcdcheck.reports.excel.tables import Block, Column, Linked, Sheet
from rcdcheck.reports.fields import FLAGS
from rcdcheck.reports.html.devices import as_judged, rank_of, short_title
from rcdcheck.reports.tags import last_tests
from rcdcheck.sheet_fields import DATE_FIELDS, FIELDS, FLAG_FIELDS, NUMBER_FIELDS
from rcdcheck.terms import Flag, Outcome, Slot, Verdict

Row = tuple[object, ...]
Numbers = npt.NDArray[np.int64]
Flags = npt.NDArray[np.int8]
KINDS = 10  # kinds of reading with a column of their own
BEFORE = (
    Column("Device", "id", 18), Column("Site", "text", 16), Column("Board", "text", 12), Column("Location", "text", 22),
    Column("Outcome", "word"), Column("Visual", "word", 9), Column("Test button", "word", 9),
)  # fmt: skip
BETWEEN = (
    Column("Decisive limit", "text", 18), Column("Tested", "date", 16), Column("By", "text", 14),
    Column("Re-test due", "date", 12),
)  # fmt: skip
AFTER = (
    Column("Why", "line", 60), Column("What to do", "line", 44), Column("In the sheet", "line", 30),
    Column("Grade", "word"), Column("Danger rank", "whole"), Column("Findings", "whole"),
    Column("Rated current", "mA", 12), Column("RCD type", "line", 10), Column("Waveform type", "line", 10),
    Column("Delay", "line", 12), Column("Kind", "line", 12), Column("Environment", "line", 14),
    Column("Model", "line", 20), Column("Serial", "id", 18), Column("Circuit", "id", 14),
    Column("Set-up", "line", 16), Column("Instrument", "line", 16), Column("Calibration due", "date", 12),
    Column("Re-test date typed", "date", 12), Column("Result typed", "word", 9), Column("Outlets", "line", 30),
    Column("Tests", "whole"), Column("File", "line", 30), Column("Sheet", "line", 18), Column("Row", "whole"),
)  # fmt: skip
OWN = {  # fields of the columns above; what else a sheet may state follows them
    "device", "outlet", "board", "circuit", "serial", "site", "location", "kind", "environment", "model",
    "rated_residual_current", "rcd_type", "waveform_type", "delay", "setup", "visual", "push_button", "declared",
    "technician", "instrument", "calibration_due", "tested_at", "retest_due", "remedy", "remark",
}  # fmt: skip
OF_TEST = ("rcd_type", "waveform_type", "delay", "model", "serial", "circuit", "setup", "instrument", "technician")


def devices(audit: Audit) -> Sheet:
    """Every device in one row; columns from Why on are not printed."""
    shown = _Shown(audit)
    readings = tuple(Column(f"{short_title(slot)}, {slot.unit}", "number", 12, 11) for slot in shown.kinds)
    before = (*BEFORE, *readings, *BETWEEN)
    columns, printed = (*before, *AFTER, *map(_column, fields.besides(OWN))), len(before)
    sentence = f"Every device with its readings; columns from Why on are not printed. {EMPTY}"
    block = Block("Devices", columns, _rows(audit, shown), none="No device was read.")
    return Sheet("Devices", "Devices", sentence, [block], printed=printed)


def _column(name: str) -> Column:
    """The column of a further field."""
    kind = "number" if name in NUMBER_FIELDS else "date" if name in DATE_FIELDS else "line"
    unit = FIELDS[name].get("unit", "")
    return Column(fields.title(name) + (f", {unit}" if unit else ""), kind, 20 if kind == "line" else 12)


class _Shown:
    """Kinds of reading, and the place of the reading that stands for each, -1 none; shape (devices, kinds)."""

    def __init__(self, audit: Audit) -> None:
        frame = _of_latest_visit(audit)
        number, distinct = pd.factorize(pd.MultiIndex.from_frame(frame[["slot", "multiple"]]))
        slots = [as_judged(audit.tables.slots[int(s)], float(m)) for s, m in distinct]
        order = sorted(range(len(slots)), key=lambda i: rank_of(slots[i]))
        self.kinds: list[Slot] = [slots[i] for i in order[:KINDS]]
        place = np.full(len(slots), -1, dtype=np.int64)
        place[order[:KINDS]] = np.arange(len(self.kinds))
        self.at = np.full((len(audit.devices), len(self.kinds)), -1, dtype=np.int64)
        gravest = frame.assign(kind=place[number])
        gravest = gravest[gravest["kind"] >= 0].sort_values(["verdict", "value"], na_position="first", kind="stable")
        self.at[gravest["device"], gravest["kind"]] = gravest["reading"]  # the last written, the gravest, stands
        self.limits = _decisive(audit, frame)


def _of_latest_visit(audit: Audit) -> pd.DataFrame:
    """Readings of each device's latest visit: reading, device, slot, multiple as judged (-1 none), verdict, value."""
    tests = audit.test_outcomes
    latest = tests.groupby("device")["visit"].transform("max") == tests["visit"]
    chosen = (latest & tests["counted"]).to_numpy()
    readings, verdicts = audit.tables.readings, audit.verdicts
    at = np.flatnonzero(chosen[readings["test"].to_numpy()])
    return pd.DataFrame({
        "reading": at,
        "device": tests["device"].to_numpy()[readings["test"].to_numpy()[at]],
        "slot": readings["slot"].to_numpy()[at],
        "multiple": np.nan_to_num(verdicts["multiple"].to_numpy()[at], nan=-1.0),
        "verdict": verdicts["verdict"].to_numpy()[at],
        "value": readings["value"].to_numpy()[at],
        "limit": verdicts["limit"].to_numpy()[at],
    })  # fmt: skip


def _decisive(audit: Audit, frame: pd.DataFrame) -> dict[int, str]:
    """The limit of the gravest reading of each device, among equals of the one nearest to it: `300 ms, 1× 180°`."""
    known = frame[np.isfinite(frame["limit"])]
    known = known.assign(share=(known["limit"] - known["value"]) / known["limit"])
    first = known.sort_values(["device", "verdict", "share"], ascending=[True, False, True], kind="stable")
    first = first.drop_duplicates("device")
    words: dict[tuple[int, float, float], str] = {}
    out = {}
    for r in first.itertuples():
        key = (int(r.slot), float(r.multiple), float(r.limit))
        if key not in words:
            slot = as_judged(audit.tables.slots[key[0]], key[1])
            words[key] = f"{shown_limit(key[2], key[2], slot.unit)}, {short_title(slot)}"
        out[int(r.device)] = words[key]
    return out


def _rows(audit: Audit, shown: _Shown) -> Iterator[Row]:
    tables, places, outlets, last = audit.tables, Places(audit), _outlets(audit), last_tests(audit)
    count, first = _findings_of_devices(audit)
    checks = {name: _worst_flag(audit, name) for name in FLAG_FIELDS}
    visual, button, declared = checks["visual"], checks["push_button"], checks["declared"]
    further = fields.besides(OWN)
    for at in chunks(np.arange(len(audit.devices))):
        some, tests = audit.devices.iloc[at], tables.tests.iloc[last[at]]
        of_device = [tables.texts(some[n]).tolist() for n in ("site", "board", "location", "kind", "environment")]
        of_test = [tables.texts(tests[n]).tolist() for n in OF_TEST]
        why = {item.number: item for item in to_do.items(audit, at[some["outcome"].to_numpy() != Outcome.PASS])}
        said = to_do.written(audit, at)
        where = places.files(some["sheet"].to_numpy()), places.sheets(some["sheet"].to_numpy())
        more = [_stated(audit, name, last[at], checks.get(name), at) for name in further]
        rest = list(zip(*more, strict=True)) or [()] * len(at)
        beside = zip(zip(*of_device, strict=True), zip(*of_test, strict=True), *where, rest, strict=True)
        for n, d, t, (place, told, file, sheet, own) in zip(
            at.tolist(), some.itertuples(), tests.itertuples(), beside, strict=True
        ):
            site, board, location, kind, environment = place
            rcd, wave, delay, model, serial, circuit, setup, instrument, person = told
            found = Linked(int(count[n]), f"'Findings'!A{5 + first[n]}") if count[n] else 0
            yield (
                d.name, site, board, location, Outcome(d.outcome).word, FLAGS[Flag(visual[n])],
                FLAGS[Flag(button[n])], *_readings(audit, shown, n), shown.limits.get(n), moment(d.tested_at),
                person, moment(d.retest_due), " ".join(why[n].why) if n in why else "",
                why[n].action if n in why else d.next_action, " · ".join(f"“{text}”" for text in said.get(n, ())),
                d.grade, int(d.danger) or None, found, t.rated_residual_current, rcd, wave, delay, kind, environment,
                model, serial, circuit, setup, instrument, moment(t.calibration_due), moment(t.retest_due),
                FLAGS[Flag(declared[n])], outlets.get(n), int(d.tests), file, sheet, int(d.row), *own,
            )  # fmt: skip


def _stated(audit: Audit, name: str, tests: Numbers, flags: Flags | None, devices: Numbers) -> list[object]:
    """A further field of each of these devices: of its last test, and of a check the gravest of its latest visit."""
    if flags is not None:
        return [FLAGS[Flag(flag)] for flag in flags[devices]]
    stated = fields.values(audit, name, tests)
    return [moment(day) for day in stated] if name in DATE_FIELDS else stated


def _readings(audit: Audit, shown: _Shown, device: int) -> Iterator[object]:
    for slot, at in zip(shown.kinds, shown.at[device].tolist(), strict=True):
        if at < 0:
            yield None
            continue
        reading = audit.tables.readings.iloc[at]
        typed = str(audit.tables.vocabulary[int(reading["text"])])
        told = shown_reading(reading, slot.unit, typed)
        failed = audit.verdicts["verdict"].iat[at] == Verdict.FAIL
        yield f"“{typed}”" if told == "unreadable" else f"✗ {told}" if failed and isinstance(told, str) else told


def _worst_flag(audit: Audit, name: str) -> Flags:
    """The gravest entry of each device in its latest visit, shape (devices,)."""
    tests = audit.test_outcomes
    latest = (tests.groupby("device")["visit"].transform("max") == tests["visit"]).to_numpy()
    rank = np.array([0, 1, 2, 4, 3], dtype=np.int8)  # of Flag: absent, blank, pass, fail, unclear
    back = np.array([Flag.ABSENT, Flag.BLANK, Flag.PASS, Flag.UNCLEAR, Flag.FAIL], dtype=np.int8)
    out = np.zeros(len(audit.devices), dtype=np.int8)
    flags = rank[audit.tables.tests[name].to_numpy()[latest]]
    np.maximum.at(out, tests["device"].to_numpy()[latest], flags)
    return back[out]


def _outlets(audit: Audit) -> dict[int, str]:
    out: dict[int, list[str]] = {}
    for o in audit.outlets.itertuples():
        out.setdefault(int(o.device), []).append(f"{audit.tables.vocabulary[o.outlet]}: {Outcome(o.outcome).word}")
    return {number: ", ".join(said) for number, said in out.items()}


def _findings_of_devices(audit: Audit) -> tuple[Numbers, Numbers]:
    """How many findings each device has, and the place of the first in the list."""
    test = audit.findings["test"].to_numpy()
    at = np.flatnonzero(test >= 0)
    device = audit.test_outcomes["device"].to_numpy()[test[at]]
    first = np.full(len(audit.devices), -1)
    first[device[::-1]] = at[::-1]
    return np.bincount(device, minlength=len(audit.devices)), first
