"""The audit as one JSON document, described by `schemas/audit.json`; streamed, in a stable order, without NaN.

Up to 20,000 devices all are listed; past that those that need attention, with the rest counted, unless all are asked
for. Readings that pass plainly are left out unless all are asked for.
"""

from __future__ import annotations

import dataclasses
import itertools
import json
from collections.abc import Iterator
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.as_seen import column_letters
from rcdcheck.audits import Audit
from rcdcheck.findings import THE_REST
from rcdcheck.reports import desk, facts, to_do
from rcdcheck.reports.history_facts import history_of
from rcdcheck.reports.json_rows import (
    Encoded,
    each,
    encoded,
    encoded_lists,
    encoded_tuples,
    lists,
    objects,
    of_codes,
    plain,
)
from rcdcheck.sheet_fields import DATE_FIELDS, FLAG_FIELDS, NUMBER_FIELDS, TEXT_FIELDS, WORDS_OF
from rcdcheck.tables import Codes
from rcdcheck.terms import Flag, Outcome, State, Verdict

SCHEMA_VERSION = "1.1"  # 1.0: first; 1.1: tests, places and remarks of devices, what is to do
ALL_DEVICES = 20_000  # up to this many devices all are listed
CHUNK = 2_000  # objects written at once
SLICE = 50_000  # rows encoded at once
PLACE_FIELDS = ("site", "board", "location", "kind", "environment")
OUTCOMES = {outcome.value: outcome.word for outcome in Outcome}
Rows = npt.NDArray[np.int64]


def document(audit: Audit, *, devices: str = "", readings: str = "", tests: str = "") -> dict[str, Any]:
    """The whole document as one value; see `chunks` for the arguments."""
    whole: dict[str, Any] = json.loads(b"".join(chunks(audit, devices=devices, readings=readings, tests=tests)))
    return whole


def chunks(audit: Audit, *, devices: str = "", readings: str = "", tests: str = "") -> Iterator[bytes]:
    """The document as UTF-8, piece by piece; of each list "all", or empty for what needs attention."""
    opening = "{\n"
    for name, value in _parts(audit, devices, readings, tests):
        yield f"{opening}{json.dumps(name)}: ".encode()
        opening = ",\n"
        yield from _array(value) if isinstance(value, Iterator) else [_encoded(value)]
    yield b"\n}\n"


def _array(items: Iterator[str]) -> Iterator[bytes]:
    yield b"["
    opening = "\n"
    while held := list(itertools.islice(items, CHUNK)):
        yield (opening + ",\n".join(held)).encode()
        opening = ",\n"
    yield b"\n]"


def _encoded(value: Any) -> bytes:
    return json.dumps(value, ensure_ascii=False, allow_nan=False, indent=1).encode()


def _parts(audit: Audit, devices: str, readings: str, tests: str) -> Iterator[tuple[str, Any]]:
    yield "schema_version", SCHEMA_VERSION
    yield "run", _run(audit)
    yield "inputs", [_input(audit, n) for n in range(len(audit.tables.inputs))]
    yield "counts", _counts(audit)
    yield "grades", _grades(audit)
    listed = _listed_devices(audit, devices)
    yield "devices", _devices(audit, listed)
    yield "tests", listed_tests(audit, listed, tests)
    yield "readings", _readings(audit, listed_readings(audit, readings))
    yield "questions", _questions(audit.questions)
    yield "limits", _records(audit.limits)
    yield "history", history_of(audit)
    yield "findings", _findings(audit)


def _run(audit: Audit) -> dict[str, Any]:
    rules = audit.rules
    options = dataclasses.asdict(audit.options) | {"as_of": audit.options.as_of.isoformat()}
    return {
        "tool_version": audit.version,
        "options": plain(options),
        "rule_set": {
            "name": rules.name,
            "title": rules.title,
            "document": rules.document,
            "edition": rules.edition,
            "sha256": rules.sha256,
        },
        "fingerprint": audit.fingerprint,
        "exit_code": int(audit.exit_code),
    }


def _input(audit: Audit, number: int) -> dict[str, Any]:
    one, sheets = audit.tables.inputs[number], audit.tables.sheets
    here = [_sheet(audit, int(s)) for s in np.flatnonzero(sheets["input"].to_numpy() == number)]
    described = {
        "name": one.name,
        "sha256": one.sha256,
        "bytes": one.bytes,
        "status": one.status,
        "reason": one.reason,
    }
    return described | {"sheets": here}


