"""Letters for verdicts, in columns of checks: initials of words, told by the sheet's language or by one another.

The words are those of `schemas/words.toml`; that technicians write "G" and "S", "C" and "NC" for them is common
practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest

from rcdcheck.intake.cells.check_letters import letters_told
from rcdcheck.intake.cells.checks import read_flags
from rcdcheck.intake.cells.verdicts import FAIL, NOTHING, PASS
from rcdcheck.terms import Flag

FILLERS = ("pass", "ok", "defekt", "n/a", "offen")  # whole words and blanks beside the letters


@pytest.mark.parametrize(
    ("language", "column", "told"),
    [
        ("de", "B M", {"b": PASS, "m": FAIL}),  # bestanden, mangelhaft
        ("de", "iO NB", {"io": PASS, "nb": FAIL}),  # in Ordnung, nicht bestanden
        ("de", "B", {"b": PASS}),
        ("en", "B", {"b": FAIL}),  # bad
        ("nl", "G S", {"g": PASS, "s": FAIL}),  # goed, slecht
        ("nl", "V A", {"v": PASS, "a": NOTHING}),  # akkoord, afgekeurd
        ("es", "A NA", {"a": PASS}),  # "not applicable" is no "no apto"
        ("es", "A Q", {"a": PASS}),
        ("", "B", {}),  # "bon" or "bad"
        ("", "B M", {"b": PASS, "m": FAIL}),
        ("", "C NC", {"c": PASS, "nc": FAIL}),  # conforme, non conforme
        ("", "G U", {"g": PASS, "u": FAIL}),
        ("", "G S", {"g": NOTHING, "s": NOTHING}),  # goed and slecht, or guasto and sì
        ("", "B S", {"b": NOTHING, "s": NOTHING}),  # bestanden and schlecht, or bad and satisfactory
        ("", "Q X", {}),
        ("xx", "B M", {"b": PASS, "m": FAIL}),  # a language of which nobody knows the words
    ],
)
def test_letters_are_told_by_the_language_or_by_one_another(language: str, column: str, told: dict[str, str]) -> None:
    assert letters_told(column.split(), language) == told


def test_a_column_of_many_marks_or_many_words_is_none_of_letters() -> None:
    """Up to three marks; up to six different cells."""
    assert letters_told(["B", "G", "M"], "de") == {"b": PASS, "g": PASS, "m": FAIL}
    assert letters_told(["B", "G", "M", "N"], "de") == {}
    assert letters_told(["B", "M", *FILLERS[:4]], "de") == {"b": PASS, "m": FAIL}
    assert letters_told(["B", "M", *FILLERS], "de") == {}


def test_letters_are_read_beside_words_and_what_they_leave_open_is_said() -> None:
    cells = np.array(["V", "A", "goedgekeurd", "", "S", 1.0], dtype=object)
    read = read_flags(cells, language="nl")
    assert read.flag.tolist() == [Flag.PASS, Flag.UNCLEAR, Flag.PASS, Flag.BLANK, Flag.FAIL, Flag.PASS]
    assert read.problem.tolist() == ["", "result-not-understood", "", "", "", ""]
