"""Pages of the questions, settings, and the measured figures that the report's method page prints."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

import pytest

from rcdcheck import data
from rcdcheck.scrutiny import method

SOURCES = "\n".join(p.read_text(encoding="utf-8") for p in Path(method.__file__).parent.glob("*.py"))
FILES = {p.stem for p in Path(method.__file__).parent.glob("*.py")}


@pytest.mark.parametrize("question", method.QUESTIONS)
def test_every_question_has_a_whole_page(question: str) -> None:
    page = method.page(question)
    assert page.asks.endswith("?")
    assert all(dataclasses.astuple(page)), page
    assert "\n" not in page.how


def test_every_question_has_settings_with_a_source_and_no_setting_is_idle() -> None:
    held: dict[str, dict[str, Any]] = data.toml("scrutiny.toml")
    assert set(method.QUESTIONS) <= set(held)
    assert set(held) <= FILES
    for table in held.values():
        assert table["source"]
        assert [key for key in set(table) - {"source", "standing"} if f'"{key}"' not in SOURCES] == []
