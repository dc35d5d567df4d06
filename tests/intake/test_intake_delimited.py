"""Delimited text: encodings, delimiters, and the line on which each record begins."""

from __future__ import annotations

import csv
import io
import itertools
from pathlib import Path

import pytest
from files_made import (
    LINE,
    frame,
    opened,
    text_grid,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from rcdcheck.errors import InputError, UsageError
from rcdcheck.intake.opened.delimited import delimiter_of, read_text


def test_options_that_cannot_be(tmp_path: Path) -> None:
    for delimiter in ("ab", '"', "x", "§"):
        with pytest.raises(UsageError, match="cannot be a delimiter"):
            text_grid(LINE, delimiter=delimiter)
    for encoding, words in {
        "martian": "no encoding",
        "rot13": "no encoding",
        "ascii": "byte 5 of it is not ascii",
    }.items():
        with pytest.raises(InputError, match=words):
            text_grid("IΔn µ" if encoding != "ascii" else "1234°", encoding=encoding)


ENCODED = {
    "utf-8": [], "utf-8-sig": [], "utf-16": [], "utf-32": [], "utf-16-le": ["encoding-told-from-content"],
    "utf-16-be": ["encoding-told-from-content"], "windows-1252": ["encoding-told-from-content"],
}  # fmt: skip


@pytest.mark.parametrize("encoding", ENCODED)
def test_encodings(encoding: str, tmp_path: Path) -> None:
    """Text in any name is read: the name says nothing."""
    one, codes = opened(tmp_path, "Device;0° (ms)\nR1µ;28,4\n".encode(encoding), "day.readings")
    assert codes == ENCODED[encoding]
    assert one.grids[0].kind == "text"
    assert frame(one.grids[0]).to_numpy().tolist() == [["Device", "0° (ms)"], ["R1µ", "28,4"]]


def test_an_encoding_that_is_stated() -> None:
    grid, notices = read_text("Gerät;ms\n".encode("cp850"), "cp850", "")
    assert frame(grid).loc[1].tolist() == ["Gerät", "ms"]
    assert notices == []


@pytest.mark.parametrize("sign", [",", ";", "\t", "|"])
def test_delimiters(sign: str) -> None:
    lines = ["A day at the winter market, hall 2", "Device;0;180", '"R;1";28,4;29', "R2;27,1;28,5", "R3|x;2;", ""]
    text = "\n".join(lines).replace(";", sign) if sign != "," else "Device,0,180\nR1,28.4,29\nR2;x,1,2\n"
    assert delimiter_of(text) == sign
    assert delimiter_of("Device;0, ms;180, ms\nR1;28,4;29,1\n".replace(";", sign)) == sign
    assert frame(text_grid(text)).shape[1] == 3


def test_a_delimiter_that_the_file_states() -> None:
    grid = text_grid("sep=;\nDevice;a,b,c\nR1;1,2,3\n")
    assert frame(grid).loc[2].tolist() == ["Device", "a,b,c"]
    assert delimiter_of("sep=a\nDevice;1\nR1;2\n") == ";"
    assert frame(text_grid("Device;a\tb\nR1;1\t2\n", delimiter="\\t")).loc[1].tolist() == ["Device;a", "b"]


def test_rows_are_numbered_by_the_line_they_begin_on() -> None:
    grid = text_grid('Device,note,ms\n\n"R1","two\nlines, said\r\nand three",28\nR2,,29\n\n"","""quoted""",30')
    assert frame(grid).index.tolist() == [1, 2, 3, 6, 7, 8]
    assert frame(grid).loc[3].tolist() == ["R1", "two\nlines, said\r\nand three", "28"]
    assert frame(grid).loc[8].tolist() == ["", '"quoted"', "30"]


def test_one_quoted_line_break_and_no_line_break_at_the_end() -> None:
    assert frame(text_grid('a,b\n"c\nd",e\nf,g')).index.tolist() == [1, 2, 4]


def test_a_blank_line_of_an_old_kind_before_nothing_but_a_delimiter() -> None:
    for text in ("\r;", "\r,"):
        grid = text_grid(text)
        assert (frame(grid).to_numpy().tolist(), grid.numbers.tolist()) == ([[""], [""]], [1, 2])


def test_ragged_rows_keep_every_cell() -> None:
    assert frame(text_grid("a\nb,1\nc,1,2,3\n,,\n")).to_numpy().tolist() == [
        ["a", "", "", ""], ["b", "1", "", ""], ["c", "1", "2", "3"], ["", "", "", ""],
    ]  # fmt: skip
    wide_first = text_grid('"x\ny",1,"z\nz",3,4\nb,1\n')
    assert frame(wide_first).loc[1].tolist() == ["x\ny", "1", "z\nz", "3", "4"]
    inches = text_grid('a,5" lead,"x\ny",1,2\nb,"k\nk",5" lead,2,3,4,5\n')
    assert frame(inches).loc[3].tolist() == ["b", "k\nk", '5" lead', "2", "3", "4", "5"]


ROWS = "R2;x;27,4\n" * 3_000
LONE_MARKS = {
    "one": 'Device;lead;0, ms\nR1;"5m;28,1\n' + ROWS,
    "two": 'Device;lead;0, ms\nR1;"5m;28,1\nR2;x;27,4\nR3;"4m;28,1\n' + ROWS,
    "two in a narrow table": 'Device;0, ms\n"R1;28,1\nR2;27,4\n"R3;28,1\n' + "R4;26,9\n" * 3,
}


@pytest.mark.parametrize("where", LONE_MARKS)
def test_lone_quotation_marks_swallow_no_rows(where: str) -> None:
    """No row may vanish inside a cell, however long the sheet."""
    text = LONE_MARKS[where]
    grid, notices = read_text(text.encode(), "", "")
    assert notices == [("quotation-mark-unbalanced", {})]
    assert frame(grid).index.tolist() == list(range(1, text.count("\n") + 1))
    assert frame(grid).loc[2].tolist() == text.split("\n")[1].split(";")


def test_marks_of_inches_and_remarks_of_two_lines_are_no_lone_quotation_marks() -> None:
    inches, notices = read_text(b'Device,lead,ms\nR1,5" lead,28\n' + b"R2,x,29\n" * 3_000, "", "")
    assert (frame(inches).shape, notices) == ((3_002, 3), [])
    text = 'Device,ms,remark\nR1,28,"Lid loose, cracked, wet\nreplaced, tested"\nR2,29,\n'
    remark, notices = read_text(text.encode(), "", "")
    assert (frame(remark).index.tolist(), notices) == ([1, 2, 4], [])


def test_a_line_that_nobody_typed() -> None:
    with pytest.raises(InputError, match=r"its line 2 holds more than 1,000,000 characters"):
        text_grid("Device,ms\nR1," + "9" * 1_000_001 + "\nR2,28\n")


def test_two_thousand_columns_are_read() -> None:
    assert frame(text_grid("Device" + "," * 1_999 + "end\nR1,2\n")).shape == (2, 2_000)


CELL = st.text(st.sampled_from('ab",;\n\r 1µ'), max_size=6)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.lists(CELL, min_size=1, max_size=5), min_size=1, max_size=6), st.sampled_from(["\n", "\r\n"]))
def test_written_by_the_standard_library_and_read_back(rows: list[list[str]], end: str) -> None:
    """RFC 4180 as Python's csv module writes it, every cell quoted; records begin where counting says."""
    out = io.StringIO()
    csv.writer(out, lineterminator=end, quoting=csv.QUOTE_ALL).writerows(rows)
    grid, notices = read_text(out.getvalue().encode(), "", ",")
    if notices:  # a cell that looks like swallowed records
        assert any("," in c and {"\n", "\r"} & set(c) for c in itertools.chain(*rows)) or max(map(len, rows)) == 1
        return
    read = frame(grid).to_numpy().tolist()
    assert [(r + [""] * 5)[:5] for r in read] == [(r + [""] * 5)[:5] for r in rows]
    breaks = [1 + sum(len(c.replace("\r\n", "\n").replace("\r", "\n").split("\n")) - 1 for c in r) for r in rows]
    assert frame(grid).index.tolist() == [1, *itertools.accumulate(breaks, initial=1)][1:-1]
