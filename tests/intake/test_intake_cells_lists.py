"""The lists of words themselves: every one used, every language present, no phrase in vain."""

from __future__ import annotations

from pathlib import Path

import pytest

from rcdcheck import data
from rcdcheck.intake.cells.phrases import known, phrases_of, plain
from rcdcheck.intake.cells.remark_words import LETTERS, tokens

INTAKE = Path(__file__).parents[2] / "rcdcheck" / "intake"
CELLS = data.toml("words.toml")["cells"]
LANGUAGES = {"en", "de", "fr", "es", "it", "nl", "pt"}  # others may have begun


def test_every_table_is_asked_for_somewhere() -> None:
    code = "".join(path.read_text(encoding="utf-8") for path in INTAKE.rglob("*.py")).replace("'", '"')
    assert [table for table in CELLS if f'"{table}"' not in code] == []


WORDED = [
    "no_trip", "over_range", "not_measured", "pass", "fail", "fault", "remedy", "no_access", "out_of_use", "repeat",
    "tripped", "ditto", "above", "below", "portable", "fixed",
]  # fmt: skip


@pytest.mark.parametrize("table", WORDED)
def test_every_language_has_its_words(table: str) -> None:
    assert set(CELLS[table]) >= LANGUAGES
    assert all(words for words in CELLS[table].values())


def spelling(table: str, phrase: str) -> str:
    """A phrase as it is compared: remarks word by word, with stems marked, and whole cells as one."""
    return " ".join(tokens(phrase.replace("*", "0"))) if table in LETTERS else plain(phrase)


@pytest.mark.parametrize(
    "table", [t for t, words in CELLS.items() if isinstance(words, dict) and t not in ("units", "months")]
)
def test_no_phrase_stands_twice_in_one_language_or_says_nothing(table: str) -> None:
    for language, phrases in CELLS[table].items():
        spelled = [spelling(table, phrase) for phrase in phrases_of(phrases)]
        assert all(spelled), (table, language)
        assert sorted(spelled) == sorted(set(spelled)), (table, language)


def test_phases_quantities_and_waveforms_do_not_overlap() -> None:
    for group in (("phase_0", "phase_180", "phase_worst"), ("quantity_trip_time", "quantity_trip_current"),
                  ("waveform_ac", "waveform_pulsating", "waveform_smooth_dc"), ("portable", "fixed"),
                  ("selective", "general"), ("above", "below", "about")):  # fmt: skip
        words = [word for table in group for word in known(table)]
        assert len(words) == len(set(words)), group
