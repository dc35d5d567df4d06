"""Makes one cell of a sheet say that a device failed: nobody may pass it after that, wherever the cell stands."""

from __future__ import annotations

from dataclasses import dataclass

from .arranging import TYPED_ONCE
from .layouts import LAYOUTS
from .phrases import Words
from .tables import Sheet, Spot

CHECKS = ("visual", "button", "result")
SILENT = {"device", "outlet", "board", "circuit", "site", "rated", "rcd_type", "tick", "", "half_0", "half_180"}


@dataclass
class Cry:
    """What was typed, where, about which device."""

    device: int
    spot: Spot
    text: str


def make_loud(sheet: Sheet) -> Cry | None:
    """Type a failure into one cell of a device that would pass; None where no device would."""
    words = sheet.style.words
    passing = [index for index, device in enumerate(sheet.devices) if device.kind in ("pass", "harmless")]
    if not passing:
        return None
    index = words.rng.choice(passing)
    spot = words.rng.choice(_spots(sheet, index))
    text = _text(words, spot.key, sheet, index)
    _type(sheet, spot, text)
    return Cry(index, spot, text)


def _spots(sheet: Sheet, index: int) -> list[Spot]:
    layout = LAYOUTS[sheet.layout]
    own = sheet.spots[index]
    first = own[0].row
    spots = [spot for spot in own if spot.key not in SILENT]
    if layout.outlets in ("blank", "merged"):
        spots = [spot for spot in spots if spot.row == first or spot.key not in TYPED_ONCE]
    if layout.place not in ("sideways", "beside"):
        last = max(spot.column for spot in own)
        spots.append(Spot(own[0].sheet, first, last + 1, "beyond", ""))
    return spots


def _text(words: Words, key: str, sheet: Sheet, index: int) -> str:
    word = words.pick("marks", "fail", lambda text: len(text) > 3)
    fault = words.pick("remarks", "fault")
    no_trip = words.pick("marks", "no_trip", lambda text: len(text) > 3)
    if key in CHECKS:
        return words.pick("marks", "fail")
    if key == "ramp":
        return str(words.rng.choice([word, no_trip, round(sheet.devices[index].rated * 1.4, 1)]))
    if key.startswith(("t1", "t5")):
        return words.rng.choice([word, no_trip, ">1999"])
    if key == "pair":
        return f"{no_trip}/31"
    return word if key == "value" else words.rng.choice([word, no_trip, fault])


def _type(sheet: Sheet, spot: Spot, text: str) -> None:
    rows = next(grid.rows for grid in sheet.grids if grid.name == spot.sheet)
    row = rows[spot.row - 1]
    row += [""] * (spot.column - len(row))
    row[spot.column - 1] = text
