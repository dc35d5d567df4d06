"""Each field that `schemas/test-sheet.json` declares is read from a sheet and shown: none is dropped on the way."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
from typing import Any

import openpyxl
import pytest

from rcdcheck import data
from rcdcheck.options import Options
from rcdcheck.pipeline import run
from rcdcheck.reports import report_bytes
from rcdcheck.reports.heading import Extent, Heading
from rcdcheck.terms import Slot

FIELDS: list[dict[str, Any]] = data.document("test-sheet.json")["fields"]
IN_WORKBOOK = {"circuit", "serial", "model", "setup", "retest_due"}  # the page leaves them to the workbook beside it
TYPED = {  # of fields in which not every text means something
    "kind": "portable", "environment": "hostile", "rated_residual_current": "100", "rcd_type": "IV",
    "waveform_type": "B", "delay": "selective", "visual": "pass", "push_button": "pass", "declared": "pass",
    "trip_time_0.5x_0": "no trip", "trip_time_0.5x_180": "no trip", "trip_time_1x_0": "121.1",
    "trip_time_1x_180": "122.2", "trip_time_5x_0": "23.3", "trip_time_5x_180": "24.4", "trip_current": "71.3",
    "technician": "A. Snowfield", "calibration_due": "2027-03-07", "tested_at": "2026-11-20",
    "retest_due": "2027-05-19", "remedy": "plug replaced", "remark": "lead taped twice",
}  # fmt: skip


def typed(field: str) -> str:
    return TYPED.get(field, f"{field[:3].upper()}-{len(field)}7")


@pytest.fixture(scope="module")
def faces(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """The texts of document, workbook and page of a sheet with a cell in each field."""
    path = tmp_path_factory.mktemp("fields") / "sheet.csv"
    headings = [f"{f['title']} ({f['unit']})" if "unit" in f else f["title"] for f in FIELDS]
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([headings, [typed(f["name"]) for f in FIELDS]])
    audit = run([str(path)], Options(as_of=dt.date(2026, 11, 25)))
    made = {
        k: b"".join(report_bytes(k, audit, Heading(), Extent("all", "all", "all"))) for k in ("json", "xlsx", "html")
    }
    cells = [c.value for sheet in openpyxl.load_workbook(io.BytesIO(made["xlsx"])) for row in sheet for c in row]
    return {"json": made["json"].decode(), "xlsx": "\n".join(map(str, cells)), "html": made["html"].decode()}


@pytest.mark.parametrize("field", [f["name"] for f in FIELDS])
def test_what_was_typed_in_a_field_is_shown_by_every_face(field: str, faces: dict[str, str]) -> None:
    """In workbook and page only words that stand nowhere else prove it; the document says it under the field's name."""
    document = json.loads(faces["json"])
    told = dict(document["tests"][0])
    for one in document["readings"]:
        told[Slot(one["quantity"], one["multiple"] or 0.0, one["phase"] or "none", one["waveform"]).name] = one["typed"]
    assert str(told[field]).startswith(typed(field))
    assert typed(field) in faces["xlsx"]
    assert typed(field) in faces["html"] or field in IN_WORKBOOK
