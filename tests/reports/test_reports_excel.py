"""The workbook of an audit, read back by programs that did not write it: calamine, openpyxl and LibreOffice."""

from __future__ import annotations

import datetime as dt
import hashlib
import io
import re
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from excel_books import HEADING, SAMPLES, audit_of, book_of, opened, parts_of, rows_of, sample, words_of
from python_calamine import CalamineWorkbook

from rcdcheck.reports import json_document
from rcdcheck.reports.excel import devices as excel_devices
from rcdcheck.reports.excel import readings
from rcdcheck.reports.excel.charts import sites
from rcdcheck.reports.excel.style import LONGEST
from rcdcheck.reports.excel.tables import Block, Column, Linked, Measure, Sheet
from rcdcheck.reports.excel.workbook import workbook
from rcdcheck.reports.excel.writer import Book
from rcdcheck.terms import Outcome

DAY_SAMPLES = ["honest-day.csv", "messy-day.xlsx"]


@pytest.mark.parametrize("name", DAY_SAMPLES)
def test_another_reader_counts_what_the_json_document_counts(name: str) -> None:
    data, counts = book_of(name), json_document.document(sample(name))["counts"]
    outcomes = Counter(row["Outcome"] for row in rows_of(data, "Devices"))
    assert {word: outcomes.get(word, 0) for word in ("pass", "incomplete", "unclear", "fail")} == {
        word: n for word, n in counts["devices"].items() if word != "all"
    }
    verdicts = Counter(str(row["Verdict"]).replace(" ", "_") for row in rows_of(data, "Readings"))
    assert sum(verdicts.values()) == counts["readings"]["all"]
    assert all(verdicts.get(word, 0) == n for word, n in counts["readings"].items() if word != "all")
    severities: Counter[str] = Counter()
    for row in rows_of(data, "Findings"):
        severities[row["Severity"]] += int(row["Stands for"])
    assert {word: severities.get(word, 0) for word in counts["findings"]} == counts["findings"]
    assert len(rows_of(data, "Tag list", head=1)) == counts["devices"]["all"]


def test_every_list_says_what_the_json_document_says() -> None:
    data, document = book_of("honest-day.csv"), json_document.document(sample("honest-day.csv"), readings="all")
    for row, device in zip(rows_of(data, "Devices"), document["devices"], strict=True):
        assert (row["Device"], row["Outcome"], row["Grade"]) == (device["device"], device["outcome"], device["grade"])
        assert (row["Site"], row["What to do"]) == (device["site"], device["next_action"])
        assert str(row["Re-test due"] or None) == str(device["retest_due"])
    for row, reading in zip(rows_of(data, "Readings"), document["readings"], strict=True):
        if reading["state"] == "tripped" and reading["bound"] == "exact":
            assert row["Reading"] == reading["value"]
        assert (row["Device"], row["Cell"], row["Typed"]) == (reading["device"], reading["cell"], reading["typed"])
        assert (row["Limit"] or None) == reading["limit"]
    for row, finding in zip(rows_of(data, "Findings"), document["findings"], strict=True):
        assert (row["Code"], row["What"], row["Device"]) == (finding["code"], finding["message"], finding["device"])


@pytest.mark.parametrize(("kind", "data"), [("office", ("messy-day.xlsx",)), ("client", ("honest-day.csv", "client"))])
def test_libreoffice_opens_it_and_reads_the_same_cells(
    saved_again: dict[str, bytes], kind: str, data: tuple[str, ...]
) -> None:
    ours, theirs = (CalamineWorkbook.from_filelike(io.BytesIO(d)) for d in (book_of(*data), saved_again[kind]))
    assert theirs.sheet_names == ours.sheet_names
    for name in ours.sheet_names:
        assert _plain(theirs, name) == _plain(ours, name), name


def _plain(book: CalamineWorkbook, name: str) -> list[list[object]]:
    """Cells without blank edges; a date may be a moment at midnight, and the fifteenth digit may be rounded."""
    rows = book.get_sheet_by_name(name).to_python(skip_empty_area=False)
    cells = [[_alike(value) for value in row] for row in rows]
    while cells and not any(v != "" for v in cells[-1]):
        cells.pop()
    width = max((n + 1 for row in cells for n, v in enumerate(row) if v != ""), default=0)
    return [[*row, *[""] * width][:width] for row in cells]


def _alike(value: object) -> object:
    if isinstance(value, dt.datetime) and value.time() == dt.time():
        return value.date()
    return float(f"{value:.12g}") if isinstance(value, float) else value


