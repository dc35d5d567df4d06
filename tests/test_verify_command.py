"""`rcdcheck verify`: a document that is what it was, and documents and files that are not."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from whole_runs import DAY, ROOT, Run

from rcdcheck import verifying
from rcdcheck.cli.difference import document_of
from rcdcheck.errors import InputError
from rcdcheck.register.changes import between

PUT: tuple[Any, ...] = (None, {}, 7, [[]], ...)  # the last: nothing
FILES = ("messy-day.xlsx", "honest-day.csv")
PLAIN = ("--as-of", DAY, "--write", "none", "--quiet", "--json", "audit.json")


@pytest.fixture(scope="module")
def once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("audited")
    for name in FILES:
        shutil.copy(ROOT / "samples" / name, folder)
    command = [sys.executable, "-m", "rcdcheck", "audit", *FILES, *PLAIN]
    subprocess.run(command, cwd=folder, check=False, timeout=120)
    return folder


@pytest.fixture(autouse=True)
def audited(once: Path, tmp_path: Path) -> None:
    shutil.copytree(once, tmp_path, dirs_exist_ok=True)


def test_the_same_files_in_any_order_give_the_same_answer(run_rcdcheck: Run) -> None:
    assert run_rcdcheck("verify", "audit.json").returncode == 0
    for files in (["honest-day.csv", "messy-day.xlsx"], ["messy-day.xlsx", "honest-day.csv"]):
        ran = run_rcdcheck("verify", "audit.json", *files)
        assert (ran.returncode, ran.stdout.count(b"same answer")) == (0, 1)


def test_a_file_that_has_changed_or_is_not_there_is_named(run_rcdcheck: Run, tmp_path: Path) -> None:
    with (tmp_path / "honest-day.csv").open("a", encoding="utf-8") as file:
        file.write("\n")
    ran = run_rcdcheck("verify", "audit.json", "honest-day.csv", "messy-day.xlsx")
    assert ran.returncode == 1
    assert b"honest-day.csv is not among the files, or has changed" in ran.stdout
    assert b"messy-day.xlsx" not in ran.stdout


@pytest.mark.parametrize(
    "part", ["devices", "counts", "readings", "findings", "grades", "run", "inputs", "tests", "questions", "limits"]
)
def test_a_document_that_was_changed_anywhere_is_found_out(run_rcdcheck: Run, tmp_path: Path, part: str) -> None:
    path = tmp_path / "audit.json"
    read = json.loads(path.read_text(encoding="utf-8"))
    at = read[part]
    while isinstance(at, dict | list) and not isinstance(_leaf(at), str | int | float):
        at = _inside(at)
    key = next(
        k for k, v in (at.items() if isinstance(at, dict) else enumerate(at)) if isinstance(v, str | int | float)
    )
    at[key] = "changed" if isinstance(at[key], str) else at[key] + 1
    path.write_text(json.dumps(read), encoding="utf-8")
    ran = run_rcdcheck("verify", "audit.json", "honest-day.csv", "messy-day.xlsx")
    assert ran.returncode == 1, ran.stdout
    assert b"Traceback" not in ran.stderr


def _values(at: object) -> list[object]:
    return list(at.values()) if isinstance(at, dict) else list(at) if isinstance(at, list) else []


def _leaf(at: object) -> object:
    return next((v for v in _values(at) if isinstance(v, str | int | float)), None)


def _inside(at: object) -> object:
    return next(v for v in _values(at) if isinstance(v, dict | list) and v)


def test_what_is_no_document_is_refused(run_rcdcheck: Run, tmp_path: Path) -> None:
    (tmp_path / "other.json").write_text("[" * 100_000, encoding="utf-8")
    for name in ("other.json", "no.json", "honest-day.csv"):
        ran = run_rcdcheck("verify", name)
        assert ran.returncode == 3
        assert b"Traceback" not in ran.stderr


def test_a_document_of_any_shape_is_refused_or_found_out(tmp_path: Path) -> None:
    """Each kind of part replaced by something else, or gone, is no fault of ours."""
    path = tmp_path / "audit.json"
    text = json.dumps(_shortened(json.loads(path.read_text(encoding="utf-8"))))
    refused = 0
    for at in sorted({_kind(at): at for at in _parts(json.loads(text))}.values(), key=str):
        for put in PUT:
            read = json.loads(text)
            inside = read
            for key in at[:-1]:
                inside = inside[key]
            if put is ...:
                del inside[at[-1]]
            else:
                inside[at[-1]] = put
            path.write_text(json.dumps(read), encoding="utf-8")
            for whole in (True, False):
                try:
                    document = document_of(path, whole=whole)
                except InputError:
                    refused += 1
                    continue
                assert isinstance(
                    verifying.faults_within(document) if whole else between(document, document), list | tuple
                )
    assert refused > 500


def _parts(at: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Where in a document something stands: keys and numbers on the way to it."""
    if path:
        yield path
    for key, inside in at.items() if isinstance(at, dict) else enumerate(at) if isinstance(at, list) else ():
        yield from _parts(inside, (*path, key))


def _shortened(at: Any) -> Any:
    """The same with the first two of each list."""
    if isinstance(at, dict):
        return {key: _shortened(inside) for key, inside in at.items()}
    return list(map(_shortened, at[:2])) if isinstance(at, list) else at


def _kind(at: tuple[Any, ...]) -> tuple[Any, ...]:
    return tuple(0 if isinstance(key, int) else key for key in at)
