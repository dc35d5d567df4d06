"""What a register adds to an audit, with names in place of numbers, as every face prints it."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any

import numpy as np

from rcdcheck.audits import Audit
from rcdcheck.history import Drift, Jump, Rate
from rcdcheck.terms import slot_named


def history_of(audit: Audit) -> dict[str, Any]:
    """All of it; empty without a register."""
    history = audit.history
    if not history.named:
        return {}
    return {
        "register_sha256": history.content,
        "counted_before": [dict(zip(("name", "visit", "day"), one, strict=True)) for one in history.counted],
        "left_for_the_next_run": list(history.waiting),
        "replaces_visits": list(history.replaced),
        "tests_listed_before": int(history.listed.sum()),
        "sites": [{"site": p.name, "known": p.known, "seen": p.seen} for p in history.places],
        "taken_for_the_same": taken_for_the_same(audit),
        "changes": [dataclasses.asdict(change) for change in history.changes],
        "drifts": drifts(audit),
        "models": models(audit),
        "jumps": jumps(audit),
        "rates": [_rate(rate) for rate in history.rates],
    }


def taken_for_the_same(audit: Audit) -> list[dict[str, str]]:
    """Devices that evidence, and not their name and site, made those of the register."""
    known = audit.history.devices
    sites, names = audit.tables.texts(audit.devices["site"]), audit.devices["name"].to_numpy()
    out = []
    for i in np.flatnonzero((known["how"].to_numpy() != "") & (known["how"].to_numpy() != "settled")):
        called, how = str(known["called"].iloc[i]), str(known["how"].iloc[i])
        out.append({"site": str(sites[i]), "device": str(names[i]), "called_before": called, "why": how})
    return out


def series_names(audit: Audit) -> dict[int, dict[str, str]]:
    """Device, site, outlet, and title and unit of the reading, of each series."""
    first = audit.history.points.drop_duplicates("series")
    names, sites = audit.devices["name"].to_numpy(), audit.tables.texts(audit.devices["site"])
    out = {}
    for one in first.itertuples():
        slot = slot_named(str(one.slot))
        assert slot is not None, "a series has the name of a slot"
        device = int(one.device)
        out[int(one.series)] = {
            "device": str(names[device]), "site": str(sites[device]), "outlet": str(one.outlet), "reading": slot.title,
            "unit": slot.unit,
        }  # fmt: skip
    return out


def drifts(audit: Audit) -> list[dict[str, Any]]:
    """Series that point to their limit, the first to reach it first."""
    return _named(audit, audit.history.drifts)


def jumps(audit: Audit) -> list[dict[str, Any]]:
    """Series that jumped at the latest visit."""
    return _named(audit, audit.history.jumps)


def _named(audit: Audit, found: Sequence[Drift] | Sequence[Jump]) -> list[dict[str, Any]]:
    """What was found in series, with the names of each."""
    named = series_names(audit) if found else {}
    return [named[one.series] | _rounded(dataclasses.asdict(one)) for one in found]


def models(audit: Audit) -> list[dict[str, Any]]:
    """Models whose devices of few visits drift together."""
    out = []
    for one in audit.history.models:
        slot = slot_named(one.slot)
        title, unit = (slot.title, slot.unit) if slot else (one.slot, "")
        told = _rounded({"slope": one.slope}) | {"chance": one.chance}
        out.append({"model": one.model, "reading": title, "unit": unit, "devices": one.devices, **told})
    return out


def _rate(rate: Rate) -> dict[str, Any]:
    share = None if rate.few else round(rate.failed / rate.of, 4)
    interval = {} if rate.few else {"low": round(rate.low, 4), "high": round(rate.high, 4)}
    return {"by": rate.by, "name": rate.name, "failed": rate.failed, "of": rate.of, "share": share, **interval}


def _rounded(told: dict[str, Any]) -> dict[str, Any]:
    told.pop("series", None)
    return {name: float(f"{v:.4g}") if isinstance(v, float) else v for name, v in told.items()}


def rate_words(rate: Rate) -> tuple[str, str, str, str]:
    """Name, count, share and interval; of few only the count."""
    count = f"{rate.failed:,} of {rate.of:,}"
    if rate.few:
        return rate.name, count, "", "too few for a share"
    return rate.name, count, f"{_percent(rate.failed / rate.of)} %", f"{_percent(rate.low)} to {_percent(rate.high)} %"


def _percent(share: float) -> str:
    """A small share with a decimal, so that one that is not none never reads as none."""
    return f"{100 * share:.1f}" if 0 < share < 0.1 else f"{100 * share:.0f}"
