"""Which groups of devices of a run are at a place that the register knows: by name, by what was settled, by evidence.

A group is a site of the run, or, where no site is stated, a file. A site is the place of its name. Where one of two is
without a name, they are one place if they share identifiers that people would call names, at least five and half of the
smaller, whose rated currents agree, and if no second place does so as well; files that are called alike but for month
or date need only half. Bare numbers from 1 on are shared by all lists and count for nothing.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import pandas as pd

from rcdcheck.intake.taken_out.sites_of_sheets import site_of_sheet
from rcdcheck.register.keys import counting, name_key
from rcdcheck.register.settled import Named, Settled
from rcdcheck.register.store import Register

SHARED = 5  # identifiers that two groups of different names must share
SHARE = 0.5  # of the smaller group
AGREE = 0.9  # of the rated currents that both state


@dataclass(frozen=True)
class Group:
    """A site of the run, or a file without one."""

    site: str
    file: str
    rated: dict[
        str, float
    ]  # rated current (NaN where not stated) by the plain key of its devices, bare numbers left out

    @property
    def key(self) -> str:
        """By which a settling file calls it."""
        return name_key(self.site or self.file)

    @property
    def called(self) -> str:
        """Its name without month or date; a file gives its own where no site is stated."""
        stem = self.file.rpartition("/")[2].rpartition(".")[0]
        return name_key(self.site or site_of_sheet(stem.replace("_", " ").replace("-", " ")))


@dataclass
class Fleet:
    """The devices of a place."""

    rated: dict[str, float] = field(default_factory=dict)
    called: set[str] = field(default_factory=set)

    def add(self, group: Group) -> None:
        """Take in the devices of a group."""
        self.rated |= group.rated
        self.called |= {group.called} - {""}


@dataclass
class Placed:
    """The place of each group, and what the register must still be told."""

    of_group: list[int]
    new: list[tuple[int, str]]  # number and name of places that it does not know
    names: list[tuple[str, int]]  # keys that name a place from now on
    joined: list[bool]  # of each group: whether evidence, and not its name, gave it the place


def place_groups(register: Register, groups: Sequence[Group], told: Settled) -> Placed:
    """Find or found the place of each group, in order; groups of the same run may be one place as well."""
    by_key: dict[str, int] = {}  # of the groups so far, by the name that settles them
    known: dict[str, int] = dict(register.rows("SELECT key, place FROM place_names"))
    named = set(known.values())
    number = int(register.one("SELECT coalesce(max(id), 0) FROM places"))
    placed = Placed([], [], [], [])
    fleets = _fleets(register, [g for g in groups if name_key(g.site) not in known])
    holders: dict[str, set[int]] = {}
    for place, fleet in fleets.items():
        _hold(holders, place, fleet.rated)
    for group in groups:
        key = name_key(group.site)
        place = known.get(key, -1) if key else -1
        if place < 0:
            place = _as_told(told, group, known, by_key)
        by_name = place >= 0
        if not by_name:
            never = _never(told, group, known, by_key) | (named if key else set())
            place = _by_evidence(group, fleets, holders, never)
        placed.joined.append(not by_name and place >= 0)
        if place < 0:
            number += 1
            place = number
            placed.new.append((place, group.site))
        if key and key not in known:
            known[key] = place
            named.add(place)
            placed.names.append((key, place))
        fleets.setdefault(place, Fleet()).add(group)
        _hold(holders, place, group.rated)
        placed.of_group.append(place)
        by_key[group.key] = place
    return placed


def _as_told(told: Settled, group: Group, known: dict[str, int], by_key: dict[str, int]) -> int:
    """The place of a site that a person settled to be the same; -1 where none did."""
    for other in told.same.get(Named(group.key, ""), ()):
        place = known.get(other.site, by_key.get(other.site, -1))
        if place >= 0:
            return place
    return -1


def _never(told: Settled, group: Group, known: dict[str, int], by_key: dict[str, int]) -> set[int]:
    """Places that a person settled to be others."""
    others = [other.site for one, other in told.different if one == Named(group.key, "")]
    return {places[site] for site in others for places in (known, by_key) if site in places}


def _hold(holders: dict[str, set[int]], place: int, names: dict[str, float]) -> None:
    for name in names:
        holders.setdefault(name, set()).add(place)


def _by_evidence(group: Group, fleets: dict[int, Fleet], holders: dict[str, set[int]], never: set[int]) -> int:
    """The one place whose devices are those of the group, -1 where none or several are; none of `never`."""
    shared = Counter(place for name in group.rated for place in holders.get(name, ()) if place not in never)
    fits = []
    for place, count in shared.items():
        rated = fleets[place].rated
        pairs = [(mine, rated[name]) for name, mine in group.rated.items() if name in rated]
        stated = [pair for pair in pairs if not math.isnan(sum(pair))]
        enough = count >= SHARE * min(len(group.rated), len(rated))
        enough &= count >= (1 if group.called in fleets[place].called else SHARED)
        if enough and sum(a == b for a, b in stated) >= AGREE * len(stated):
            fits.append(place)
    return fits[0] if len(fits) == 1 else -1


def _fleets(register: Register, asking: Sequence[Group]) -> dict[int, Fleet]:
    """The places of the register that share a name with a group whose own name gives it no place."""
    connection = register.connection
    connection.execute("CREATE TEMP TABLE IF NOT EXISTS wanted (plain TEXT PRIMARY KEY)")
    connection.execute("DELETE FROM wanted")
    if register.one("SELECT 1 FROM devices LIMIT 1"):
        names = {name for group in asking for name in group.rated}
        connection.executemany("INSERT INTO wanted VALUES (?)", ((name,) for name in names))
    places = register.rows(
        "SELECT DISTINCT d.place FROM wanted w CROSS JOIN devices d ON d.plain_key = w.plain"
        " WHERE d.last_at IS NOT NULL"
    )
    return {int(place): _fleet(register, int(place)) for (place,) in places}


def _fleet(register: Register, place: int) -> Fleet:
    fleet = Fleet()
    devices = register.rows("SELECT plain_key, name, rated FROM devices WHERE place = ? AND last_at IS NOT NULL", place)
    fleet.rated = {
        plain: float("nan") if rated is None else rated for plain, name, rated in devices if not counting(name)
    }
    for site, file in register.rows(
        "SELECT DISTINCT s.site, v.file FROM devices d CROSS JOIN sightings s ON s.device = d.id"
        " CROSS JOIN visits v ON v.id = s.visit WHERE d.place = ?",
        place,
    ):
        fleet.add(Group(site, file, {}))
    return fleet


def groups_of_run(devices: pd.DataFrame) -> list[Group]:
    """The groups, by their number; `devices` has group, site, file, plain, bare (a counting number) and rated."""
    own = devices[~devices["bare"] & (devices["plain"] != "")]
    rated = {number: dict(zip(mine["plain"], mine["rated"], strict=True)) for number, mine in own.groupby("group")}
    first = devices.drop_duplicates("group").sort_values("group")
    return [
        Group(site, file, rated.get(number, {}))
        for number, site, file in zip(first["group"], first["site"], first["file"], strict=True)
    ]
