"""Sheets of any size for the benchmark: `python tests/bench/generate.py FILE --devices 100000 [--bad 0.5] [--typed]`.

Thirteen columns, a row a device. Readings come from the simulator of the samples; `--bad` is the share of
reading cells that are spoilt: words, two commas in a number, a value beyond any instrument, a lost decimal
point, nothing. `--typed` is a file as people type it: 2 % of the reading cells with a bound, a unit or nothing, four
ratings with ramps that fit them, a clock time of its own on every row, remarks on 3 %, a tenth of the devices with two
outlets and a tenth with two visits; `--failing` is the share that never trips at 180°. The same arguments give the same
bytes of CSV, and the same cells of a workbook.
"""

from __future__ import annotations

import argparse
import csv
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

RATINGS = ("10", "30", "100", "300")
REMARKS = (
    "label faded", "behind the fridge", "owner present", "tight fit", "dusty", "cover a bit loose, tightened",
    "cracked housing", "moved to hall", "tested after lunch", "second key needed",
)  # fmt: skip

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


def typed_rows(devices: int, failing: float = 0.02, seed: int = 1) -> Iterator[Texts]:
    """Chunks of rows of texts, shape (m, 15), `devices` rows in all, as people type them."""
    random = np.random.RandomState(seed)
    for first in range(0, devices, CHUNK):
        yield _typed_chunk(random, first, min(CHUNK, devices - first), failing)


def _typed_chunk(random: simulator.Random, first: int, n: int, failing: float) -> Texts:
    plain = _chunk(random, first, n, 0.0)
    number = np.arange(n)
    pair, again = number % 10 == 1, number % 10 == 3  # the second outlet, the second visit, of the device before it
    rating = random.randint(len(RATINGS), size=n)
    rating[pair | again] = rating[np.roll(pair | again, -1)]
    plain[:, 2] = np.array(RATINGS, dtype=object)[rating]
    ramp = plain[:, 8].astype(np.float64) * np.array([float(r) for r in RATINGS])[rating] / 30
    plain[:, 8] = [f"{x:.1f}" for x in ramp]
    passing = plain[:, 6] != "no trip"
    fails = random.random_sample(n) < failing
    plain[fails & passing, 6] = "no trip"
    plain[:, 9] = np.where(plain[:, 6] == "no trip", "fail", "pass")
    for column in (5, 7, 8):
        _as_typed(random, plain, column)
    remark, outlet = np.full(n, "", dtype=object), np.full(n, "", dtype=object)
    said = random.random_sample(n) < 0.03
    remark[said] = np.array(REMARKS, dtype=object)[random.randint(len(REMARKS), size=int(said.sum()))]
    plain[pair, 0], outlet[pair], outlet[np.roll(pair, -1)] = plain[number[pair] - 1, 0], "2", "1"
    plain[again, 0] = plain[number[again] - 1, 0]
    at = plain[:, 12].astype("datetime64[m]").astype("datetime64[s]")
    at += random.randint(60, size=n).astype("timedelta64[s]")
    at[again] += np.timedelta64(183, "D")
    plain[:, 12] = [text.replace("T", " ") for text in np.datetime_as_string(at, unit="s").tolist()]
    return np.column_stack([plain[:, :1], outlet, plain[:, 1:], remark])


def _as_typed(random: simulator.Random, table: Texts, column: int) -> None:
    """2 % of the cells of one column with a bound, a unit of their own, or nothing."""
    odd = np.flatnonzero(random.random_sample(len(table)) < 0.02)
    ramp = column == 8
    for row, way in zip(odd.tolist(), random.randint(3, size=len(odd)).tolist(), strict=True):
        value = float(table[row, column])
        ways = (
            (f"{value:.1f} mA", f"{value / 1000:.5f} A", "") if ramp else (f"<{value:.0f}", f"{value / 1000:.4f} s", "")
        )
        table[row, column] = ways[way]


def _clock(random: simulator.Random, number: npt.NDArray[np.int64]) -> list[str]:
    """Each technician's days from 2025 on, 100 tests a day, about three minutes apart."""
    day = number // PER_SITE // 40 * 5 + number % PER_SITE // 100
    minute = 420 + number % 100 * 3 + random.randint(3, size=len(number))
    at = np.datetime64("2025-01-06", "m") + (day * 1440 + minute).astype("timedelta64[m]")
    return [text.replace("T", " ") for text in np.datetime_as_string(at, unit="m").tolist()]


def write_typed(path: Path, devices: int, failing: float = 0.02, seed: int = 1) -> Path:
    """Write `path` as CSV as people type it."""
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow((HEADINGS[0], "Outlet", *HEADINGS[1:], "Remarks"))
        for table in typed_rows(devices, failing, seed):
            writer.writerows(table.tolist())
    return path


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
    parser.add_argument("--typed", action="store_true", help="CSV as people type it")
    parser.add_argument("--failing", type=float, default=0.02, help="share that fails, with --typed")
    options = parser.parse_args()
    if options.typed:
        print(write_typed(options.file, options.devices, options.failing, options.seed))
        sys.exit()
    print(write(options.file, options.devices, options.bad, options.seed))
