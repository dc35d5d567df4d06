"""What a sheet records: drawn at random within what its layout has room for."""

from __future__ import annotations

import random

from .layouts import Layout
from .phrases import SITES
from .truth import Recorded

CHANCES = {
    "visual": 0.6, "button": 0.5, "x5": 0.4, "half": 0.25, "ramp": 0.25, "result": 0.5, "remark": 0.6,
    "rcd_type": 0.12, "date": 0.6, "technician": 0.35, "instrument": 0.2, "serial": 0.25, "location": 0.5,
    "description": 0.2, "waveform": 0.1, "clock": 0.08, "retest_due": 0.12, "site": 0.15,
}  # fmt: skip
LONG = ("both", "split", "unit")


def draw_recorded(layout: Layout, rng: random.Random) -> Recorded:
    """Draw the fields, the ratings, the units of a device and the sites."""
    fields = {key for key, chance in CHANCES.items() if rng.random() < chance} | layout.fields
    fields -= _no_room(layout)
    if layout.remark != "maybe":
        fields = fields - {"remark"} if layout.remark == "never" else fields | {"remark"}
    if layout.retests:
        fields.add("retests")
    if "rcd_type" in fields:
        fields.discard("x5")
    return Recorded(fields, _ratings(rng, fields, layout), _units(rng, layout), _sites(rng, fields, layout))


def _no_room(layout: Layout) -> set[str]:
    gone: set[str] = set()
    if layout.body in LONG:
        gone |= {"result", "retest_due", "clock", "waveform", "rcd_type", "ramp" if layout.body != "unit" else ""}
        gone |= {"button"} if layout.body == "split" else {"half"}
    if layout.body == "mixed":
        gone |= {"ramp"}
    if layout.readings != "own":
        gone |= {"half"}
    if layout.readings in ("worst", "lines"):
        gone |= {"x5", "ramp"}
    if layout.outlets or layout.naming == "board":
        gone |= {"description", "rcd_type"}
    if layout.rated == "fact":
        gone |= {"rcd_type"}
    if layout.place in ("sections", "stacked", "sheets"):
        gone |= {"site"}
    if layout.facts:
        gone |= {"site", "date", "technician", "instrument"}
    return gone


def _ratings(rng: random.Random, fields: set[str], layout: Layout) -> list[int]:
    if "rcd_type" in fields:
        return [30, 100, 300]
    if "x5" in fields or layout.rated == "fact":
        return [30]
    return rng.choice([[30], [30], [30, 30, 10], [30, 30, 100]])


def _units(rng: random.Random, layout: Layout) -> list[str]:
    if layout.readings == "lines":
        return ["L1", "L2", "L3"]
    return rng.choice([["1", "2", "3", "4"], ["A", "B", "C"], ["1", "2", "3"]]) if layout.outlets else []


def _sites(rng: random.Random, fields: set[str], layout: Layout) -> list[str]:
    if layout.place in ("sections", "sheets", "stacked"):
        return rng.sample(SITES, 2 if layout.place == "stacked" else rng.randint(2, 3))
    return rng.sample(SITES, rng.randint(1, 2)) if "site" in fields else []
