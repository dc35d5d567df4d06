"""The samples come out byte for byte alike on every run, and the repository holds what the script makes."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import openpyxl
import pytest


@pytest.fixture(scope="module")
def made_twice(tmp_path_factory: pytest.TempPathFactory, samples: Path) -> list[Path]:
    folders = [tmp_path_factory.mktemp("samples") for _ in range(2)]
    for folder in folders:
        subprocess.run([sys.executable, samples / "make.py", folder], check=True, timeout=60)
    return folders


def sheets(folder: Path) -> list[Path]:
    return sorted(p.relative_to(folder) for p in folder.rglob("*") if p.suffix in (".csv", ".xlsx"))


def test_two_runs_give_the_same_bytes(made_twice: list[Path]) -> None:
    first, second = made_twice
    assert len(sheets(first)) == 30
    assert sheets(first) == sheets(second)
    for name in sheets(first):
        assert (first / name).read_bytes() == (second / name).read_bytes(), name


def test_the_repository_holds_what_the_script_makes(made_twice: list[Path], samples: Path) -> None:
    """Workbooks are compared cell by cell: their bytes depend on the version of openpyxl."""
    assert sheets(samples) == sheets(made_twice[0])
    for name in sheets(samples):
        kept, made = samples / name, made_twice[0] / name
        if name.suffix == ".csv":
            assert kept.read_bytes() == made.read_bytes(), name
        else:
            assert cells(kept) == cells(made), name


def cells(path: Path) -> dict[str, list[tuple[object, ...]]]:
    book = openpyxl.load_workbook(path)
    return {sheet.title: list(sheet.iter_rows(values_only=True)) for sheet in book.worksheets}
