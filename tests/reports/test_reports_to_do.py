"""The three lists: each device with all that keeps it from a pass, in each list it needs, on every face alike."""

from __future__ import annotations

import io
import json
import re
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from excel_books import SAMPLES, audit_of
from html_pages import Read

from rcdcheck.audits import Audit
from rcdcheck.reports import FORMATS, desk, facts, report_bytes, to_do
from rcdcheck.reports.console import Screen, summary
from rcdcheck.reports.heading import Heading
from rcdcheck.terms import Outcome

CASES = Path(__file__).parents[1] / "cases"
HEAD = ("Device,Outlet,Site,Board,Location,Circuit,Serial,Model,Rated IΔn (mA),RCD type,Visual,Test button,"
        "Trip time 1× 0° (ms),Trip time 1× 180° (ms),Ramp trip current (mA),Result,Tested by,Instrument,Date,Set-up,"
        "Remedy,Remark")  # fmt: skip


def made(folder: Path, *rows: str) -> Audit:
    """The audit of a sheet with these rows below HEAD."""
    path = folder / "day.csv"
    path.write_text("\n".join([HEAD, *rows]), encoding="utf-8")
    return audit_of(str(path))


def row(device: str, first: str, second: str, *, outlet: str = "", visual: str = "pass", button: str = "pass",
        ramp: str = "", result: str = "", remark: str = "", site: str = "North",
        location: str = "stall") -> str:  # fmt: skip
    """One row of a sheet."""
    return (f"{device},{outlet},{site},B1,{location},C7,SN-7,Model Q,30,II,{visual},{button},{first},{second},{ramp},"
            f"{result},A. Snowfield,Meter A,2026-11-20,lead,,{remark}")  # fmt: skip


def faces(audit: Audit, heading: Heading = Heading()) -> dict[str, str]:  # noqa: B008
    """Every face as text."""
    book = openpyxl.load_workbook(io.BytesIO(b"".join(report_bytes("xlsx", audit, heading))))
    cells = [str(c.value) for ws in book for line in ws.iter_rows() for c in line if c.value is not None]
    return {
        "terminal": " ".join(summary(audit, [], verbose=True, on=Screen(140)).split()),
        "page": " ".join(Read(b"".join(report_bytes("html", audit, heading)).decode()).said.split()),
        "workbook": "\n".join(cells),
        "json": b"".join(report_bytes("json", audit, heading)).decode(),
    }


def test_all_that_keeps_a_device_from_passing_stands_on_every_face(tmp_path: Path) -> None:
    """The contractor mends the cell and would drive back the next day for the other half."""
    audit = made(tmp_path, row("A1", "2O.4", "", remark="ran out of time"), row("A2", "21.4", "22.0"))
    told = facts.of(audit)
    assert [(item.name, item.at_desk) for item in told.go_back] == [("A1", True)]
    assert [cause.code for cause in told.desk] == ["letter-for-digit"]
    for name, text in faces(audit).items():
        assert "“2O.4” cannot be read as a reading" in text, name
        assert "Still to be tested: trip time 1× at 180°" in text, name
        assert "ran out of time" in text, name


def test_what_a_technician_wrote_travels_to_the_client_too(tmp_path: Path) -> None:
    audit = made(tmp_path, row("A1", "21.4", "", remark="supply switched off"), row("A2", "no trip", "22.0",
                 remark="hums"))  # fmt: skip
    for name, text in faces(audit, Heading(audience="client")).items():
        assert "supply switched off" in text and "hums" in text, name


def test_every_field_of_the_sheet_stands_in_the_document(tmp_path: Path) -> None:
    audit = made(tmp_path, row("A1", "21.4", "22.0", remark="dry"))
    document = json.loads(b"".join(report_bytes("json", audit, Heading())))
    (test,), (device,) = document["tests"], document["devices"]
    wanted = {"board": "B1", "circuit": "C7", "serial": "SN-7", "site": "North", "location": "stall",
              "model": "Model Q", "technician": "A. Snowfield", "instrument": "Meter A",
              "setup": "lead", "remark": "dry"}  # fmt: skip
    assert {name: test[name] for name in wanted} == wanted
    assert (device["board"], device["location"], device["model"], device["remarks"]) == (
        "B1",
        "stall",
        "Model Q",
        ["dry"],
    )


