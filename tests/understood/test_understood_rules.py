"""Every rule set judges cases of all kinds without breaking off, and stricter rules never make an outcome better."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from variants import audited
from whole_runs import DAY, ROOT

CASES = sorted(path.parent for path in (ROOT / "tests" / "cases").glob("*/expected.json"))
RULES = sorted(path.stem for path in (ROOT / "schemas" / "rules").glob("*.toml"))
WORST_FIRST = ("fail", "unclear", "incomplete", "pass")


def test_there_are_five_rule_sets() -> None:
    assert len(RULES) == 5


@pytest.fixture(scope="module")
def sheets() -> list[Path]:
    """All sheets of the cases that need no options of their own."""
    plain = [case for case in CASES if "args" not in tomllib.loads((case / "case.toml").read_text(encoding="utf-8"))]
    return [p for case in plain for p in sorted(case.iterdir()) if p.name not in ("case.toml", "expected.json")]


@pytest.mark.parametrize("rules", RULES)
def test_every_rule_set_judges_its_share_of_the_cases(rules: str, sheets: list[Path]) -> None:
    """What a rule set makes of a reading is held by `tests/judging/`; here each meets whole sheets of every kind."""
    some = sheets[RULES.index(rules) % 2 :: 2]
    assert len(decided(some, "--rules", rules)) > len(some)


@pytest.mark.long
def test_guarded_acceptance_and_what_is_required_on_top_are_stricter(sheets: list[Path]) -> None:
    some = sheets[::3]
    plainly = decided(some)
    guarded, asking = decided(some, "--decision", "guarded"), decided(some, "--require", "visual,push_button,ramp")
    assert set(plainly) == set(guarded) == set(asking)
    assert not better(guarded, plainly)
    assert not {place for place in better(asking, plainly) if asking[place] == "pass"}


def better(stricter: dict[tuple[str, str], str], plainly: dict[tuple[str, str], str]) -> set[tuple[str, str]]:
    """Devices that come out better under the stricter rules."""
    return {p for p in plainly if WORST_FIRST.index(stricter[p]) > WORST_FIRST.index(plainly[p])}


def decided(sheets: list[Path], *options: str) -> dict[tuple[str, str], str]:
    """Outcome by file and device of all sheets in one run."""
    document = audited(sheets[0], *options, "--as-of", DAY, *map(str, sheets[1:]))
    return {(d["where"][0]["file"], d["device"]): d["outcome"] for d in document["devices"]}