def test_equal_audits_give_equal_bytes_whatever_the_process() -> None:
    again = (
        "import sys, hashlib; sys.path.insert(0, 'tests/reports'); from excel_books import book_of; "
        "print(hashlib.sha256(book_of('honest-day.csv')).hexdigest())"
    )
    command, other = [sys.executable, "-c", again], {"PYTHONHASHSEED": "7"}
    ran = subprocess.run(command, cwd=SAMPLES.parent, env=other, capture_output=True, check=True)
    assert ran.stdout.decode().strip() == hashlib.sha256(book_of("honest-day.csv")).hexdigest()


def test_document_properties_name_client_author_and_the_day_of_the_audit() -> None:
    about = opened(book_of("honest-day.csv")).properties
    assert (about.creator, about.keywords, about.title) == (
        "Frost Electrical", "rcdcheck-report", "Winter Market Committee: Winter market",
    )  # fmt: skip
    assert about.modified.date() == dt.date(2026, 11, 25)


@pytest.mark.parametrize(("name", "audience"), [("messy-day.xlsx", "office"), ("honest-day.csv", "client")])
def test_sheets_are_tables_that_a_screen_reader_can_follow(name: str, audience: str) -> None:
    """UK Government Statistical Service, Releasing statistics in spreadsheets: title in A1, one heading row a table,
    unique headings, no blank rows or merged cells inside, first sheet first."""
    book = opened(book_of(name, audience))
    assert book.active == book.worksheets[0]
    tables = [(ws, table) for ws in book.worksheets for table in ws.tables.values()]
    assert len({table.displayName.casefold() for _, table in tables}) == len(tables)
    for ws in book.worksheets:
        assert not ws.merged_cells.ranges
        assert ws["A1"].value
        assert ws.title == "Tag list" or str(ws["A2"].value).endswith(".")
        upright = "portrait" if ws.title in ("Summary", "Report") else "landscape"
        assert (ws.page_setup.orientation, ws.page_setup.fitToWidth) == (upright, 1)
        assert ws.sheet_view.selection[0].activeCell in (None, "A1") or ws.freeze_panes
    for ws, table in tables:
        head, *body = [[cell.value for cell in row] for row in ws[table.ref]]
        assert head == [column.name for column in table.tableColumns]
        assert len(set(head)) == len(head)
        assert body
        assert all(any(value is not None for value in row) for row in body), f"{ws.title} has a blank row"
        if len(ws.tables) == 1:
            top = int(re.findall(r"\d+", table.ref)[0])
            assert ws.freeze_panes == f"B{top + 1}"
            assert ws.print_title_rows == f"${top}:${top}"


def test_every_link_leads_to_what_it_says() -> None:
    book, followed = opened(book_of("messy-day.xlsx")), 0
    for ws in book.worksheets:
        for source in (c for row in ws.iter_rows() for c in row if c.hyperlink):
            sheet, cell = re.fullmatch(r"'(.+)'!([A-Z]+\d+)", source.hyperlink.location).groups()  # type: ignore[union-attr]
            target = book[sheet][cell]
            if sheet == "Devices" and cell != "A1":
                assert target.value == source.value
                followed += 1
            elif sheet == "Findings" and cell != "A1":
                assert book[sheet].cell(target.row, 2).value == ws.cell(source.row, 1).value
                followed += 1
            else:
                assert target.value
    assert followed > 20


HOSTILE = ["=1+1", "+cmd", "-2-3", "@A1", "#N/A", "\ttab", "\x1b[31mred", "\u202eback"]


def test_hostile_text_stays_text_and_shows_what_is_hidden_in_it(tmp_path: Path) -> None:
    path = tmp_path / "hostile.csv"
    lines = [f'"{text}",30,20.1,21.3,"{text}"' for text in HOSTILE]
    lines.append(f"WM-001,30,20.1,21.3,{'long ' * 5_000}")
    head = "Device,Rated IΔn (mA),Trip time 1× 0° (ms),Trip time 1× 180° (ms),Remark"
    path.write_text("\n".join([head, *lines]), encoding="utf-8")
    data = b"".join(workbook(audit_of(str(path)), HEADING))
    assert not any(b"<f>" in part or b"<f " in part for name, part in parts_of(data).items() if "worksheets" in name)
    shown = [str(cell.value) for row in opened(data)["Devices"].iter_rows() for cell in row]
    assert all(text in shown for text in ("=1+1", "+cmd", "-2-3", "@A1", "#N/A"))
    everything = words_of(data)
    assert not re.search(r"[\x00-\x08\x0b-\x1f\u202e]", everything)
    assert r"\u202e" in everything
    assert all(len(str(c.value)) < LONGEST + 100 for ws in opened(data) for row in ws.iter_rows() for c in row)


