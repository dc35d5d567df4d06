"""The page of each question, read from the docstring of its module, and the measured figures."""

from __future__ import annotations

import ast
import functools
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rcdcheck import data

QUESTIONS = (
    "plausibility",
    "equal_phases",
    "repeated_sets",
    "copied_blocks",
    "filled_down",
    "one_value",
    "earlier_visit",
    "digits",
    "alternation",
    "pace",
    "file_traces",
    "failure_rate",
)
PARTS = {"Why": "why", "How": "how", "Source": "source", "Not asked": "not_asked", "Innocent": "innocent"}


@dataclass(frozen=True)
class Page:
    """What a question asks, why, how, by what source, when it may not be asked, and innocent explanations."""

    question: str
    asks: str
    why: str
    how: str
    source: str
    not_asked: str
    innocent: str


@functools.cache
def page(question: str) -> Page:
    """The page of one question."""
    source = Path(__file__).with_name(f"{question}.py").read_text(encoding="utf-8")
    text = ast.get_docstring(ast.parse(source)) or ""  # from the source: -OO leaves docstrings out
    first, _, rest = text.partition("\n\n")
    parts = re.split(rf"^({'|'.join(PARTS)}): ", rest, flags=re.MULTILINE)
    told = {PARTS[name]: " ".join(body.split()) for name, body in zip(parts[1::2], parts[2::2], strict=True)}
    return Page(question, first, **{name: told.get(name, "") for name in PARTS.values()})


def pages() -> tuple[Page, ...]:
    """The pages of all questions, in order."""
    return tuple(page(question) for question in QUESTIONS)


def calibration() -> dict[str, Any]:
    """False-alarm rates and power as measured by the benchmark, with the command that measured them."""
    return data.document("calibration.json")


def figures() -> tuple[str, ...]:
    """Sentences on what the benchmark measured, for the method page of a report."""
    measured = calibration()
    alarms = measured["false_alarms"]
    pooled, doubts = alarms["pooled"]["any note or doubt"], alarms["pooled"]["any doubt"]
    worst = alarms["kinds"][alarms["worst_kind"]]["any note or doubt"]
    sizes = ", ".join(map(str, measured["sizes"]))
    return (
        f"{pooled['of']:,} simulated honest sheets of {len(alarms['kinds'])} kinds with {sizes} devices were asked "
        f"every question of chance at {measured['level']:g} for each person.",
        f"A note or a doubt fell on {_share(pooled)}; a doubt on {_share(doubts)}.",
        f"Most often on “{alarms['worst_kind']}”: a note or a doubt on {_share(worst)}.",
        f"The command that measured it: {measured['command']}",
        *_second_model(),
        "No model holds all that honest people do; what cannot be told from invention by readings alone is said here.",
        *NOT_TOLD_APART,
    )


def _second_model() -> tuple[str, ...]:
    """What habits, written down apart from the questions, came to."""
    if not (data.schemas() / "second-model.json").is_file():  # not measured yet
        return ()
    measured = data.document("second-model.json")
    kinds = measured["kinds"]
    worst = next(k for k in kinds if k["kind"] == measured["worst_kind"])
    files, otherwise = (sum(k["as_files"][what] for k in kinds) for what in ("months", "otherwise"))
    return (
        f"A second model holds {len(kinds)} habits of honest people and instruments that the first leaves out, written "
        f"as a simulation and not observed: {measured['months']:,} months, {measured['sheets']:,} sheets. People of "
        f"whom a doubt was raised: {_share(measured['doubted'])}; most often with “{worst['kind']}”: "
        f"{_share(worst['doubted'])}.",
        f"{files:,} of these months went through files as well; {otherwise:,} were doubted in one way only.",
        f"The command that measured it: {measured['command']}",
    )


NOT_TOLD_APART = (
    "Times of typing, stamps of an automatic sequence, one time for a board: a quick pace is a note, never a doubt.",
    "An instrument that shows one time for both phases, beside 180° copied from 0° throughout: not asked, and a note.",
    "Two instruments that nobody names, one of which shows one time for both: not asked of stretches of ten devices or "
    "more that show it, and a note; of devices taken in turn with both still a doubt, with that explanation.",
    "Outlets of one device with identifiers of their own, beside a row copied right below itself: asked once a set.",
    "New devices of one delivery in whole milliseconds, beside rows copied among them: left out of the questions on "
    "repeated sets, blocks and runs; six or seven in a row with one and the same reading, beside a row dragged down: "
    "still a doubt.",
    "Devices of one make at a coarse display, beside one reading for most of them: a note where all others lie a step "
    "away.",
    "A stable fleet beside a worn one, beside last visit's readings moved a little: a note where no model is named, "
    "and not asked where nobody else's devices are there to compare with.",
    "Stable devices beside worn ones in whole milliseconds, beside last visit copied: a note where large changes of "
    "times and ramp currents go together too.",
    "A row listed again at the same clock time, or under the same identifier within a week: taken as the same test.",
    "Last visit's sheet taken as the form, rows without access keeping what stood there under today's date and without "
    "a remark, beside last visit copied: still a doubt, with that explanation.",
    "Electronic devices that show one reading on every device, beside one reading typed for all: still a doubt, with "
    "that explanation.",
)


def power() -> tuple[tuple[str, str, str, tuple[float, ...]], ...]:
    """Style of fabrication, display step, what saw it, and per cent of sheets in which it did, for each size."""
    return tuple(
        (row["style"], f"{row['step_ms']:g} ms, {row['step_ma']:g} mA", what, tuple(per_cent))
        for row in calibration()["power"]
        for what, per_cent in row["per_cent"].items()
    )


def _share(rate: dict[str, Any]) -> str:
    share, low, high = (f"{100 * rate[name]:.3f}" for name in ("rate", "low", "high"))
    return f"{rate['count']:,} of {rate['of']:,} ({share} %; exact 95 % interval {low} to {high} %)"
