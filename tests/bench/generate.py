"""Sheets of any size for the benchmark: `python tests/bench/generate.py FILE --devices 100000 [--bad 0.5]`.

Thirteen columns, a row a device. Readings come from the simulator of the samples; `--bad` is the share of
reading cells that are spoilt: words, two commas in a number, a value beyond any instrument, a lost decimal
point, nothing. The same arguments give the same bytes of CSV, and the same cells of a workbook.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import numpy.typing as npt

sys.path.insert(0, str(Path(__file__).parents[2] / "samples"))
from making import simulator

HEADINGS = (
    "Device", "Site", "Rated IΔn (mA)", "Visual", "Test button", "Trip time 1× 0° (ms)",
    "Trip time 1× 180° (ms)", "Trip time 5× 0° (ms)", "Ramp trip current (mA)", "Result",
    "Tested by", "Instrument", "Tested at",
)  # fmt: skip
BAD = ("see note", "28,4,1", "99999", "2840", "", "ditto", "-3")
PER_SITE = 500
CHUNK = 100_000

Texts = npt.NDArray[np.object_]


def rows(devices: int, bad: float = 0.0, seed: int = 1) -> Iterator[Texts]:
    """Chunks of rows of texts, shape (m, 13), `devices` rows in all; about 2 % never trip at 180°."""
    random = np.random.RandomState(seed)
    for first in range(0, devices, CHUNK):
        yield _chunk(random, first, min(CHUNK, devices - first), bad)


def _chunk(random: simulator.Random, first: int, n: int, bad: float) -> Texts:
    readings = simulator.visit(random, simulator.devices(random, np.full(n, 30.0)))
    number = np.arange(first, first + n)
    table = np.empty((n, len(HEADINGS)), dtype=object)
    table[:, 0] = [f"W-{i:07d}" for i in number]
    table[:, 1] = [f"Site {i // PER_SITE:04d}" for i in number]
    table[:, 2:5] = np.array(["30", "pass", "pass"], dtype=object)
    for column, name in enumerate(("trip_time_1x_0", "trip_time_1x_180", "trip_time_5x_0", "trip_current"), 5):
        table[:, column] = [f"{x:.1f}" for x in readings[name]]
    fails = random.random_sample(n) < 0.02
    table[fails, 6] = "no trip"
    table[:, 9] = np.where(fails, "fail", "pass")
    table[:, 10] = [f"Technician {i // PER_SITE % 40}" for i in number]
    table[:, 11] = [f"Meter {i // PER_SITE % 40}" for i in number]
    table[:, 12] = _clock(random, number)
    spoilt = random.random_sample((n, 4)) < bad
    table[:, 5:9][spoilt] = np.array(BAD, dtype=object)[random.randint(len(BAD), size=int(spoilt.sum()))]
    return table


def _clock(random: simulator.Random, number: npt.NDArray[np.int64]) -> list[str]:
    """Each technician's days from 2025 on, 100 tests a day, about three minutes apart."""
    day = number // PER_SITE // 40 * 5 + number % PER_SITE // 100
    minute = 420 + number % 100 * 3 + random.randint(3, size=len(number))
    at = np.datetime64("2025-01-06", "m") + (day * 1440 + minute).astype("timedelta64[m]")
    return [text.replace("T", " ") for text in np.datetime_as_string(at, unit="m").tolist()]


def write(path: Path, devices: int, bad: float = 0.0, seed: int = 1) -> Path:
    """Write `path` as CSV, or as a workbook where its name ends in .xlsx."""
    if path.suffix == ".xlsx":
        return _write_workbook(path, devices, bad, seed)
    with path.open("w", encoding="utf-8", newline="") as stream:
        stream.write(",".join(HEADINGS) + "\n")
        for table in rows(devices, bad, seed):
            quoted = np.where(table == "28,4,1", '"28,4,1"', table) if bad else table
            stream.write("\n".join(map(",".join, quoted.tolist())) + "\n")
    return path


def _write_workbook(path: Path, devices: int, bad: float, seed: int) -> Path:
    """Numbers are stored as numbers, as a spreadsheet would."""
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    sheet = book.create_sheet("Tests")
    sheet.append(HEADINGS)
    for table in rows(devices, bad, seed):
        for row in table.tolist():
            sheet.append([_number(cell) if 2 <= column <= 8 else cell for column, cell in enumerate(row)])
    book.save(path)
    return path


def _number(text: str) -> str | float:
    try:
        return float(text)
    except ValueError:
        return text


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("file", type=Path)
    parser.add_argument("--devices", type=int, default=10_000)
    parser.add_argument("--bad", type=float, default=0.0, help="share of reading cells that are spoilt")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    print(write(options.file, options.devices, options.bad, options.seed))