def test_text_that_looks_like_a_formula_is_marked_as_text_for_whoever_edits_it() -> None:
    book = Book("t", "k", dt.date(2026, 1, 1))
    rows = [["=1+1"], ["+1"], ["-1"], ["@a"], ["plain"]]
    book.add(Sheet("S", "S", "S.", [Block("S", [Column("Text")], rows)]))
    ws = opened(b"".join(book.pieces()))["S"]
    cells = [ws.cell(row, 1) for row in range(5, 10)]
    assert [cell.data_type for cell in cells] == ["s"] * 5
    assert [cell.quotePrefix for cell in cells] == [True] * 4 + [False]


def test_past_the_last_row_of_a_sheet_the_list_goes_on_in_another() -> None:
    book = Book("t", "k", dt.date(2026, 1, 1), max_rows=50)
    rows = ([f"W-{n}", Measure(n + 0.5, "ms")] for n in range(100))
    book.add(
        Sheet(
            "Readings", "Readings", "All of them.", [Block("Readings", [Column("Device", "id"), Column("Value")], rows)]
        )
    )
    data = b"".join(book.pieces())
    read = [row for name in ("Readings", "Readings 2", "Readings 3") for row in rows_of(data, name)]
    assert [row["Device"] for row in read] == [f"W-{n}" for n in range(100)]
    assert [row["Value"] for row in read] == [n + 0.5 for n in range(100)]
    assert {table for ws in opened(data) for table in ws.tables} == {"Readings", "Readings2", "Readings3"}
    assert all(ws.max_row <= 50 for ws in opened(data))


def test_past_twenty_thousand_devices_readings_are_those_of_the_json_document(tmp_path: Path) -> None:
    path = tmp_path / "many.csv"
    lines = [f"W-{n},30,{'no trip' if n % 50 == 0 else 20.1}" for n in range(json_document.ALL_DEVICES + 1)]
    path.write_text("\n".join(["Device,Rated IΔn (mA),Trip time 1× 0° (ms)", *lines]), encoding="utf-8")
    audit = audit_of(str(path))
    sheet = readings.readings(audit)
    listed = list(sheet.blocks[0].rows)
    assert [row[-1] for row in listed] == [reading["cell"] for reading in json_document.document(audit)["readings"]]
    assert 0 < len(listed) < len(audit.verdicts)
    assert f"{len(audit.verdicts) - len(listed):,} plain passes are left out" in sheet.sentence
    assert len(list(excel_devices.devices(audit).blocks[0].rows)) == len(audit.devices)


def test_numbers_carry_their_unit_and_are_not_rounded() -> None:
    book = Book("t", "k", dt.date(2026, 1, 1))
    rows: list[list[object]] = [[Measure(300.0004, "ms")], [Measure(30.5, "mA")], ["no trip"], [float("nan")]]
    book.add(Sheet("S", "S", "S.", [Block("S", [Column("Reading", "number")], rows)]))
    ws = opened(b"".join(book.pieces()))["S"]
    cells = [ws.cell(row, 1) for row in range(5, 9)]
    assert [cell.value for cell in cells] == [300.0004, 30.5, "no trip", None]
    assert [cell.number_format for cell in cells[:2]] == ['General" ms"_)', 'General" mA"_)']


def test_identifiers_of_digits_raise_no_warning_at_every_cell() -> None:
    """ECMA-376 part 1, 18.3.1.51: ignoredErrors, which stands before drawings and tables."""
    for name, part in parts_of(book_of("honest-day.csv")).items():
        if name.startswith("xl/worksheets/sheet"):
            places = [part.index(tag) for tag in (b"numberStoredAsText", b"<tableParts")]
            assert places == sorted(places)
            assert b"<drawing" not in part or places[0] < part.index(b"<drawing")


def test_only_so_many_links_as_a_sheet_can_hold() -> None:
    book = Book("t", "k", dt.date(2026, 1, 1))
    rows = ([Linked(f"W-{n}", "'S'!A1")] for n in range(20_100))
    book.add(Sheet("S", "S", "S.", [Block("S", [Column("Device", "id")], rows)]))
    data = b"".join(book.pieces())
    assert parts_of(data)["xl/worksheets/sheet1.xml"].count(b"<hyperlink ") == 20_000
    assert len(rows_of(data, "S")) == 20_100


