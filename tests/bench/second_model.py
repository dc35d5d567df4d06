"""How the second model of honest work fares: `python tests/bench/second_model.py [--months 930]`.

Each habit of honest/habits.py makes `--months` seeded months, which every question of credibility is asked as tables;
`--files` of them go through files, intake and the whole audit as well, and `otherwise` counts those that are doubted
in one way only. Counted are people of whom a doubt was raised, by habit, with exact 95 % intervals (Clopper and
Pearson), and the notes. Then `--invented` months of each invention of honest/inventions.py are asked, of 50 and of 100
devices. The same arguments give the same figures; `--save` writes them to schemas/second-model.json. The default takes
half an hour of one idle core.
"""

from __future__ import annotations

import argparse
import sys
import zlib
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parent / "honest"))
from calibration import as_text, rate
from frames import tables_of
from habits import HABITS, Files, Habit
from inventions import STYLES
from made_of import made_of
from people import Rng
from through_files import doubts_and_notes

from rcdcheck import data, identity, rules
from rcdcheck.options import Options
from rcdcheck.scrutiny import OF_ALL, ask_group, copied_blocks, strength
from rcdcheck.scrutiny.answer import Answer
from rcdcheck.scrutiny.grouping import prepare
from rcdcheck.scrutiny.preparation import Group

BENCH = Path(__file__).parent
RULES = rules.load("anz-in-service")
DOUBTED = (strength.MODERATE, strength.STRONG)
DEVICES = (50, 100)
TOGETHER = 40  # months in one table
SAVED = "second-model.json"


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure, print, and save where asked."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    parser.add_argument("--months", type=int, default=930, help="months of each habit, as tables")
    parser.add_argument("--files", type=int, default=2, help="of these, months of each habit through files too")
    parser.add_argument("--invented", type=int, default=60, help="months of each invention and size")
    parser.add_argument("--only", default="", help="habits and inventions that have these words")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--save", action="store_true", help=f"write schemas/{SAVED}")
    chosen = parser.parse_args(arguments)
    kinds = [kind(h, chosen.months, chosen.files, chosen.seed) for h in HABITS if chosen.only in h.name]
    measured = {
        "command": f"python tests/bench/second_model.py --months {chosen.months} --files {chosen.files} "
        f"--invented {chosen.invented} --seed {chosen.seed} --save",
        "made_of": made_of(sources()),
        **pooled(kinds),
        "kinds": kinds,
        "inventions": [
            invention(name, make, devices, chosen.invented, chosen.seed)
            for name, make in STYLES.items()
            for devices in DEVICES
            if chosen.only in name
        ],
    }
    text = as_text(measured)
    sys.stdout.write(text)
    if chosen.save:
        (data.schemas() / SAVED).write_text(text, encoding="utf-8")


def sources() -> list[Path]:
    """What the figures rest on: all questions, their settings, and the months that they are asked of."""
    code = (BENCH.parents[1] / "rcdcheck" / "scrutiny").glob("*.py")
    own = [BENCH / "honest" / f"{name}.py" for name in ("habits", "people", "frames", "inventions")]
    return [*(p for p in code if p.stem not in ("method", "limits")), data.schemas() / "scrutiny.toml", *own]


def kind(habit: Habit, months: int, files: int, seed: int) -> dict[str, Any]:
    """Counts of one habit."""
    count: Counter[str] = Counter()
    said: Counter[str] = Counter()
    for first in range(0, months, TOGETHER):
        made = [habit.make(_rng(habit.name, seed, i)) for i in range(first, min(first + TOGETHER, months))]
        for i, (month, (doubts, notes, people)) in enumerate(zip(made, asked(made), strict=True), first):
            count.update(sheets=sum(len(book) for book in month.values()), people=people, doubted=len(doubts))
            said.update({code for codes in doubts.values() for code in codes})
            said.update({f"{code} (note)" for code in notes})
            if i < files:
                count["otherwise"] += bool(doubts_and_notes(month)[0]) != bool(doubts)
    sys.stderr.write(f"{count['doubted']:4d} of {count['people']:5d} | {habit.name} | {dict(said)}\n")
    return {
        "kind": habit.name,
        "months": months,
        "sheets": count["sheets"],
        "doubted": rate(count["doubted"], count["people"]),
        "as_files": {"months": min(files, months), "otherwise": count["otherwise"]},
        "months_with": dict(sorted(said.items())),
    }


def _rng(name: str, seed: int, i: int) -> Rng:
    return np.random.default_rng([seed, zlib.crc32(name.encode()), i])


Asked = tuple[dict[int, set[str]], set[str], int]


def asked(months: Sequence[Files]) -> list[Asked]:
    """Of each month the codes of doubts by person, where there are any, the codes of all notes, and how many people."""
    tables, month = tables_of(months)
    device = identity.number_devices(tables, Options())
    material = prepare(tables, ~identity.listed_again(tables, device), device, RULES)
    groups: list[list[Group]] = [[] for _ in months]
    for group in material.groups:
        groups[month[group.tests[0]]].append(group)
    of_person = np.full(len(material.who), -1)
    of_person[material.people] = month
    answers = [[a for g in mine for a in ask_group(g)] + copied_blocks.ask_between(tuple(mine)) for mine in groups]
    for answer in (a for ask in OF_ALL for a in ask(material)):
        if answer.who.family >= 0:
            answers[of_person[answer.who.family]].append(answer)
    people = np.bincount(of_person, minlength=len(months))
    return [(*_said(mine), int(n)) for mine, n in zip(answers, people, strict=True)]


def _said(answers: Sequence[Answer]) -> tuple[dict[int, set[str]], set[str]]:
    """Doubts by person and notes of one month, adjusted and worded as raising.weigh does."""
    chance = np.array([a.chance if a.asked else np.nan for a in answers])
    adjusted = strength.adjust(chance, np.array([a.who.family for a in answers], dtype=np.float64))
    doubts: dict[int, set[str]] = {}
    notes = set()
    for answer, p in zip(answers, adjusted, strict=True):
        word = answer.direct or strength.word(p, capped=answer.capped)
        if answer.asked and word in DOUBTED:
            doubts.setdefault(answer.who.family, set()).add(answer.doubt)
        elif answer.asked and word == strength.NOTE:
            notes.add(answer.note)
    return doubts, notes


def pooled(kinds: list[dict[str, Any]]) -> dict[str, Any]:
    """What all kinds come to, and the worst of them."""
    worst = max(kinds, key=lambda k: k["doubted"]["rate"], default=None)
    return {
        "months": sum(k["months"] for k in kinds),
        "sheets": sum(k["sheets"] for k in kinds),
        "doubted": rate(sum(k["doubted"]["count"] for k in kinds), sum(k["doubted"]["of"] for k in kinds)),
        "worst_kind": worst["kind"] if worst else "",
    }


def invention(name: str, make: Callable[[Rng, int], Files], devices: int, months: int, seed: int) -> dict[str, Any]:
    """How many invented months were doubted, as tables, and by which questions."""
    said: Counter[str] = Counter()
    for i in range(months):
        ((doubts, _, _),) = asked([make(_rng(name, seed, i), devices)])
        codes = {code for mine in doubts.values() for code in mine}
        said.update({"any doubt"} if codes else ())
        said.update(codes)
    sys.stderr.write(f"INVENTED, {devices} devices | {name} | {dict(said)} of {months}\n")
    return {"style": name, "devices": devices, "months": months, "doubted": dict(sorted(said.items()))}


if __name__ == "__main__":
    main()
