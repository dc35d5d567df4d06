"""Every question that a report asks ends in the options that answer it, and asks no more once one of them is given."""

from __future__ import annotations

import re
import shlex
import tomllib
from pathlib import Path
from typing import Any

import pytest
from sheets.layouts import LAYOUTS
from sheets.scoring import Document
from variants import audited, made, written
from whole_runs import ROOT

from rcdcheck.findings import catalogue

CASES = sorted(path.parent for path in (ROOT / "tests" / "cases").glob("*/expected.json"))
ASKS = ("--column ", "--date-order", "--assume", "--identity")
CLOSER = ("plain", "group_each", "shuffled", "harmless", "long_split")  # where more is asked
NO_QUESTION = {  # speak of an option that answers them only where the person knows more than the sheet shows
    "sheet-passed-over", "cell-says-failed", "cells-say-failed", "rated-missing",
}  # fmt: skip


def test_every_finding_that_speaks_of_an_option_offers_one() -> None:
    """A line of the catalogue that names such an option belongs to a finding with options to paste."""
    source = "\n".join(path.read_text(encoding="utf-8") for path in (ROOT / "rcdcheck").rglob("*.py"))
    for code, kind in catalogue().items():
        if any(option in kind.do for option in ASKS) and code not in NO_QUESTION:
            raised = [source[m.start() : m.start() + 700] for m in re.finditer(f'"{code}"', source)]
            assert any("suggestion=" in text or "settling" in source for text in raised), code


def asked(document: Document) -> list[dict[str, Any]]:
    """The findings of a document that ask something."""
    return [finding for finding in document["findings"] if finding["suggestion"].startswith("--")]


def question(finding: dict[str, Any]) -> tuple[str, ...]:
    """What makes two findings the same question."""
    return finding["code"], finding["file"], finding["sheet"], finding["column"], finding["message"].split("(")[0]


def answers(finding: dict[str, Any]) -> list[list[str]]:
    """The options that a question offers, each as the arguments that a shell would make of it."""
    return [shlex.split(offer) for offer in re.split(r" or (?=--)", finding["suggestion"])]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_question_of_a_case_is_asked_no_more_once_answered(case: Path) -> None:
    told = tomllib.loads((case / "case.toml").read_text(encoding="utf-8")).get("args", [])
    files = [path for path in sorted(case.iterdir()) if path.name not in ("case.toml", "expected.json")]
    if "--columns" in told or "--remedied" in told:
        return  # names a file beside it
    for finding in asked(audited(files[0], *told, *map(str, files[1:]))):
        for answer in answers(finding):
            again = audited(files[0], *told, *answer, *map(str, files[1:]))
            assert question(finding) not in map(question, asked(again)), answer


@pytest.mark.parametrize("layout", LAYOUTS)
def test_a_question_about_a_made_sheet_is_asked_no_more_once_answered(layout: str, tmp_path: Path) -> None:
    """All questions of a sheet are answered at once, each with the offer whose turn it is."""
    for number in (400, 401)[: 1 + (layout in CLOSER)]:
        path = written(made(layout, number), tmp_path, f"asked-{number}")
        questions = asked(audited(path))
        given: dict[str, list[str]] = {}
        for finding in questions:
            offers = answers(finding)
            given.setdefault(str(finding["cell"] or finding["code"]), offers[number % len(offers)])
        if given:
            again = audited(path, *(argument for answer in given.values() for argument in answer))
            still = {question(f) for f in questions} & {question(f) for f in asked(again)}
            assert not still, given
