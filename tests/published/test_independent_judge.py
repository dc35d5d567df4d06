"""Ten thousand seeded devices under five rule sets: the program and a judge that shares nothing with it agree.

The judge's sources stand in `independent_judge.py`; what it is given is drawn in `devices_made.py`.
"""

from __future__ import annotations

from collections import Counter

import pytest
from audits_here import AuditsHere
from devices_made import SETS, STATED, Maker, Row
from independent_judge import RANK, device, readings

pytestmark = pytest.mark.filterwarnings("ignore::RuntimeWarning")  # asked beside the decision tables

DEVICES = 2000  # of each rule set
SHOWN = 40  # differences that a failing test prints


@pytest.mark.parametrize("rules", SETS)
def test_the_program_and_an_independent_judge_agree(rules: str, audits_here: AuditsHere) -> None:
    maker = Maker(rules, seed=1)
    devices = maker.devices(DEVICES)
    due = {rows[0]["Device"]: device(rules, rows) for rows in devices}
    assert min(Counter(due.values())[outcome] for outcome in RANK) > DEVICES // 50, "each outcome is reached"
    got = audits_here.outcomes(rules, maker.headings(), devices)
    assert got.keys() == due.keys()
    wrong = [rows for rows in devices if due[rows[0]["Device"]] != got[rows[0]["Device"]]]
    if wrong:
        shown = [told(rows, due, got) for rows in wrong[:SHOWN]]
        pytest.fail("\n".join([f"{rules}: {len(wrong)} of {DEVICES} differ", *shown]), pytrace=False)


def told(rows: list[Row], due: dict[str, str], got: dict[str, str]) -> str:
    """A device that the two judge differently, on a few lines."""
    name = rows[0]["Device"]
    lines = [f"{name}: due {due[name]}, got {got[name]}; " + ", ".join(rows[0][one] for one in STATED)]
    for row in rows:
        held = [f"{one.removeprefix('Trip time ')}: {row[one]}" for one in readings(row)]
        other = [f"{one}: {row[one]}" for one in ("Outlet", "Visual", "Test button", "Result", "Remedy") if row[one]]
        lines.append(f"    {row['Date']} {row['Time']} {'; '.join([*held, *other])}")
    return "\n".join(lines)
