"""Cells of OpenDocument sheets (ISO/IEC 26300-1) that can be read in two ways are refused, others are read whole."""

from __future__ import annotations

from pathlib import Path

import pytest
from files_made import frame, ods, only_sheet, opened

TEXT = 'office:value-type="string"'
NUMBER = 'office:value-type="float"'


def sheet(cell: str) -> bytes:
    return ods(f'<table:table-row>{cell}<table:table-cell {NUMBER} office:value="7"/></table:table-row>')


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("30<![CDATA[1]]>.5", "301.5"),
        ("30<!-- -->1.5", "301.5"),
        ("30&#49;.5", "301.5"),
        ("30<text:span>1.5</text:span>", "301.5"),
        ("30<text:line-break/>1.5", "30\n1.5"),
        ("30<text:tab/>1.5", "30\t1.5"),
        ("30<text:s/>1.5", "30 1.5"),
        ("30</text:p><text:p>1.5", "30\n1.5"),
        ("a&amp;b", "a&b"),
    ],
)
def test_a_text_is_read_whole(tmp_path: Path, written: str, meant: str) -> None:
    grid = only_sheet(tmp_path, sheet(f"<table:table-cell {TEXT}><text:p>{written}</text:p></table:table-cell>"))
    assert frame(grid).to_numpy().tolist() == [[meant, 7.0]]


def test_an_error_is_no_blank(tmp_path: Path) -> None:
    """As spreadsheet programs save `=NA()`."""
    cell = f'<table:table-cell {TEXT} office:string-value=""><text:p>#N/A</text:p></table:table-cell>'
    assert frame(only_sheet(tmp_path, sheet(cell))).to_numpy().tolist() == [["#N/A", 7.0]]


def test_a_note_is_no_part_of_its_cell(tmp_path: Path) -> None:
    note = "<office:annotation><text:p>see over</text:p></office:annotation>"
    cells = f'<table:table-cell {NUMBER} office:value="30">{note}<text:p>30</text:p></table:table-cell>'
    assert frame(only_sheet(tmp_path, sheet(cells))).to_numpy().tolist() == [[30.0, 7.0]]


@pytest.mark.parametrize(
    "cell",
    [
        f"<table:table-cell {NUMBER}><text:p>301.5</text:p></table:table-cell>",
        "<table:table-cell><text:p>301.5</text:p></table:table-cell>",
        f'<table:table-cell {TEXT} office:string-value="30"><text:p>301.5</text:p></table:table-cell>',
        f'<table:table-cell {NUMBER} office:value="0"><text:p>#DIV/0!</text:p></table:table-cell>',
        f'<table:table-cell {NUMBER} office:value="30"><table:table-cell/></table:table-cell>',
        f"<table:table-cell {TEXT}>30<text:p>1.5</text:p></table:table-cell>",
        f"<table:table-cell {TEXT}><text:p>30<text:p>1.5</text:p></text:p></table:table-cell>",
        f"<table:table-cell {TEXT}><text:p>30<text:line-break></text:line-break>1.5</text:p></table:table-cell>",
        f'<table:table-cell {NUMBER} office:value="301" office:value="30"/>',
        f"<table:table-cell {TEXT}><text:p>30&#0;1.5</text:p></table:table-cell>",
        f"<table:table-cell {TEXT}><text:p>30&bogus;1.5</text:p></table:table-cell>",
        f"<table:table-cell {TEXT}><text:p>30",
    ],
)
def test_what_can_be_read_in_two_ways_is_refused(tmp_path: Path, cell: str) -> None:
    one, _ = opened(tmp_path, sheet(cell), "day.ods")
    assert one.input.status == "not_audited"
    assert one.input.reason.endswith(".")
