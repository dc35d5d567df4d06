"""Which devices of a run are devices of the register.

In this order, each device of the register taken once: an equal serial number, wherever it is and whatever it is called
now; the same name on the same switchboard of the same place; the same name there where one of both states no
switchboard; the same name but for signs and leading zeros, where nothing else there could be meant and the rated
currents agree. A serial number that differs under the same name is another device: the one before was replaced. What
stays is new; a new device whose name stands once in all other places, with the same rated current, was perhaps moved.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.register.keys import name_key
from rcdcheck.register.settled import Named, Settled, devices_called
from rcdcheck.register.store import Register

KEYS = ("board_key", "name_key", "plain_key", "serial_key")
KNOWN = ("id", "place", "name", *KEYS, "rated", "replaced_by", "last_at", "outcome", "open_since", "out_of_use",
         "replaces", "moved_from")  # fmt: skip


@dataclass
class Matched:
    """By device of the run: its number in the register (new ones are numbered on), whether new, and the rest."""

    known: npt.NDArray[np.int64]
    new: npt.NDArray[np.bool_]
    how: npt.NDArray[np.object_]
    replaces: npt.NDArray[np.int64]
    moved_from: npt.NDArray[np.int64]
    gone: npt.NDArray[np.object_]  # day since which a device of this name is out of use at another place, else empty
    apart: set[tuple[int, int]]  # devices of the run and of the register that a person settled to be different
    before: pd.DataFrame  # KNOWN of the device of the register, by device of the run; NaN where it is new


def match(register: Register, devices: pd.DataFrame, told: Settled) -> Matched:
    """`devices` has place, KEYS, rated, site_key, file and input (of the file that names it first), a row a device."""
    n = len(devices)
    out = Matched(
        np.full(n, -1, np.int64), np.zeros(n, bool), np.full(n, "", object), np.full(n, -1, np.int64),
        np.full(n, -1, np.int64), np.full(n, "", object), set(), pd.DataFrame(),
    )  # fmt: skip
    _as_told(register, out, devices, told)
    known = _candidates(register, devices, out.known[out.known >= 0])
    live = known[known["replaced_by"].isna()]
    named = ["place", "board_key", "name_key"]
    _join(out, devices, known[known["serial_key"] != ""], ["serial_key"], "the serial number is the same", serial=True)
    _join(out, devices, live, named, "")
    _join(out, devices, live, ["place", "name_key"], "", boards=True)
    _join(out, devices, live[live["name_key"] != ""], ["place", "board_key", "plain_key"], "it is written otherwise")
    _found_new(register, out, devices)
    _perhaps_moved(out, devices, live)
    _perhaps_gone(out, devices, known)
    out.before = known.set_index("id").reindex(out.known)
    for name in ("replaces", "moved_from"):  # of a known device as the register holds it
        setattr(out, name, np.where(out.new, getattr(out, name), out.before[name].fillna(-1)).astype(np.int64))
    return out


def _as_told(register: Register, out: Matched, devices: pd.DataFrame, told: Settled) -> None:
    """What a person settled: devices that are the same, and which are not."""
    asked = {one for one, _ in told.different} | set(told.same)
    if not asked:
        return
    sites = devices["site_key"].where(devices["site_key"] != "", devices["file"].map(name_key))
    for i, named in enumerate(map(Named, sites, devices["name_key"])):
        if named not in asked:
            continue
        for other in told.same.get(named, ()):
            for device in devices_called(register, other):
                out.known[i], out.how[i] = device, "settled"
        others = [other for one, other in told.different if one == named]
        out.apart |= {(i, device) for other in others for device in devices_called(register, other)}


def _candidates(register: Register, devices: pd.DataFrame, told: npt.NDArray[np.int64]) -> pd.DataFrame:
    """Devices of the register that share a key with one of the run, and those that a person named."""
    connection = register.connection
    connection.execute("CREATE TEMP TABLE IF NOT EXISTS run (place INTEGER, name TEXT, plain TEXT, serial TEXT)")
    connection.execute("DELETE FROM run")
    asked = devices[["place", "name_key", "plain_key", "serial_key"]]
    if register.one("SELECT 1 FROM devices LIMIT 1"):
        connection.executemany("INSERT INTO run VALUES (?, ?, ?, ?)", asked.itertuples(index=False, name=None))
    names = ", ".join(f"d.{name}" for name in KNOWN)
    rows = register.rows(
        f"""SELECT {names} FROM run CROSS JOIN devices d ON d.plain_key = run.plain AND d.place = run.place
        UNION SELECT {names} FROM run CROSS JOIN devices d ON d.serial_key = run.serial WHERE run.serial <> ''
            AND d.serial_key <> ''
        UNION SELECT {names} FROM (SELECT DISTINCT name FROM run) r CROSS JOIN devices d ON d.id IN
            (SELECT id FROM devices WHERE name_key = r.name AND last_at IS NOT NULL LIMIT 20)"""
    )
    known = {row[0] for row in rows}
    for device in {int(device) for device in told} - known:
        rows += register.rows(f"SELECT {names} FROM devices d WHERE d.id = ?", device)
    frame = pd.DataFrame(rows, columns=list(KNOWN))
    return frame.astype(
        {
            "rated": "float64",
            "replaced_by": "float64",
            "replaces": "float64",
            "moved_from": "float64",
            "id": "int64",
            "place": "int64",
        }
    )


def _join(
    out: Matched, devices: pd.DataFrame, known: pd.DataFrame, on: list[str], how: str, *, serial: bool = False,
    boards: bool = False,
) -> None:  # fmt: skip
    """Match what is left of both sides where the keys name one on each; several spellings of a run may name one."""
    left = devices[out.known < 0].assign(i=np.flatnonzero(out.known < 0))
    if serial:  # a number that stands beside several devices of one file is that of something else
        left = left[(left["serial_key"] != "") & ~left.duplicated(["input", "serial_key"], keep=False)]
    else:
        left = left[left["name_key"] != ""]
    exact = on == ["place", "board_key", "name_key"]
    right = known if exact else known[~known["id"].isin(out.known)]
    pairs = left.merge(right, on=on, suffixes=("", "_then"))
    if out.apart:
        allowed = [pair not in out.apart for pair in zip(pairs["i"], pairs["id"], strict=True)]
        pairs = pairs[np.array(allowed, dtype=bool)]
    if serial:
        pairs = pairs.sort_values("last_at", na_position="first").drop_duplicates("i", keep="last")
    else:
        pairs = pairs[~_other_serial(out, pairs)]
    if boards:
        pairs = pairs[(pairs["board_key"] == "") | (pairs["board_key_then"] == "")]
    if how:
        agree = pairs["rated"].isna() | pairs["rated_then"].isna() | (pairs["rated"] == pairs["rated_then"])
        pairs = pairs[agree]
    once = ~pairs.duplicated("i", keep=False)
    if not exact:  # two files may name one device; two rows of one file may not
        once &= ~pairs.duplicated(["id", "input"], keep=False)
    pairs = pairs[once]
    at = pairs["i"].to_numpy()
    out.known[at] = pairs["id"].to_numpy()
    renamed = pairs["name_key"] != pairs.get("name_key_then", pairs["name_key"])
    renamed |= pairs["place"] != pairs.get("place_then", pairs["place"])
    out.how[at] = np.where(renamed, how, "")


def _other_serial(out: Matched, pairs: pd.DataFrame) -> pd.Series[bool]:
    """Pairs of one name whose serial numbers differ: the device was replaced, and this is the one that came after."""
    differ = (pairs["serial_key"] != "") & (pairs["serial_key_then"] != "")
    differ &= pairs["serial_key"] != pairs["serial_key_then"]
    same_name = differ & (pairs["name_key"] == pairs.get("name_key_then", pairs["name_key"]))
    out.replaces[pairs.loc[same_name, "i"].to_numpy()] = pairs.loc[same_name, "id"].to_numpy()
    return differ


def _found_new(register: Register, out: Matched, devices: pd.DataFrame) -> None:
    """Number what is new; one device under one name in two files of the run is one."""
    rest = np.flatnonzero(out.known < 0)
    if not len(rest):
        return
    left = devices.iloc[rest]
    unnamed = left["name_key"].to_numpy() == ""
    keys = left[["place", "board_key", "name_key"]].assign(unnamed=np.where(unnamed, rest, -1))
    serials = left["serial_key"].where(left["serial_key"] != "").groupby([keys[k] for k in keys]).transform("nunique")
    keys["serial_key"] = np.where(serials > 1, left["serial_key"], "")
    number = keys.groupby(list(keys), sort=False).ngroup().to_numpy()
    number = _one_of_several_spellings(left.assign(number=number))
    number = pd.factorize(number)[0]
    first = int(register.one("SELECT coalesce(max(id), 0) FROM devices")) + 1
    out.known[rest] = first + number
    out.new[rest] = True


def _one_of_several_spellings(left: pd.DataFrame) -> npt.NDArray[np.int64]:
    """Numbers in which spellings that stand in different files of the run, and never in one, are one device."""
    known = left[left["plain_key"] != ""]
    key = ["place", "board_key", "plain_key", "rated", "serial_key"]
    several = known.groupby(key, dropna=False)["number"].transform("nunique") > 1
    apart = ~known.duplicated([*key, "input"], keep=False)
    apart = apart.groupby([known[k] for k in key], dropna=False).transform("all")
    joined = known[several & apart]
    number = left["number"].copy()
    number[joined.index] = joined.groupby(key, dropna=False)["number"].transform("first")
    return number.to_numpy()


def _perhaps_moved(out: Matched, devices: pd.DataFrame, live: pd.DataFrame) -> None:
    at = np.flatnonzero(out.new & (out.replaces < 0) & ~devices["bare"].to_numpy())
    elsewhere = live[live["last_at"].notna() & live["out_of_use"].isna() & ~live["id"].isin(out.known)]
    pairs = devices.iloc[at].assign(i=at).merge(elsewhere, on="name_key", suffixes=("", "_then"))
    pairs = pairs[(pairs["place"] != pairs["place_then"]) & (pairs["name_key"] != "")]
    pairs = pairs[~pairs.duplicated("i", keep=False) & ~pairs.duplicated("id", keep=False)]
    pairs = pairs[(pairs["rated"] == pairs["rated_then"]) | pairs["rated"].isna() | pairs["rated_then"].isna()]
    serials = (pairs["serial_key"] != "") & (pairs["serial_key_then"] != "")
    pairs = pairs[~serials]  # both stated and not equal: two devices
    out.moved_from[pairs["i"].to_numpy()] = pairs["id"].to_numpy()


def _perhaps_gone(out: Matched, devices: pd.DataFrame, known: pd.DataFrame) -> None:
    """New devices whose name is that of one which was taken out of use somewhere."""
    at = np.flatnonzero(out.new & ~devices["bare"].to_numpy())
    gone = known[known["out_of_use"].notna()].drop_duplicates("name_key", keep="last")
    pairs = devices.iloc[at].assign(i=at).merge(gone, on="name_key", suffixes=("", "_then"))
    same = (pairs["rated"] == pairs["rated_then"]) | pairs["rated"].isna() | pairs["rated_then"].isna()
    serials = (pairs["serial_key"] != "") & (pairs["serial_key_then"] != "")
    pairs = pairs[same & ~serials & (pairs["name_key"] != "")]
    out.gone[pairs["i"].to_numpy()] = pairs["out_of_use"].to_numpy()
