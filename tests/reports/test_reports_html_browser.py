"""The page in a real browser: accessible, quiet, without a network, whole on a phone, on paper and without a script."""

from __future__ import annotations

import base64
import json
import os
import re
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from excel_books import HEADING, SAMPLES, audit_of, sample
from html_pages import page_of

from rcdcheck.reports.html import page as html
from rcdcheck.terms import Outcome

AXE = Path(__file__).parents[2] / ".cache" / "axe" / "node_modules" / "axe-core" / "axe.min.js"
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
Opens = Callable[..., Any]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Pages as files, as a reader gets them in the mail."""
    made = tmp_path_factory.mktemp("pages")
    for name in ("honest-day.csv", "messy-day.xlsx"):
        for audience in ("office", "client"):
            (made / f"{name}-{audience}.html").write_text(page_of(name, audience), encoding="utf-8")
    return made


@pytest.fixture
def opened(browser: Any, folder: Path) -> Iterator[Opens]:
    """`opened("honest-day.csv-office", width=390, dark=True)`: the window with the page in it."""

    def open_page(name: str, *, width: int = 1280, dark: bool = False) -> Any:
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        still = {"name": "prefers-reduced-motion", "value": "reduce"}
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [scheme, still]})
        screen = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": width < 500}
        browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", screen)
        browser.get((folder / f"{name}.html").as_uri())
        return browser

    yield open_page
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    browser.get("about:blank")


@pytest.mark.parametrize(
    ("name", "dark"),
    [
        ("honest-day.csv-office", True),
        ("messy-day.xlsx-office", False),
        ("messy-day.xlsx-office", True),
        ("messy-day.xlsx-client", False),
    ],
)
def test_axe_finds_no_violation_of_wcag_2_2_aa(opened: Opens, name: str, dark: bool) -> None:
    """Rules of axe-core for the W3C's Web Content Accessibility Guidelines 2.2, levels A and AA."""
    if not AXE.exists():
        if os.environ.get("CI") == "true":
            pytest.fail("axe-core is missing; .ci/run installs it")
        pytest.skip("axe-core is not in .cache/axe; .ci/run installs it")
    window = opened(name, dark=dark)
    window.execute_script("document.querySelectorAll('details').forEach((part) => { part.open = true; })")
    window.execute_script(AXE.read_text(encoding="utf-8"))
    run = "axe.run({runOnly: arguments[0], resultTypes: ['violations']}).then(arguments[1])"
    found = window.execute_async_script(run, RULES)
    assert len(found["passes"]) > 20
    told = [(v["id"], v["help"], [node["html"][:120] for node in v["nodes"][:3]]) for v in found["violations"]]
    assert told == []


@pytest.mark.parametrize("name", ["honest-day.csv-office", "messy-day.xlsx-office", "messy-day.xlsx-client"])
def test_a_phone_scrolls_down_and_never_sideways(opened: Opens, name: str) -> None:
    window = opened(name, width=390)
    assert window.execute_script("return document.documentElement.scrollWidth") == 390
    widths = "return Array.from(document.querySelectorAll('.stacked td:not(:empty)')).map(c => c.offsetWidth)"
    assert all(width > 300 for width in window.execute_script(widths)), "a defect is read in lines, not in letters"


def test_no_console_message_and_no_request_leaves_the_page(opened: Opens) -> None:
    window = opened("messy-day.xlsx-office")
    window.get_log("browser"), window.get_log("performance")
    window = opened("messy-day.xlsx-office")
    assert window.get_log("browser") == []
    sent = [json.loads(entry["message"])["message"] for entry in window.get_log("performance")]
    asked = [m["params"]["request"]["url"] for m in sent if m["method"] == "Network.requestWillBeSent"]
    assert all(url.startswith("file:") for url in asked)


def test_the_table_filters_and_sorts(opened: Opens) -> None:
    window = opened("honest-day.csv-office")
    audit = sample("honest-day.csv")
    failed = audit.devices.loc[audit.devices["outcome"] == Outcome.FAIL, "name"].tolist()
    shown = "return Array.from(document.querySelectorAll('.devices tbody:not([hidden])')).map((b) => b.dataset.name)"
    choose = (
        "const s = document.querySelector('.tools select'); s.value = arguments[0]; s.dispatchEvent(new Event('input'))"
    )
    window.execute_script(choose, "fail")
    assert window.execute_script(shown) == failed
    assert f"{len(failed)} of {len(audit.devices)} shown" in window.page_source
    window.execute_script(choose, "")
    button = window.find_element("css selector", "th[data-sort=outcome] button")
    for direction, first in (("ascending", "fail"), ("descending", "pass")):
        button.click()
        head = window.find_element("css selector", "th[data-sort=outcome]")
        assert head.get_attribute("aria-sort") == direction
        assert window.execute_script("return document.querySelector('.devices tbody').dataset.outcome") == first
    box = window.find_element("css selector", ".tools input")
    box.send_keys(failed[0])
    assert window.execute_script(shown) == failed[:1]


