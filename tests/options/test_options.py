"""Each option of each command changes something that a person can see: a row of options.toml each, and none is left."""

from __future__ import annotations

import importlib
import json
import re
import shlex
import sys
import tomllib
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from rcdcheck.cli import COMMANDS, main

TABLE = tomllib.loads((Path(__file__).parent / "options.toml").read_text(encoding="utf-8"))
SHEETS, LINES = TABLE.pop("sheets"), TABLE.pop("lines")
ROWS = [(command, option) for command, rows in TABLE.items() for option in rows]
SHOWN = 3_000  # characters of a face that a failure tells
started: list[object] = []  # processes, as Python's own audit events tell them
sys.addaudithook(lambda event, told: started.append(told[0]) if event == "subprocess.Popen" else None)


def rows_of(count: int, row: str) -> str:
    """A sheet of so many devices, too long to stand in the table."""
    head = SHEETS["good.csv"].strip().splitlines()[0]
    return "\n".join([head, *(row.format(n=n, time=f"{20 + n % 60 / 7:.1f}") for n in range(1, count + 1)), ""])


SHEETS |= {
    "many-failed.csv": rows_of(60, "F{n:02d},30,pass,{time},3{n:02d}"),
    "half-done.csv": rows_of(12, "H{n:02d},30,pass,{time},"),
    "twenty-thousand.csv": rows_of(20_001, "T{n:05d},30,pass,{time},25.3"),
}


def lay_out(folder: Path, named: str) -> None:
    """The sheets and files that some command lines name, in a new folder."""
    folder.mkdir()
    for name, text in SHEETS.items():
        if name in named and name.endswith(".xlsx"):
            book = openpyxl.Workbook()
            page = book.create_sheet("Tests", 0)
            for line in text.strip().splitlines():
                page.append(line.split(","))
            book.save(folder / name)
        elif name in named:
            (folder / name).write_text(text.lstrip(), encoding="utf-8")


def text_of(path: Path) -> str:
    """What a person reads in a file that was written: of a workbook its cells."""
    if path.suffix == ".xlsx":
        book = openpyxl.load_workbook(path)
        return "\n".join(str(cell.value) for sheet in book for row in sheet for cell in row if cell.value is not None)
    text = path.read_bytes().decode("utf-8", "replace")
    if path.suffix == ".json":  # which says what was asked, too: that is no change
        text = json.dumps(json.loads(text) | {"run": {}}, ensure_ascii=False)
    return text


class Here:
    """The command run in this process, and every face of what it did."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, output: pytest.CaptureFixture[bytes], folder: Path) -> None:
        self.monkeypatch, self.output, self.folder = monkeypatch, output, folder

    def faces(self, name: str, before: list[str], line: str, named: str) -> dict[str, str]:
        """Exit code, streams, count of processes and texts of new files, after some lines before in a fresh folder.

        What `named` names lies there, too.
        """
        folder = self.folder / name
        lay_out(folder, " ".join([*before, line, named]))
        self.monkeypatch.chdir(folder)
        for first in before:
            self.run(first)
        there = set(folder.rglob("*"))
        started.clear()
        code = self.run(line)
        said = self.output.readouterr()
        streams = {"exit": str(code), "stdout": said.out.decode(), "stderr": said.err.decode()}
        files = {p.relative_to(folder).as_posix(): text_of(p) for p in set(folder.rglob("*")) - there if p.is_file()}
        return streams | {"processes": str(len(started))} | files

    def run(self, line: str) -> int:
        self.output.readouterr()
        self.monkeypatch.setattr(sys, "argv", ["rcdcheck", *shlex.split(line)])
        with pytest.raises(SystemExit) as ended:
            main()
        return int(ended.value.code or 0)


@pytest.mark.parametrize(("command", "option"), ROWS, ids=[" ".join(row) for row in ROWS])
def test_an_option_changes_what_its_row_says(
    command: str,
    option: str,
    monkeypatch: pytest.MonkeyPatch,
    capfdbinary: pytest.CaptureFixture[bytes],
    tmp_path: Path,
) -> None:
    row: dict[str, Any] = TABLE[command][option]
    assert set(row) <= {"line", "given", "face", "shown", "gone", "before"} and ("shown" in row) != ("gone" in row)
    assert row["given"].startswith(option)
    here, line = Here(monkeypatch, capfdbinary, tmp_path), f"{command} {row.get('line', LINES[command])}"
    before, word = row.get("before", []), row["given"]
    without = here.faces("without", before, line, word)
    given = here.faces("with", before, f"{line} {word}", word)
    absent, there = (without, given) if "shown" in row else (given, without)
    pattern, face = row["shown"] if "shown" in row else row["gone"], row["face"]
    assert face in there, sorted(there)
    assert re.search(pattern, there[face]), there[face][:SHOWN]
    assert face not in absent or not re.search(pattern, absent[face]), absent[face][:SHOWN]


def test_every_option_of_every_command_has_a_row() -> None:
    have = {name: set(rows) for name, rows in TABLE.items()}
    for name in COMMANDS:
        command = importlib.import_module(f"rcdcheck.cli.{name}").command
        options = {max(p.opts, key=len) for p in command.params if p.param_type_name == "option"}
        assert options == have.get(name, set()), name
