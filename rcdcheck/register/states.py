"""What stands of each device and place, worked out again wherever a visit touches them.

The latest visit decides. A fail stays open until a visit passes the device with a remedy on record since the fail; a
visit that was taken in late stands where its day belongs. Questions such as `due` read only what stands here.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd

from rcdcheck.register.store import Register
from rcdcheck.rules import RuleSet
from rcdcheck.terms import Outcome

ROUND_DAYS = 31  # a round of a site may take a month
WHOLE = 0.5  # share of its devices from which a round counts as whole
STATE = ("first_at", "last_at", "outcome", "due", "open_since", "out_of_use")
STATED = ("kind", "environment", "model", "location", "serial")


def renew(register: Register, devices: Iterable[int], rules: RuleSet) -> None:
    """Work out again what stands of these devices and of their places."""
    connection = register.connection
    connection.execute("CREATE TEMP TABLE IF NOT EXISTS touched (device INTEGER PRIMARY KEY)")
    connection.execute("DELETE FROM touched")
    connection.executemany("INSERT OR IGNORE INTO touched VALUES (?)", ((int(d),) for d in devices))
    seen = pd.DataFrame(
        register.rows(
            "SELECT s.device, s.id, s.visit, s.at, s.day, s.outcome, s.remedied, s.out_of_use, s.kind, s.environment,"
            " s.model, s.location, s.serial, s.rated FROM touched CROSS JOIN sightings s USING (device)"
            " CROSS JOIN visits v ON v.id = s.visit WHERE v.replaced_by IS NULL"
        ),
        columns=[
            "device",
            "id",
            "visit",
            "at",
            "day",
            "outcome",
            "remedied",
            "out_of_use",
            *STATED[:4],
            "serial",
            "rated",
        ],
    )
    seen = seen.sort_values(["device", "at", "visit", "id"], kind="stable", ignore_index=True)
    _write(register, _states(seen, rules))
    _renew_successors(register)
    _renew_places(register)


def _states(seen: pd.DataFrame, rules: RuleSet) -> pd.DataFrame:
    """One row a device: what stands, and the latest that was stated of it."""
    by = seen.groupby("device", sort=True)
    out = pd.DataFrame({"first_at": by["at"].first(), "last_at": by["at"].last(), "outcome": by["outcome"].last()})
    out["out_of_use"] = seen["at"].where(seen["out_of_use"] > 0).groupby(seen["device"]).last()
    out["out_of_use"] = out["out_of_use"].where(out["out_of_use"] == out["last_at"])
    for name in STATED:
        out[name] = seen[name].replace("", np.nan).groupby(seen["device"]).last()
    out["rated"] = seen.groupby("device")["rated"].last()
    out["open_since"] = _open_since(seen)
    unremedied = out["open_since"].notna() & (out["outcome"] == Outcome.PASS)
    out.loc[unremedied, "outcome"] = int(Outcome.UNCLEAR)
    out["due"] = _due(seen, out, rules)
    return out


def _open_since(seen: pd.DataFrame) -> pd.Series[str]:
    """Day of the fail that stands open: none that a later pass with a remedy since has closed."""
    order = np.arange(len(seen))
    failed = pd.Series(np.where(seen["outcome"] == Outcome.FAIL, order, -1)).groupby(seen["device"]).cummax()
    remedied = pd.Series(np.where(seen["remedied"] > 0, order, -1)).groupby(seen["device"]).cummax()
    closes = (seen["outcome"] == Outcome.PASS) & (failed >= 0) & (remedied >= failed)
    last_fail = failed.groupby(seen["device"]).last()
    closed = pd.Series(np.where(closes, order, -1)).groupby(seen["device"]).max()
    is_open = (last_fail >= 0) & (closed < last_fail)
    days = pd.Series(seen["at"].to_numpy()[last_fail.clip(lower=0)], index=last_fail.index) if len(seen) else last_fail
    return days.where(is_open)


def _due(seen: pd.DataFrame, out: pd.DataFrame, rules: RuleSet) -> pd.Series[str]:
    """Next test of devices that stand as passed: the day of the pass and the interval of their environment and kind."""
    day = seen.groupby("device")["day"].last()
    stands = (out["outcome"] == Outcome.PASS) & out["out_of_use"].isna() & day.reindex(out.index).notna()
    due = pd.Series(None, index=out.index, dtype="object")
    for (kind, environment), group in (
        out[stands].fillna({"kind": "", "environment": ""}).groupby(["kind", "environment"])
    ):
        interval = rules.retest_months(str(kind), str(environment))
        if interval is not None:
            days = pd.to_datetime(day[group.index]) + pd.DateOffset(months=interval.months)
            due[group.index] = days.dt.strftime("%Y-%m-%d")
    return due


def _write(register: Register, states: pd.DataFrame) -> None:
    """Devices of whom no visit is left keep their names and stand as never seen."""
    connection = register.connection
    nothing = ", ".join(f"{name} = NULL" for name in STATE)
    connection.execute(f"UPDATE devices SET {nothing} WHERE id IN (SELECT device FROM touched)")
    kept = ", ".join(f"{name} = coalesce(?, {name})" for name in (*STATED, "rated"))
    values = states[[*STATE, *STATED, "rated"]].astype(object).where(states.notna(), None)
    values = values.assign(device=states.index.to_numpy().astype(object))
    connection.executemany(
        f"UPDATE devices SET {', '.join(f'{name} = ?' for name in STATE)}, {kept} WHERE id = ?",
        values.itertuples(index=False, name=None),
    )


def _renew_successors(register: Register) -> None:
    """A device is replaced by the one that came under its name, unless it was seen after that or that never was."""
    register.connection.execute(
        "UPDATE devices SET replaced_by = (SELECT min(s.id) FROM devices s WHERE s.replaces = devices.id"
        " AND s.first_at >= coalesce(devices.last_at, s.first_at))"
        " WHERE id IN (SELECT device FROM touched UNION"
        " SELECT replaces FROM devices JOIN touched ON device = devices.id WHERE replaces IS NOT NULL)"
    )


def _renew_places(register: Register) -> None:
    """First and last day of each place, and the day since which its last whole round began."""
    register.connection.execute(
        "UPDATE places SET (first_at, last_at) ="
        " (SELECT min(first_at), max(last_at) FROM devices WHERE place = places.id)"
        " WHERE id IN (SELECT DISTINCT place FROM devices JOIN touched ON device = devices.id)"
    )
    register.connection.execute(
        f"""UPDATE places SET round_since = (
            SELECT CASE WHEN sum(last_at >= date(places.last_at, '-{ROUND_DAYS} days')) >= {WHOLE} * count(*)
                   THEN date(places.last_at, '-{ROUND_DAYS} days') END
            FROM devices WHERE place = places.id AND last_at IS NOT NULL AND out_of_use IS NULL AND replaced_by IS NULL)
        WHERE id IN (SELECT DISTINCT place FROM devices JOIN touched ON device = devices.id)"""
    )
