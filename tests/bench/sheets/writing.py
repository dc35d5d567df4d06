"""Writes a made sheet: delimited text or a workbook."""

from __future__ import annotations

import csv
from datetime import date
from pathlib import Path

from openpyxl import Workbook

from .style import Cell, Style
from .tables import Grid, Sheet


def write(sheet: Sheet, folder: Path, stem: str) -> Path:
    """Write a sheet and return its path."""
    if sheet.workbook:
        path = folder / f"{stem}.xlsx"
        _workbook(sheet, path)
        return path
    path = folder / f"{stem}.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, delimiter=sheet.style.delimiter)
        writer.writerows(_texts(sheet.grids[0], sheet.style))
    return path


def _texts(grid: Grid, style: Style) -> list[list[str]]:
    """The cells as text, each row as wide as the widest, as spreadsheets save them."""
    width = max(len(row) for row in grid.rows)
    return [[_text(cell, style) for cell in row] + [""] * (width - len(row)) for row in grid.rows]


def _text(cell: Cell, style: Style) -> str:
    if isinstance(cell, date):
        return cell.strftime(style.date_format)
    return "" if cell is None else str(cell)


def _workbook(sheet: Sheet, path: Path) -> None:
    book = Workbook()
    assert book.active is not None
    book.remove(book.active)
    for grid in sheet.grids:
        page = book.create_sheet(grid.name)
        for row in grid.rows:
            page.append([None if cell == "" else cell for cell in row] or [None])
        for first_row, first_column, last_row, last_column in grid.merges:
            if (first_row, first_column) != (last_row, last_column):
                page.merge_cells(None, first_row, first_column, last_row, last_column)
    book.save(path)
