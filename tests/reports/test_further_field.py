"""Fields that only `schemas/test-sheet.json` knows are read, judged and shown by every face."""

from __future__ import annotations

import io
import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from whole_runs import DAY, ROOT, valid

FURTHER: list[dict[str, Any]] = [
    {"name": "ambient_temperature", "title": "Ambient temperature", "type": "number", "unit": "°C",
     "headings": ["Temp"], "description": "Air temperature at the device.", "example": "21",
     "constraints": {"minimum": -30, "maximum": 60}},
    {"name": "key_box", "title": "Key box", "type": "string", "description": "Where the key is.",
     "constraints": {"maxLength": 40}, "example": "K3"},
    {"name": "installed_on", "title": "Installed on", "type": "date", "description": "Day of installation.",
     "example": "2020-05-04"},
    {"name": "lid_sealed", "title": "Lid sealed", "type": "string", "description": "Whether the lid is sealed.",
     "constraints": {"enum": ["pass", "fail"]}, "example": "pass"},
]  # fmt: skip
SHEET = """Device,Rated mA,Visual,1x 0° (ms),1x 180° (ms),Tested on,Temp (°C),Key box,Installed on,Lid sealed
WM-1,30,pass,24.1,25.2,20/11/2026,"21,5",hook 7,2019-03-02,pass
WM-2,30,pass,26.3,27.4,20/11/2026,~19 °C,hook 8,2019-03-03,pass
WM-3,30,pass,28.5,29.6,20/11/2026,mild,hook 9,2019-03-04,pass
WM-4,30,pass,22.7,23.8,20/11/2026,71,hook 10,2019-03-05,pass
WM-5,30,pass,21.9,22.1,20/11/2026,18,hook 11,2019-03-06,fail - lid loose
WM-6,30,pass,23.1,24.9,20/11/2026,-4.5,hook 12,,half
"""
KEPT = ("--site", "North", "--as-of", DAY, "--register", "fleet.db", "--quiet")
ABOVE = """Ambient temperature: 21 °C,,,,
Installed on: 2019-04-03,,,,
Device,Rated mA,Visual,1x 0° (ms),1x 180° (ms)
WM-1,30,pass,24.1,25.2
WM-2,30,pass,26.3,27.4
"""


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The program beside a copy of its schemas in which these fields are declared, and its answers to the sheet."""
    place = tmp_path_factory.mktemp("declared")
    (place / "rcdcheck").symlink_to(ROOT / "rcdcheck")
    shutil.copytree(ROOT / "schemas", place / "schemas")
    declared = place / "schemas" / "test-sheet.json"
    told = json.loads(declared.read_text(encoding="utf-8"))
    told["fields"] += FURTHER
    declared.write_text(json.dumps(told), encoding="utf-8")
    (place / "sheet.csv").write_text(SHEET, encoding="utf-8")
    said = _run(place, "audit", "sheet.csv", *KEPT, "--write", "json,xlsx,html", "--out", "out")
    assert said.returncode == 1, said.stderr
    return place


def _run(place: Path, *words: str) -> subprocess.CompletedProcess[str]:
    there = os.environ | {"PYTHONPATH": str(place)}
    return subprocess.run([sys.executable, "-m", "rcdcheck", *words], cwd=place, env=there, capture_output=True,
                          text=True, check=False)  # fmt: skip


@pytest.fixture(scope="module")
def document(place: Path) -> dict[str, Any]:
    told: dict[str, Any] = json.loads((place / "out" / "sheet-audit.json").read_text(encoding="utf-8"))
    return told


def test_the_document_states_each_under_its_name(document: dict[str, Any]) -> None:
    valid(document)
    tests = document["tests"]
    assert [t["ambient_temperature"] for t in tests] == [21.5, 19, None, 71, 18, -4.5]
    told = [(t["key_box"], t["installed_on"], t["lid_sealed"], t["lid_sealed_words"]) for t in tests]
    assert told[0] == ("hook 7", "2019-03-02", "pass", "")
    assert told[4] == ("hook 11", "2019-03-06", "fail", "fail - lid loose")


def test_a_check_that_failed_fails_its_device_and_nothing_unread_is_silent(document: dict[str, Any]) -> None:
    assert [d["outcome"] for d in document["devices"]] == ["pass", "pass", "pass", "unclear", "fail", "unclear"]
    reasons = [r["code"] for d in document["devices"] for r in d["reasons"]]
    assert reasons == ["value-outside-schema", "check-failed", "check-unclear"]
    assert "“Lid sealed”: “fail - lid loose”" in document["devices"][4]["reasons"][0]["message"]
    found = {f["cell"]: f["code"] for f in document["findings"] if f["cell"]}
    assert found == {"G4": "number-not-understood", "G5": "value-outside-schema", "J6": "check-failed",
                     "J7": "result-not-understood"}  # fmt: skip


def test_page_and_workbook_show_each(place: Path) -> None:
    page = (place / "out" / "sheet-audit.html").read_text(encoding="utf-8")
    sheet = openpyxl.load_workbook(io.BytesIO((place / "out" / "sheet-audit.xlsx").read_bytes()))["Devices"]
    head, *rows = [row for row in sheet.iter_rows(values_only=True) if row[0] in ("Device", "WM-1", "WM-5")]
    of_first, of_last = (dict(zip(head, row, strict=True)) for row in rows)
    assert (of_first["Ambient temperature, °C"], of_first["Key box"]) == (21.5, "hook 7")
    assert str(of_first["Installed on"])[:10] == "2019-03-02" and of_first["Lid sealed"] == "pass"
    assert of_last["Lid sealed"] == "fail"
    for text in (
        "Ambient temperature: 21.5 °C",
        "Key box: hook 7",
        "Installed on: 2019-03-02",
        "Lid sealed: fail",
        "lid loose",
    ):
        assert text in page


def test_the_workbook_to_type_into_asks_for_each_and_is_read_again(place: Path) -> None:
    assert _run(place, "template", "--out", "entry.xlsx").returncode == 0
    book = openpyxl.load_workbook(place / "entry.xlsx")
    headings = [str(cell.value).removesuffix(" *") for cell in book["Tests"][5]]
    assert {"Ambient temperature (°C)", "Key box", "Installed on", "Lid sealed"} <= set(headings)
    typed = {"Device": "WM-1", "Trip time 1×, 0° (ms)": 24.1, "Ambient temperature (°C)": 21.5, "Lid sealed": "pass"}
    book["Tests"].append([typed.get(heading) for heading in headings])
    book.save(place / "entry.xlsx")
    told = _run(place, "columns", "entry.xlsx").stdout
    listed = _run(place, "columns", "--fields").stdout
    for field in FURTHER:
        assert field["name"] in told and field["name"] in listed


def test_a_line_above_the_table_states_one_for_every_row(place: Path) -> None:
    """And the day that it states is not the day of the tests."""
    (place / "above.csv").write_text(ABOVE, encoding="utf-8")
    said = _run(place, "audit", "above.csv", "--as-of", DAY, "--write", "none", "--json", "-", "--quiet")
    told = [(t["ambient_temperature"], t["installed_on"], t["tested_at"]) for t in json.loads(said.stdout)["tests"]]
    assert told == [(21, "2019-04-03", None)] * 2


def test_a_row_of_a_long_table_is_a_check_by_its_title(place: Path) -> None:
    rows = [
        f"WM-{n},30,{what},{value}"
        for n, lid in ((1, "pass"), (2, "fail"))
        for what, value in (("Trip time 1x 0°", "24.1 ms"), ("Trip time 1x 180°", "25.2 ms"), ("Lid sealed", lid))
    ]
    (place / "long.csv").write_text("\n".join(["Device,Rated mA,What,Result", *rows]) + "\n", encoding="utf-8")
    said = _run(place, "audit", "long.csv", "--as-of", DAY, "--write", "none", "--json", "-", "--quiet")
    document = json.loads(said.stdout)
    assert [(d["outcome"], [r["code"] for r in d["reasons"]]) for d in document["devices"]] == [
        ("pass", []), ("fail", ["check-failed"]),
    ]  # fmt: skip


def test_a_register_holds_the_device_that_fails_such_a_check_in_a_sheet_listed_once_more(place: Path) -> None:
    """The register keeps no word of the check itself: all else of the second sheet reads as it did in the first."""
    (place / "again.csv").write_text(SHEET.replace('"21,5",hook 7,2019-03-02,pass', '"21,5",hook 7,2019-03-02,fail'))
    assert _run(place, "audit", "again.csv", *KEPT, "--write", "none").returncode == 1
    due = _run(place, "due", "--register", "fleet.db", "--as-of", DAY).stdout
    assert re.search(r"North +WM-1 .*Failed “Lid sealed”", due)
