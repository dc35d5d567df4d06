"""Whole audits within the process of the tests: rows as typed, outcomes by device."""

from __future__ import annotations

import csv
import io
import json
import sys
from pathlib import Path
from typing import Any

import pytest
from whole_runs import DAY

from rcdcheck.cli import main

Row = dict[str, str]
STATED = {"Ramp trip current smooth d.c. (mA)": "trip_current_smooth_dc"}  # on type B it looks like times


class AuditsHere:
    """Audits of one sheet after another, in a folder of their own."""

    def __init__(
        self, monkeypatch: pytest.MonkeyPatch, capfdbinary: pytest.CaptureFixture[bytes], folder: Path
    ) -> None:
        """Keep what a test gives: how arguments are set, how output is read, where files go."""
        self.monkeypatch, self.output, self.folder = monkeypatch, capfdbinary, folder

    def outcomes(self, rules: str, headings: list[str], devices: list[list[Row]], *options: str) -> dict[str, str]:
        """Outcome of each device in one audit of one sheet."""
        text = io.StringIO()
        writer = csv.DictWriter(text, headings, extrasaction="ignore")
        writer.writeheader()
        writer.writerows(row for rows in devices for row in rows)
        stated = [f"{heading}={field}" for heading, field in STATED.items() if heading in headings]
        columns = [part for one in stated for part in ("--column", one)]
        return self.of_file(text.getvalue().encode(), "--rules", rules, *columns, *options)

    def of_file(self, content: bytes, *options: str, name: str = "day.csv") -> dict[str, str]:
        """Outcome of each device in one audit of a file of these bytes."""
        return {one["device"]: one["outcome"] for one in self.document(content, *options, name=name)["devices"]}

    def of_files(self, contents: list[bytes], *options: str) -> dict[str, str]:
        """Outcome of each device in one audit of several files, of which each has devices of other names."""
        names = [f"{number}.csv" for number in range(1, len(contents))]
        for name, content in zip(names, contents[1:], strict=True):
            (self.folder / name).write_bytes(content)
        return self.of_file(contents[0], *names, *options, name="0.csv")

    def document(self, content: bytes, *options: str, name: str = "day.csv") -> dict[str, Any]:
        """The document of one audit of a file of these bytes."""
        (self.folder / name).write_bytes(content)
        arguments = [name, "--as-of", DAY, "--write", "none", "--json", "-", "--devices", "all"]
        self.monkeypatch.setattr(sys, "argv", ["rcdcheck", "audit", *arguments, "--quiet", *options])
        self.monkeypatch.chdir(self.folder)
        with pytest.raises(SystemExit):
            main()
        said = self.output.readouterr()
        assert said.out, said.err.decode()
        document: dict[str, Any] = json.loads(said.out)
        return document
