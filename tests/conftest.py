"""What every test may use: the command in a process of its own, its JSON, a browser, a spreadsheet program.

A machine without the browser or the spreadsheet program skips the tests that need it and says why; in CI
(CI=true) a missing program is a failure.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from audits_here import AuditsHere
from whole_runs import DAY, ROOT, AuditJson, Run, valid

Convert = Callable[..., list[Path]]

os.environ.setdefault("HYPOTHESIS_NO_PLUGINS", "1")  # pandera loads hypothesis where it is, and its plugins load trio


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Tests that take half a minute begin first, so that no core waits for the last of them."""
    items.sort(key=lambda item: item.get_closest_marker("long") is None)


@pytest.fixture(scope="session")
def samples() -> Path:
    """The folder of sample sheets."""
    return ROOT / "samples"


def process(folder: Path) -> Run:
    """The command in processes of its own that start in `folder`."""

    def run(*arguments: str | Path, stdin: bytes = b"") -> subprocess.CompletedProcess[bytes]:
        command = [sys.executable, "-m", "rcdcheck", *map(str, arguments)]
        return subprocess.run(command, input=stdin, capture_output=True, cwd=folder, timeout=120, check=False)

    return run


@pytest.fixture
def run_rcdcheck(tmp_path: Path) -> Run:
    """`run_rcdcheck("audit", "day.csv", stdin=b"")`: a process of its own, started in tmp_path."""
    return process(tmp_path)


@pytest.fixture(scope="session")
def audit_json(tmp_path_factory: pytest.TempPathFactory) -> AuditJson:
    """The JSON document of an audit, run as a process that writes no other report."""
    run = process(tmp_path_factory.mktemp("audits"))

    def audit(*arguments: str | Path) -> dict[str, Any]:
        ran = run("audit", "--as-of", DAY, "--write", "none", "--json", "-", *arguments)
        assert ran.stdout, ran.stderr.decode()
        document: dict[str, Any] = json.loads(ran.stdout)
        assert document["run"]["exit_code"] == ran.returncode
        valid(document)
        return document

    return audit


@pytest.fixture
def audits_here(
    monkeypatch: pytest.MonkeyPatch, capfdbinary: pytest.CaptureFixture[bytes], tmp_path: Path
) -> AuditsHere:
    """`audits_here.outcomes(rules, headings, devices, *options)`, within this process."""
    return AuditsHere(monkeypatch, capfdbinary, tmp_path)


def _need(program: str) -> str:
    """Path of a program; where it is missing, fail in CI and skip elsewhere."""
    found = shutil.which(program)
    if found is None:
        reason = f"{program} is not installed on this machine; .ci/run installs it"
        if os.environ.get("CI") == "true":
            pytest.fail(reason)
        pytest.skip(reason)
    return found


@pytest.fixture(scope="session")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """A Chromium without a window, driven through selenium; its console is at `get_log("browser")`."""
    chromium, driver = _need("chromium"), _need("chromedriver")
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    profile = tmp_path_factory.mktemp("chromium")
    for flag in (
        "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
        "--disable-background-networking", "--disable-component-update", f"--user-data-dir={profile}",
    ):  # fmt: skip
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    window = webdriver.Chrome(options=options, service=Service(driver))
    yield window
    window.quit()


@pytest.fixture(scope="session")
def libreoffice(tmp_path_factory: pytest.TempPathFactory) -> Convert:
    """`libreoffice(paths, "pdf")` converts workbooks in one start of the program; the new files, in order."""
    office = _need("soffice")
    home = tmp_path_factory.mktemp("office")

    def convert(paths: list[Path], kind: str = "xlsx") -> list[Path]:
        out = tmp_path_factory.mktemp("converted")
        command = [office, f"-env:UserInstallation={home.as_uri()}", "--headless", "--convert-to", kind]
        command += ["--outdir", str(out), *map(str, paths)]
        subprocess.run(command, check=True, capture_output=True, timeout=180)
        made = [out / f"{path.stem}.{kind.partition(':')[0]}" for path in paths]
        assert all(path.exists() for path in made), f"not every workbook could be converted: {made}"
        return made

    return convert


@pytest.fixture(scope="session")
def saved_again(libreoffice: Any, tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """The workbooks for office and client, a marked copy and an entry sheet, opened and saved by LibreOffice."""
    from excel_books import book_of, sample

    from rcdcheck import rules
    from rcdcheck.reports import entry_workbook
    from rcdcheck.reports.marked import copy

    books = {
        "office": book_of("messy-day.xlsx"),
        "client": book_of("honest-day.csv", "client"),
        "marked": copy.marked_copy(sample("messy-day.xlsx"), 0)[0],
        "entry": b"".join(entry_workbook.entry_workbook(rules.load("anz-in-service"))),
    }
    folder = tmp_path_factory.mktemp("books")
    paths = [folder / f"{name}.xlsx" for name in books]
    for path, data in zip(paths, books.values(), strict=True):
        path.write_bytes(data)
    return {path.stem: path.read_bytes() for path in libreoffice(paths, "xlsx")}
