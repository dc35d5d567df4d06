"""honest-day.csv: one day before the market opens, tested and typed with care.

What a reader should find in it, and nothing else:
  WM-009  never trips at 180°                      fail
  WM-023  slow at 180°                             fail
  WM-041  lets go above its rated current on a ramp  fail
  WM-017  cracked, so not tested further           fail
  WM-052  its own test button does nothing         fail
  WM-033  stall locked                             incomplete
  WM-058  180° missing at rated                    incomplete
"""

from __future__ import annotations

import csv
import datetime as dt
from pathlib import Path

import numpy as np

from making import simulator
from making.market import INSTRUMENTS, LEADS, STALLS, TECHNICIANS

DAY = dt.datetime(2026, 11, 20, 7, 30)
CALIBRATION = ("2027-04-30", "2027-02-28")
HEADINGS = (
    "Device", "Description", "Site", "Location", "Board", "Circuit", "Portable or fixed", "Environment",
    "Rated IΔn (mA)", "RCD type", "Delay", "Visual", "Test button", "Trip time 1× 0° (ms)",
    "Trip time 1× 180° (ms)", "Trip time 5× 0° (ms)", "Trip time 5× 180° (ms)",
    "Ramp trip current (mA)", "Result", "Tested by", "Instrument", "Calibration due", "Date", "Time",
    "Remark",
)  # fmt: skip
TIMES = HEADINGS[13:17]
RAMP = HEADINGS[17]
SITES = (
    ("North row", 26, 0),
    ("Rink side", 20, 0),
    ("Kitchens", 16, 1),
)  # name, portable devices, technician

Row = dict[str, str]


def write(folder: Path) -> None:
    """Write honest-day.csv into `folder`."""
    random = np.random.RandomState(20261120)
    rows = [row for rows in _by_technician(random) for row in rows]
    by_device = {row["Device"]: row for row in rows}
    for device, change in CHANGES.items():
        by_device[device].update(change)
    with (folder / "honest-day.csv").open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, HEADINGS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


_NOT_TESTED: Row = dict.fromkeys((*TIMES, RAMP), "")
CHANGES: dict[str, Row] = {
    "WM-009": {TIMES[1]: "no trip", TIMES[3]: "no trip", "Result": "fail", "Remark": "taken out of service"},
    "WM-023": {TIMES[1]: "412.3", "Result": "fail", "Remark": "taken out of service"},
    "WM-041": {RAMP: "33.8", "Result": "fail", "Remark": "taken out of service"},
    "WM-017": {
        **_NOT_TESTED,
        "Visual": "fail",
        "Test button": "",
        "Result": "fail",
        "Remark": "cracked housing, not tested",
    },
    "WM-052": {"Test button": "fail", "Result": "fail", "Remark": "taken out of service"},
    "WM-033": {
        **_NOT_TESTED,
        "Visual": "",
        "Test button": "",
        "Result": "",
        "Remark": "stall locked, no access",
    },
    "WM-058": {TIMES[1]: "", "Result": "", "Remark": "supply switched off, 180° still to do"},
}


def _by_technician(random: simulator.Random) -> list[list[Row]]:
    rows: list[list[Row]] = [[], []]
    number = 0
    for site, portable, who in SITES:
        rows[who] += [_portable(random, number + i + 1, site) for i in range(portable)]
        rows[who] += _fixed(site)
        number += portable
    for who, mine in enumerate(rows):
        _test(random, mine, who)
    return rows


def _portable(random: simulator.Random, number: int, site: str) -> Row:
    own = random.random_sample() < 0.3  # a stallholder's own lead; the others are hired out by the market
    rated, rcd_type = ("10", "I") if random.random_sample() < 0.08 else ("30", "II")
    stall = STALLS[random.randint(len(STALLS))]
    return {
        "Device": f"WM-{number:03d}",
        "Description": LEADS[random.randint(len(LEADS))] + (" (stallholder's own)" if own else ""),
        "Site": site,
        "Location": f"Stall {number}, {stall}",
        "Portable or fixed": "portable",
        "Environment": "hostile" if own else "hire",
        "Rated IΔn (mA)": rated,
        "RCD type": rcd_type,
        "Delay": "general",
    }


def _fixed(site: str) -> list[Row]:
    ways = [("1", "30", "II", "general"), ("2", "30", "II", "general"), ("main", "100", "IV", "selective")]
    board = f"{site} pillar"
    return [
        {
            "Device": f"F-{site[0]}{circuit[0].upper()}",
            "Description": "fixed device in supply pillar",
            "Site": site,
            "Location": "supply pillar",
            "Board": board,
            "Circuit": circuit,
            "Portable or fixed": "fixed",
            "Environment": "hostile",
            "Rated IΔn (mA)": rated,
            "RCD type": rcd_type,
            "Delay": delay,
        }
        for circuit, rated, rcd_type, delay in ways
    ]


def _test(random: simulator.Random, rows: list[Row], who: int) -> None:
    rated = np.array([float(row["Rated IΔn (mA)"]) for row in rows])
    selective = np.array([row["Delay"] == "selective" for row in rows])
    readings = simulator.visit(random, simulator.devices(random, rated, selective))
    for i, (row, minute) in enumerate(zip(rows, simulator.minutes(random, len(rows)), strict=True)):
        at = DAY + dt.timedelta(minutes=int(minute))
        row |= {h: f"{readings[r][i]:.1f}" for h, r in zip((*TIMES, RAMP), simulator.READINGS, strict=True)}
        row |= {"Visual": "pass", "Test button": "pass", "Result": "pass"}
        row |= {
            "Tested by": TECHNICIANS[who],
            "Instrument": INSTRUMENTS[who],
            "Calibration due": CALIBRATION[who],
        }
        row |= {"Date": at.date().isoformat(), "Time": at.strftime("%H:%M")}
