"""Every constraint of schemas/test-sheet.json is heard at the cell that breaks it, under a fitting code."""

from __future__ import annotations

import csv
import datetime as dt
import json
from pathlib import Path
from typing import Any

import pytest
from whole_runs import DAY, ROOT

from rcdcheck import audit, frames
from rcdcheck.options import Options

FIELDS = json.loads((ROOT / "schemas" / "test-sheet.json").read_text(encoding="utf-8"))["fields"]
BROKEN = [
    (f["name"], constraint, limit)
    for f in FIELDS
    for constraint, limit in f.get("constraints", {}).items()
    if constraint != "required"
]
CODES = {  # where the cells of a field have findings of their own
    "rated_residual_current": "rated-current-not-understood", "kind": "kind-not-understood",
    "rcd_type": "entry-not-understood",
    "waveform_type": "entry-not-understood", "delay": "entry-not-understood", "tested_at": "date-too-early",
    "visual": "result-not-understood", "push_button": "result-not-understood", "declared": "result-not-understood",
}  # fmt: skip
OF_READINGS = {"minimum": "negative-reading", "exclusiveMinimum": "zero-reading", "maximum": "beyond-any-instrument"}


def beyond(constraint: str, limit: Any) -> str:
    """What just breaks a constraint."""
    if constraint == "maxLength":
        return "word " * (limit // 5) + "and more"
    if constraint == "enum":
        return "qqzz"
    if isinstance(limit, str):
        return (dt.date.fromisoformat(limit) - dt.timedelta(days=1)).isoformat()
    return f"{limit + {'minimum': -0.2, 'maximum': 1}.get(constraint, 0):.12g}"


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[int, int], set[str]]:
    """Codes found at each row and column: a row for each constraint, which its cell breaks."""
    sheet = tmp_path_factory.mktemp("constraints") / "day.csv"
    with Path(sheet).open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file)
        rows.writerow([f["title"] + (f" ({f['unit']})" if "unit" in f else "") for f in FIELDS])
        for number, (name, constraint, limit) in enumerate(BROKEN):
            own = {name: beyond(constraint, limit)}
            plain = {"device": f"D-{number:03}", "site": "North row", "model": f"board {number % 3}"}
            rows.writerow([({f["name"]: f["example"]} | plain | own)[f["name"]] for f in FIELDS])
    findings = audit([sheet], Options(as_of=dt.date.fromisoformat(DAY))).findings
    out: dict[tuple[int, int], set[str]] = {}
    for row, column, code in zip(findings["row"], findings["column"], findings["code"], strict=True):
        out.setdefault((row, column), set()).add(code)
    return out


@pytest.mark.parametrize(("name", "constraint", "limit"), BROKEN)
def test_a_cell_that_breaks_it_is_pointed_at(
    name: str, constraint: str, limit: Any, found: dict[tuple[int, int], set[str]]
) -> None:
    column = [f["name"] for f in FIELDS].index(name)
    own = CODES.get(name) or (OF_READINGS.get(constraint) if name.startswith("trip_") else None)
    assert (own or "value-outside-schema") in found.get((BROKEN.index((name, constraint, limit)) + 2, column), set())


@pytest.mark.parametrize("apart", [True, False], ids=["each its own text", "one text"])
def test_what_is_outside_the_schema_is_heard_past_a_thousand_too(tmp_path: Path, apart: bool) -> None:
    """Findings list a thousand of a kind and count the rest; no device passes because its cell is only counted."""
    sheet, broken = tmp_path / "day.csv", 1_100
    rows = ["Site,RCD,Rated mA,Date,Technician,Visual,Push button,1x 0° (ms),1x 180° (ms),5x 0° (ms),5x 180° (ms)"]
    for n in range(broken + 1):
        technician = "T" * 121 + (f"{n}" if apart else "") if n < broken else "T1"
        rows.append(f"North row,D-{n:04},30,2026-10-01,{technician},pass,pass,{20 + n % 7},{21 + n % 5},11,12")
    sheet.write_text("\n".join(rows) + "\n", encoding="utf-8")
    found = frames(audit([sheet], Options(as_of=dt.date.fromisoformat(DAY))))
    assert found.devices["outcome"].value_counts().to_dict() == {"unclear": broken, "pass": 1}
    told = found.findings[found.findings["code"] == "value-outside-schema"]
    assert told["count"].sum() == broken > len(told)
