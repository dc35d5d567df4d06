"""How often an honest register is asked about: `python tests/bench/register_calibration.py [--fleets 40]`.

Honest fleets of sixteen kinds and three sizes are measured anew at each of ten visits, with those of another person and
of two more sites in the register beside them, in tenths and in whole milliseconds. From the second visit on, each
sheet is asked whether earlier readings were used again; what is counted is sheets, and technicians over all visits,
with a note or a doubt after Holm. The same arguments give the same figures.
"""

from __future__ import annotations

import argparse
import sys
import zlib
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from calibration import LEVEL, code, rate
from sheets_of_readings import KINDS, Kind, Rng, _bounded, _difference, _models_in_order, _read, _shown

from rcdcheck.scrutiny import preparation, strength
from rcdcheck.scrutiny.answer import Answer
from rcdcheck.scrutiny.used_again import Earlier, ask_blocks, ask_devices
from rcdcheck.tables import Numbers

SIZES = (20, 60, 200)
BESIDE = 100  # devices of another person, tested at the same visits
SITES = 2  # more sites of as many devices


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    parser.add_argument("--fleets", type=int, default=40, help="of each kind and size")
    parser.add_argument("--visits", type=int, default=10)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    whole: Counter[str] = Counter()
    for kind in KINDS:
        count: Counter[str] = Counter()
        for n in SIZES:
            rng = np.random.default_rng([asked.seed, zlib.crc32(kind.name.encode()), n])
            for _ in range(asked.fleets):
                count.update(technician(kind, n, asked.visits, rng))
        print(f"{kind.name}: {_said(count)}", flush=True)
        whole += count
    print(f"ALL: {_said(whole)}")
    for what in ("sheets: note", "sheets: doubt", "technicians: note", "technicians: doubt"):
        print(what, rate(whole[what], whole[what.split(":")[0]]))
    for name in sorted(key.removeprefix("asked ") for key in whole if key.startswith("asked ")):
        print(name, rate(whole[name], whole[f"asked {name}"]))


def _said(count: Counter[str]) -> str:
    return ", ".join(f"{count[f'{unit}: {what}']} {what}s of {count[unit]} {unit}"
                     for unit in ("sheets", "technicians") for what in ("note", "doubt"))  # fmt: skip


def measured(kind: Kind, n: int, visits: int, rng: Rng) -> list[Numbers]:
    """Readings of one fleet at each visit, shape (n, 3); it changes between two visits as that of `fleet` does."""
    models = int(rng.integers(kind.models[0], kind.models[1] + 1))
    median = np.clip(rng.lognormal(np.log(27), 0.32, models), 14, 50)
    spread, phase = rng.uniform(*kind.device_spread, models), rng.uniform(*kind.phase_ms, models)
    level = rng.uniform(0.74, 0.82, models)
    model = _models_in_order(models, n, kind.runs, rng)
    base = median[model] * np.exp(rng.normal(0, 1, n) * spread[model])
    own = _difference(kind, phase[model], rng)
    ramp = 30 * (level[model] + 0.05 * _bounded(n, rng))
    out = []
    for _ in range(visits):
        still = kind.stable
        now = base if still else base * (1 + rng.normal(0, 0.03, n))
        difference = own if still else 0.8 * own + 0.6 * _difference(kind, phase[model], rng)
        needed = ramp if still else ramp * (1 + rng.normal(0, 0.03, n))
        out.append(_shown(_read(now, difference, needed, rng), kind, rng))
    return out


def technician(kind: Kind, n: int, visits: int, rng: Rng) -> Counter[str]:
    """What one technician's sheets add to the counts."""
    sizes = (n, BESIDE, *(n,) * SITES)
    fleets = [measured(kind, size, visits, rng) for size in sizes]
    device = np.arange(sum(sizes))
    rounds = [np.concatenate([fleet[nth] for fleet in fleets]) for nth in range(visits)]
    count: Counter[str] = Counter({"technicians": 1})
    worst = 1.0
    for nth in range(1, visits):
        smallest, found = sheet(rounds[: nth + 1], device, n)
        worst = min(worst, smallest)
        count.update(found)
    count.update(_words("technicians", worst))
    return count


def sheet(rounds: list[Numbers], device: np.ndarray, n: int) -> tuple[float, Counter[str]]:
    """Smallest adjusted chance of the latest sheet, and what it adds to the counts."""
    now, before = tuple(rounds[-1][: n + BESIDE].T), rounds[:-1]
    rows = np.concatenate(before)
    earlier = Earlier(
        visits=tuple((str(i), *before[i][: n + BESIDE].T) for i in reversed(range(len(before)))),
        known=device[: n + BESIDE],
        device=np.tile(device, len(before)),
        visit=np.repeat(np.arange(len(before)), len(device)),
        time0=rows[:, 0],
        time180=rows[:, 1],
        titles={i: str(i) for i in range(len(before))},
    )
    group = preparation.group(*(column[:n] for column in now))
    others = np.arange(n + BESIDE) >= n
    answers = [a for a in (*ask_devices(group, earlier, now, others), *ask_blocks([group], earlier)) if a.asked]
    return _tally(answers)


def _tally(answers: list[Answer]) -> tuple[float, Counter[str]]:
    count = Counter(f"asked {code(a)}" for a in answers)
    count.update(code(a) for a in answers if a.chance <= LEVEL)
    smallest = float(strength.holm(np.array([a.chance for a in answers])).min()) if answers else 1.0
    count.update({"sheets": 1})
    count.update(_words("sheets", smallest))
    return smallest, count


def _words(unit: str, adjusted: float) -> Counter[str]:
    word = strength.word(adjusted)
    found = Counter({f"{unit}: note": word != strength.NOTHING})
    found[f"{unit}: doubt"] = int(word in (strength.MODERATE, strength.STRONG))
    return found


if __name__ == "__main__":
    main()
