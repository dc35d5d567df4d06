"""Formulas, scripts and terminal escapes in every text, file name and option: inert where the outputs are opened.

The pages are opened in Chromium, workbooks and lists in LibreOffice. A script would set `window.taken`; a formula would
show the sum SUM, which no input holds. Both detectors are shown to work on files that are not inert. What a
spreadsheet program takes for a formula: a text that begins with =, +, -, @, a tab or a return (common practice, no
source); what a terminal takes for an order: the control characters of ECMA-48.
"""

from __future__ import annotations

import csv
import json
import re
import subprocess
import sys
import unicodedata
from pathlib import Path
from typing import Any

import pytest
from openpyxl import Workbook, load_workbook
from openpyxl.comments import Comment
from whole_runs import DAY, ROOT

SUM = "7006652"  # of 7000000 and 6652
ATTACKS = [
    "<script>window.taken=1</script>",
    '"><img src=x onerror="window.taken=1">',
    "' onmouseover='window.taken=1' x='",
    "</title></style></script><svg onload=window.taken=1>",
    "<iframe srcdoc='<script>parent.taken=1</script>'></iframe>",
    "javascript:window.taken=1",
    "--><script>window.taken=1</script><!--",
    "{{ 7000000+6652 }}{% raw %}${7000000+6652}",
    "=7000000+6652",
    '=HYPERLINK("http://away.invalid/?"&A1,7000000+6652)',
    "+7000000+6652",
    "-1+7006653",
    "@SUM(7000000,6652)",
    "\t=7000000+6652",
    "\r=7000000+6652",
    "\n=7000000+6652",
    '"=7000000+6652"',
    "a\",=7000000+6652,\"b",
    "\x1b[2J\x1b]0;taken\x07",
    "\x9b31m\x90q\x9c",
    "\u202eessap",
    "\r\nEND:VEVENT\r\nBEGIN:VEVENT\r\nSUMMARY:taken",
    "\\nEND:VEVENT\\nBEGIN:VEVENT",
    "]]><![CDATA[<f>7000000+6652</f>",
    "a\ud83d\ude00\u0085b\u2028c\ufffe".encode("utf-16", "surrogatepass").decode("utf-16"),
]  # fmt: skip
TEXTS = ["Device", "Site", "Location", "Board", "Circuit", "Serial", "Model", "Type", "Setup", "Visual", "Push button",
         "Declared", "Technician", "Instrument", "Remedy", "Remark", "<b onclick=taken=1>=7000000+6652"]  # fmt: skip
SHEETS = ("=7000000+6652", "<img src=x onerror=taken=1>")
ORDERS = "\x1b[2J\x07\x9b31m\u202e\x85\r"
ASKED = ["--column", "--columns", "--rules", "--firm", "--options", "--delimiter", "--date-order", "--assume",
         "--as-of", "--remedied", "--require", "--uncertainty", "--fail-on", "--write", "--name",
         f"--{ORDERS}"]  # fmt: skip
OPTIONS = ("--title", "--number", "--client", "--prepared-by", "--site")


def lines(extra: str = "") -> list[list[str]]:
    """A heading; for each attack a line with it in every text and one with it in place of a reading and a date."""
    found = [[*TEXTS, "Rated IΔn (mA)", "1× 0° (ms)", "1× 180° (ms)", "Date"]]
    for number, attack in enumerate(ATTACKS):
        texts = [attack + extra] * len(TEXTS)
        found.append([*texts, "30", "412.3" if number % 2 else "24.3", "25.1", "2025-11-20"])
        plain = [f"P{number}{extra}", "Yard", *[""] * (len(TEXTS) - 2)]
        found.append([*plain, attack if number % 3 else "30", attack, "25.1", attack if number % 2 else "2025-11-20"])
    return found


def workbook(path: Path) -> None:
    """The same lines on two sheets of hostile names; texts are texts, and a comment holds an attack, too."""
    book = Workbook()
    for number, name in enumerate(SHEETS):
        sheet = book.create_sheet(name)
        for row, line in enumerate(lines(f" s{number}"), 1):
            for column, text in enumerate(line, 1):
                cell = sheet.cell(row, column)
                cell.value = re.sub(r"[\x00-\x08\x0b-\x1f\ufffe]", "?", text)
                cell.data_type = "s"
        sheet["A2"].comment = Comment(ATTACKS[0], ATTACKS[1])
    del book[book.sheetnames[0]]
    book.save(path)


def toml(**values: Any) -> str:
    return "".join(f"{name} = {json.dumps(value, ensure_ascii=False)}\n" for name, value in values.items())


