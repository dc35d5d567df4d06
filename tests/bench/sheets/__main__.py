"""Makes sheets, runs the program over them and prints how it did.

python -m sheets --count 300 --seed 1        # from the folder tests/bench
"""

from __future__ import annotations

import json
import multiprocessing
import tempfile
from collections import Counter
from dataclasses import asdict, dataclass, field
from pathlib import Path

import click

from .layouts import LAYOUTS
from .loud import Cry, make_loud
from .phrases import Bank, load_bank
from .scoring import Score, audit_document, judge, score_sheet
from .tables import Sheet, make_sheet
from .writing import write

SCORES = ("right", "asked", "wrong", "lost", "dangerous")
LOUD_SCORES = ("heard", "unheard", "lost")
HEADINGS = ("right", "asked", "wrong", "unknown")


@dataclass
class Task:
    """One sheet to make and score."""

    bank: Bank
    layout: str
    seed: int
    loud: bool
    keep: Path | None


@dataclass
class Outcome:
    """What came of one sheet."""

    layout: str
    file: str
    scores: Counter[str] = field(default_factory=Counter)
    headings: Counter[str] = field(default_factory=Counter)
    questions: int = 0
    crashed: bool = False
    failures: list[tuple[str, str]] = field(default_factory=list)


def run(task: Task) -> Outcome:
    """Make a sheet, write it, score it."""
    sheet = make_sheet(task.bank, task.layout, task.seed)
    cry = make_loud(sheet) if task.loud else None
    with tempfile.TemporaryDirectory() as temporary:
        path = write(sheet, task.keep or Path(temporary), f"{task.layout}-{task.seed}{'-loud' if cry else ''}")
        if task.keep:
            path.with_suffix(".json").write_text(truth_json(sheet, cry), encoding="utf-8")
        outcome = Outcome(task.layout, path.name)
        if task.loud:
            _score_loud(sheet, cry, path, outcome)
        else:
            _score(sheet, score_sheet(sheet, path), outcome)
    return outcome


def truth_json(sheet: Sheet, cry: Cry | None) -> str:
    """The truth of a sheet, for a developer who looks at its file."""
    devices = [
        {"names": device.names, "kind": device.kind, "expected": device.expected, "rows": sheet.rows(index)}
        for index, device in enumerate(sheet.devices)
    ]
    document = {
        "layout": sheet.layout,
        "language": sheet.style.words.language,
        "devices": devices,
        "headings": [asdict(heading) for heading in sheet.headings],
        "loud": asdict(cry) if cry else None,
    }
    return json.dumps(document, ensure_ascii=False, indent=1)


def _score(sheet: Sheet, score: Score, outcome: Outcome) -> None:
    outcome.scores = Counter(verdict.score for verdict in score.verdicts)
    outcome.headings, outcome.questions, outcome.crashed = score.headings, score.questions, score.crashed
    for verdict in score.verdicts:
        device = sheet.devices[verdict.device]
        got = verdict.got or "nothing"
        text = f"{device.name} {sheet.rows(verdict.device)}: {device.kind}, expected {device.expected}, got {got}"
        outcome.failures.append((verdict.score, text))
    outcome.failures += [(f"heading-{state}", f"{text} -> {meaning}") for state, text, meaning in score.misread]


def _score_loud(sheet: Sheet, cry: Cry | None, path: Path, outcome: Outcome) -> None:
    if cry is None:
        return
    document = audit_document([path])
    outcome.crashed = not document
    verdict = judge(sheet, cry.device, document)
    state = "unheard" if verdict.got.startswith("pass") else "heard" if verdict.got else "lost"
    outcome.scores[state] += 1
    place = f"row {cry.spot.row} column {cry.spot.column} ({cry.spot.key}, “{cry.spot.heading}”)"
    outcome.failures.append((state, f"{sheet.devices[cry.device].name}: “{cry.text}” in {place}"))


@click.command()
@click.option(
    "--bank",
    type=click.Path(exists=True, path_type=Path),
    default=Path(__file__).with_name("phrases.toml"),
    help="Phrase bank (TOML).",
)
@click.option("--seed", default=1, help="Of the draw.")
@click.option("--count", default=300, help="Sheets to make.")
@click.option("--layout", type=click.Choice(list(LAYOUTS)), multiple=True, help="Only these layouts.")
@click.option("--loud", is_flag=True, help="Let one cell of each sheet say that a passing device failed.")
@click.option("--jobs", default=1, help="Processes.")
@click.option("--keep", type=click.Path(path_type=Path), help="Folder to keep the files and their truth in.")
@click.option(
    "--show", default="", help="List these: wrong,lost,dangerous,asked,unheard,heading-wrong,heading-unknown."
)
def command(
    bank: Path, seed: int, count: int, layout: tuple[str, ...], loud: bool, jobs: int, keep: Path | None, show: str
) -> None:
    """Make sheets, audit them, and print how the program did."""
    names = layout or tuple(LAYOUTS)
    phrases = load_bank(bank)
    if keep:
        keep.mkdir(parents=True, exist_ok=True)
    tasks = [Task(phrases, names[i % len(names)], seed * 100_000 + i, loud, keep) for i in range(count)]
    if jobs > 1:
        with multiprocessing.Pool(jobs) as pool:
            outcomes = pool.map(run, tasks, chunksize=4)
    else:
        outcomes = [run(task) for task in tasks]
    _list(outcomes, show.split(","))
    _print(outcomes, LOUD_SCORES if loud else SCORES)


def _list(outcomes: list[Outcome], wanted: list[str]) -> None:
    for outcome in outcomes:
        if outcome.crashed:
            print(f"crashed {outcome.file}")
        for state, text in outcome.failures:
            if state in wanted:
                print(f"{state} {outcome.file}: {text}")


def _print(outcomes: list[Outcome], scores: tuple[str, ...]) -> None:
    heads = [*scores, "crashed", "questions", *(f"h-{state}" for state in HEADINGS)]
    print(f"{'layout':16}{'sheets':>7}" + "".join(f"{head:>10}" for head in heads))
    for name in [*LAYOUTS, "all"]:
        group = [outcome for outcome in outcomes if name in (outcome.layout, "all")]
        if group:
            print(f"{name:16}{len(group):7}" + "".join(f"{figure:>10}" for figure in _figures(group, scores)))


def _figures(group: list[Outcome], scores: tuple[str, ...]) -> list[str]:
    counts = sum((outcome.scores for outcome in group), Counter[str]())
    headings = sum((outcome.headings for outcome in group), Counter[str]())
    questions = sum(outcome.questions for outcome in group) / len(group)
    return [
        *(str(counts[state]) for state in scores),
        str(sum(outcome.crashed for outcome in group)),
        f"{questions:.2f}",
        *(str(headings[state]) for state in HEADINGS),
    ]


if __name__ == "__main__":
    command()
