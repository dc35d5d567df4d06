"""How often scrutiny is wrong, and what it sees: `python tests/bench/calibration.py [--files 2000] [--power 250]`.

Honest sheets of sixteen kinds and five sizes are asked every question of chance, as one person's record, and so are
sheets fabricated in the styles of sheets_of_readings.py. False alarms come with exact 95 % intervals (Clopper and
Pearson). The same arguments give the same figures; `--save` writes them to schemas/calibration.json, from which the
report's method page prints them. The default takes about half an hour of one busy core.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
import zlib
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from scipy import stats

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parent))
from made_of import made_of
from sheets_of_readings import COARSE, FINE, KINDS, STYLES, TO_FABRICATE, Kind, Sheet, Style, fleet, groups_of

from rcdcheck import data
from rcdcheck.scrutiny import ask_group, copied_blocks, strength
from rcdcheck.scrutiny.answer import Answer

SIZES = (20, 50, 100, 200, 500)
LEVEL = 0.001
REFERENCE = 300
LARGE = 5000


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure, print, and save where asked."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    parser.add_argument("--files", type=int, default=3000, help="honest sheets of each kind and size")
    parser.add_argument("--large", type=int, default=60, help=f"honest records of {LARGE:,} devices of each kind")
    parser.add_argument("--power", type=int, default=250, help="fabricated sheets of each style, size and resolution")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--save", action="store_true", help="write schemas/calibration.json")
    chosen = parser.parse_args(arguments)
    measured = {
        "command": f"python tests/bench/calibration.py --files {chosen.files} --large {chosen.large} "
        f"--power {chosen.power} --seed {chosen.seed} --save",
        "made_of": made_of(sources(), without=NOT_OF_CHANCE),
        "level": LEVEL,
        "sizes": list(SIZES),
        "reference_pairs": REFERENCE,
        "false_alarms": false_alarms(chosen.files, chosen.seed),
        "large": large(chosen.large, chosen.seed),
        "power": power(chosen.power, chosen.seed),
    }
    text = as_text(measured)
    sys.stdout.write(text)
    if chosen.save:
        (data.schemas() / "calibration.json").write_text(text, encoding="utf-8")


# what nothing here asks or runs: direct questions, and the way from tables to groups and from answers to findings
NOT_OF_CHANCE = frozenset(
    {"plausibility", "pace", "file_traces", "failure_rate", "used_again"}
    | {"grouping", "limits", "listed_again", "method", "raising"}
)


def sources() -> list[Path]:
    """What the figures rest on: the questions of chance, their settings, and the sheets that they are asked of."""
    own = Path(__file__).parent
    code = (own.parents[1] / "rcdcheck" / "scrutiny").glob("*.py")
    asked = [path for path in code if path.stem not in NOT_OF_CHANCE]
    return [*asked, data.schemas() / "scrutiny.toml", own / "sheets_of_readings.py"]


def as_text(measured: dict[str, Any]) -> str:
    """The document, with each list of figures on one line."""
    text = json.dumps(measured, indent=1, ensure_ascii=False)
    return re.sub(r"\[[^\[\]{}]*\]", lambda found: " ".join(found[0].split()), text) + "\n"


# ── one sheet ──


def answers(sheet: Sheet, rng: np.random.Generator) -> list[Answer]:
    """All answers about a sheet that is shown, with 300 honest pairs of visits of another person beside it."""
    now, last = groups_of(sheet, fleet(sheet.kind, REFERENCE, rng).shown(rng))
    return [a for a in (*ask_group(now), copied_blocks.ask_between((now, last))[0]) if a.asked]


def tally(found: Sequence[Answer]) -> Counter[str]:
    """What a sheet adds to the counts: each question at the level by itself, and the whole set after Holm."""
    count = Counter({code(a): 1 for a in found if a.direct})
    found = [a for a in found if not a.direct]
    chance = np.array([a.chance for a in found])
    count.update(f"asked {code(a)}" for a in found)
    count.update(code(a) for a in found if a.chance <= LEVEL)
    adjusted = strength.holm(chance) if len(chance) else chance
    words = [strength.word(p, capped=a.capped) for p, a in zip(adjusted, found, strict=True)]
    count.update({w for w in words if w != strength.NOTHING} and {"any note or doubt"})
    count.update({"any doubt"} if {strength.MODERATE, strength.STRONG} & set(words) else ())
    count.update({"any strong doubt"} if strength.STRONG in words else ())
    return count


def code(answer: Answer) -> str:
    """Name of an answer: the code of its doubt, also where it is capped at a note here; else that of its note."""
    return answer.doubt or answer.note.removesuffix("-note")


# ── honest sheets ──


def false_alarms(files: int, seed: int) -> dict[str, Any]:
    """Counts and rates by kind, pooled over sizes, and in all."""
    by_kind = {kind.name: _honest(kind, files, seed) for kind in KINDS}
    whole = sum(by_kind.values(), Counter())
    total = files * len(SIZES)
    worst = max(by_kind, key=lambda name: by_kind[name]["any note or doubt"])
    codes = sorted(name.removeprefix("asked ") for name in whole if name.startswith("asked "))
    return {
        "files": total * len(KINDS),
        "files_per_kind_and_size": files,
        "pooled": {what: rate(whole[what], total * len(KINDS)) for what in ANY},
        "worst_kind": worst,
        "kinds": {name: {what: rate(c[what], total) for what in ANY} for name, c in by_kind.items()},
        "questions": {
            name: {
                **rate(whole[name], whole[f"asked {name}"]),
                "worst_kind": max(by_kind, key=lambda k, n=name: by_kind[k][n]),  # type: ignore[misc]
                "worst_rate": max(c[name] / max(1, c[f"asked {name}"]) for c in by_kind.values()),
            }
            for name in codes
        },
    }


ANY = ("any note or doubt", "any doubt", "any strong doubt")


def _honest(kind: Kind, files: int, seed: int) -> Counter[str]:
    count: Counter[str] = Counter()
    for n in SIZES:
        rng = np.random.default_rng([seed, zlib.crc32(kind.name.encode()), n])
        for _ in range(files):
            count.update(tally(answers(fleet(kind, n, rng).shown(rng), rng)))
    sys.stderr.write(f"{kind.name}: {count['any note or doubt']} of {files * len(SIZES)}\n")
    return count


def large(files: int, seed: int) -> dict[str, Any]:
    """Counts and rates of a year's record of one person, all kinds together: floors and guards must hold there too."""
    count: Counter[str] = Counter()
    for kind in KINDS:
        rng = np.random.default_rng([seed, zlib.crc32(kind.name.encode()), LARGE])
        for _ in range(files):
            count.update(tally(answers(fleet(kind, LARGE, rng).shown(rng), rng)))
    return {"devices": LARGE, **{what: rate(count[what], files * len(KINDS)) for what in ANY}}


