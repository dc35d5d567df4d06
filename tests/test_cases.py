"""Whole audits of small sheets: each folder of tests/cases/ shows one thing, and its name says what.

A folder holds the sheet (one or several), `case.toml` and `expected.json`. Dropping in a folder adds a test.

case.toml
    origin   one line: how the sheet was made
    shows    one line: what is expected, and where that is laid down
    args     optional: more arguments of `rcdcheck audit`

expected.json, in which only what is named has to hold, but all of `devices`
    exit_code         exactly
    devices           name → what holds of it; every device of the audit has to be named. `outcome` exactly;
                      `reasons` are codes that must be among the standing reasons, none at all where the list
                      is empty; `next_action`, `retest_due` and `grade` exactly, where named
    readings          each has to match one reading of the audit in every key that it names
    findings          the same, of the findings
    findings_absent   codes that must not be raised
    inputs            file → status
    grade             of the batch
    stderr_contains   texts, for runs that end without a document
"""

from __future__ import annotations

import json
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest
from whole_runs import DAY, AuditJson, valid

from rcdcheck.cli import main

CASES = sorted(path.parent for path in Path(__file__).parent.glob("cases/*/expected.json"))
KNOWN = {
    "exit_code", "devices", "readings", "findings", "findings_absent", "inputs", "grade", "stderr_contains",
}  # fmt: skip


def files_of(case: Path) -> list[Path]:
    """The sheets of a case."""
    return sorted(path for path in case.iterdir() if path.name not in ("case.toml", "expected.json"))


def described(case: Path) -> dict[str, Any]:
    """case.toml, checked: a typing error in a case must not make it pass."""
    said = tomllib.loads((case / "case.toml").read_text(encoding="utf-8"))
    assert said["origin"] and said["shows"] and set(said) <= {"origin", "shows", "args"}
    return said


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_case(
    case: Path, monkeypatch: pytest.MonkeyPatch, capfdbinary: pytest.CaptureFixture[bytes], tmp_path: Path
) -> None:
    expected = json.loads((case / "expected.json").read_text(encoding="utf-8"))
    assert expected and set(expected) <= KNOWN, "expected.json names something that nothing checks"
    arguments = ["audit", "--as-of", DAY, "--write", "none", "--json", "-", "--readings", "all"]
    arguments += [*described(case).get("args", []), *map(str, files_of(case))]
    monkeypatch.setattr(sys, "argv", ["rcdcheck", *arguments])
    monkeypatch.chdir(tmp_path)
    with pytest.raises(SystemExit) as stop:
        main()
    said = capfdbinary.readouterr()
    for text in expected.get("stderr_contains", []):
        assert text in said.err.decode()
    assert stop.value.code == expected.get("exit_code", stop.value.code)
    document = json.loads(said.out) if said.out else {}
    assert document or set(expected) <= {"exit_code", "stderr_contains"}, said.err.decode()
    if document:
        check(document, expected)


def check(document: dict[str, Any], expected: dict[str, Any]) -> None:
    """Hold an audit document to its schema and to what a case expects."""
    valid(document)
    if "devices" in expected:
        check_devices(document["devices"], expected["devices"])
    for part in ("readings", "findings"):
        for wanted in expected.get(part, []):
            assert any(matches(one, wanted) for one in document[part]), f"none of the {part} is {wanted}"
    raised = {finding["code"] for finding in document.get("findings", [])}
    assert not raised & set(expected.get("findings_absent", []))
    if "inputs" in expected:
        assert {one["name"]: one["status"] for one in document["inputs"]} == expected["inputs"]
    if "grade" in expected:
        assert document["grades"]["batch"]["grade"] == expected["grade"]


def check_devices(devices: list[dict[str, Any]], expected: dict[str, dict[str, Any]]) -> None:
    """Every device is named, and what is said of it holds."""
    assert [d["device"] for d in devices] == list(dict.fromkeys(d["device"] for d in devices)), "use several cases"
    assert {d["device"] for d in devices} == set(expected)
    for device in devices:
        wanted = dict(expected[device["device"]])
        standing = {reason["code"] for reason in device["reasons"] if reason["standing"]}
        reasons = set(wanted.pop("reasons", standing))
        assert reasons <= standing and bool(reasons) == bool(standing), f"{device['device']}: {sorted(standing)}"
        shown = {name: device[name] for name in wanted}
        assert shown == wanted, f"{device['device']}: {device['reasons']}"


def matches(one: dict[str, Any], wanted: dict[str, Any]) -> bool:
    """Whether every key that is named has the value that is named."""
    return all(one[name] == value for name, value in wanted.items())


def test_cases_exist_and_none_is_left_out() -> None:
    folders = {path for path in (Path(__file__).parent / "cases").iterdir() if path.is_dir()}
    assert len(CASES) >= 15
    assert folders == set(CASES), "a folder without expected.json tests nothing"


def test_no_case_asserts_nothing() -> None:
    """Each says what outcome, input or finding is due; an exit code alone only where there is no audit."""
    for case in CASES:
        expected = json.loads((case / "expected.json").read_text(encoding="utf-8"))
        assert all(expected.get(part, True) != [] for part in KNOWN), case.name
        assert all("outcome" in wanted for wanted in expected.get("devices", {}).values()), case.name
        assert len(expected) > 1, case.name


def test_all_sheets_in_one_run_come_out_as_each_alone(audit_json: AuditJson) -> None:
    """Sheets without a site share no identity, so a batch decides each device as its sheet alone would."""
    batch = [case for case in CASES if "args" not in described(case)]
    expected = {
        (file.name, name): wanted["outcome"]
        for case in batch
        for file in files_of(case)
        for name, wanted in json.loads((case / "expected.json").read_text(encoding="utf-8")).get("devices", {}).items()
    }
    document = audit_json(*(file for case in batch for file in files_of(case)))
    found = {(d["where"][0]["file"], d["device"]): d["outcome"] for d in document["devices"]}
    assert found == expected