def test_the_page_is_whole_without_its_script(opened: Opens, browser: Any) -> None:
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        window = opened("honest-day.csv-office")
        assert not window.find_element("css selector", ".tools").is_displayed()
        assert len(window.find_elements("css selector", ".devices tbody")) == len(sample("honest-day.csv").devices)
        assert window.find_elements("css selector", "th button") == []
    finally:
        browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})


def test_every_picture_is_drawn_to_the_width_of_a_phone(opened: Opens) -> None:
    window = opened("honest-day.csv-office", width=390)
    boxes = window.execute_script(
        "return Array.from(document.querySelectorAll('svg.chart')).map((s) => [s.clientWidth, s.clientHeight])"
    )
    assert len(boxes) >= 5 and all(250 < wide < 390 and high > 90 for wide, high in boxes)


def test_paper_keeps_heads_pictures_and_folded_parts(opened: Opens, tmp_path: Path) -> None:
    window = opened("honest-day.csv-office", dark=True)
    printed = window.execute_cdp_cmd("Page.printToPDF", {"printBackground": False, "preferCSSPageSize": True})
    (tmp_path / "page.pdf").write_bytes(base64.b64decode(printed["data"]))
    run = subprocess.run(["pdftotext", "-layout", tmp_path / "page.pdf", "-"], capture_output=True, check=True)
    pages = run.stdout.decode().split("\f")
    heads = [page for page in pages if re.search(r"Device +Place +Outcome +Next +Tested", page)]
    rows = [page for page in pages if re.search(r"^(?:WM|F)-\w+ +(North row|Rink side|Kitchens) ", page, re.MULTILINE)]
    assert len(rows) >= 3 and rows == heads
    text = "\n".join(pages)
    for words in ("Trip times against their limits", "Last digits against chance", "answers to"):
        assert words in text
    assert re.search(r"\b1 ?/ ?\d", pages[0])
    assert " shown" not in text  # what only a screen can use stays off paper


@pytest.mark.parametrize(("name", "devices", "most"), [("honest", "", 4), ("messy", "", 4), ("month", "attention", 25)])
def test_a_day_prints_on_four_pages_and_a_month_on_twenty_five(
    browser: Any, tmp_path: Path, name: str, devices: str, most: int
) -> None:
    lines = (SAMPLES / "honest-day.csv").read_text(encoding="utf-8").splitlines()
    honest, messy = tmp_path / "honest.csv", tmp_path / "messy.xlsx"
    honest.write_text("\n".join([lines[0], *(lines[n] for n in (9, 23, 44, 36, 64))]), encoding="utf-8")
    book = openpyxl.load_workbook(SAMPLES / "messy-day.xlsx")
    for other in book.sheetnames[1:]:
        del book[other]
    book["North row"].delete_rows(12, 100)  # five devices are left
    book.save(messy)
    audit = audit_of(str({"honest": honest, "messy": messy, "month": SAMPLES / "doubtful-month"}[name]))
    assert name == "month" or len(audit.devices) == 5
    page = tmp_path / "page.html"
    page.write_bytes(b"".join(html.page(audit, HEADING, devices=devices)))
    browser.get(page.as_uri())
    printed = browser.execute_cdp_cmd("Page.printToPDF", {"printBackground": True, "preferCSSPageSize": True})
    (tmp_path / "page.pdf").write_bytes(base64.b64decode(printed["data"]))
    run = subprocess.run(["pdftotext", "-layout", tmp_path / "page.pdf", "-"], capture_output=True, check=True)
    pages = run.stdout.decode().split("\f")[:-1]
    assert len(pages) <= most
    assert all("Winter Market Committee" in page.splitlines()[0] for page in pages), "the running head"


def test_rows_of_devices_are_one_line_high_at_1280_and_a_phone_shows_the_next_step(
    browser: Any, tmp_path: Path
) -> None:
    page = tmp_path / "page.html"
    page.write_text(page_of("honest-day.csv"), encoding="utf-8")
    heights = "return Array.from(document.querySelectorAll('.devices tbody tr:not(.below)')).map(r => r.offsetHeight)"
    for width, mobile in ((1280, False), (390, True)):
        size = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": mobile}
        browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        browser.get(page.as_uri())
        if not mobile:
            assert max(browser.execute_script(heights)) < 40
            wide = "const t = document.querySelector('.devices').parentElement; return t.scrollWidth - t.clientWidth"
            assert browser.execute_script(wide) <= 0
        else:
            assert browser.execute_script("return document.documentElement.scrollWidth") <= width
            ends = "const cells = Array.from(document.querySelectorAll('.devices .next'));"
            ends += "return cells.map(c => c.getBoundingClientRect().right)"
            assert 0 < max(browser.execute_script(ends)) <= width
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