def _sheet(audit: Audit, number: int) -> dict[str, Any]:
    tables = audit.tables
    sheet = tables.sheets.iloc[number]
    columns = tables.columns[tables.columns["sheet"] == number]
    lost = tables.passed_over[tables.passed_over["sheet"] == number]
    return {
        "sheet": sheet["sheet"],
        "kind": sheet["kind"],
        "hidden": bool(sheet["hidden"]),
        "saved_at": plain(sheet["saved_at"]),
        "reason": sheet["reason"],
        "rows": {name: int(sheet[name]) for name in ("non_blank", "heading", "test", "passed_over")},
        "columns": [
            {
                "column": column_letters(c.column),
                "heading": c.heading,
                "meaning": c.meaning,
                "unit": c.unit,
                "how": c.how,
            }
            for c in columns.itertuples()
        ],
        "rows_passed_over": [
            {"row": int(r.row), "reason": r.reason, "text": r.text, "holds_reading": bool(r.holds_reading)}
            for r in lost.head(1000).itertuples()
        ],
    }


def _counts(audit: Audit) -> dict[str, Any]:
    counts: dict[str, Any] = {}
    for name, n in facts.of(audit).counts.items():
        kind, _, word = name.partition(".")
        counts.setdefault(kind, {})[word] = n
    return counts


def _grades(audit: Audit) -> dict[str, Any]:
    def shown(grade: Any) -> dict[str, Any]:
        lines = [{"line": title, "grade": letter, "figure": figure} for title, letter, figure in grade.lines]
        return {
            "name": grade.name,
            "grade": grade.grade,
            "decided_by": grade.decided_by,
            "tests": grade.tests,
            "lines": lines,
        }

    of = {
        scope: [shown(g) for g in audit.grades if g.scope == scope]
        for scope in ("batch", "input", "technician", "instrument")
    }
    return {
        "batch": of["batch"][0],
        "inputs": of["input"],
        "technicians": of["technician"],
        "instruments": of["instrument"],
    }


def _listed_devices(audit: Audit, which: str) -> Rows:
    everything = np.arange(len(audit.devices))
    if which == "all" or len(everything) <= ALL_DEVICES:
        return everything
    return everything[audit.devices["outcome"].to_numpy() != Outcome.PASS]


