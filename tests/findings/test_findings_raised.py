"""Each finding of the catalogue is raised: by a case, by a test that names it, or by a small sheet of raised.toml."""

from __future__ import annotations

import json
import re
import shlex
import tomllib
from pathlib import Path
from typing import Any

import pytest
from audits_here import AuditsHere
from whole_runs import ROOT

from rcdcheck.audits import Audit
from rcdcheck.findings import catalogue
from rcdcheck.options import Options
from rcdcheck.pipeline import run
from rcdcheck.terms import Outcome

HERE = Path(__file__).parent
SHEETS: dict[str, dict[str, Any]] = tomllib.loads((HERE / "raised.toml").read_text(encoding="utf-8"))


@pytest.mark.parametrize("code", SHEETS)
def test_a_small_sheet_raises_it_where_it_is(code: str, audits_here: AuditsHere, tmp_path: Path) -> None:
    row = SHEETS[code]
    assert set(row) <= {"sheet", "options", "at"}
    content = row["sheet"].lstrip().removesuffix("|").encode()
    found = audits_here.document(content, *shlex.split(row.get("options", "")))
    places = [(one["cell"], str(one["row"])) for one in found["findings"] if one["code"] == code]
    places += [(r["cell"], str(r["row"])) for d in found["devices"] for r in d["reasons"] if r["code"] == code]
    assert places, sorted({one["code"] for one in found["findings"]})
    assert any(row.get("at", "") in ("", *place) for place in places), places


SHEET = "Device,Rated IΔn (mA),Visual,Trip time 1× 0° (ms),Trip time 1× 180° (ms)\nA1,30,pass,24.1,{last}\n"


def codes(audit: Audit) -> set[str]:
    return {*audit.findings["code"], *audit.reasons["code"]}


def test_a_limit_that_rules_leave_open_makes_a_longer_time_unclear(tmp_path: Path) -> None:
    (tmp_path / "day.csv").write_text(SHEET.format(last=212), encoding="utf-8")
    (tmp_path / "doubted.toml").write_text(DOUBTED, encoding="utf-8")
    audit = run([str(tmp_path / "day.csv")], Options(rules=str(tmp_path / "doubted.toml")))
    assert "trip-time-over-doubted-limit" in codes(audit) and audit.devices["outcome"].tolist() == [Outcome.UNCLEAR]


DOUBTED = """
extends = "anz-in-service"
[[limits]]
quantity = "trip_time"
types = ["II"]
multiple = 1
maximum = 200
on_exceed = "unclear"
source = "house rule 3"
standing = "common practice"
"""


def test_more_questions_than_can_be_tried_together_leave_everything_unclear(tmp_path: Path) -> None:
    """A heading as bare as “Trip 1” with numbers about 24 may be times in ms or ramp currents in mA."""
    for number, heading in enumerate(("Trip 1", "1 trip", "Trip: 1", "Trip (1)")):
        rows = "".join(f"A{number}{row},30,pass,{20 + row}.3\n" for row in range(1, 7))
        text = f"Device,Rated IΔn (mA),Visual,{heading}\n{rows}"
        (tmp_path / f"{number}.csv").write_text(text, encoding="utf-8")
    audit = run([str(tmp_path)], Options())
    assert "too-many-meanings" in codes(audit) and (audit.devices["outcome"] != Outcome.PASS).all()


def test_inputs_named_twice_and_sheets_in_a_folder_inside_are_said(tmp_path: Path) -> None:
    (tmp_path / "inside").mkdir()
    for name in ("day.csv", "inside/other.csv"):
        (tmp_path / name).write_text(SHEET.format(last=25.3), encoding="utf-8")
    audit = run([str(tmp_path), str(tmp_path / "day.csv")], Options())
    assert {"file-named-twice", "folder-with-sheets-passed-over"} <= codes(audit)


def test_a_test_that_another_list_repeats_without_its_site_is_said(tmp_path: Path) -> None:
    heads, *rows = SHEET.format(last=25.3).splitlines()
    (tmp_path / "list.csv").write_text(f"{heads},Date\n{rows[0]},2026-11-20\n", encoding="utf-8")
    (tmp_path / "sited.csv").write_text(f"Site,{heads},Date\nNorth,{rows[0]},2026-11-20\n", encoding="utf-8")
    audit = run([str(tmp_path)], Options())
    assert "listed-again-elsewhere" in codes(audit)


def test_a_comment_that_says_failed_is_heard(tmp_path: Path) -> None:
    from openpyxl import Workbook
    from openpyxl.comments import Comment

    book = Workbook()
    page = book.create_sheet("Tests", 0)
    for line in SHEET.format(last=25.3).splitlines():
        page.append(line.split(","))
    page["D2"].comment = Comment("failed", "")
    book.save(tmp_path / "day.xlsx")
    audit = run([str(tmp_path / "day.xlsx")], Options())
    assert "comment-says-failed" in codes(audit) and audit.devices["outcome"].tolist() != [Outcome.PASS]


def test_every_code_of_the_catalogue_is_raised_by_a_case_or_named_by_a_test() -> None:
    """A code that only a list of codes names counts as named: the sheets of raised.toml are for those in none."""
    cases = [
        json.loads(path.read_text(encoding="utf-8")) for path in (ROOT / "tests" / "cases").glob("*/expected.json")
    ]
    shown = {one["code"] for case in cases for one in case.get("findings", ()) if "code" in one}
    shown |= {c for case in cases for device in case.get("devices", {}).values() for c in device.get("reasons", ())}
    others = [p for p in (ROOT / "tests").rglob("test_*.py") if p.name != "test_findings.py" and "bench" not in p.parts]
    others += (ROOT / "tests" / "judging" / "decisions").glob("*.toml")
    text = "\n".join(path.read_text(encoding="utf-8") for path in others)
    named = set(re.findall(r"[a-z0-9]+(?:-[a-z0-9]+)+", text))
    assert set(catalogue()) - shown - named - set(SHEETS) == set()
