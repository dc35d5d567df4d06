"""Cells whose XML can be read in two ways are never read as a part: the workbook is refused in a sentence.

What XML says is taken from the ElementTree of Python's library; what a cell holds is ISO/IEC 29500-1, 18.3.1.4 and
18.4. Of 301.5 ms no general type may pass (IEC 61008-1 table 1: 300 ms).
"""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import pytest
from audits_here import AuditsHere
from files_made import frame, only_sheet, opened, plain_workbook, repacked, worksheet
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

SPACE = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
HEADINGS = ("Device", "Rated IΔn (mA)", "Visual", "1× 0° (ms)", "1× 180° (ms)", "Tested by", "Date")
TYPED = ("30", "pass", "24.1", "25.5", "A. Snowfield", "2026-11-20")


def day(reading: str) -> bytes:
    """A workbook of two devices; `reading` is what stands within K1's cell D2, its address and type included."""
    rows = [HEADINGS, ("K1", *TYPED), ("K2", *TYPED)]
    xml = ""
    for number, row in enumerate(rows, 1):
        cells = [
            f'<c r="{column}{number}" t="inlineStr"><is><t>{text}</t></is></c>'
            for column, text in zip("ABCDEFG", row, strict=True)
        ]
        if number == 2:
            cells[3] = reading
        xml += f'<row r="{number}">{"".join(cells)}</row>'
    return worksheet(f"<sheetData>{xml}</sheetData>")


ODD_VALUES = [
    "<v>30&#0;1.5</v>", "<v>30&amp;1.5</v>", "<v>30&#10;1.5</v>", "<v>30<v/>1.5</v>", "<v>30<v>1.5</v></v>",
    "<v>30<x>9</x>1.5</v>", "<v>30</v>1.5",
    "<v>301.5</v><v>30</v>", "<v>30&bogus;1.5</v>", "<v>30</v><is><t>301.5</t></is>", "<is><t>301.5</t></is><v>30</v>",
    "<f>1<v>30</v></f>", '<v xmlns="urn:other">30</v>', '<x:v xmlns:x="urn:other">30</x:v>', "<v>30",
    "<v>30</w>1.5</v>", "<v>30\x011.5</v>", "<is><t>301.5</t></is>", "<v>30</v><!--",
    f'<v xmlns:x="{SPACE}">30<x:v/>1.5</v>',
]  # fmt: skip
ODD_TEXTS = [
    "<is><t>30<rPh sb='0' eb='1'><t>x</t></rPh>1.5</t></is>", "<is><t>30<b/>1.5</t></is>", "<is>30<t>1.5</t></is>",
    "<is><t>301.5</t></is><is><t>30</t></is>", "<v>301.5</v>", "<is><t>30</t><t>1.5</t></is>",
    "<is><t>30&#0;1.5</t></is>",
    "<is><t>30</t><r><t>1.5</t></r></is>", "<is><r><t>30</t><t>1.5</t></r></is>",
    "<is><r><t>30</t>1.5</r></is>",
]  # fmt: skip


@pytest.mark.parametrize("written", ODD_VALUES)
def test_an_odd_value_never_passes(audits_here: AuditsHere, written: str) -> None:
    document = audits_here.document(day(f'<c r="D2">{written}</c>'), name="day.xlsx")
    assert document["devices"] == []
    assert document["run"]["exit_code"] == 3
    assert document["inputs"][0]["reason"].endswith(".")


@pytest.mark.parametrize("written", ODD_TEXTS)
def test_an_odd_text_never_passes(audits_here: AuditsHere, tmp_path: Path, written: str) -> None:
    inline = day(f'<c r="D2" t="inlineStr">{written}</c>')
    strings = f"<sst xmlns='{SPACE}'>{written.replace('is>', 'si>')}</sst>".encode()
    shared = repacked(day('<c r="D2" t="s"><v>0</v></c>'), {"xl/sharedStrings.xml": strings})
    assert audits_here.document(inline, name="inline.xlsx")["run"]["exit_code"] == 3
    one, _ = opened(tmp_path, shared)
    if written.count("<is>") < 2:  # two texts of one list are plain, and the first of them is meant
        assert one.input.status == "not_audited"
    else:
        assert frame(one.grids[0]).loc[2, 3] == "301.5"


@pytest.mark.parametrize(
    "rows",
    [
        '<row r="1"><c r="A1"><v>301.5</v></c><c r="A1"><v>30</v></c></row>',
        '<row r="1"><c r="A1"><v>301.5</v></c></row><row r="1"><c r="A1"><v>30</v></c></row>',
        '<row r="1"><c r="A1"><v>301.5</v></c></row><row r="1"><c r="B1"><v>30</v></c></row>',
        '<row r="2"><c r="A2"><v>301.5</v></c></row><row><c><v>2</v></c></row><row r="3"/>',
        '<row r="1"><c r="B1"><v>301.5</v></c><c r="A1"/><c><v>30</v></c></row>',
        '<row r="1"><c r="A5"><v>301.5</v></c></row>',
        '<row r="1"><row r="2"><c r="A2"><v>301.5</v></c></row></row>',
        '<row r="1"><c r="A1"><v>301.5</v></c><x><c r="B1"><v>30</v></c></x></row>',
        '<row r="1"><c r="A1"><c r="B1"><v>30</v></c></c></row>',
        '<c r="A1"><v>30</v></c>',
        '<row r="x"><c><v>30</v></c></row>',
        '<row r="1"><c r="1A"><v>30</v></c></row>',
        '<row r="1"><c r="A1"><v>30</v></c></row></sheetData><sheetData><row r="2"><c r="A2"><v>301</v></c></row>',
        '<row r="1"><c r="A1"><v>30</v></c></row></sheetData><x/><sheetData>',
        '<row r="1"><c r="A1" r="B1"><v>30</v></c></row>',
        '<row r="1"><c r="A1"><v>30</v></c></row><x><row r="2"><c r="A2"><v>301</v></c></row></x>',
    ],
)
@pytest.mark.parametrize("before", ["", '<row r="7"><c r="A7"><v>1</v></c></row>'])
def test_rows_that_lose_a_cell_are_refused(tmp_path: Path, rows: str, before: str) -> None:
    one, _ = opened(tmp_path, worksheet(f"<sheetData>{before}{rows}</sheetData>"))
    assert one.input.status == "not_audited"


