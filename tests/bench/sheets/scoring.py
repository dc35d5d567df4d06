"""Compares what the program says about a made sheet with its truth."""

from __future__ import annotations

import json
import re
import shlex
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeAlias

from click.testing import CliRunner
from openpyxl.utils import column_index_from_string

from .phrases import normal
from .tables import Heading, Sheet

AS_OF = "2026-11-27"
WORST_FIRST = ("fail", "unclear", "incomplete", "pass")
OPTION = re.compile(r'(--[a-z-]+)\s+("(?:[^"\\]|\\.)*"|\S+)')
# What the program calls each meaning. A column that does not matter may stay without one.
MEANINGS: dict[str, set[str]] = {
    "device": {"device"}, "outlet": {"outlet"}, "board": {"board"}, "circuit": {"circuit"}, "site": {"site"},
    "location": {"location"}, "serial": {"serial"}, "description": {"description", "model", "ignore", ""},
    "harmless": {"", "ignore", "location", "model", "serial", "remark"},
    "date": {"tested_at"}, "clock": {"time"}, "technician": {"technician"}, "instrument": {"instrument"},
    "rated": {"rated_residual_current"}, "rcd_type": {"rcd_type", "delay"},
    "waveform": {"waveform_type"}, "visual": {"visual"},
    "button": {"push_button"}, "result": {"declared"}, "remark": {"remark"}, "retest_due": {"retest_due"},
    "t1_0": {"trip_time_1x_0"}, "t1_180": {"trip_time_1x_180"}, "t5_0": {"trip_time_5x_0"},
    "t5_180": {"trip_time_5x_180"}, "half_0": {"trip_time_0.5x_0"}, "half_180": {"trip_time_0.5x_180"},
    "ramp": {"trip_current"},
}  # fmt: skip

Document: TypeAlias = dict[str, Any]


@dataclass
class Verdict:
    """How the program did on one device."""

    device: int
    score: str
    got: str


@dataclass
class Score:
    """How the program did on one sheet."""

    verdicts: list[Verdict] = field(default_factory=list)
    headings: Counter[str] = field(default_factory=Counter)
    misread: list[tuple[str, str, str]] = field(default_factory=list)
    questions: int = 0
    crashed: bool = False


def audit_document(paths: list[Path], options: list[str] | None = None) -> Document:
    """The document that the command writes about files; empty where it broke off."""
    from rcdcheck.cli import group

    fixed = ["--as-of", AS_OF, "--write", "none", "--json", "-", "--devices", "all", "--quiet"]
    arguments = ["audit", *map(str, paths), *fixed, *(options or [])]
    run = CliRunner().invoke(group, arguments, standalone_mode=False)
    try:
        document: Document = json.loads(run.stdout)
    except json.JSONDecodeError:
        return {}
    return document


def score_sheet(sheet: Sheet, path: Path) -> Score:
    """Score every device and every heading of a sheet."""
    return score_document(sheet, path, audit_document([path]))


def score_document(sheet: Sheet, path: Path, document: Document) -> Score:
    """The same, of what the command wrote about the file of the sheet."""
    score = Score(crashed=not document)
    asked = [finding for finding in document.get("findings", []) if is_question(finding)]
    score.questions = len(asked)
    score.verdicts = [judge(sheet, index, document) for index in range(len(sheet.devices))]
    _score_headings(sheet, document, asked, score)
    options = [option for finding in asked for option in _answers(sheet, finding)]
    open_ones = [verdict for verdict in score.verdicts if verdict.score in ("wrong", "lost")]
    if options and open_ones:
        again = audit_document([path], options)
        for verdict in open_ones:
            if judge(sheet, verdict.device, again).score == "right":
                verdict.score = "asked"
    return score


def is_question(finding: dict[str, Any]) -> bool:
    """Whether a finding asks the user to decide something by an option."""
    return finding["severity"] != "note" and bool(OPTION.search(finding["suggestion"]))


