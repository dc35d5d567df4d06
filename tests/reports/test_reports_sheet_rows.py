"""Rows of a sheet that pass in pieces: the same, whatever the pieces, as when the whole part is changed as a tree."""

from __future__ import annotations

import io
from functools import partial
from typing import Any

import pytest
from lxml import etree

from rcdcheck.reports import sheet_rows
from rcdcheck.reports.marked.cells import MAIN

ROWS = (
    '<{p}row r="2" a="/&gt;>"><{p}c r="A2" t="s"><{p}v>1</{p}v></{p}c></{p}row>',
    "<{p}row/>",
    '<{p}row r="5"/>\n ',
    "<{p}row spans='1:2' ><{p}c><{p}v>&#10;é</{p}v></{p}c><{p}rowed/></{p}row>",
    '<{p}row r="40"><{p}c r="C40"/></{p}row>',
)
MARKED = (1, 2, 3, 4, 6, 39, 41)


@pytest.mark.parametrize("prefix", ["", "x:"])
@pytest.mark.parametrize("piece", [1, 7, 50, 10_000])
@pytest.mark.parametrize("rows", [ROWS, ROWS[:1], ()])
def test_rows_are_changed_and_put_in_where_they_belong(
    monkeypatch: pytest.MonkeyPatch, prefix: str, piece: int, rows: tuple[str, ...]
) -> None:
    monkeypatch.setattr(sheet_rows, "PIECE", piece)
    name = prefix.replace(":", "")
    inside = "".join(rows).replace("{p}", prefix)
    part = f'<{prefix}worksheet xmlns{":" * bool(name)}{name}="{MAIN}"><{prefix}cols/><{prefix}sheetData>{inside}'
    part = f"{part}</{prefix}sheetData><{prefix}drawing/></{prefix}worksheet>"
    for given in (part, part.replace(f"sheetData></{prefix}sheetData", "sheetData/")):
        raw = given.encode()
        small = sheet_rows.without_rows(io.BytesIO(raw))
        root = etree.fromstring(small)
        assert not list(root.iter("{*}row")) and [etree.QName(e).localname for e in root] == [
            "cols",
            "sheetData",
            "drawing",
        ]

        changing = sheet_rows.Changing(root, dict.fromkeys(MARKED, "m"), _change)
        pieces = changing.pieces(sheet_rows.rows_in(io.BytesIO(raw)))
        assert canonical(b"".join(sheet_rows.whole(small, partial(iter, pieces)))) == canonical(_as_a_tree(raw))


def _change(row: Any, number: int, mark: str) -> None:
    row.set("mark", f"{mark}{number}")


def _as_a_tree(part: bytes) -> bytes:
    root = etree.fromstring(part)
    data = next(root.iter("{*}sheetData"))
    known, last = dict[int, Any](), 0
    for row in data:
        last = known_number(row, last)
        known[last] = row
    for number in MARKED:
        if number not in known:
            known[number] = etree.Element(f"{{{MAIN}}}row", r=str(number))
        known[number].set("mark", f"m{number}")
    tail, data[:] = "".join(row.tail or "" for row in data), [known[number] for number in sorted(known)]
    assert tail.strip() == ""
    return etree.tostring(root)


def known_number(row: Any, last: int) -> int:
    return int(row.get("r", last + 1))


def canonical(part: bytes) -> bytes:
    """Equal where two parts are, but for blanks between rows."""
    root = etree.fromstring(part)
    for row in next(root.iter("{*}sheetData")):
        row.tail = None
    return etree.tostring(root, method="c14n")


def test_markup_between_cells_and_what_is_cut_off_are_refused() -> None:
    whole = f'<worksheet xmlns="{MAIN}"><sheetData><row r="1"/>{{}}<row r="2"/></sheetData></worksheet>'
    for odd in ("<!-- <row r='9'> -->", "<?row?>", "<![CDATA[<row>]]>"):
        with pytest.raises(sheet_rows.MarkupError):
            sheet_rows.without_rows(io.BytesIO(whole.format(odd).encode()))
    for before in ("<sheetData>", "<row", "</sheetData"):
        with pytest.raises(ValueError, match=r"cut off|without cells"):
            sheet_rows.without_rows(io.BytesIO(whole.partition(before)[0].encode()))
    foreign = sheet_rows.Changing(etree.fromstring(f'<worksheet xmlns="{MAIN}"/>'), {1: ""}, lambda *_: None)
    with pytest.raises(sheet_rows.MarkupError):
        list(foreign.pieces(iter([b'<z:row r="1"/>'])))
