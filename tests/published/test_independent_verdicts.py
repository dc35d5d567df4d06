"""Two samples audited a second time by routes that share no code with the program, and compared.

The honest day: plain Python over the csv module, row by row. The doubtful month: SQL in sqlite3.

Limits, written out here as literals:
  1× rated     Type I 40 ms, Type II 300 ms: AS/NZS 3760 and AS/NZS 3190 (published, by secondary sources);
               Type IV 130 to 500 ms: AS/NZS 3760 (from memory)
  5× rated     40 ms up to 30 mA: IEC 61008-1 Table 1 at 5 IΔn (common practice: the maker may choose 0.25 A);
               selective 50 to 150 ms: IEC 61008-1 Table 1 (published; the minimum common practice)
  ramp         above rated fails: IEC 61008-1 (published, by secondary sources)
  both phases  AS/NZS 3760:2010, tested twice, at 0° and 180° (published, by secondary sources)
"""

from __future__ import annotations

import csv
import sqlite3
from collections import Counter
from pathlib import Path
from typing import Any

import openpyxl
from whole_runs import AuditJson

AT_RATED = {"I": (0.0, 40.0), "II": (0.0, 300.0), "IV": (130.0, 500.0)}
AT_FIVE_TIMES = {"I": (0.0, 40.0), "II": (0.0, 40.0), "IV": (50.0, 150.0)}
RATED_TIMES = ("Trip time 1× 0° (ms)", "Trip time 1× 180° (ms)")
FAST_TIMES = ("Trip time 5× 0° (ms)", "Trip time 5× 180° (ms)")


def outcome_of(row: dict[str, str]) -> str:
    """A row of the honest day: its readings are plain numbers, "no trip" or blank."""
    kind, ramp = row["RCD type"], row["Ramp trip current (mA)"]
    times = [(row[h], AT_RATED[kind]) for h in RATED_TIMES] + [(row[h], AT_FIVE_TIMES[kind]) for h in FAST_TIMES]
    if "fail" in (row["Visual"], row["Test button"]):
        return "fail"
    if any(text == "no trip" or (text and not low <= float(text) <= high) for text, (low, high) in times):
        return "fail"
    if ramp and float(ramp) > float(row["Rated IΔn (mA)"]):
        return "fail"
    complete = row["Visual"] == "pass" and all(row[h] for h in RATED_TIMES)
    return "pass" if complete else "incomplete"


def test_honest_day_row_by_row(samples: Path, audit_json: AuditJson) -> None:
    with (samples / "honest-day.csv").open(encoding="utf-8", newline="") as stream:
        expected = {(row["Site"], row["Device"]): outcome_of(row) for row in csv.DictReader(stream)}
    assert Counter(expected.values()) == {"pass": 64, "fail": 5, "incomplete": 2}
    document = audit_json(samples / "honest-day.csv")
    assert {(d["site"], d["device"]): d["outcome"] for d in document["devices"]} == expected
    counted = document["counts"]["devices"]
    assert {name: counted[name] for name in ("pass", "fail", "incomplete", "unclear", "all")} == {
        "pass": 64, "fail": 5, "incomplete": 2, "unclear": 0, "all": 71,
    }  # fmt: skip


def test_honest_day_limit_of_each_reading(samples: Path, audit_json: AuditJson) -> None:
    """Every time of the day is judged, against the limit of its type."""
    document = audit_json(samples / "honest-day.csv", "--readings", "all")
    with (samples / "honest-day.csv").open(encoding="utf-8", newline="") as stream:
        rows = {row["Device"]: row for row in csv.DictReader(stream)}
    times = [r for r in document["readings"] if r["quantity"] == "trip_time"]
    assert len(times) == sum(bool(row[h]) for row in rows.values() for h in RATED_TIMES + FAST_TIMES)
    for reading in times:
        limits = AT_RATED if reading["multiple"] == 1 else AT_FIVE_TIMES
        assert reading["limit"] == limits[rows[reading["device"]]["RCD type"]][1], reading


SQL = """
SELECT site, asset,
  CASE WHEN "at_0" = 'no trip' OR "at_180" = 'no trip' OR ramp = 'no trip'
         OR CAST(at_0 AS REAL) > 300 OR CAST(at_180 AS REAL) > 300 OR CAST(ramp AS REAL) > rated THEN 'fail'
       WHEN at_0 IS NULL OR at_180 IS NULL THEN 'incomplete' ELSE 'pass' END
FROM tests
"""


def month(folder: Path) -> list[tuple[Any, ...]]:
    """Asset, site, rated current and readings of every sheet; rows 1 to 4 are titles and headings."""
    rows = []
    for path in sorted(folder.glob("*.xlsx")):
        for row in openpyxl.load_workbook(path).worksheets[0].iter_rows(min_row=5, values_only=True):
            rows.append((row[0], row[2], row[5], row[9], row[10], row[11]))
    return rows


def test_doubtful_month_in_sql(samples: Path, audit_json: AuditJson) -> None:
    database = sqlite3.connect(":memory:")
    database.execute("CREATE TABLE tests (asset, site, rated, at_0, at_180, ramp)")
    database.executemany("INSERT INTO tests VALUES (?, ?, ?, ?, ?, ?)", month(samples / "doubtful-month"))
    expected = {(site, asset): outcome for site, asset, outcome in database.execute(SQL)}
    database.close()
    assert Counter(expected.values()) == {"pass": 485, "fail": 15}
    document = audit_json(*sorted((samples / "doubtful-month").glob("*.xlsx")))
    assert {(d["site"], d["device"]): d["outcome"] for d in document["devices"]} == expected