def judge(sheet: Sheet, index: int, document: Document) -> Verdict:
    """Score one device."""
    device = sheet.devices[index]
    found = _matches(sheet, index, document)
    if not found:
        return Verdict(index, "lost", "")
    got = min((entry["outcome"] for entry in found), key=WORST_FIRST.index)
    if got == "pass" and device.expected != "pass":
        return Verdict(index, "dangerous", got)
    if _swallowed(sheet, index, found):
        return Verdict(index, "lost", f"{got}, merged with another")
    if len(found) > 1:
        return Verdict(index, "wrong", f"{got}, split in {len(found)}")
    return Verdict(index, "right" if got == device.expected else "wrong", got)


def _matches(sheet: Sheet, index: int, document: Document) -> list[dict[str, Any]]:
    rows = set(sheet.rows(index))
    entries = document.get("devices", [])
    if not rows:
        return _named(sheet, index, entries)
    overlapping = [entry for entry in entries if rows & _where(sheet, entry)]
    return _named(sheet, index, overlapping) if sheet.layout == "beside" else overlapping


def _named(sheet: Sheet, index: int, entries: list[dict[str, Any]]) -> list[dict[str, Any]]:
    names = {normal(name) for name in sheet.devices[index].names}
    return [entry for entry in entries if normal(entry["device"]) in names]


def _where(sheet: Sheet, entry: dict[str, Any]) -> set[tuple[str, int]]:
    return {(place["sheet"] or sheet.grids[0].name, place["row"]) for place in entry["where"]}


def _swallowed(sheet: Sheet, index: int, found: list[dict[str, Any]]) -> bool:
    if sheet.layout in ("beside", "sideways"):
        return False
    others = {row for other in range(len(sheet.devices)) if other != index for row in sheet.rows(other)}
    return any(others & _where(sheet, entry) for entry in found)


def _heading_at(sheet: Sheet, name: str, column: str) -> Heading | None:
    if not column.isalpha():
        return None
    number = column_index_from_string(column)
    known = [heading for heading in sheet.headings if heading.sheet == (name or sheet.grids[0].name)]
    return next((heading for heading in known if heading.column == number), None)


def _answers(sheet: Sheet, finding: dict[str, Any]) -> list[str]:
    """The option that somebody who sees the sheet would choose from those that a question offers."""
    offers = [(name, _bare(value)) for name, value in OPTION.findall(finding["suggestion"])]
    columns = [value for name, value in offers if name == "--column"]
    if not columns:
        return list(offers[0])
    heading = _heading_at(sheet, finding["sheet"], finding["column"])
    true = (MEANINGS.get(heading.key, set()) if heading else set()) or {"ignore"}
    fitting = [value for value in columns if value.rpartition("=")[2].split("[")[0].strip() in true]
    return ["--column", fitting[0]] if fitting else []


def _bare(value: str) -> str:
    try:
        return shlex.split(value)[0]
    except (ValueError, IndexError):
        return value.strip('"')


def _score_headings(sheet: Sheet, document: Document, asked: list[dict[str, Any]], score: Score) -> None:
    if sheet.sideways:
        return
    questioned = {(finding["sheet"], finding["column"]) for finding in asked}
    for source in document.get("inputs", []):
        for page in source.get("sheets", []):
            for column in page.get("columns", []):
                heading = _heading_at(sheet, page["sheet"], column["column"])
                if heading and heading.key in MEANINGS:
                    in_doubt = (page["sheet"], column["column"]) in questioned
                    _score_heading(heading, column["meaning"], in_doubt, score)


def _score_heading(heading: Heading, meaning: str, in_doubt: bool, score: Score) -> None:
    if meaning in MEANINGS[heading.key]:
        score.headings["right"] += 1
        return
    state = "asked" if in_doubt else "unknown" if not meaning else "wrong"
    score.headings[state] += 1
    score.misread.append((state, f"{heading.key}: {heading.text}", meaning))
