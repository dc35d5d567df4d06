"""Each rule set against figures written from the standards, over every phase: sheets with a row for each reading."""

from __future__ import annotations

import csv
import json
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pytest
from decision_tables import CELLS, SIGNED, table, told
from from_the_standards import TABLE, WAVEFORMS, Device, class_a, devices, together
from whole_runs import DAY

from rcdcheck.cli import main

CODES: dict[str, list[str]] = table("reasons")["codes"]  # reason in a word → codes of findings that say so
MEANINGS = {  # which column is which is not asked here
    "Device": "device", "Kind": "kind", "Rated IΔn (mA)": "rated_residual_current", "RCD type": "rcd_type",
    "Waveform type": "waveform_type", "Delay": "delay", "Visual": "visual", "Test button": "push_button",
    "Quantity": "quantity", "Current is": "waveform", "Multiple": "multiple", "Current (mA)": "test_current",
    "Phase": "phase", "Value": "value",
}  # fmt: skip
Output = pytest.CaptureFixture[bytes]
PHASES = TABLE["readings"]["phases"]
HEAD = "device | reading | due | got"
SHOWN = 6  # differences of a device and reading that a failing test prints


@pytest.mark.parametrize("currents", [False, True], ids=["multiples", "currents"])
@pytest.mark.parametrize("name", [*TABLE["sets"], "north-america-gfci"])
def test_every_phase_is_judged_as_the_standards_say(
    name: str,
    currents: bool,
    monkeypatch: pytest.MonkeyPatch,
    capfdbinary: Output,
    tmp_path: Path,
) -> None:
    asked: list[Device] = []
    headings: list[str] = []
    for number, of_sheet in enumerate(sheets(name, currents=currents)):
        path = tmp_path / "sheets" / f"{number}.csv"
        headings = write_sheet(of_sheet, path, "Current (mA)" if currents else "Multiple", len(asked))
        asked += of_sheet
    monkeypatch.chdir(tmp_path)
    stated = [part for one in headings if one in MEANINGS for part in ("--column", f"{one}={MEANINGS[one]}")]
    audited = audit("sheets", name, stated, monkeypatch, capfdbinary)
    assert len(audited) == len(asked), "every device is in the audit"
    lines = [line for number, one in enumerate(asked) if (line := difference(one, audited[f"D{number:05}"]))]
    if lines:
        pytest.fail(told(f"{name}: {len(lines)} of {len(asked)} differ; {HEAD}", lines, ":", SHOWN), pytrace=False)


@pytest.mark.parametrize("name", TABLE["sets"])
def test_phases_of_a_row_stand_together_as_the_standards_say(
    name: str, monkeypatch: pytest.MonkeyPatch, capfdbinary: Output, tmp_path: Path
) -> None:
    rows = list(together(name))
    of = TABLE["together"]["multiples"]
    times = {f"{one} {phase}".strip(): f"Trip time {one} {phase}".strip() + " (ms)" for one in of for phase in PHASES}
    with (tmp_path / "rows.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["Device", *CELLS.values(), "Visual", "Test button", *times.values(), *SIGNED])
        for number, (_, stated, stand, _) in enumerate(rows):
            cells = [*(stated[cell] for cell in CELLS), "pass", "pass", *(stand.get(time, "") for time in times)]
            writer.writerow([f"D{number:05}", *cells, *SIGNED.values()])
    monkeypatch.chdir(tmp_path)
    audited = audit("rows.csv", name, [], monkeypatch, capfdbinary)
    wrong = [
        f"{device} | {stand} | {'|'.join(sorted(allowed))} | {audited[f'D{number:05}']['outcome']}"
        for number, (device, _, stand, allowed) in enumerate(rows)
        if audited[f"D{number:05}"]["outcome"] not in allowed
    ]
    if wrong:
        pytest.fail(told(f"{name}: {len(wrong)} of {len(rows)} differ; {HEAD}", wrong, ":", SHOWN), pytrace=False)


def audit(
    path: str, name: str, stated: list[str], monkeypatch: pytest.MonkeyPatch, capfdbinary: Output
) -> dict[str, dict[str, Any]]:
    """Devices of an audit by name, as the JSON document tells them."""
    arguments = ["audit", path, "--rules", name, "--as-of", DAY, "--write", "none", *stated]
    monkeypatch.setattr(sys, "argv", ["rcdcheck", *arguments, "--json", "-", "--devices", "all", "--quiet"])
    with pytest.raises(SystemExit):
        main()
    return {device["device"]: device for device in json.loads(capfdbinary.readouterr().out)["devices"]}


def sheets(name: str, *, currents: bool) -> list[list[Device]]:
    """Devices of each sheet: those with an illegible cell stand apart, so that they lose no others."""
    if name not in TABLE["sets"]:
        return [list(class_a(currents=currents))]
    return [list(devices(name, currents=currents, illegible=illegible)) for illegible in (False, True)]


def write_sheet(asked: Iterable[Device], path: Path, current: str, first: int) -> list[str]:
    """Write a row for each reading of each device; the headings."""
    headings = [name for name in MEANINGS if name not in ("Multiple", "Current (mA)") or name == current] + [*SIGNED]
    path.parent.mkdir(exist_ok=True)
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(headings)
        for number, one in enumerate(asked, first):
            stated = [one.cells[name] for name in CELLS]
            for reading in one.readings:
                quantity, at = ("ramp", "") if reading.at == "ramp" else ("trip time", reading.at.removesuffix(" mA"))
                what = [quantity, WAVEFORMS[reading.waveform], at, reading.phase, reading.typed]
                writer.writerow([f"D{number:05}", *stated, "pass", "pass", *what, *SIGNED.values()])
    return headings


def difference(one: Device, device: dict[str, Any]) -> str:
    """What the audit says of a device against what is due; empty where they agree."""
    outcome, reasons = str(device["outcome"]), device["reasons"]
    codes = {reason["code"] for reason in reasons if reason["standing"]}
    due = {code for why in one.whys if why for code in CODES[why]}
    got = f"{outcome} ({', '.join(sorted(codes)) or 'no reason'})"
    line = f"{one.name} | {one.asked} | {'|'.join(sorted(one.allowed))} | {got}"
    if outcome not in one.allowed:
        return line
    unasked = outcome == "pass" or len(one.allowed) > 1
    return "" if unasked or due & codes else f"{line} | not a reason"