def test_every_failure_has_one_finding_of_danger(tmp_path: Path) -> None:
    audit = made(
        tmp_path,
        row("A1", "21.4", "22.0", visual="fail"),
        row("A2", "21.4", "22.0", button="fail"),
        row("A3", "412", "22.0", result="fail"),
        row("A4", "", "", result="fail"),
        row("A5", "21.4", "22.0", ramp="34"),
    )
    danger = audit.findings[audit.findings["severity"] == "danger"]
    names = audit.devices["name"].to_numpy()[audit.test_outcomes["device"].to_numpy()[danger["test"].to_numpy()]]
    assert sorted(names) == ["A1", "A2", "A3", "A4", "A5"]
    assert len(facts.of(audit).withdraw) == 5


def test_a_ramp_above_rated_beside_passing_times_is_one_finding(tmp_path: Path) -> None:
    audit = made(tmp_path, row("A5", "21.4", "22.0", ramp="34"))
    said = audit.findings[audit.findings["message"].str.contains("ramp", case=False)]
    assert list(said["code"]) == ["ramp-over-rated"] and "passes" in said["message"].iloc[0]


def test_the_outlet_that_failed_is_named(tmp_path: Path) -> None:
    rows = [row("A1", "21.4", "22.0", outlet="1"), row("A1", "no trip", "22.0", outlet="2"),
            row("A1", "no trip", "22.0", outlet="4")]  # fmt: skip
    (item,) = facts.of(made(tmp_path, *rows)).withdraw
    assert item.why[0] == "Outlets 2 and 4: Trip time 1×, 0°: did not trip; the limit is 300 ms."


def test_the_round_goes_site_by_site_and_place_by_place_in_the_order_of_the_sheet(tmp_path: Path) -> None:
    places = [("A1", "South", "yard"), ("A2", "North", "hall"), ("A3", "South", "shed"), ("A4", "South", "yard")]
    audit = made(tmp_path, *(row(n, "21.4", "", site=site, location=place) for n, site, place in places))
    assert [item.name for item in facts.of(audit).go_back] == ["A1", "A4", "A3", "A2"]


def test_lines_that_tie_at_the_deciding_letter_are_all_told(tmp_path: Path) -> None:
    path = tmp_path / "bare.csv"
    path.write_text(
        "Device,Rated IΔn (mA),1× 0° (ms),1× 180° (ms)\nA1,30,2O.4,21.0\nA2,30,2O.5,21.0\n", encoding="utf-8"
    )
    audit = audit_of(str(path))
    tied = [title for title, letter, _ in audit.grade.lines if letter == audit.grade.grade]
    assert len(tied) > 1 and all(title in audit.grade.decided_by for title in tied)


def test_a_reading_without_its_phase_is_settled_at_the_desk(tmp_path: Path) -> None:
    path = tmp_path / "plain.csv"
    path.write_text("Device,Rated IΔn (mA),Trip time (ms)\nA1,30,21.4\nA2,30,23.1\n", encoding="utf-8")
    told = facts.of(audit_of(str(path)))
    assert told.go_back == []
    assert ("phase-not-stated", 2) in [(cause.code, cause.devices) for cause in told.desk]


def test_no_option_gives_the_rows_of_a_long_table_one_phase(tmp_path: Path) -> None:
    path = tmp_path / "long.csv"
    rows = [f"A{i},30,pass,1×,{phase},2{i}.4" for i in range(5) for phase in ("0°", "180°" if i else "")]
    path.write_text("\n".join(["Device,Rated IΔn (mA),Visual,Multiple,Phase,Trip time (ms)", *rows]), encoding="utf-8")
    causes = [cause for cause in facts.of(audit_of(str(path))).desk if cause.code == "phase-not-stated"]
    assert [(cause.devices, cause.option) for cause in causes] == [(1, "")]


def test_remarks_that_are_not_understood_stand_word_for_word(tmp_path: Path) -> None:
    audit = made(tmp_path, row("A1", "21.4", "22.0", remark="gronkled twice"), row("A2", "20", "21", remark="zwubbed"))
    told = [cause.spots[0].typed for cause in facts.of(audit).desk if cause.code == "remark-not-understood"]
    assert told == ["gronkled twice", "zwubbed"]


@pytest.mark.parametrize("case", sorted(p.name for p in CASES.iterdir() if p.is_dir()))
def test_every_device_without_a_pass_stands_in_a_list(case: str) -> None:
    paths = [str(p) for p in sorted((CASES / case).iterdir()) if p.name not in ("case.toml", "expected.json")]
    audit = audit_of(*paths)
    listed = {*to_do.failed(audit).tolist(), *to_do.to_visit(audit).tolist(), *desk.held_devices(audit).tolist()}
    passed = audit.devices["outcome"] == Outcome.PASS
    assert set(audit.devices.index[~passed]) == listed
    held = len(desk.held_devices(audit))
    assert not held or sum(cause.devices for cause in facts.of(audit).desk) >= held


