"""Any bytes end in an answer: sheets of cells, or a reason."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pandas as pd
from files_made import (
    frame,
    ods,
    opened,
    plain_workbook,
    plain_xls,
    worksheet,
)
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rcdcheck.intake.opened.files import Opened


def whole(one: Opened) -> None:
    """An input is either audited, with grids that hold what a grid may hold, or has a reason."""
    assert (one.input.status == "audited") == (not one.input.reason)
    for grid in one.grids:
        assert {type(v) for v in frame(grid).to_numpy().ravel()} <= {str, float, dt.datetime, dt.time, dt.timedelta}
        assert frame(grid).index.is_monotonic_increasing
        assert all(column.distinct[0] == "" for column in grid.columns)
        assert pd.concat([grid.special["row"], grid.special["column"]]).between(-1, 1_048_576).all()


START = st.sampled_from(
    [b"", b"", b"\xef\xbb\xbf", b"\xff\xfe", b"PK\x03\x04", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", b"sep=;\n"]
)
TEXT = st.text(st.sampled_from('ab",;\t|\n\r1.-\x00\x85\u2028µ"'), max_size=60).map(str.encode)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(START, st.one_of(st.binary(max_size=300), TEXT))
def test_any_bytes_end_in_an_answer(tmp_path: Path, start: bytes, rest: bytes) -> None:
    whole(opened(tmp_path, start + rest)[0])


REAL = (plain_workbook(), plain_xls(), ods("<table:table-row><table:table-cell/></table:table-row>"))


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sampled_from(REAL), st.data())
def test_damaged_workbooks_end_in_an_answer(tmp_path: Path, content: bytes, data: st.DataObject) -> None:
    spoilt = bytearray(content)
    for _ in range(data.draw(st.integers(1, 6))):
        spoilt[data.draw(st.integers(0, len(spoilt) - 1))] = data.draw(st.integers(0, 255))
    whole(opened(tmp_path, bytes(spoilt[: data.draw(st.integers(8, len(spoilt)))]))[0])


PIECES = st.sampled_from(
    [
        "<row r='2' hidden='1'>", "<row r='-5' hidden='1'>", "<row>", "</row>", "<c r='A1'>", "<c r='ZZ99'>",
        "<c r='é1'>",
        "<c t='e'>", "</c>", "<f>", "<f t='array' ref='A1:Q9'>", "</f>", "<v>", "</v>", "7", "NaN", "&#65;",
        "<col min='0' max='99999' hidden='true'/>",
    ]
)  # fmt: skip


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(PIECES, max_size=14).map("".join))
def test_any_sheet_xml_ends_in_an_answer(tmp_path: Path, inside: str) -> None:
    whole(opened(tmp_path, worksheet(f"<sheetData>{inside}</sheetData>"))[0])
