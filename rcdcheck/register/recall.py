"""What the register knows of the devices of a run, before they are judged.

A device that stands failed there and has no remedy on record since cannot simply pass today: its tests are unsettled,
as judging would have them if both visits stood in one run.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.findings import Findings, catalogue
from rcdcheck.history import DEVICES, History, Place
from rcdcheck.judging.remarks import read_remarks
from rcdcheck.options import Options
from rcdcheck.register import keys
from rcdcheck.register.listed_before import listed_before
from rcdcheck.register.matching import Matched, match
from rcdcheck.register.places import Placed, groups_of_run, place_groups
from rcdcheck.register.seen import Fresh
from rcdcheck.register.settled import ONE_SITE, settled
from rcdcheck.register.store import Register
from rcdcheck.tables import UNSETTLED, Codes, Mask, Tables


def recall(register: Register, tables: Tables, device: Codes, fresh: Fresh) -> History:
    """Match the devices of a run (numbers of each test, shape (tests,)) with those of the register."""
    run = devices_of_run(tables, device)
    told = settled(register)
    placed = place_groups(register, groups_of_run(run), told)
    run["place"] = np.array(placed.of_group, dtype=np.int64)[run["group"]]
    matched = match(register, run, told)
    devices = _history(run, placed, matched)
    return History(
        named=True,
        content=content(register),
        counted=fresh.counted,
        waiting=fresh.waiting,
        replaced=fresh.replaced,
        places=tuple(_places(register, placed, devices)),
        devices=devices,
        listed=listed_before(register, tables, device, devices["known"]),
    )


def content(register: Register) -> str:
    """SHA-256 of what the register answers from: the contents of its standing visits, and what was settled."""
    hashes = [sha for (sha,) in register.rows("SELECT sha256 FROM visits WHERE replaced_by IS NULL ORDER BY sha256")]
    hashes += ["\x1f".join(map(str, line)) for line in register.rows("SELECT * FROM settled ORDER BY id")]
    return hashlib.sha256("\n".join(hashes).encode()).hexdigest()


def devices_of_run(tables: Tables, device: Codes) -> pd.DataFrame:
    """One row a device: what its tests state of it, the latest first, and the keys of that."""
    n = int(device.max(initial=-1)) + 1
    tests = tables.tests
    at = tests["tested_at"].to_numpy()
    order = np.lexsort((np.arange(len(tests)), np.where(np.isnat(at), np.datetime64("9999-12-31"), at)))
    out = pd.DataFrame(index=np.arange(n))
    for name in ("site", "board", "device", "serial", "location", "kind", "environment", "model"):
        codes = np.zeros(n, dtype=np.int32)
        stated = order[tests[name].to_numpy()[order] > 0]
        codes[device[stated]] = tests[name].to_numpy()[stated]
        out[name] = codes
    rated = tests["rated_residual_current"].to_numpy()
    out["rated"] = np.nan
    stated = order[~np.isnan(rated[order])]
    out.loc[device[stated], "rated"] = rated[stated]
    first = np.zeros(n, dtype=np.int64)
    first[device[::-1]] = np.arange(len(tests))[::-1]
    out["input"] = tables.sheets["input"].to_numpy()[tests["sheet"].to_numpy()[first]] if n else 0
    out["file"] = np.array([one.name for one in tables.inputs] or [""], dtype=object)[out["input"]]
    for name, key, of in (
        ("board_key", keys.name_key, "board"),
        ("name_key", keys.name_key, "device"),
        ("plain_key", keys.plain_key, "device"),
        ("serial_key", keys.plain_key, "serial"),
        ("site_key", keys.name_key, "site"),
        ("bare", keys.counting, "device"),
    ):
        out[name] = keys.of_codes(tables, out[of], key) if n else np.zeros(0, dtype=object)
    out["bare"] = out["bare"].astype(bool)
    out["plain"] = out["plain_key"]
    for name in ("site", "board", "device", "serial", "location", "kind", "environment", "model"):
        out[name] = tables.texts(out[name])
    group = np.where(out["site_key"] == "", "\x1f" + out["file"].astype(str), out["site_key"])
    out["group"] = pd.factorize(group)[0]
    return out


def _places(register: Register, placed: Placed, devices: pd.DataFrame) -> Iterator[Place]:
    """The places of a run, with what the register must be told of them."""
    founded = dict(placed.new)
    seen = devices[devices["last_at"] != ""].groupby("place")["known"].nunique()
    for place in dict.fromkeys(placed.of_group):
        name = founded.get(place) or register.one("SELECT name FROM places WHERE id = ?", place) or ""
        keys_of = tuple(key for key, number in placed.names if number == place)
        known = register.one(
            "SELECT count(*) FROM devices WHERE place = ? AND last_at IS NOT NULL AND out_of_use IS NULL"
            " AND replaced_by IS NULL",
            place,
        )
        yield Place(place, str(name), keys_of, int(seen.get(place, 0)), int(known))


def _history(run: pd.DataFrame, placed: Placed, matched: Matched) -> pd.DataFrame:
    joined = np.array(placed.joined, dtype=bool)[run["group"]] & ~matched.new
    how = np.where(joined & (matched.how == ""), ONE_SITE, matched.how)
    before = matched.before
    return pd.DataFrame({
        "known": matched.known,
        "new": matched.new,
        "place": run["place"].to_numpy(),
        "was": before["outcome"].fillna(-1).to_numpy().astype(np.int8),
        "last_at": before["last_at"].fillna("").to_numpy(),
        "open_since": before["open_since"].fillna("").to_numpy(),
        "out_of_use": np.where(matched.new, matched.gone, before["out_of_use"].fillna("").to_numpy()),
        "called": before["name"].fillna("").to_numpy(),
        "how": how,
        "replaces": matched.replaces,
        "moved_from": matched.moved_from,
    }).astype(DEVICES)  # fmt: skip


def unsettle(tables: Tables, device: Codes, history: History, options: Options, found: Findings) -> Tables:
    """The tables with the latest test of each device unsettled that stands failed without a remedy or is out of use."""
    known = history.devices
    tables = _still_failed(tables, device, known, options, found)
    gone = pd.to_datetime(known["out_of_use"].where(known["out_of_use"] != "")).to_numpy()[device]
    at = tables.tests["tested_at"].to_numpy().astype("datetime64[D]")
    read = np.bincount(tables.readings["test"].to_numpy(), minlength=len(device)) > 0
    since = ~np.isnat(gone) & (np.isnat(at) | (at > gone.astype("datetime64[D]"))) & read
    return _with(tables, device, np.flatnonzero(since), "withdrawn-seen-again", known["out_of_use"], found)


def _still_failed(tables: Tables, device: Codes, known: pd.DataFrame, options: Options, found: Findings) -> Tables:
    failed = pd.to_datetime(known["open_since"].where(known["open_since"] != "")).to_numpy()[device]
    if np.isnat(failed).all():
        return tables
    at = tables.tests["tested_at"].to_numpy().astype("datetime64[D]")
    later = ~np.isnat(failed) & (np.isnat(at) | (at >= failed.astype("datetime64[D]")))
    mended = np.zeros(len(known), dtype=bool)
    mended[device[remedied(tables, options)]] = True
    return _with(
        tables, device, np.flatnonzero(later & ~mended[device]), "failed-in-the-register", known["open_since"], found
    )


def _with(
    tables: Tables, device: Codes, tests: npt.NDArray[np.int64], code: str, days: pd.Series[str], found: Findings
) -> Tables:
    """The tables with the last of these tests of each device unsettled."""
    last = pd.Series(tests, index=device[tests]).groupby(level=0).last().to_numpy() if len(tests) else tests
    rows = [_unsettled(tables, int(test), code, str(days.iloc[device[test]]), found) for test in last]
    more = pd.DataFrame(rows, columns=list(UNSETTLED)).astype(UNSETTLED)
    return replace(tables, unsettled=pd.concat([tables.unsettled, more], ignore_index=True).astype(UNSETTLED))


def _unsettled(tables: Tables, test: int, code: str, day: str, found: Findings) -> dict[str, Any]:
    place = {name: int(of[0]) for name, of in tables.cells_of("device", np.array([test])).items()}
    found.add_many(code, {**{name: [at] for name, at in place.items()}, "test": [test], "day": [day]})
    return {"test": test, "code": code, "message": catalogue()[code].message.format(day=day), **place}


def remedied(tables: Tables, options: Options) -> Mask:
    """Tests with a remedy on record: in their own words, or stated by `--remedied` for a day up to theirs."""
    mask = read_remarks(tables, Findings()).remedy.copy()
    names = keys.of_codes(tables, tables.tests["device"].to_numpy(), keys.name_key) if options.remedied else None
    at = tables.tests["tested_at"].to_numpy()
    for name, day, _ in options.remedied:
        mask |= (names == keys.name_key(name)) & (np.isnat(at) | (at >= np.datetime64(day)))
    return mask


def only_new(tables: Tables, device: Codes, history: History) -> tuple[Tables, Codes, History]:
    """The same without tests that the register holds, and without devices of whom no test is left."""
    kept = ~history.listed
    number = np.cumsum(kept) - 1
    parts = {}
    for name in ("readings", "rows", "unsettled"):
        frame = getattr(tables, name)
        frame = frame[kept[frame["test"].to_numpy()]].reset_index(drop=True)
        parts[name] = frame.assign(test=number[frame["test"].to_numpy()].astype(np.int32))
    again, left = pd.factorize(device[kept])
    tables = replace(tables, tests=tables.tests[kept].reset_index(drop=True), **parts)
    devices = history.devices.iloc[left].reset_index(drop=True)
    return tables, again.astype(np.int32), replace(history, devices=devices, listed=history.listed[kept])
