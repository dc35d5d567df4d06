"""Names that are hidden: everywhere, and nothing else."""

from __future__ import annotations

import re

from hypothesis import given, settings
from hypothesis import strategies as st

from rcdcheck.reports import hidden_names

PEOPLE = {
    "a. snowfield": "Person A",
    "a. snowfield jr.": "Person B",
    "technician 1": "Person C",
    "technician 12": "Person D",
    "jo": "Person E",
    "(kim)": "Person F",
    "o'hara-lund": "Person G",
    "??": "Person H",
}
PIECES = st.sampled_from(
    ["A. Snowfield", "a.  SNOWFIELD", "A. Snowfield Jr.", "Technician 1", "technician 12", "Technician 123", "Jo",
     "Joan", "(Kim)", "Kim", "O'Hara-Lund", "??", " ", ", ", ": ", "; ", "under ", "by ", "x", "\n"]
)  # fmt: skip


def one_by_one(text: str) -> str:
    """All names at once in one pattern, as a regular expression alone would do it."""
    patterns = [hidden_names._pattern(name) for name in sorted(PEOPLE, key=len, reverse=True)]
    whole = re.compile("|".join(patterns), re.IGNORECASE)
    return whole.sub(lambda found: PEOPLE[" ".join(found.group().split()).casefold()], text)


@settings(max_examples=300, deadline=None)
@given(st.lists(PIECES, max_size=7).map("".join))
def test_looking_names_up_by_their_words_hides_what_one_pattern_of_all_names_hides(text: str) -> None:
    assert hidden_names._replacer(PEOPLE)(text) == one_by_one(text)