def test_what_can_be_read_in_two_ways_is_named_by_its_cell(tmp_path: Path) -> None:
    one, _ = opened(tmp_path, day('<c r="D2"><v>30<x/>1.5</v></c>'))
    assert "its sheet “Sheet” is written in a way at cell D2 that" in one.input.reason
    one, _ = opened(tmp_path, day('<c r="D2"><v>301</v></c><c r="D2"><v>30</v></c>'))
    assert "its sheet “Sheet” holds cell D2 twice" in one.input.reason


@pytest.mark.parametrize("name", ["xl/SharedStrings.xml", "xl\\sharedStrings.xml", "XL/worksheets/sheet1.xml"])
def test_a_part_that_stands_for_another_is_refused(tmp_path: Path, name: str) -> None:
    one, _ = opened(tmp_path, repacked(plain_workbook(), {name: b"<sst/>"}))
    assert one.input.status == "not_audited"


@pytest.mark.parametrize("encoding", ["iso-8859-1", "UTF-16", "cp037"])
def test_a_sheet_in_another_encoding_is_refused(tmp_path: Path, encoding: str) -> None:
    xml = f"<?xml version='1.0' encoding='{encoding}'?><worksheet xmlns='{SPACE}'><sheetData/></worksheet>"
    content = repacked(plain_workbook(), {"xl/worksheets/sheet1.xml": xml.encode(encoding)})
    assert opened(tmp_path, content)[0].input.status == "not_audited"


def test_ways_of_writing_that_say_one_thing_are_read(tmp_path: Path) -> None:
    """Prefixes, missing addresses, rows out of order, formulas, white space, runs and spoken texts."""
    rows = (
        '<x:row r="3"><x:c r="A3"><x:f>A1</x:f><x:v>30</x:v></x:c>\n<x:c t="inlineStr"><x:is><x:r><x:rPr><x:b/></x:rPr>'
        '<x:t>31</x:t></x:r><x:r><x:t>.5</x:t></x:r><x:rPh sb="0" eb="1"><x:t>9</x:t></x:rPh></x:is></x:c></x:row>'
        '<x:row r="1"><x:c/><x:c><x:v>32</x:v></x:c></x:row><x:row/>'
    )
    xml = f'<x:worksheet xmlns:x="{SPACE}"><x:sheetData>{rows}</x:sheetData></x:worksheet>'
    content = repacked(plain_workbook(), {"xl/worksheets/sheet1.xml": xml.encode()})
    assert frame(only_sheet(tmp_path, content)).to_numpy().tolist() == [["", 32.0], ["", ""], [30.0, "31.5"]]


PIECES = st.sampled_from(
    ["30", "1", ".5", "<v>", "</v>", "<v/>", "<x/>", "<!-- 9 -->", "<![CDATA[7]]>", "<?n 8?>", "&#49;", "&#0;", "&amp;",
     "<t>", "</t>", "<is>", "</is>", "<r>", "</r>", "<rPh>", "</rPh>", "<f>", "</f>", '</c><c r="A1">', '<c r="B1">',
     "</c>", "</row>", '<row r="1">', '<row r="2">', " "]
)  # fmt: skip
VALUES = st.lists(PIECES, max_size=5).map("".join).flatmap(
    lambda middle: st.sampled_from([f"<v>30{middle}1.5</v>", f"<is><t>30{middle}1.5</t></is>", f"<v>30</v>{middle}"])
)  # fmt: skip


def number(text: str) -> str:
    """A number in its shortest form, and what is none as it is."""
    try:
        return f"{float(text):g}"
    except ValueError:
        return text


def told(xml: bytes) -> list[str]:
    """The texts of all cells as ElementTree has them, blank ones left out; spoken texts and formulas are no values."""
    texts = []
    for cell in ElementTree.fromstring(xml).iter(f"{{{SPACE}}}c"):
        for hidden in ("rPh", "f"):
            for parent in list(cell.iter()):
                for child in parent.findall(f"{{{SPACE}}}{hidden}"):
                    parent.remove(child)
        texts.append("".join(cell.itertext()).strip())
    return sorted(filter(None, texts))


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(VALUES, st.sampled_from(["", ' t="inlineStr"', ' t="str"']))
@example("<v>30<![CDATA[1]]>.5</v>", "")
def test_any_cell_is_read_as_xml_says_or_refused(tmp_path: Path, value: str, kind: str) -> None:
    xml = f'<worksheet xmlns="{SPACE}"><sheetData><row r="1"><c r="A1"{kind}>{value}</c></row></sheetData></worksheet>'
    one, _ = opened(tmp_path, repacked(plain_workbook(), {"xl/worksheets/sheet1.xml": xml.encode()}))
    if one.input.status == "audited":
        cells = [cell for cell in frame(one.grids[0]).to_numpy().ravel() if cell != ""]
        read = sorted(f"{cell:g}" if isinstance(cell, float) else str(cell).strip() for cell in cells)
        assert read == sorted(text if kind else number(text) for text in told(xml.encode()))