def numbers(text: str) -> list[int]:
    """Whole numbers in a text."""
    return [int(n.replace(",", "")) for n in re.findall(r"\d[\d,]*", text)]


@pytest.mark.parametrize("name", ["honest-day.csv", "messy-day.xlsx", "doubtful-month"])
def test_lists_counts_and_orders_are_the_same_on_every_face(name: str) -> None:
    audit = audit_of(str(SAMPLES / name))
    told = facts.of(audit)
    document = json.loads(b"".join(report_bytes("json", audit, Heading())))
    wanted = [told.counts[f"to_do.{what}"] for what in ("withdraw", "go_back", "desk", "desk_cells", "due")]
    assert list(document["counts"]["to_do"].values()) == wanted
    read = Read(b"".join(report_bytes("html", audit, Heading())).decode())
    assert [read.counts[f"to_do.{what}"] for what in ("withdraw", "go_back", "desk", "desk_cells", "due")] == [
        {str(n)} for n in wanted
    ]
    sheet: Any = openpyxl.load_workbook(io.BytesIO(b"".join(report_bytes("xlsx", audit, Heading()))))["Act now"]
    captions = [str(c.value) for (c, *_) in sheet.iter_rows() if c.value and "(" in str(c.value)]
    assert [n for text in captions[:3] for n in numbers(text)] == wanted[:4]
    lines = summary(audit, [], verbose=True, on=Screen(140)).splitlines()
    heads = {"WITHDRAW NOW": wanted[:1], "GO BACK TO SITE": wanted[1:2], "MEND AT THE DESK": wanted[2:4]}
    for head, n in heads.items():
        assert [numbers(line) for line in lines if line.startswith(head)] == ([n] if n[0] else [])
    for at, key in ((told.withdraw, "withdraw"), (told.go_back, "go_back")):
        names = [item.name for item in at]
        assert sorted(names) == sorted(d["device"] for d in document["devices"] if key in d["to_do"])


def test_the_readme_names_every_format_and_the_tag_list_has_every_device() -> None:
    assert f"--write {','.join(FORMATS)}`" in (SAMPLES.parent / "README.md").read_text(encoding="utf-8")
    audit = audit_of(str(SAMPLES / "honest-day.csv"))
    tags = b"".join(report_bytes("tags", audit, Heading())).decode("utf-8-sig").splitlines()
    assert len(tags) == 1 + len(audit.devices)


def test_a_column_that_the_desk_settles_is_told_once_and_not_for_each_device(tmp_path: Path) -> None:
    """Readings in seconds under “ms”: one cause at the desk, and beside a device to go back to its heading alone."""
    head = "Device,Site,Rated IΔn (mA),Visual,Trip time 1× 0° (ms),Trip time 1× 180° (ms),Trip time 5× 0° (ms),Date"
    times = (("48.2", "61.7"), ("35.9", "33.1"), ("52.0", ""), ("77.3", "80.4"), ("41.6", "38.8"), ("66.1", "59.5"))
    rows = [f"A{n},North,30,pass,{a},{b},0.0{12 + 3 * n},2026-11-20" for n, (a, b) in enumerate(times)]
    path = tmp_path / "day.csv"
    path.write_text("\n".join([head, *rows]), encoding="utf-8")
    audit = audit_of(str(path))
    told = facts.of(audit)
    assert [(cause.code, cause.devices) for cause in told.desk] == [("column-perhaps-other-unit", 6)]
    (back,) = told.go_back
    assert sorted(back.why) == [
        "Column “Trip time 5× 0° (ms)” is to be settled at the desk.",
        "Still to be tested: trip time 1× at 180°.",
    ]
    assert back.action == "Still to be tested: trip time 1× at 180°." and not back.at_desk
    assert "cannot be read as a reading" not in summary(audit, [], on=Screen(140))


def test_readings_that_no_limit_reaches_are_one_cause_with_a_sentence(tmp_path: Path) -> None:
    path = tmp_path / "day.csv"
    head = "Device,Rated IΔn (mA),Visual,Test button,Trip time 1× 0° (ms),Trip time 1× 180° (ms),DC 1× 0° (ms)"
    path.write_text("\n".join([head, *(f"A{n},30,pass,pass,2{n}.4,2{n}.9,6{n}" for n in range(4))]), encoding="utf-8")
    causes = {cause.code: cause.message for cause in facts.of(audit_of(str(path))).desk}
    assert causes["beyond-rules"].startswith("4 readings cannot be judged")
