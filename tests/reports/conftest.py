"""What the tests of reports share: every kind of workbook as the spreadsheet program saves it again, in one start."""

from __future__ import annotations

from typing import Any

import pytest


@pytest.fixture(scope="session")
def saved_again(libreoffice: Any, tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """The workbooks for office and client, a marked copy and an entry sheet, opened and saved by LibreOffice."""
    from excel_books import book_of, sample

    from rcdcheck import rules
    from rcdcheck.reports import entry, marked

    books = {
        "office": book_of("messy-day.xlsx"),
        "client": book_of("honest-day.csv", "client"),
        "marked": b"".join(marked.marked_copy(sample("messy-day.xlsx"), 0)),
        "entry": b"".join(entry.entry_workbook(rules.load("anz-in-service"))),
    }
    folder = tmp_path_factory.mktemp("books")
    paths = [folder / f"{name}.xlsx" for name in books]
    for path, data in zip(paths, books.values(), strict=True):
        path.write_bytes(data)
    return {path.stem: path.read_bytes() for path in libreoffice(paths, "xlsx")}
