"""Sheets as tradespeople type them, written with their outcomes by people who had not read the program.

Every scenario is invented. The outcome of each device was decided before the first run: a pass is a device of which
all that the sheet tests is right; what is not a pass failed, or lacks or hides something. `OPEN` counts devices that
are still asked about although a careful reader would know; whoever understands one lowers it. What may never happen has
no figure: none passes that should not, none is lost, and a device that passes is never called failed.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from variants import audited

TYPED = Path(__file__).with_name("typed")
KEYS: dict[str, dict[str, str]] = json.loads((TYPED / "keys.json").read_text(encoding="utf-8"))
OPEN: dict[str, int] = json.loads((TYPED / "open.json").read_text(encoding="utf-8"))
PLACES = ("board", "site", "location")


@pytest.mark.parametrize("name", KEYS)
def test_typed_sheets_come_out_as_their_writers_decided(name: str) -> None:
    key, came_out = KEYS[name], outcomes(audited(TYPED / name))
    lost = [device for device in key if plain(device) not in came_out]
    assert not lost
    scores = Counter(score(wanted, came_out[plain(device)]) for device, wanted in key.items())
    assert scores["dangerous"] == scores["wrong"] == 0
    assert scores["asked"] <= OPEN.get(name, 0)


def plain(name: str) -> str:
    """A name as it is compared: letters and digits."""
    return re.sub(r"[^\w]+", "", name).casefold()


def outcomes(document: dict[str, Any]) -> dict[str, str]:
    """Outcome by every way to call a device: by its name where only one has it, and with its board, site or place.

    A device that is named by board and circuit may be called by its circuit alone, and the only one of a place by that.
    """
    devices = document["devices"]
    circuits = [plain(one["device"].rpartition(" / ")[2]) for one in devices]
    alone = Counter(plain(one["device"]) for one in devices)
    found = {circuit: one["outcome"] for circuit, one in zip(circuits, devices, strict=True)
             if circuits.count(circuit) == 1}  # fmt: skip
    for place in PLACES:
        only = Counter(plain(one[place]) for one in devices)
        found |= {plain(one[place]): one["outcome"] for one in devices if one[place] and only[plain(one[place])] == 1}
    for one in devices:
        name = plain(one["device"])
        places = [plain(one[place]) for place in PLACES if one[place]]
        ways = [name] * (alone[name] == 1) + [place + name for place in places]
        ways += [first + second + name for first in places for second in places if first != second]
        found |= dict.fromkeys(ways, one["outcome"])
    return found


def score(wanted: str, outcome: str) -> str:
    """What an outcome is worth: right, asked (unclear or incomplete where the sheet tells more), wrong, dangerous."""
    if wanted == "pass":
        return {"pass": "right", "fail": "wrong"}.get(outcome, "asked")
    if outcome == "pass":
        return "dangerous"
    return "asked" if wanted == "fail" and outcome != "fail" else "right"
