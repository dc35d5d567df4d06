"""`rcdcheck columns --save` and `audit --columns`: what was understood, written down, is understood the same again."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from whole_runs import ROOT

from rcdcheck.intake.understood.stated import column_file
from rcdcheck.pipeline import run
from rcdcheck.records import Audit, Options
from rcdcheck.reports.columns_table import column_file_text

DAY = dt.date(2026, 11, 25)
SHEETS = [
    *sorted((ROOT / "samples").glob("*-day.*")),
    *(p for name in ("one-row-a-reading", "a-multiple-told-by-its-test-current", "pair-under-a-heading-of-both-phases",
                     "german-sheet-with-decimal-commas", "insulation-class-is-not-the-rcd-type")
      for p in sorted((ROOT / "tests" / "cases" / name).glob("*.csv"))),
]  # fmt: skip


def outcomes(audit: Audit) -> dict[str, int]:
    return dict(zip(audit.devices["name"], audit.devices["outcome"].astype(int), strict=True))


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda path: path.stem)
def test_saved_columns_are_understood_the_same_again(sheet: Path, tmp_path: Path) -> None:
    first = run([str(sheet)], Options(as_of=DAY))
    saved = tmp_path / "columns.toml"
    saved.write_text(column_file_text(first.tables), encoding="utf-8")
    again = run([str(sheet)], Options(as_of=DAY, columns=column_file(saved)))
    assert outcomes(again) == outcomes(first)


def test_a_heading_with_two_meanings_is_written_with_its_sheet(tmp_path: Path) -> None:
    from openpyxl import Workbook

    book = Workbook()
    for name, kind in (("North", "AC"), ("South", "portable")):
        sheet = book.create_sheet(name)
        sheet.append(["Device", "Type", "1x 0° (ms)", "1x 180° (ms)"])
        sheet.append([f"{name}1", kind, 24.1, 25.2])
    book.save(tmp_path / "two.xlsx")
    text = column_file_text(run([str(tmp_path / "two.xlsx")], Options(as_of=DAY)).tables)
    assert '"North!Type" = "waveform_type"' in text and '"South!Type" = "kind"' in text