def all_run(folder: Path, asked: list[tuple[str | Path, ...]]) -> list[tuple[int, str, str]]:
    """Code, output and errors of each command line; each is a process forked from one that has everything loaded."""
    server = [sys.executable, str(ROOT / "tests" / "bench" / "forked.py"), str(folder), str(folder / "small.csv")]
    lines = "".join(json.dumps(list(map(str, arguments))) + "\n" for arguments in asked)
    ran = subprocess.run(server, input=lines, capture_output=True, text=True, encoding="utf-8", check=True)
    return [tuple(json.loads(line)) for line in ran.stdout.splitlines()]


@pytest.fixture(scope="module")
def outputs(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, bytes]:
    """A folder of everything that the commands write of hostile inputs, and all that they said to the terminal."""
    folder = tmp_path_factory.mktemp("hostile")
    day, attack_name = folder / "=7000000+6652 <img src=x onerror=taken=1>.csv", "'\"\x1b[2J\n\u202e{{7}}.xlsx"
    with day.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(lines())
    workbook(folder / attack_name)
    (folder / "small.csv").write_text("Device,1× 0° (ms),1× 180° (ms)\nR1,24.1,25.3\n", encoding="utf-8")
    (folder / "firm.toml").write_text(
        toml(name=ATTACKS[1], address=ATTACKS[:8], licence=ATTACKS[8], contact=ATTACKS), encoding="utf-8"
    )
    (folder / "own.toml").write_text(
        toml(extends="anz-in-service", title=ATTACKS[1], document=ATTACKS[0], notice=ATTACKS[8]), encoding="utf-8"
    )
    asked: list[tuple[str | Path, ...]] = []
    for number, audience in enumerate(("office", "client")):
        given = [part for name in OPTIONS for part in (name, ATTACKS[1] + ATTACKS[8 + number])]
        more = ["--firm", "firm.toml", "--for", audience] if audience == "client" else ["--mark", "-v"]
        asked.append((
            "audit", day, attack_name, *given, *more, "--rules", "own.toml", "--as-of", DAY, "--out", audience,
            "--name", "=7000000+6652", "--write", "html,xlsx,json,tags", "--register", "fleet.db", "--again",
        ))  # fmt: skip
    lists = [part for end in ("csv", "xlsx", "ics") for part in ("--out", f"due.{end}")]
    document = "office/=7000000+6652.json"
    asked += [
        ("due", "--register", "fleet.db", "--as-of", DAY, *lists),
        ("due", "--register", "fleet.db", "--as-of", DAY),
        ("visits", "--register", "fleet.db"),
        ("visits", "--register", "fleet.db", "--same"),
        ("rates", "--register", "fleet.db", "--as-of", DAY),
        ("columns", day),
        ("columns", attack_name),
        ("rules", "own.toml"),
        ("witness", day, attack_name, "--seed", "1", "--as-of", DAY, "--out", "witness.xlsx"),
        ("compare", day, "--with", attack_name, "--as-of", DAY),
        ("difference", document, document),
        ("verify", document),
        ("audit", day, "--as-of", DAY, "--write", "none", "--json", "-", "--devices", "all", "--log-json"),
        *(("audit", "small.csv", option, ORDERS, "--write", "none", "--quiet") for option in ASKED),
        *((command, ORDERS) for command in ("audit", "verify", "columns", "rules", ORDERS)),
        ("template", "--out", f"{ORDERS}.xlsx"),
        ("due", "--register", "fleet.db", "--out", f"{ORDERS}.csv"),
    ]
    ran = all_run(folder, asked)
    assert [code for code, _, _ in ran[:2]] == [1, 1], ran[:2]
    assert all(code in (0, 1, 2, 3, 4) for code, _, _ in ran), ran
    said = "".join(part for _, out, err in ran for part in (out, err)).encode("utf-8", "surrogateescape")
    assert b"Traceback" not in said
    return folder, said


def test_no_page_runs_a_script_or_holds_an_element_that_was_typed(outputs: tuple[Path, bytes], browser: Any) -> None:
    pages = sorted(outputs[0].rglob("*.html"))
    assert len(pages) == 2
    for page in pages:
        browser.get(page.as_uri())
        browser.execute_script("document.querySelectorAll('details').forEach((part) => { part.open = true; })")
        for kind in ("mouseover", "click", "focus", "error", "load"):
            fire = "document.querySelectorAll('*').forEach((e) => e.dispatchEvent(new Event(arguments[0])))"
            browser.execute_script(fire, kind)
        assert browser.execute_script("return window.taken") is None
        assert browser.execute_script(
            "return [...document.querySelectorAll('*')].filter((e) => e.tagName == 'IFRAME' ||"
            " [...e.attributes].some((a) => a.name.startsWith('on') ||"
            " (/^(href|src|action|formaction)$/.test(a.name) && /^\\s*javascript:/i.test(a.value)))).length"
        ) == 0  # fmt: skip
        shown = browser.execute_script("return document.documentElement.textContent")
        assert "<script>window.taken=1</script>" in shown
        assert SUM not in shown


