"""The audit as one JSON document, described by `schemas/audit.json`; streamed, in a stable order, without NaN.

Up to 20,000 devices all are listed; past that those that need attention, with the rest counted, unless all are asked
for. Readings that pass plainly are left out unless all are asked for.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd

from rcdcheck.records import DATE_FIELDS, TEXT_FIELDS, Audit, Flag, Outcome, State, Verdict, column_letters
from rcdcheck.reports import desk, facts, to_do
from rcdcheck.reports.history_facts import history_of

SCHEMA_VERSION = "1.1"  # 1.0: first; 1.1: tests, places and remarks of devices, what is to do
ALL_DEVICES = 20_000  # up to this many devices all are listed
CHUNK = 2_000


def document(audit: Audit, *, devices: str = "", readings: str = "", tests: str = "") -> dict[str, Any]:
    """The whole document as one value; see `chunks` for the arguments."""
    return {
        name: list(value) if isinstance(value, Iterator) else value
        for name, value in _parts(audit, devices, readings, tests)
    }


def chunks(audit: Audit, *, devices: str = "", readings: str = "", tests: str = "") -> Iterator[bytes]:
    """The document as UTF-8, piece by piece; of each list "all", or empty for what needs attention."""
    opening = "{\n"
    for name, value in _parts(audit, devices, readings, tests):
        yield f"{opening}{json.dumps(name)}: ".encode()
        opening = ",\n"
        yield from _array(value) if isinstance(value, Iterator) else [_encoded(value)]
    yield b"\n}\n"


def _array(items: Iterator[Any]) -> Iterator[bytes]:
    yield b"["
    opening, held = "\n", []
    for item in items:
        held.append(_text(item))
        if len(held) >= CHUNK:
            yield (opening + ",\n".join(held)).encode()
            opening, held = ",\n", []
    if held:
        yield (opening + ",\n".join(held)).encode()
    yield b"\n]"


def _text(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


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
    yield "questions", _records(audit.questions)
    yield "limits", _records(audit.limits)
    yield "history", history_of(audit)
    yield "findings", _findings(audit)


def plain(value: Any) -> Any:
    """A numpy or pandas value as JSON knows it; what is not a number or a date is null."""
    if isinstance(value, dict):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple | np.ndarray):
        return [plain(v) for v in value]
    if isinstance(value, np.bool_):
        return bool(value)
    if isinstance(value, pd.Timestamp | np.datetime64):
        return None if pd.isna(value) else pd.Timestamp(value).isoformat().removesuffix("T00:00:00")
    if value is pd.NaT or value is None:
        return None
    if isinstance(value, int | np.integer) and not isinstance(value, bool):
        return int(value)
    if isinstance(value, float | np.floating):
        number = float(value)
        if not np.isfinite(number):
            return None
        return int(number) if number.is_integer() and abs(number) < 1e15 else number
    return value


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


def _listed_devices(audit: Audit, which: str) -> np.ndarray:
    everything = np.arange(len(audit.devices))
    if which == "all" or len(everything) <= ALL_DEVICES:
        return everything
    return everything[audit.devices["outcome"].to_numpy() != Outcome.PASS]


def _devices(audit: Audit, listed: np.ndarray) -> Iterator[dict[str, Any]]:
    tables, places = audit.tables, _places(audit)
    where = _where(audit, listed, places)
    outlets = _by_device(audit.outlets, listed)
    reasons = _by_device(audit.reasons, listed)
    devices = audit.devices.iloc[listed]
    texts = {name: tables.texts(devices[name]) for name in ("site", "board", "location", "kind", "environment")}
    open_ = {i.number: i for i in to_do.items(audit, listed[devices["outcome"].to_numpy() != Outcome.PASS])}
    models, said, lists = _models(audit), to_do.written(audit, listed), _lists(audit)
    for i, row in enumerate(devices.itertuples()):
        number = int(row.Index)
        yield {
            "device": row.name,
            **{name: values[i] for name, values in texts.items()},
            "model": models[number],
            "remarks": list(said.get(number, ())),
            "to_do": lists[number],
            "outlets": [
                {"outlet": tables.vocabulary[o.outlet], "outcome": Outcome(o.outcome).word}
                for o in outlets.get(number, ())
            ],
            "where": where.get(number, []),
            "outcome": Outcome(row.outcome).word,
            "grade": row.grade,
            "danger": int(row.danger) or None,
            "reasons": [_reason(places, r) for r in reasons.get(number, ())],
            "next_action": open_[number].action if number in open_ else row.next_action,
            "tested_at": plain(row.tested_at),
            "retest_due": plain(row.retest_due),
        }


def _models(audit: Audit) -> np.ndarray:
    """Model of each device, as its first test states it, shape (devices,)."""
    model = audit.tables.tests["model"].to_numpy()
    stated = np.flatnonzero(model > 0)[::-1]
    out = np.zeros(len(audit.devices), dtype=np.int64)
    out[audit.test_outcomes["device"].to_numpy()[stated]] = model[stated]
    return audit.tables.texts(out)


def _lists(audit: Audit) -> list[list[str]]:
    """The lists of things to do that each device stands in: withdraw, go_back, desk."""
    out: list[list[str]] = [[] for _ in range(len(audit.devices))]
    numbers = (to_do.failed(audit), to_do.to_visit(audit), desk.held_devices(audit))
    for name, listed in zip(("withdraw", "go_back", "desk"), numbers, strict=True):
        for number in listed.tolist():
            out[number].append(name)
    return out


def listed_tests(audit: Audit, devices: np.ndarray, which: str) -> Iterator[dict[str, Any]]:
    """Each test with every field that its sheet gave it; without `which` only those of the devices that are listed."""
    tables, outcomes = audit.tables, audit.test_outcomes
    wanted = np.ones(len(outcomes), dtype=bool) if which == "all" else np.isin(outcomes["device"].to_numpy(), devices)
    places, names, flags = _places(audit), audit.devices["name"].to_numpy(), ("visual", "push_button", "declared")
    for at in np.array_split(np.flatnonzero(wanted), max(1, int(wanted.sum()) // CHUNK)):
        tests, judged = tables.tests.iloc[at], outcomes.iloc[at]
        texts = [tables.texts(tests[name]) for name in TEXT_FIELDS]
        for i, (number, t, o) in enumerate(zip(at.tolist(), tests.itertuples(), judged.itertuples(), strict=True)):
            yield {
                "test": number,
                "name": names[o.device],
                **{name: values[i] for name, values in zip(TEXT_FIELDS, texts, strict=True)},
                **{name: plain(getattr(t, name)) for name in DATE_FIELDS},
                **{name: Flag(getattr(t, name)).name.lower() for name in flags},
                "rated_residual_current": plain(t.rated_residual_current),
                "outcome": Outcome(o.outcome).word,
                "counted": bool(o.counted),
                **places[t.sheet],
                "row": int(t.row),
            }


def _by_device(frame: pd.DataFrame, listed: np.ndarray) -> dict[int, list[Any]]:
    out: dict[int, list[Any]] = {}
    for row in frame[frame["device"].isin(listed)].itertuples():
        out.setdefault(int(row.device), []).append(row)
    return out


def _where(audit: Audit, listed: np.ndarray, places: list[dict[str, str]]) -> dict[int, list[dict[str, Any]]]:
    rows = audit.tables.rows
    device = audit.test_outcomes["device"].to_numpy()[rows["test"].to_numpy()]
    out: dict[int, list[dict[str, Any]]] = {}
    wanted = np.isin(device, listed)
    for number, sheet, row in zip(device[wanted], rows["sheet"][wanted], rows["row"][wanted], strict=True):
        out.setdefault(int(number), []).append({**places[sheet], "row": int(row)})
    return out


def _places(audit: Audit) -> list[dict[str, str]]:
    """File and sheet of each row of the sheets table; the last entry, at -1, is of no sheet."""
    names = [one.name for one in audit.tables.inputs]
    sheets = audit.tables.sheets
    known = [{"file": names[i], "sheet": s} for i, s in zip(sheets["input"], sheets["sheet"], strict=True)]
    return [*known, {"file": "", "sheet": ""}]


def cell_of(row: int, column: int) -> str:
    """`F12`; empty where there is no one cell."""
    return f"{column_letters(column)}{row}" if column >= 0 and row > 0 else ""


def _reason(places: list[dict[str, str]], reason: Any) -> dict[str, Any]:
    column = int(reason.column)
    return {
        "code": reason.code,
        "message": reason.message,
        "outcome": Outcome(reason.outcome).word,
        "standing": bool(reason.standing),
        **places[int(reason.sheet)],
        "row": int(reason.row),
        "cell": cell_of(int(reason.row), column),
    }


def listed_readings(audit: Audit, which: str) -> np.ndarray:
    """Numbers of the readings to list: every one where `which` is "all", else those that are not a plain pass."""
    if which == "all":
        return np.arange(len(audit.verdicts))
    plainly = (audit.verdicts["verdict"].to_numpy() == Verdict.PASS) & (audit.verdicts["reason"].to_numpy() == "")
    return np.flatnonzero(~plainly)


def _readings(audit: Audit, listed: np.ndarray) -> Iterator[dict[str, Any]]:
    tables, places = audit.tables, _places(audit)
    readings, verdicts = tables.readings.iloc[listed], audit.verdicts.iloc[listed]
    tests = readings["test"].to_numpy()
    of_test = {n: tables.texts(tables.tests[n].to_numpy()[tests]) for n in ("site", "outlet")}
    names = audit.devices["name"].to_numpy()[audit.test_outcomes["device"].to_numpy()[tests]]
    sheets = tables.tests["sheet"].to_numpy()[tests]
    sources = audit.limits["source"].to_numpy() if len(audit.limits) else np.array([], dtype=object)
    for i, (r, v) in enumerate(zip(readings.itertuples(), verdicts.itertuples(), strict=True)):
        slot = tables.slots[int(r.slot)]
        yield {
            "test": int(r.test),
            "site": of_test["site"][i],
            "device": names[i],
            "outlet": of_test["outlet"][i],
            "quantity": slot.quantity,
            "multiple": plain(float(v.multiple)) if slot.quantity == "trip_time" else None,
            "phase": slot.phase,
            "waveform": slot.waveform,
            "value": plain(float(r.value)),
            "unit": slot.unit,
            "state": State(r.state).name.lower(),
            "bound": ("exact", "above", "below")[r.bound],
            "typed": tables.vocabulary[r.text],
            "verdict": Verdict(v.verdict).word,
            "reason": v.reason,
            "limit": plain(float(v.limit)),
            "limit_source": sources[v.limit_id] if v.limit_id >= 0 else "",
            "p_conform": plain(round(float(v.p_conform), 4)),
            **places[int(sheets[i])],
            "row": int(r.row),
            "column": column_letters(int(r.column)),
            "cell": cell_of(int(r.row), int(r.column)),
        }


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return [plain(record) for record in frame.to_dict("records")]


def _findings(audit: Audit) -> Iterator[dict[str, Any]]:
    device = audit.test_outcomes["device"].to_numpy()
    names, places = audit.devices["name"].to_numpy(), _places(audit)
    last = np.iinfo(np.int32).max
    for f in audit.findings.itertuples():
        row = int(f.row) if f.row < last else 0
        last_row = int(f.last_row) if f.last_row < last else 0
        yield {
            "code": f.code,
            "severity": f.severity,
            "message": f.message,
            "device": names[device[f.test]] if f.test >= 0 else "",
            **places[int(f.sheet)],
            "row": row or None,
            "rows": [row, last_row] if last_row > row else None,
            "column": column_letters(int(f.column)) if f.column >= 0 else "",
            "cell": cell_of(row, int(f.column)) if last_row <= row else "",
            "typed": f.typed,
            "suggestion": f.suggestion,
            "evidence": plain(f.evidence),
            "count": int(f.count),
        }
