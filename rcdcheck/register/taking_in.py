"""The files of an audit become visits: hash, tests, readings, outcomes and grade, all in the transaction of the run."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.audits import Audit
from rcdcheck.findings import Findings
from rcdcheck.judging.remarks import read_remarks
from rcdcheck.reading_marks import marks
from rcdcheck.register import seen
from rcdcheck.register.earlier_readings import keep
from rcdcheck.register.recall import devices_of_run, remedied
from rcdcheck.register.states import renew
from rcdcheck.register.store import Register
from rcdcheck.scrutiny.grouping import readings_side_by_side
from rcdcheck.tables import Mask, Texts
from rcdcheck.terms import Outcome

SIGHTED = ("site", "board", "device", "serial", "location", "kind", "environment", "model")


def take_in(register: Register, audit: Audit) -> dict[int, int]:
    """Add every audited file of `audit`, which was made with this register in this transaction, and commit.

    Gives the number of the visit by the number of its input.
    """
    visit: dict[int, int] = {}
    if any(one.status == "audited" for one in audit.tables.inputs):
        visit = _visits(register, audit)
        _places_and_devices(register, audit)
        kept = np.flatnonzero(_counted(audit))
        _tests(register, audit, kept, _sightings(register, audit, visit, kept))
        _sequences(register, audit, visit, kept)
        first = min(visit.values())
        for old in audit.history.replaced:
            register.connection.execute("UPDATE visits SET replaced_by = ? WHERE id = ?", (first, old))
        renew(register, np.unique(audit.history.devices["known"]), audit.rules)
    register.connection.execute("UPDATE visits SET replaced_by = NULL WHERE replaced_by = ?", (seen.PENDING,))
    register.commit()
    return visit


def _many(register: Register, table: str, columns: Iterable[str], frame: pd.DataFrame) -> None:
    names = list(columns)
    quoted = ", ".join(f'"{name}"' for name in names)
    values = frame[names].astype(object).where(frame[names].notna(), None)
    register.connection.executemany(
        f"INSERT INTO {table} ({quoted}) VALUES ({', '.join('?' * len(names))})",
        values.itertuples(index=False, name=None),
    )


def _input_of_tests(audit: Audit) -> npt.NDArray[np.int64]:
    tables = audit.tables
    return tables.sheets["input"].to_numpy()[tables.tests["sheet"].to_numpy()].astype(np.int64)


def _counted(audit: Audit) -> Mask:
    """Tests that are counted for the first time: neither twice in this run nor held already."""
    return audit.test_outcomes["counted"].to_numpy().astype(bool) & ~audit.history.listed


def _visits(register: Register, audit: Audit) -> dict[int, int]:
    """Add a visit for each audited input; its number by that of the input."""
    number = int(register.one("SELECT coalesce(max(id), 0) FROM visits"))
    source, out = _input_of_tests(audit), {}
    grades = [g for g in audit.grades if g.scope == "input"]
    by_name = {g.name: g for g in grades}
    at = audit.tables.tests["tested_at"].to_numpy().astype("datetime64[D]")
    for i, one in enumerate(audit.tables.inputs):
        if one.status != "audited":
            continue
        number += 1
        out[i] = number
        mine = source == i
        days = at[mine & ~np.isnat(at)]
        devices = np.unique(audit.test_outcomes["device"].to_numpy()[mine])
        counts = audit.devices["outcome"].iloc[devices].value_counts()
        grade = by_name.get(one.name, audit.grade)
        values = {
            "id": number, "sha256": one.sha256, "file": one.name, "bytes": one.bytes,
            "as_of": audit.options.as_of.isoformat(), "rules": audit.rules.name, "rules_sha256": audit.rules.sha256,
            "program": audit.version, "grade": grade.grade, "decided_by": grade.decided_by,
            "tests": int((mine & _counted(audit)).sum()),
            "devices": len(devices), **{o.word: int(counts.get(o, 0)) for o in Outcome},
            "first_day": str(days.min()) if len(days) else None, "last_day": str(days.max()) if len(days) else None,
        }  # fmt: skip
        names, marks_ = ", ".join(values), ", ".join("?" * len(values))
        register.connection.execute(f"INSERT INTO visits ({names}) VALUES ({marks_})", tuple(values.values()))
    return out


def _places_and_devices(register: Register, audit: Audit) -> None:
    history, connection = audit.history, register.connection
    standing = {place for (place,) in register.rows("SELECT id FROM places")}
    for place in history.places:
        if place.number not in standing:
            connection.execute("INSERT INTO places (id, name) VALUES (?, ?)", (place.number, place.name))
        connection.executemany("INSERT INTO place_names VALUES (?, ?)", ((key, place.number) for key in place.names))
    run = devices_of_run(audit.tables, audit.test_outcomes["device"].to_numpy())
    known = history.devices
    run = run.assign(id=known["known"].to_numpy(), place=known["place"].to_numpy(), name=run["device"])
    for column in ("replaces", "moved_from"):
        run[column] = known[column].where(known[column] >= 0)
    new = run[known["new"].to_numpy()].drop_duplicates("id", keep="last")
    columns = ("id", "place", "board", "name", "serial", "location", "kind", "environment", "model", "rated",
               "board_key", "name_key", "plain_key", "serial_key", "moved_from", "replaces")  # fmt: skip
    _many(register, "devices", columns, new)
    serials = run[~known["new"].to_numpy() & (run["serial_key"] != "").to_numpy()]
    connection.executemany(
        "UPDATE devices SET serial_key = ? WHERE id = ?",
        serials[["serial_key", "id"]].itertuples(index=False, name=None),
    )


def _sightings(
    register: Register, audit: Audit, visit: dict[int, int], kept: npt.NDArray[np.int64]
) -> npt.NDArray[np.int64]:
    """Add one row for each device in each file; the number of the sighting of each test that is kept."""
    tables, source = audit.tables, _input_of_tests(audit)
    device = audit.test_outcomes["device"].to_numpy()
    remarks = read_remarks(tables, Findings())
    tests = pd.DataFrame({
        "device": device, "source": source, "nth": audit.test_outcomes["visit"].to_numpy(),
        "outcome": audit.test_outcomes["outcome"].to_numpy(),
        "day": tables.tests["tested_at"].to_numpy().astype("datetime64[D]"),
        "remedied": remedied(tables, audit.options).astype(int),
        "out_of_use": (remarks.out_of_use | remarks.withdrawn).astype(int),
    })  # fmt: skip
    latest = tests.groupby("device")["nth"].max()
    tests = tests.iloc[kept].reset_index(drop=True)
    number = tests.groupby(["device", "source"], sort=True).ngroup().to_numpy()
    last = tests["nth"] == tests.groupby(number)["nth"].transform("max")
    by = tests[last].groupby(number[last.to_numpy()])
    rows = pd.DataFrame(
        {"device": by["device"].first(), "source": by["source"].first(), "outcome": by["outcome"].max()}
    )
    rows["out_of_use"] = by["out_of_use"].max()
    rows["remedied"] = tests.groupby(number)["remedied"].max()
    day = tests.groupby(number)["day"].max()
    rows["day"] = day.dt.strftime("%Y-%m-%d").where(day.notna(), None)
    rows["at"] = rows["day"].fillna(audit.options.as_of.isoformat())
    final = by["nth"].max() == latest.reindex(rows["device"]).to_numpy()
    stands = audit.devices["outcome"].to_numpy()[rows["device"]]
    rows["outcome"] = np.where(final, stands, rows["outcome"]).astype(int)
    first = int(register.one("SELECT coalesce(max(id), 0) FROM sightings")) + 1
    rows["id"] = first + np.arange(len(rows))
    rows["visit"] = rows["source"].map(visit)
    run = devices_of_run(tables, device).iloc[rows["device"].to_numpy()].reset_index(drop=True)
    rows = rows.reset_index(drop=True)
    for name in (*SIGHTED, "rated"):
        rows["name" if name == "device" else name] = run[name]
    at = rows["device"].to_numpy()
    rows["how"] = audit.history.devices["how"].to_numpy()[at]
    rows["why"] = _why(audit)[at]
    rows["device"] = audit.history.devices["known"].to_numpy()[at]
    columns = ("id", "visit", "device", "site", "board", "name", "serial", "location", "kind", "environment", "model",
               "rated", "at", "day", "outcome", "remedied", "out_of_use", "how", "why")  # fmt: skip
    _many(register, "sightings", columns, rows)
    return first + number


def _why(audit: Audit) -> Texts:
    """The gravest standing reason of each device that did not pass, in a sentence."""
    out = np.full(len(audit.devices), "", dtype=object)
    reasons = audit.reasons[audit.reasons["standing"].astype(bool)].drop_duplicates("device")
    out[reasons["device"].to_numpy()] = reasons["message"].to_numpy()
    return np.where(audit.devices["outcome"] == Outcome.PASS, "", out)


def _tests(register: Register, audit: Audit, kept: npt.NDArray[np.int64], sighting: npt.NDArray[np.int64]) -> None:
    """Add the tests that are kept (positions in the tables of the audit), and their readings."""
    tables, first = audit.tables, int(register.one("SELECT coalesce(max(id), 0) FROM tests")) + 1
    tests, outcome = tables.tests.iloc[kept], audit.test_outcomes["outcome"].iloc[kept]
    texts = {n: tables.texts(tests[n]) for n in ("outlet", "technician", "instrument", "remark", "remedy")}
    day = tests["tested_at"].dt.strftime("%Y-%m-%d")
    sheets = tables.sheets["sheet"].to_numpy()[tests["sheet"].to_numpy()]
    frame = pd.DataFrame({
        **texts, "id": first + np.arange(len(kept)), "sighting": sighting, "day": day.to_numpy(),
        "clock": tests["tested_at"].dt.strftime("%H:%M").where(tests["clock_known"].astype(bool)).to_numpy(),
        **{n: tests[n].to_numpy().astype(int) for n in ("visual", "push_button", "declared", "row")},
        "outcome": outcome.to_numpy().astype(int), "mark": marks(tables)[kept], "sheet": sheets,
    })  # fmt: skip
    _many(register, "tests", frame.columns, frame)
    known = {name: number for number, name in register.rows("SELECT id, name FROM slots")}
    for slot in tables.slots:
        known.setdefault(slot.name, len(known) + 1)
    register.connection.executemany("INSERT OR IGNORE INTO slots VALUES (?, ?)", ((i, n) for n, i in known.items()))
    _readings(register, audit, kept, known)


def _sequences(register: Register, audit: Audit, visit: dict[int, int], kept: npt.NDArray[np.int64]) -> None:
    """Keep the readings of each file in entry order."""
    source, device = _input_of_tests(audit), audit.test_outcomes["device"].to_numpy()
    readings = readings_side_by_side(audit.tables)
    for number, new in visit.items():
        mine = kept[source[kept] == number]
        known = audit.history.devices["known"].to_numpy()[device[mine]]
        keep(register, new, known, *(values[mine] for values in readings))


def _readings(register: Register, audit: Audit, kept: npt.NDArray[np.int64], known: dict[str, int]) -> None:
    tables = audit.tables
    number = np.full(len(tables.tests), -1, dtype=np.int64)
    number[kept] = int(register.one("SELECT coalesce(max(id), 0) FROM tests")) - len(kept) + 1 + np.arange(len(kept))
    of = number[tables.readings["test"].to_numpy()]
    readings, verdicts = tables.readings[of >= 0], audit.verdicts[of >= 0]
    slots = np.array([known[slot.name] for slot in tables.slots] or [0])[readings["slot"].to_numpy()]
    test = readings["test"].to_numpy()
    starts = np.concatenate([[0], np.cumsum(np.bincount(test, minlength=len(tables.tests)))])
    _many(
        register,
        "readings",
        ("test", "nth", "slot", "value", "state", "bound", "verdict", "limit"),
        pd.DataFrame(
            {
                "test": of[of >= 0],
                "nth": np.arange(len(test)) - starts[test],
                "slot": slots,
                "value": readings["value"].to_numpy(),
                "state": readings["state"].to_numpy(),
                "bound": readings["bound"].to_numpy(),
                "verdict": verdicts["verdict"].to_numpy(),
                "limit": verdicts["limit"].to_numpy(),
            }
        ),
    )