def test_the_browser_would_show_a_script(browser: Any, tmp_path: Path) -> None:
    (tmp_path / "bad.html").write_text(f"<p>{ATTACKS[1]}</p>{ATTACKS[0]}", encoding="utf-8")
    browser.get((tmp_path / "bad.html").as_uri())
    assert browser.execute_script("return window.taken") == 1


EVERY_SHEET = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,false,false,false,-1"
WITH_FORMULAS = "CSV:44,34,76,1,,0,false,true,false,false,false,0,true"


def shown_in_office(paths: list[Path], folder: Path, home: Path) -> dict[Path, str]:
    """All sheets of files of one kind as LibreOffice shows them; lists are opened with their formulas worked out."""
    folder.mkdir()
    named = {path: folder / f"x{number}{path.suffix}" for number, path in enumerate(paths)}
    for path, copy in named.items():
        copy.write_bytes(path.read_bytes())
    command = ["soffice", f"-env:UserInstallation={home.as_uri()}", "--headless", "--convert-to", EVERY_SHEET]
    command += [f"--infilter={WITH_FORMULAS}"] if paths[0].suffix == ".csv" else []
    command += ["--outdir", str(folder / "out"), *map(str, named.values())]
    subprocess.run(command, check=True, capture_output=True, timeout=180)
    return {
        path: "".join(one.read_text(encoding="utf-8") for one in sorted((folder / "out").glob(f"{copy.stem}[-.]*")))
        for path, copy in named.items()
    }


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Settings of LibreOffice that no other test changes."""
    from conftest import _need

    _need("soffice")
    return tmp_path_factory.mktemp("home")


def test_no_workbook_or_list_works_out_what_was_typed(outputs: tuple[Path, bytes], home: Path, tmp_path: Path) -> None:
    made = [p for p in sorted(outputs[0].rglob("*")) if p.suffix in (".xlsx", ".csv") and p.parent != outputs[0]]
    made += [outputs[0] / name for name in ("due.csv", "due.xlsx", "witness.xlsx")]
    for kind in (".xlsx", ".csv"):
        of_kind = [path for path in made if path.suffix == kind]
        assert len(of_kind) >= 3
        for path, shown in shown_in_office(of_kind, tmp_path / kind, home).items():
            assert "7000000" in shown, path
            assert SUM not in shown, path


def test_the_spreadsheet_program_would_show_a_sum(home: Path, tmp_path: Path) -> None:
    (tmp_path / "bad.csv").write_text("a,b\n=7000000+6652,1\n", encoding="utf-8")
    book = Workbook()
    book.worksheets[0]["A1"] = ATTACKS[8]
    book.save(tmp_path / "bad.xlsx")
    for name in ("bad.csv", "bad.xlsx"):
        path = tmp_path / name
        assert SUM in shown_in_office([path], tmp_path / path.suffix, home)[path]


def test_no_workbook_holds_a_formula_or_link_that_was_typed(outputs: tuple[Path, bytes]) -> None:
    for path in outputs[0].rglob("*.xlsx"):
        if path.parent == outputs[0] and path.name not in ("due.xlsx", "witness.xlsx"):
            continue
        for sheet in load_workbook(path):
            for cell in (c for row in sheet.iter_rows() for c in row):
                assert cell.data_type != "f" or "7000000" not in str(cell.value), (path, cell)
                assert cell.hyperlink is None or cell.hyperlink.target is None, (path, cell)


def test_no_order_reaches_the_terminal(outputs: tuple[Path, bytes]) -> None:
    said = outputs[1].decode()
    orders = {c for c in said if unicodedata.category(c) in ("Cc", "Cf") and c != "\n"}
    assert orders <= {"\u200b"}, orders
    assert '"event": "run"' in said and '"schema_version"' in said
    for path in outputs[0].rglob("*.json"):
        assert json.loads(path.read_bytes())["devices"]


def test_a_calendar_holds_no_event_that_was_typed(outputs: tuple[Path, bytes]) -> None:
    """RFC 5545: lines that begin with a blank go on; an event begins on a line of its own."""
    text = (outputs[0] / "due.ics").read_bytes().decode()
    assert set(re.findall(r"[\r\n]+", text)) == {"\r\n"}
    unfolded = text.replace("\r\n ", "").split("\r\n")
    assert unfolded.count("BEGIN:VEVENT") == unfolded.count("END:VEVENT") == sum(
        one.startswith("UID:") for one in unfolded
    )  # fmt: skip
    assert "SUMMARY:taken" not in unfolded
    assert {one.partition(":")[0].partition(";")[0] for one in unfolded if one} <= {
        "BEGIN", "END", "VERSION", "PRODID", "CALSCALE", "METHOD", "UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY",
        "DESCRIPTION", "LOCATION", "TRANSP", "CATEGORIES", "X-WR-CALNAME", "STATUS", "DURATION",
    }  # fmt: skip
