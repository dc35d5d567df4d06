"""A rule set of one's own with a type that no shipped set has: read, judged and shown from its TOML alone."""

from __future__ import annotations

import datetime as dt
import io
import json
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from whole_runs import ROOT, valid

from rcdcheck import rules
from rcdcheck.audits import Audit
from rcdcheck.options import Options
from rcdcheck.pipeline import run
from rcdcheck.reports import report_bytes
from rcdcheck.reports.entry_workbook import entry_workbook
from rcdcheck.reports.heading import Extent, Heading

OWN = """
[[types]]
name = "V"
rated_above = 30
rated_to = 300
beside = "III"
delay = "general"
source = "house rule 1"
standing = "common practice"

[[limits]]
quantity = "trip_time"
types = ["V"]
multiple = 1
maximum = 150
source = "house rule 2"
standing = "common practice"
"""
SHEET = """Device,Rated mA,RCD type,Visual,1x 0° (ms),1x 180° (ms),Tested on
P-1,100,V,pass,124.1,125.2,20/11/2026
P-2,100,Type V,pass,166.3,127.4,20/11/2026
P-3,100,III,pass,168.5,129.6,20/11/2026
P-4,100,slow-pump,pass,169.7,131.8,20/11/2026
P-5,300,V S,pass,121.9,132.1,20/11/2026
"""


@pytest.fixture(scope="module")
def own(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("rules") / "house.toml"
    shipped = (ROOT / "schemas" / "rules" / "anz-in-service.toml").read_text(encoding="utf-8")
    named = shipped.replace("[class_names]\n", '[class_names]\nslow-pump = ["V"]\n')
    assert named != shipped
    path.write_text(named + OWN, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def audit(own: Path) -> Audit:
    sheet = own.with_name("sheet.csv")
    sheet.write_text(SHEET, encoding="utf-8")
    return run([str(sheet)], Options(as_of=dt.date(2026, 11, 25), rules=str(own)))


def _face(kind: str, audit: Audit) -> bytes:
    return b"".join(report_bytes(kind, audit, Heading(), Extent("all", "all", "all")))


def test_cells_of_the_type_are_read_and_judged_by_its_limits(audit: Audit) -> None:
    """P-3 is of type III, which may take 300 ms; a general type with the mark of a selective device is asked about."""
    document: dict[str, Any] = json.loads(_face("json", audit))
    valid(document)
    assert [t["rcd_type"] for t in document["tests"]] == ["V", "V", "III", "slow-pump", "V"]
    assert [d["outcome"] for d in document["devices"]] == ["pass", "fail", "pass", "fail", "unclear"]
    assert [r["limit"] for r in document["readings"]][:8] == [150, 150, 150, 150, 300, 300, 150, 150]
    assert document["devices"][4]["reasons"][0]["code"] == "class-contradicts-rating"


def test_page_and_workbook_show_the_type_and_its_limit(audit: Audit) -> None:
    page, sheets = _face("html", audit).decode(), openpyxl.load_workbook(io.BytesIO(_face("xlsx", audit)))
    head, *rows = [row for row in sheets["Devices"].iter_rows(values_only=True) if row[0] in ("Device", "P-1", "P-4")]
    assert [row[head.index("RCD type")] for row in rows] == ["V", "slow-pump"]
    assert "100 mA V" in page and "100 mA slow-pump" in page
    assert "house rule 2" in page and any(
        "house rule 2" in map(str, r) for w in sheets for r in w.iter_rows(values_only=True)
    )


def test_the_workbook_to_type_into_offers_the_types_of_its_rule_set(own: Path) -> None:
    def offered(name: str) -> str:
        book = openpyxl.load_workbook(io.BytesIO(b"".join(entry_workbook(rules.load(name)))))
        told = [c.formula1 for c in book["Tests"].data_validations.dataValidation if c.promptTitle == "RCD type"]
        return str(told[0])

    assert offered(str(own)) == '"I,II,III,IV,V,slow-pump"'
    assert offered("anz-in-service") == offered("uk-present") == '"I,II,III,IV"'