def test_charts_have_their_numbers_beside_them_and_words_for_who_cannot_see_them() -> None:
    data = book_of("honest-day.csv")
    assert len(re.findall(rb'descr="[^"]{40,}"', parts_of(data)["xl/drawings/drawing1.xml"])) == 2
    ws = opened(data)["Pictures"]
    values = {row[0].value: [cell.value for cell in row[1:6]] for row in ws.iter_rows()}
    devices = sample("honest-day.csv").devices
    for site in ("North row", "Rink side", "Kitchens"):
        here = devices[sample("honest-day.csv").tables.texts(devices["site"]) == site]
        words = [int((here["outcome"] == outcome).sum()) for outcome in sorted(Outcome, reverse=True)]
        assert values[site] == [*words, len(here)]


def test_past_twenty_sites_the_others_are_counted_together(tmp_path: Path) -> None:
    path = tmp_path / "sites.csv"
    lines = [f"W-{n},Site {n % 25},30,20.1,{'no trip' if n % 7 == 0 else 21.5}" for n in range(100)]
    head = "Device,Site,Rated IΔn (mA),Trip time 1× 0° (ms),Trip time 1× 180° (ms)"
    path.write_text("\n".join([head, *lines]), encoding="utf-8")
    audit = audit_of(str(path))
    rows: list[Any] = list(sites(audit).rows)
    assert [len(rows), rows[-1][0]] == [21, "5 more sites"]
    assert [sum(row[n] for row in rows) for n in range(1, 6)] == [
        *(int((audit.devices["outcome"] == outcome).sum()) for outcome in sorted(Outcome, reverse=True)), 100,
    ]  # fmt: skip


def test_the_client_gets_nothing_on_credibility_and_letters_instead_of_names() -> None:
    data = book_of("honest-day.csv", "client", hide_names=True)
    everything = words_of(data).casefold()
    assert not any(word in everything for word in ("credib", "doubt", "grade", " pace", "copied", "honest work"))
    assert not any(name in everything for name in ("snowfield", "icicle"))
    book = opened(data)
    assert book.sheetnames == ["Report", "Sites", "Defects", "Not tested", "Devices", "Readings", "Limits used"]
    report = [str(cell.value) for row in book["Report"].iter_rows() for cell in row if cell.value]
    assert {"Person A, Person B", "Name", "Licence", "Date", "Signature", "Meter A"} <= set(report)
    assert [row["Device"] for row in rows_of(data, "Defects")] == ["WM-052", "WM-009", "WM-023", "WM-017", "WM-041"]
    assert all(row["Next test due"] == "" for row in rows_of(data, "Devices") if row["Outcome"] != "pass")


def test_the_office_gets_names_hidden_everywhere_when_asked() -> None:
    everything = words_of(book_of("honest-day.csv", hide_names=True))
    assert "Snowfield" not in everything
    assert "Person A" in everything


def test_an_empty_audit_still_gives_a_workbook(tmp_path: Path) -> None:
    path = tmp_path / "nothing.csv"
    path.write_text("just,words\n", encoding="utf-8")
    audit = audit_of(str(path))
    for audience in ("office", "client"):
        data = b"".join(workbook(audit, HEADING, audience=audience))
        assert CalamineWorkbook.from_filelike(io.BytesIO(data)).sheet_names


def test_our_own_reports_are_no_input(tmp_path: Path) -> None:
    path = tmp_path / "office.xlsx"
    path.write_bytes(book_of("honest-day.csv"))
    one = audit_of(str(path)).tables.inputs[0]
    assert one.status == "not_audited"
    assert "report" in one.reason


def test_the_command_writes_the_workbook_for_whom_it_is_asked(run_rcdcheck: Any, tmp_path: Path) -> None:
    day = SAMPLES / "honest-day.csv"
    ran = run_rcdcheck("audit", day, "--as-of", "2026-11-25", "--write", "xlsx", "--for", "client")
    assert ran.returncode == 1, ran.stderr
    assert opened((tmp_path / "honest-day-audit.xlsx").read_bytes()).sheetnames[0] == "Report"


def test_an_interruption_leaves_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))

    def rows() -> Iterator[list[int]]:
        yield from ([n] for n in range(1_000))
        raise KeyboardInterrupt

    book = Book("t", "k", dt.date(2026, 1, 1))
    with pytest.raises(KeyboardInterrupt):
        book.add(Sheet("S", "S", "S.", [Block("S", [Column("n", "whole")], rows())]))
    assert list(tmp_path.iterdir()) == []
