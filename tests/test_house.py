"""What the papers of the house say of themselves: versions and floors."""

from __future__ import annotations

import re
import tomllib

from whole_runs import ROOT

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
PAPER = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_what_changed_is_told_for_this_version_first() -> None:
    told = PAPER[PAPER.index("## What changed") :]
    newest = re.search(r"\*\*([0-9.]+)\*\*: (.*?)(?=\n\*\*|\Z)", told, re.S)
    assert newest is not None and newest[1] == PROJECT["version"]
    assert f"git tag -a v{PROJECT['version']} " in PAPER


def test_every_dependency_has_a_floor_that_ci_can_install() -> None:
    """Types of other packages have none: they follow the package that they describe."""
    for wanted in (*PROJECT["dependencies"], *PROJECT["optional-dependencies"]["test"]):
        assert re.fullmatch(r"[\w-]+>=[0-9.]+", wanted) or wanted.startswith("types-"), wanted
    assert (ROOT / ".ci" / "run").read_text(encoding="utf-8").count("\n.ci/floors") == 1
