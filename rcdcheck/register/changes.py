"""What is new since the last audit: what failed, came unsettled, was settled, appeared, went missing.

The same from a register and from two audit documents. A device that stands as badly as before is still open, which is
no news; one that fails where it was unclear is. Devices of a site that is seen for the first time have not appeared.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from rcdcheck.history import APPEARED, CHANGES, FAILED, MISSING, SETTLED, STILL, UNSETTLED, Change, History
from rcdcheck.judging.devices import Outcomed
from rcdcheck.register.keys import name_key, plain_key
from rcdcheck.register.states import ROUND_DAYS, WHOLE
from rcdcheck.register.store import Register
from rcdcheck.tables import Tables
from rcdcheck.terms import Outcome


def kind_of(was: int, now: int) -> str:
    """How a device changed from one outcome (-1: not known) to another; empty for one that passed and passes."""
    if now == Outcome.PASS:
        return SETTLED if was > Outcome.PASS else ""
    if now == Outcome.FAIL:
        return STILL if was == Outcome.FAIL else FAILED
    return STILL if was > Outcome.PASS else UNSETTLED


def ordered(changes: Sequence[Change]) -> tuple[Change, ...]:
    """By kind, then as given."""
    return tuple(sorted(changes, key=lambda change: CHANGES.index(change.kind)))


# ── from a register ──


def added(register: Register, history: History, tables: Tables, decided: Outcomed) -> History:
    """The history with the changes of the devices of a run, and with the devices of its sites that it lacks."""
    changes = ordered([*_changes(register, history, tables, decided), *_missing(register, history, tables)])
    return replace(history, changes=changes)


def _changes(register: Register, history: History, tables: Tables, decided: Outcomed) -> Iterator[Change]:
    devices, reasons = decided.devices, decided.reasons
    was, now = history.devices["was"].to_numpy(), devices["outcome"].to_numpy()
    standing = reasons[reasons["standing"].astype(bool)].drop_duplicates("device").set_index("device")["message"]
    sites = tables.texts(devices["site"])
    first = {place.number for place in history.places if not place.known}
    appeared = (history.devices["last_at"] == "").to_numpy() & ~history.devices["place"].isin(first).to_numpy()
    for i in np.flatnonzero((now > Outcome.PASS) | (was > Outcome.PASS) | appeared):
        kind = kind_of(int(was[i]), int(now[i]))
        site, name, word = str(sites[i]), str(devices["name"].iloc[i]), Outcome(now[i]).word
        before = Outcome(was[i]).word if was[i] >= 0 else ""
        why = "" if now[i] == Outcome.PASS else str(standing.get(i, ""))
        if kind:
            yield Change(kind, site, name, before, word, why)
        if appeared[i]:
            yield Change(APPEARED, site, name, "", word, _whence(register, history.devices.iloc[i]))


def _whence(register: Register, device: pd.Series[Any]) -> str:
    """Which device that was known a new one replaced, or perhaps is."""
    if device["replaces"] >= 0:
        serial = register.one("SELECT serial FROM devices WHERE id = ?", int(device["replaces"]))
        return f"in place of the one with serial number {serial}"
    if device["moved_from"] >= 0:
        place = "SELECT p.name FROM devices d JOIN places p ON p.id = d.place WHERE d.id = ?"
        return f"perhaps moved from {register.one(place, int(device['moved_from'])) or 'a site without a name'}"
    return ""


def _missing(register: Register, history: History, tables: Tables) -> Iterator[Change]:
    """Devices in use that a whole round of their site lacks and the round before did not."""
    here = {*history.devices["known"], *history.devices["moved_from"], *history.devices["replaces"]}
    last = pd.Timestamp(tables.tests["tested_at"].max())
    if pd.isna(last):
        return
    start = (last - pd.Timedelta(days=ROUND_DAYS)).date().isoformat()
    for place in history.places:
        if place.seen < WHOLE * place.known:
            continue
        for number, name, board, outcome, day in register.rows(
            "SELECT d.id, d.name, iif(EXISTS (SELECT 1 FROM devices o WHERE o.name_key = d.name_key"
            " AND o.place = d.place AND o.board_key <> d.board_key), d.board, ''), d.outcome, d.last_at"
            " FROM devices d JOIN places p ON p.id = d.place"
            " WHERE d.place = ? AND d.last_at < ? AND d.last_at >= coalesce(p.round_since, '')"
            " AND d.out_of_use IS NULL AND d.replaced_by IS NULL ORDER BY d.id",
            place.number,
            start,
        ):
            if number not in here:
                shown = " / ".join(filter(None, (board, name)))
                yield Change(MISSING, place.name, shown, Outcome(outcome).word, "", f"last seen {day}")


# ── from two documents ──


def between(old: Mapping[str, Any], new: Mapping[str, Any]) -> tuple[Change, ...]:
    """Changes from one audit document to a later one (schemas/audit.json).

    Where a document lists only devices that need attention, the others passed, and none can be told to be missing. As
    with a register, devices have appeared only at a site that was known, and one that passed is missing only where the
    later document holds most of its site.
    """
    before, after = old["devices"], new["devices"]
    pairs = _pairs(before, after)
    then_of = {j: before[i] for i, j in pairs}
    sites = Counter(name_key(then["site"]) for then in before)
    seen = Counter(name_key(before[i]["site"]) for i, _ in pairs)
    changes = [change for j, now in enumerate(after) for change in _change(then_of.get(j), now, _in_part(old))]
    changes = [change for change in changes if change.kind != APPEARED or name_key(change.site) in sites]
    found = {i for i, _ in pairs}
    gone = [then for i, then in enumerate(before) if i not in found]
    if _in_part(new):
        changes += [
            Change(SETTLED, then["site"], then["device"], then["outcome"], "pass", "")
            for then in gone
            if then["outcome"] != "pass"
        ]
    else:
        whole = {site for site, n in sites.items() if seen[site] >= WHOLE * n}
        gone = [then for then in gone if then["outcome"] != "pass" or name_key(then["site"]) in whole]
        changes += [Change(MISSING, then["site"], then["device"], then["outcome"], "", _seen(then)) for then in gone]
    return ordered(changes)


def _change(then: Mapping[str, Any] | None, now: Mapping[str, Any], in_part: bool) -> Iterator[Change]:
    was = Outcome[then["outcome"].upper()] if then else Outcome.PASS if in_part else -1
    kind = kind_of(int(was), Outcome[now["outcome"].upper()])
    why = next((r["message"] for r in now["reasons"] if r["standing"]), "") if now["outcome"] != "pass" else ""
    before = Outcome(was).word if was >= 0 else ""
    if kind:
        yield Change(kind, now["site"], now["device"], before, now["outcome"], why)
    if then is None and not in_part:
        yield Change(APPEARED, now["site"], now["device"], "", now["outcome"], "")


def _seen(device: Mapping[str, Any]) -> str:
    return f"last seen {device['tested_at'][:10]}" if device["tested_at"] else ""


def _in_part(document: Mapping[str, Any]) -> bool:
    return len(document["devices"]) < document["counts"]["devices"]["all"]


def _pairs(before: Sequence[Mapping[str, Any]], after: Sequence[Mapping[str, Any]]) -> set[tuple[int, int]]:
    """Places in both lists of what is one device: equal names at one site, else names equal but for signs."""
    pairs: set[tuple[int, int]] = set()
    for key in (name_key, plain_key):
        left, right = (_by_name(devices, key) for devices in (before, after))
        done = {i for i, _ in pairs}, {j for _, j in pairs}
        pairs |= {
            (left[name], right[name])
            for name in left.keys() & right.keys()
            if left[name] not in done[0] and right[name] not in done[1]
        }
    return pairs


def _by_name(devices: Sequence[Mapping[str, Any]], key: Callable[[str], str]) -> dict[tuple[str, str, int], int]:
    """Place in the list by site and name; namesakes by their order."""
    out: dict[tuple[str, str, int], int] = {}
    for i, device in enumerate(devices):
        name, nth = (name_key(device["site"]), key(device["device"])), 0
        while (*name, nth) in out:
            nth += 1
        out[(*name, nth)] = i
    return out
