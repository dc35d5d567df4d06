"""Readings that changed since the visit before by more than the fleet's own scatter from visit to visit explains.

Changes are logarithms of ratios, so that slow and quick devices compare; their scatter is the median absolute deviation
of all changes of the devices of the run, of one kind of reading. Where every reading of a device jumps, another device
perhaps stands under its name.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from rcdcheck import data
from rcdcheck.history import Jump
from rcdcheck.register.series import KEY

NORMAL = 1.4826  # standard deviations of a normal distribution in a median absolute deviation


def jumps(points: pd.DataFrame, days: pd.Series[int]) -> list[Jump]:
    """Series that jumped at the latest visit of their device, `days` being that of each; see series.points."""
    chosen = data.toml("register.toml")["jump"]
    before = points.groupby("series")[["value", "day"]].shift()
    with np.errstate(invalid="ignore"):
        change = np.log(points["value"] / before["value"])
    changes = points.assign(before=before["value"], change=change)
    changes = changes[changes["change"].notna()]
    by_slot = changes.groupby("slot")["change"]
    middle = by_slot.transform("median")
    spread = NORMAL * (changes["change"] - middle).abs().groupby(changes["slot"]).transform("median")
    whole = (points["value"] == points["value"].round()).groupby(points["slot"]).all().reindex(changes["slot"])
    steps = (changes["value"] - changes["before"]).abs() / np.where(whole.to_numpy(), 1.0, 0.1)
    far = (changes["change"] - middle).abs() > chosen["deviations"] * spread.clip(lower=chosen["least"])
    far &= (by_slot.transform("size") >= chosen["changes"]) & (steps > 2)
    now = changes["day"] == days.reindex(changes["device"]).to_numpy()
    jumped = changes[far & now]
    mine = changes[now].groupby("device")["series"].nunique()
    all_of = jumped.groupby("device")["series"].nunique().reindex(mine.index).fillna(0) == mine
    whole_device = all_of & (mine > 1)
    return [
        Jump(int(j.series), float(j.before), float(j.value), bool(whole_device.get(j.device, False)))
        for j in jumped.sort_values(KEY).itertuples()
    ]
