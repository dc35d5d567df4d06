"""What people have settled about identity: which devices or sites are the same, and which are not.

A line of a settling file says `same` or `different` of two devices, each by site and name as typed (for a sheet without
a site the name of its file stands for it); with no device it speaks of whole sites. What was settled is kept in the
register, is applied to what it holds, and goes before all evidence from then on.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

from rcdcheck.errors import SettingsError
from rcdcheck.register.keys import name_key, plain_key
from rcdcheck.register.states import renew
from rcdcheck.register.store import Register
from rcdcheck.rules import RuleSet

SAME, DIFFERENT, PERHAPS = "same", "different", "perhaps"
ONE_SITE = "its site shares most devices with one known before"  # said of every device of such a site
HEAD = ("is", "site", "device", "other_site", "other_device", "why")


class Named(NamedTuple):
    """A device, or with an empty name a site, by keys."""

    site: str
    name: str


@dataclass(frozen=True)
class Settled:
    """All that was settled; pairs are held both ways."""

    same: dict[Named, tuple[Named, ...]]
    different: frozenset[tuple[Named, Named]]

    def apart(self, one: Named, other: Named) -> bool:
        """Whether two devices, or their sites, were settled to be different."""
        sites = (Named(one.site, ""), Named(other.site, ""))
        return (one, other) in self.different or sites in self.different


def settled(register: Register) -> Settled:
    """What the register was told so far; a later line goes before an earlier one."""
    said = {}
    for word, *names in register.rows("SELECT said, site, name, other_site, other_name FROM settled ORDER BY id"):
        one, other = Named(names[0], names[1]), Named(names[2], names[3])
        said[one, other] = said[other, one] = word
    same: dict[Named, tuple[Named, ...]] = {}
    for (one, other), word in said.items():
        if word == SAME:
            same[one] = (*same.get(one, ()), other)
    return Settled(same, frozenset(pair for pair, word in said.items() if word == DIFFERENT))


# ── the list of what was taken for the same ──


def taken_for_the_same(register: Register) -> list[tuple[str, ...]]:
    """Lines of a settling file (HEAD): what was joined, a whole site in one line, and what may be."""
    told = settled(register).same
    sites: Counter[tuple[str, str, str]] = Counter()
    lines = []
    for site, name, other_site, other_name, how in _joined(register):
        one, other = Named(name_key(site), ""), Named(name_key(other_site), "")
        of_site = how == ONE_SITE or (name_key(name) == name_key(other_name) and other in told.get(one, ()))
        if of_site:
            sites[site, other_site, how] += 1
        else:
            lines.append((SAME, site, name, other_site, other_name, how))
    whole = [(SAME, one, "", other, "", f"{n} device{'s' * (n > 1)}: {how}") for (one, other, how), n in sites.items()]
    return whole + lines + [(PERHAPS, *row, "this name stood at the other site before") for row in _moved(register)]


def _joined(register: Register) -> list[tuple[str, ...]]:
    """Site and name of each device that was joined to another, those of the other, and why."""
    return register.rows(
        """SELECT DISTINCT coalesce(nullif(p.name, ''), f.file), d.name, coalesce(nullif(s.site, ''), v.file), s.name,
            s.how FROM sightings s
        JOIN visits v ON v.id = s.visit JOIN devices d ON d.id = s.device JOIN places p ON p.id = d.place
        JOIN (SELECT t.device, min(w.file) file FROM sightings t JOIN visits w ON w.id = t.visit
              WHERE t.how = '' GROUP BY t.device) f ON f.device = d.id
        WHERE s.how <> '' AND v.replaced_by IS NULL ORDER BY p.name, d.name, s.id"""
    )


def _moved(register: Register) -> list[tuple[str, ...]]:
    """Site and name of devices that perhaps moved, before and after."""
    file = (
        "(SELECT v.file FROM sightings s JOIN visits v ON v.id = s.visit WHERE s.device = {}.id"
        " AND v.replaced_by IS NULL ORDER BY s.id LIMIT 1)"
    )
    return register.rows(
        f"""SELECT coalesce(nullif(p.name, ''), {file.format("old")}), old.name,
            coalesce(nullif(q.name, ''), {file.format("new")}), new.name
        FROM devices new JOIN devices old ON old.id = new.moved_from
        JOIN places p ON p.id = old.place JOIN places q ON q.id = new.place
        WHERE new.last_at IS NOT NULL AND old.last_at IS NOT NULL ORDER BY p.name, old.name"""
    )


# ── settling ──


def settle(register: Register, lines: Iterable[tuple[str, ...]], rules: RuleSet) -> int:
    """Keep these lines (HEAD, as typed) and bring the register in line with them; how many said anything new.

    Raises SettingsError for a line that names what the register does not know.
    """
    count = 0
    before = settled(register)
    for word, site, name, other_site, other_name in lines:
        one, other = Named(name_key(site), name_key(name)), Named(name_key(other_site), name_key(other_name))
        known = other in before.same.get(one, ()) if word == SAME else (one, other) in before.different
        if word == PERHAPS or known:
            continue
        if bool(one.name) != bool(other.name):
            raise SettingsError(f"{site}, {name} and {other_site}, {other_name}: name two devices, or two sites.")
        register.connection.execute(
            "INSERT INTO settled (said, site, name, other_site, other_name) VALUES (?, ?, ?, ?, ?)",
            (word, *one, *other),
        )
        touched = _join(register, one, other) if word == SAME else _part(register, one, other)
        renew(register, touched, rules)
        count += 1
    return count


def _sightings(register: Register, named: Named) -> list[tuple[int, int, str]]:
    """Sightings typed so: number, device, name key. Raises SettingsError where there are none."""
    found = _typed(register, named)
    if not found:
        what = ", ".join(filter(None, named))
        raise SettingsError(f"The register knows no “{what}”. `rcdcheck visits --same` lists what may be settled.")
    return found


def _typed(register: Register, named: Named) -> list[tuple[int, int, str]]:
    rows = register.rows(
        """SELECT s.id, s.device, s.site, s.name, v.file FROM sightings s JOIN visits v ON v.id = s.visit
        WHERE v.replaced_by IS NULL AND (? = '' OR s.device IN (
            SELECT id FROM devices WHERE plain_key = ? UNION SELECT device FROM sightings WHERE how <> ''))""",
        named.name,
        plain_key(named.name),
    )
    return [
        (int(number), int(device), name_key(name))
        for number, device, site, name, file in rows
        if name_key(site or file) == named.site and named.name in ("", name_key(name))
    ]


def devices_called(register: Register, named: Named) -> list[int]:
    """Devices of the register that were typed so, the one typed last at the end."""
    return [device for _, device, _ in _typed(register, named)]


def _join(register: Register, one: Named, other: Named) -> set[int]:
    """Make the devices of the second those of the first."""
    first, second = _sightings(register, one), _sightings(register, other)
    by_name = {plain_key(name): device for _, device, name in first}
    place = register.one("SELECT place FROM devices WHERE id = ?", first[0][1])
    touched = {device for _, device, _ in (*first, *second)}
    for number, device, name in second:
        target = first[0][1] if one.name else by_name.get(plain_key(name), device)
        register.connection.execute("UPDATE sightings SET device = ?, how = 'settled' WHERE id = ?", (target, number))
        if not one.name:
            register.connection.execute("UPDATE devices SET place = ? WHERE id = ?", (place, target))
        register.connection.execute("UPDATE devices SET moved_from = NULL WHERE id = ?", (device,))
    if not one.name:
        register.connection.execute("INSERT OR REPLACE INTO place_names VALUES (?, ?)", (other.site, place))
    return touched


def _part(register: Register, one: Named, other: Named) -> set[int]:
    """Give the sightings of the second devices of their own, where they stand under one of the first."""
    mine = {device for _, device, _ in _sightings(register, one)}
    touched = set(mine)
    made: dict[int, int] = {}
    place = None
    if not one.name:
        place = int(register.one("SELECT max(id) + 1 FROM places"))
        title = register.rows("SELECT site FROM sightings WHERE id = ?", _sightings(register, other)[0][0])[0][0]
        register.connection.execute("INSERT INTO places (id, name) VALUES (?, ?)", (place, title))
        if title:
            register.connection.execute("INSERT OR REPLACE INTO place_names VALUES (?, ?)", (other.site, place))
    for number, device, _ in _sightings(register, other):
        if device in mine:
            made[device] = made.get(device) or _copy(register, device, number, place)
            register.connection.execute(
                "UPDATE sightings SET device = ?, how = '' WHERE id = ?", (made[device], number)
            )
            touched.add(made[device])
        register.connection.execute("UPDATE devices SET moved_from = NULL WHERE id = ?", (device,))
    return touched


def _copy(register: Register, device: int, sighting: int, place: int | None) -> int:
    """A new device as a sighting describes it, at the place of another one or at its own."""
    number = int(register.one("SELECT max(id) + 1 FROM devices"))
    described = register.rows(
        "SELECT coalesce(?, d.place), s.board, s.name, s.serial, s.location, s.kind, s.environment, s.model, s.rated"
        " FROM sightings s JOIN devices d ON d.id = s.device WHERE s.id = ? AND d.id = ?",
        place,
        sighting,
        device,
    )[0]
    keys = (name_key(described[1]), name_key(described[2]), plain_key(described[2]), plain_key(described[3]))
    register.connection.execute(
        "INSERT INTO devices (id, place, board, name, serial, location, kind, environment, model, rated, board_key,"
        " name_key, plain_key, serial_key) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (number, *described, *keys),
    )
    return number