def _devices(audit: Audit, listed: Rows) -> Iterator[str]:
    tables, models, to_do_of = audit.tables, _models(audit), _lists(audit)
    action = audit.devices["next_action"].to_numpy(copy=True)
    open_ = listed[audit.devices["outcome"].isin([Outcome.UNCLEAR, Outcome.INCOMPLETE]).to_numpy()[listed]]
    action[open_] = to_do.steps(audit, open_)
    for at in np.array_split(listed, max(1, len(listed) // SLICE)):
        devices, said = audit.devices.iloc[at], to_do.written(audit, at)
        yield from objects(
            {
                "device": encoded(devices["name"]),
                **{name: of_codes(devices[name], tables.vocabulary) for name in PLACE_FIELDS},
                "model": of_codes(models[at], tables.vocabulary),
                "remarks": encoded_tuples(said.get(n, ()) for n in at.tolist()),
                "to_do": to_do_of.taken(at),
                "outlets": _outlets(audit, at),
                "where": _where(audit, at),
                "outcome": of_codes(devices["outcome"], OUTCOMES),
                "grade": encoded(devices["grade"]),
                "danger": encoded(np.where(devices["danger"] > 0, devices["danger"], np.nan)),
                "reasons": _reasons(audit, at),
                "next_action": encoded(action[at]),
                "tested_at": encoded(devices["tested_at"]),
                "retest_due": encoded(devices["retest_due"]),
            }
        )


def _models(audit: Audit) -> Codes:
    """Model of each device, as its first test states it, shape (devices,)."""
    model = audit.tables.tests["model"].to_numpy()
    stated = np.flatnonzero(model > 0)[::-1]
    out = np.zeros(len(audit.devices), dtype=np.int32)
    out[audit.test_outcomes["device"].to_numpy()[stated]] = model[stated]
    return out


def _lists(audit: Audit) -> Encoded:
    """The lists of things to do that each device stands in: withdraw, go_back, desk."""
    numbers = (to_do.failed(audit), to_do.to_visit(audit), desk.held_devices(audit))
    stands = np.zeros(len(audit.devices), dtype=np.int64)
    for bit, listed in enumerate(numbers):
        stands[listed] |= 1 << bit
    names = ("withdraw", "go_back", "desk")
    return of_codes(stands, [[name for bit, name in enumerate(names) if n >> bit & 1] for n in range(8)])


def _outlets(audit: Audit, listed: Rows) -> Encoded:
    outlets = audit.outlets[np.isin(audit.outlets["device"].to_numpy(), listed)]
    columns = {
        "outlet": of_codes(outlets["outlet"], audit.tables.vocabulary),
        "outcome": of_codes(outlets["outcome"], OUTCOMES),
    }
    return lists(list(objects(columns)), outlets["device"].to_numpy(), listed)


def _reasons(audit: Audit, listed: Rows) -> Encoded:
    reasons = audit.reasons[np.isin(audit.reasons["device"].to_numpy(), listed)]
    columns = {
        "code": encoded(reasons["code"]),
        "message": encoded(reasons["message"]),
        "outcome": of_codes(reasons["outcome"], OUTCOMES),
        "standing": encoded(reasons["standing"]),
        **_places(audit, reasons["sheet"]),
        "row": encoded(reasons["row"]),
        "cell": _cells(reasons["row"], reasons["column"]),
    }
    return lists(list(objects(columns)), reasons["device"].to_numpy(), listed)


def listed_tests(audit: Audit, devices: Rows, which: str) -> Iterator[str]:
    """Each test with every field that its sheet gave it; without `which` only those of the devices that are listed."""
    tables, outcomes = audit.tables, audit.test_outcomes
    wanted = np.ones(len(outcomes), dtype=bool) if which == "all" else np.isin(outcomes["device"].to_numpy(), devices)
    names, flags = audit.devices["name"].to_numpy(), [flag.name.lower() for flag in Flag]
    for at in np.array_split(np.flatnonzero(wanted), max(1, int(wanted.sum()) // SLICE)):
        tests, judged = tables.tests.iloc[at], outcomes.iloc[at]
        yield from objects(
            {
                "test": encoded(at),
                "name": encoded(names[judged["device"]]),
                **{name: of_codes(tests[name], tables.vocabulary) for name in TEXT_FIELDS},
                **{name: encoded(tests[name]) for name in DATE_FIELDS},
                **{name: of_codes(tests[name], flags) for name in FLAG_FIELDS},
                **{name: of_codes(tests[name], tables.vocabulary) for name in WORDS_OF.values()},
                **{name: encoded(tests[name]) for name in NUMBER_FIELDS},
                "rated_residual_current": encoded(tests["rated_residual_current"]),
                "outcome": of_codes(judged["outcome"], OUTCOMES),
                "counted": encoded(judged["counted"]),
                **_places(audit, tests["sheet"]),
                "row": encoded(tests["row"]),
            }
        )


def _where(audit: Audit, listed: Rows) -> Encoded:
    rows = audit.tables.rows
    device = audit.test_outcomes["device"].to_numpy()[rows["test"].to_numpy()]
    wanted = np.isin(device, listed)
    here = rows[wanted]
    columns = {**_places(audit, here["sheet"]), "row": encoded(here["row"])}
    return lists(list(objects(columns)), device[wanted], listed)


def _places(audit: Audit, sheets: Any) -> dict[str, Encoded]:
    """File and sheet of each of these rows of the sheets table; -1 is of no sheet."""
    known = [*audit.tables.places, ("", "")]
    codes = np.asarray(sheets)
    return {"file": of_codes(codes, [file for _, file in known]), "sheet": of_codes(codes, [name for name, _ in known])}


def _letters(columns: Any) -> list[str]:
    """Letters of all columns up to the last of these; the last entry, at -1, is of none."""
    return [*map(column_letters, range(np.asarray(columns).max(initial=-1) + 1)), ""]


def _cells(rows: Any, columns: Any) -> Encoded:
    """`F12`; empty where there is no one cell."""
    rows, columns = np.asarray(rows), np.asarray(columns)
    letters = np.array(_letters(columns), dtype=object)
    return each(f'"{c}{r}"' if c and r > 0 else '""' for c, r in zip(letters[columns], rows.tolist(), strict=True))


def listed_readings(audit: Audit, which: str) -> Rows:
    """Numbers of the readings to list: every one where `which` is "all", else those that are not a plain pass."""
    if which == "all":
        return np.arange(len(audit.verdicts))
    plainly = (audit.verdicts["verdict"].to_numpy() == Verdict.PASS) & (audit.verdicts["reason"].to_numpy() == "")
    return np.flatnonzero(~plainly)


def _readings(audit: Audit, listed: Rows) -> Iterator[str]:
    for at in np.array_split(listed, max(1, len(listed) // SLICE)):
        yield from objects(_reading_columns(audit, at))


def _reading_columns(audit: Audit, listed: Rows) -> dict[str, Encoded]:
    tables = audit.tables
    readings, verdicts = tables.readings.iloc[listed], audit.verdicts.iloc[listed]
    test, slot = readings["test"].to_numpy(), readings["slot"].to_numpy()
    is_time = np.array([s.quantity == "trip_time" for s in tables.slots] or [False])[slot]
    sources = [*audit.limits["source"], ""]  # the last entry, at -1, is of no limit
    return {
        "test": encoded(test),
        "site": of_codes(tables.tests["site"].to_numpy()[test], tables.vocabulary),
        "device": encoded(audit.devices["name"].to_numpy()[audit.test_outcomes["device"].to_numpy()[test]]),
        "outlet": of_codes(tables.tests["outlet"].to_numpy()[test], tables.vocabulary),
        "quantity": of_codes(slot, [s.quantity for s in tables.slots]),
        "multiple": encoded(np.where(is_time, verdicts["multiple"].to_numpy(dtype=np.float64), np.nan)),
        "phase": of_codes(slot, [s.phase for s in tables.slots]),
        "waveform": of_codes(slot, [s.waveform for s in tables.slots]),
        "value": encoded(readings["value"].to_numpy(dtype=np.float64)),
        "unit": of_codes(slot, [s.unit for s in tables.slots]),
        "state": of_codes(readings["state"], [state.name.lower() for state in State]),
        "bound": of_codes(readings["bound"], ("exact", "above", "below")),
        "typed": of_codes(readings["text"], tables.vocabulary),
        "verdict": of_codes(verdicts["verdict"], [verdict.word for verdict in Verdict]),
        "reason": encoded(verdicts["reason"]),
        "limit": encoded(verdicts["limit"].to_numpy(dtype=np.float64)),
        "limit_source": of_codes(verdicts["limit_id"], sources),
        "p_conform": encoded(np.round(verdicts["p_conform"].to_numpy(dtype=np.float64), 4)),
        **_places(audit, tables.tests["sheet"].to_numpy()[test]),
        "row": encoded(readings["row"]),
        "column": of_codes(readings["column"], _letters(readings["column"])),
        "cell": _cells(readings["row"], readings["column"]),
    }


def _questions(questions: pd.DataFrame) -> Iterator[str]:
    """A line for each: a person more is some dozen of them."""
    columns = {str(name): questions[name].to_numpy() for name in questions}
    return objects({name: encoded_lists(c) if c.dtype == object else encoded(c) for name, c in columns.items()})


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return [plain(record) for record in frame.to_dict("records")]


def _findings(audit: Audit) -> Iterator[str]:
    findings = audit.findings
    row, last_row = (np.where(findings[name] < THE_REST, findings[name], 0) for name in ("row", "last_row"))
    test, column, several = findings["test"].to_numpy(), findings["column"].to_numpy(), last_row > row
    names = np.append(audit.devices["name"].to_numpy(), "")
    device = np.append(audit.test_outcomes["device"].to_numpy(), -1)
    return objects(
        {
            "code": encoded(findings["code"]),
            "severity": encoded(findings["severity"]),
            "message": encoded(findings["message"]),
            "device": encoded(names[device[np.where(test >= 0, test, -1)]]),
            **_places(audit, findings["sheet"]),
            "row": encoded(np.where(row > 0, row, np.nan)),
            "rows": encoded_tuples(
                (a, b) if b > a else None for a, b in zip(row.tolist(), last_row.tolist(), strict=True)
            ),
            "column": of_codes(column, _letters(column)),
            "cell": _cells(np.where(several, 0, row), column),
            "typed": encoded(findings["typed"]),
            "suggestion": encoded(findings["suggestion"]),
            "evidence": encoded_lists(findings["evidence"]),
            "count": encoded(findings["count"]),
        }
    )
