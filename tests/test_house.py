"""What the papers of the house say of themselves: versions and floors."""

from __future__ import annotations

import re
import tomllib

from whole_runs import ROOT

from rcdcheck.scrutiny.method import QUESTIONS, page

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
    run = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert run.index(".ci/oldest.py") < run.index("export PIP_CONSTRAINT") < run.index('eval "${tests%%')


def test_no_line_of_a_template_is_too_long_to_read() -> None:
    for path in (ROOT / "rcdcheck" / "reports" / "templates").glob("*.j2"):
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            assert len(line) <= 330, (
                f"{path.name}, line {number}: break it behind a %}}, which takes the line break with it"
            )


def test_no_template_has_a_table_of_words_of_its_own() -> None:
    """Words are those of reports/wording.py, so that every face has the same."""
    for path in (ROOT / "rcdcheck" / "reports" / "templates").glob("*.j2"):
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"""\{%-?\s*set\s+\w+\s*=\s*[\{\[]|\{\s*["']\w+["']\s*:""", text), path.name


def test_every_question_of_scrutiny_has_its_page() -> None:
    asked = {path.stem for path in (ROOT / "rcdcheck" / "scrutiny").glob("*.py")
             if re.search(r"^QUESTION = ", path.read_text(encoding="utf-8"), re.MULTILINE)}  # fmt: skip
    assert asked == set(QUESTIONS)
    for question in asked:
        told = page(question)
        assert all((told.asks, told.why, told.how, told.source, told.not_asked, told.innocent)), question
