"""Each rule set's decision table against whole audits: thousands of devices of one row in one sheet."""

from __future__ import annotations

import csv
from collections import defaultdict
from pathlib import Path

import pytest
from audits_here import AuditsHere
from decision_tables import CELLS, FOLDER, SETS, SIGNED, Row, not_asked, rows_of, table, told
from whole_runs import Run

# Families of readings, each in a sheet of its own: many columns are slow to tell apart.
FAMILIES = ["Ramp trip current (", "current pulsating", "current smooth", "pulsating", "smooth d.c.", " mA "]
STATED = {  # ratings that no device has look like readings, few types like models, a ramp on type B like times
    "Rated IΔn (mA)": "rated_residual_current", "RCD type": "rcd_type",
    "Ramp trip current smooth d.c. (mA)": "trip_current_smooth_dc",
}  # fmt: skip
HEAD = "style | reading | due | got | source"
SHOWN = 12  # differences of a style that a failing test prints
CODES = table("reasons")["codes"]  # reason in a word → codes of findings that say so


@pytest.mark.filterwarnings("ignore::RuntimeWarning")  # so that one cell cannot hide all others; asked below
@pytest.mark.parametrize("name", SETS)
def test_a_whole_audit_decides_as_the_table_does(name: str, audits_here: AuditsHere) -> None:
    hold_to_table(name, rows_of(name), audits_here)


def hold_to_table(name: str, rows: list[Row], here: AuditsHere) -> None:
    """Audit these rows of a rule set's table, and fail where an outcome or reason is not the one due."""
    devices = write_sheets(rows, here.folder)
    first, *others = sorted(path.name for path in here.folder.iterdir())
    stated = [f"{one}={field}" for one, field in STATED.items() if any(one in row.cells for row in rows)]
    options = ["--rules", name, *(part for one in stated for part in ("--column", one))]
    document = here.document((here.folder / first).read_bytes(), *others, *options, name=first)
    audited = {device["device"]: device for device in document["devices"]}
    assert audited.keys() == devices.keys(), "a row is a device, and every device is in the audit"
    wrong = [line for device, row in devices.items() if (line := difference(row, audited[device]))]
    if wrong:
        pytest.fail(
            told(f"{name}: {len(wrong)} of {len(rows)} rows differ; {HEAD}", wrong, " | ", SHOWN), pytrace=False
        )


def test_currents_that_are_none_are_told_without_warnings_of_libraries(run_rcdcheck: Run, tmp_path: Path) -> None:
    (tmp_path / "day.csv").write_text(
        "Device,Rated IΔn (mA),Ramp trip current (mA)\nA1,30,-12.5\nA2,30,22.1\nA3,30,23.4\n", encoding="utf-8"
    )
    (tmp_path / "zero.csv").write_text(
        "Device,Rated IΔn (mA),Ramp trip current (mA)\nA1,0,22.5\nA2,30,22.1\nA3,30,23.4\n", encoding="utf-8"
    )
    assert b"Warning" not in run_rcdcheck("audit", "day.csv", "zero.csv", "--write", "none").stderr


def write_sheets(rows: list[Row], folder: Path) -> dict[str, Row]:
    """Write a sheet for each family of readings and each choice of columns that state a device; device → its row."""
    sheets: dict[tuple[str, ...], list[tuple[str, Row]]] = defaultdict(list)
    for number, row in enumerate(rows):
        family = next((word for word in FAMILIES if word in row.asked), "")
        sheets[family, *(name for name in CELLS.values() if name in row.cells)].append((f"D{number:05}", row))
    for number, named in enumerate(sheets.values()):
        headings = list(dict.fromkeys(heading for _, row in named for heading in row.cells))
        readings = [heading for heading in headings if heading.startswith(("Trip", "Ramp"))]
        first = [heading for heading in headings if heading not in readings]
        with (folder / f"{number}.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, ["Device", *first, *readings, *SIGNED], restval="")
            writer.writeheader()
            writer.writerows({"Device": device, **row.cells, **SIGNED} for device, row in named)
    return {device: row for named in sheets.values() for device, row in named}


def difference(row: Row, device: dict[str, object]) -> str:
    """What the audit says of a device against what is due; empty where they agree."""
    outcome, reasons = str(device["outcome"]), device["reasons"]
    assert isinstance(reasons, list)
    codes = {reason["code"] for reason in reasons if reason["standing"]}
    got = f"{outcome} ({', '.join(sorted(codes)) or 'no reason'})"
    line = f"{row.style} | {row.asked} | {'|'.join(sorted(row.allowed))} ({row.why}) | {got} | {row.source}"
    if outcome not in row.allowed:
        return line
    due = set(CODES[row.why]) if row.why and len(row.allowed) == 1 and outcome != "pass" else codes
    return "" if due & codes or not due else f"{line} | reason"


def test_every_table_is_read_and_names_its_sources() -> None:
    """A window without a source, or one that covers no style, is no statement of a standard."""
    for name in SETS:
        read = table(name)
        assert read["rules"] == name
        assert all(one["source"] for one in [*read["windows"], *read.get("rows", [])])
        assert len(rows_of(name)) > 1000, name
    assert {path.stem for path in FOLDER.glob("*.toml")} == {
        *SETS, "devices-by-waveform", "from-the-standards", "product-standards", "looking-over", "otherwise", "reasons",
    }  # fmt: skip


@pytest.mark.parametrize("name", SETS)
def test_every_style_of_device_is_asked_every_reading(name: str) -> None:
    """Types, waveforms, ratings stated, missing, contradictory and illegible, against all multiples and currents."""
    assert not_asked(name) == []