def rate(k: int, n: int) -> dict[str, float]:
    """Count, files, rate and its exact 95 % interval."""
    low = float(stats.beta.ppf(0.025, k, n - k + 1)) if k else 0.0
    high = float(stats.beta.ppf(0.975, k + 1, n - k)) if k < n else 1.0
    return {"count": k, "of": n, "rate": k / max(n, 1), "low": round(low, 7), "high": round(high, 7)}


# ── fabricated sheets ──


def power(files: int, seed: int) -> list[dict[str, Any]]:
    """Per cent of fabricated sheets seen, by style and resolution, for each size."""
    return [_style(style, step, files, seed) for style in STYLES for step in (FINE, COARSE)]


def _style(style: Style, step: tuple[float, float], files: int, seed: int) -> dict[str, Any]:
    kind = replace(TO_FABRICATE, step=step)
    seen = {what: [0] * len(SIZES) for what in (*style.seen_by, *ANY)}
    for i, n in enumerate(SIZES):
        rng = np.random.default_rng([seed, zlib.crc32(style.name.encode()), int(step[0] * 10), n])
        for _ in range(files):
            count = tally(answers(style.make(fleet(kind, n, rng).shown(rng), rng), rng))
            for what, row in seen.items():
                row[i] += count[what]
    sys.stderr.write(f"{style.name}, {step[0]} ms: {seen}\n")
    percent = {what: [round(100 * k / files, 1) for k in row] for what, row in seen.items()}
    return {"style": style.name, "step_ms": step[0], "step_ma": step[1], "files": files, "per_cent": percent}


if __name__ == "__main__":
    main()
