"""A register of any size for the benchmark: yearly visits of many sites, made by SQLite itself and not by audits.

`python tests/bench/fleet.py FILE --tests 1000000` makes visits of 500 devices each; a device is seen four times. What
it holds has the shape that audits give it, with the states and places that every question reads.
"""

from __future__ import annotations

import argparse
import datetime as dt
from pathlib import Path

import numpy as np

from rcdcheck.register.earlier_readings import keep
from rcdcheck.register.states import renew
from rcdcheck.register.store import Register, opened
from rcdcheck.rules import load

PER_SITE, VISITS = 500, 4
FIRST = dt.date(2022, 3, 1)


def fill(path: Path, tests: int) -> Path:
    """Make the register; `tests` is a multiple of 2,000."""
    sites = tests // PER_SITE // VISITS
    random = np.random.RandomState(1)
    with opened(path, writing=True) as register:
        register.connection.execute("INSERT INTO slots VALUES (1, 'trip_time_1x_0'), (2, 'trip_time_1x_180')")
        for site in range(sites):
            _site(register, site, random)
        renew(register, range(1, sites * PER_SITE + 1), load("anz-in-service"))
        register.commit()
    return path


def _site(register: Register, site: int, random: np.random.RandomState) -> None:
    run, first = register.connection.executemany, site * PER_SITE
    numbers = [first + i + 1 for i in range(PER_SITE)]
    names = [f"w-{n:07d}" for n in numbers]
    run("INSERT INTO places (id, name) VALUES (?, ?)", [(site + 1, f"Site {site:04d}")])
    run("INSERT INTO place_names VALUES (?, ?)", [(f"site {site:04d}", site + 1)])
    run(
        "INSERT INTO devices (id, place, board, name, serial, location, kind, environment, model, rated, board_key,"
        " name_key, plain_key, serial_key) VALUES (?, ?, '', ?, '', '', 'portable', 'office', '', 30, '', ?, ?, '')",
        ((n, site + 1, name.upper(), name, name.replace("-", "")) for n, name in zip(numbers, names, strict=True)),
    )
    level = random.lognormal(np.log(27), 0.2, (PER_SITE, 2))
    for year in range(VISITS):
        _visit(register, site, year, numbers, np.round(level * random.normal(1, 0.03, level.shape), 1), names)


def _visit(register: Register, site: int, year: int, numbers: list[int], times: np.ndarray, names: list[str]) -> None:
    run, visit = register.connection.executemany, site * VISITS + year + 1
    day = (FIRST + dt.timedelta(days=365 * year + site % 200)).isoformat()
    first = (visit - 1) * PER_SITE + 1
    tests = range(first, first + PER_SITE)
    run(
        "INSERT INTO visits VALUES (?, ?, ?, 1, ?, 'r', 'r', '0', 'A', '', 500, 500, 0, 0, 0, 500, ?, ?, NULL)",
        [(visit, f"{visit:064x}", f"{visit}.csv", day, day, day)],
    )
    run(
        "INSERT INTO sightings VALUES (?, ?, ?, ?, '', ?, '', '', 'portable', 'office', '', 30, ?, ?, 0, 0, 0, '', '')",
        (
            (t, visit, n, f"Site {site:04d}", name.upper(), day, day)
            for t, n, name in zip(tests, numbers, names, strict=True)
        ),
    )
    run(
        "INSERT INTO tests VALUES (?, ?, '', ?, NULL, 'A. Snowfield', 'Meter A', 2, 2, 0, '', '', 0, ?, '', 2)",
        ((t, t, day, t) for t in tests),
    )
    run(
        "INSERT INTO readings VALUES (?, ?, ?, ?, 0, 0, 1, 300)",
        ((t, k, k + 1, value) for t, pair in zip(tests, times.tolist(), strict=True) for k, value in enumerate(pair)),
    )
    keep(register, visit, np.array(numbers), times[:, 0], times[:, 1], np.full(len(times), np.nan))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("file", type=Path)
    parser.add_argument("--tests", type=int, default=1_000_000)
    options = parser.parse_args()
    print(fill(options.file, options.tests))
