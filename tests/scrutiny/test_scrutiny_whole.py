"""Whole scrutiny of small batches."""

from __future__ import annotations

import pandas as pd
from scrutiny_tables import audit, honest, sheet, tables


def day(n: int = 60, seed: int = 1, who: str = "A. Stall", decimals: int = 1, **more: object) -> pd.DataFrame:
    devices = [f"{who[0]}-{seed}-{i:03}" for i in range(n)]
    return sheet(device=devices, technician=who, instrument="Meter 2", site="North row",
                 **{**honest(n, seed, decimals), **more})  # fmt: skip


def test_an_honest_day_raises_no_doubt() -> None:
    questions, findings = audit(tables([day()]))
    assert set(questions["strength"]) <= {"", "nothing unusual"}
    assert set(findings["code"]) == {"credibility-partly-untested"}
