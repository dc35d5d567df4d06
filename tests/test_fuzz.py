"""A short run of the fuzzer of `tests/bench/fuzz_runs.py`, of a fixed seed: what is wrong with any input is told.

Of 301.5 ms no general type may pass (IEC 61008-1 table 1: 300 ms), whatever is typed into its line beside its digits.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

FUZZER = Path(__file__).parent / "bench" / "fuzz_runs.py"
INPUTS, PARTS = 150, 2


@pytest.mark.parametrize("part", range(PARTS))
def test_inputs_that_nobody_meant_end_in_an_answer(part: int) -> None:
    """In a process of its own, from which the runs are forked."""
    command = [sys.executable, str(FUZZER), "--inputs", str(INPUTS), "--seed", f"2026{part}"]
    ran = subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert f"{INPUTS} inputs" in ran.stdout and "; 0 faults" in ran.stdout
