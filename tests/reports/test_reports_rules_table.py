"""A rule set in print: fits the terminal, and leaves out no figure's source."""

from __future__ import annotations

import pytest

from rcdcheck.reports.rules_table import rules_list_text, rules_text
from rcdcheck.rules import load, shipped


@pytest.mark.parametrize("name", shipped())
@pytest.mark.parametrize("width", [80, 120])
def test_every_source_is_printed_within_the_width(name: str, width: int) -> None:
    rules = load(name)
    text = rules_text(rules, width)
    assert max(map(len, text.splitlines())) <= width
    flat = " ".join(text.split())
    sources = [t.source for t in rules.types] + [n.source for n in rules.needs]
    sources += [x.source for x in rules.limits] + [i.source for i in rules.intervals]
    assert all(source in flat for source in sources)
    for limit in rules.limits:
        for source in filter(None, (limit.minimum_source, limit.caution_source, limit.window_source)):
            assert source in flat
    assert " ".join(rules.notice.split()) in flat
    assert rules.sha256 in flat


def test_a_limit_is_printed_with_its_standing_and_both_published_figures() -> None:
    lines = rules_text(load("anz-in-service")).splitlines()
    at = next(i for i, line in enumerate(lines) if "I: at most 40 ms at 1×" in line)
    assert lines[at].endswith("  published")
    assert "Above 30 ms a caution" in " ".join(lines[at : at + 4])


def test_the_list_names_every_set_and_the_default() -> None:
    text = rules_list_text()
    assert "anz-in-service (default)" in text
    assert all(name in text for name in shipped())
    assert max(map(len, text.splitlines())) <= 80
