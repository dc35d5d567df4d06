"""Columns as they come in under their headings: what a person stated of them, and outlets with columns of their own."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

from rcdcheck.as_seen import column_letters
from rcdcheck.intake.cells.rounds import names_round, names_year, round_of, without_round
from rcdcheck.intake.understood.candidates import IDENTITY
from rcdcheck.intake.understood.column_candidates import Headed
from rcdcheck.intake.understood.lexicon import device_apart, names, normal
from rcdcheck.intake.understood.meaning import Meaning
from rcdcheck.intake.understood.reading_headings import readings_of

# by normalised heading, by letters of a column ("=A"), or by number and row in another world ("#0@4")
Stated = Mapping[str, Meaning]

_OUTLET = re.compile(
    r"(?<!\w)(l\s?[123]|(?:outlet|socket|gpo|point|skt|dose|steckdose|prise|toma|presa|tomada|stopcontact)\s*(?:no\.?\s*)?\d{1,2})(?!\w)",
    re.IGNORECASE,
)


def letters_last(columns: list[Headed], stated: Stated) -> list[Headed]:
    """Where a heading is named by the person, letters that happen to read the same name no column."""
    named = {normal(c.heading) for c in columns} | {normal(c.shown) for c in columns}
    letters = {k for k in stated if k.startswith("=") and k[1:].casefold() in named}
    return [replace(c, stated=None) if f"={column_letters(c.number)}" in letters and not
            {normal(c.heading), normal(c.shown)} & set(stated) else c for c in columns]  # fmt: skip


def rounds_apart(columns: tuple[Headed, ...]) -> tuple[Headed, ...]:
    """Columns that all come again below each of several headings ("Spring", "Autumn"): these tell them apart."""
    under: dict[str, list[str]] = {}
    for c in columns:
        if c.groups and not c.outlet:
            under.setdefault(c.groups[0], []).append(normal(" ".join((*c.groups[1:], c.heading))))
    if rounds := _rounds(under):
        return tuple(
            replace(c, groups=c.groups[1:], outlet=f"visit {rounds[c.groups[0]]}")
            if c.groups and not c.outlet and c.groups[0] in rounds
            else c
            for c in columns
        )
    again = [set(headings) for headings in under.values() if len(headings) > 1]
    if len(under) < 2 or len(again) < len(under) or any(headings != again[0] for headings in again):
        return columns
    visits = all(map(names_round, under))  # in "Second go" the second is no unit
    devices = all(map(device_apart, under))  # "RCD 1", "RCD 2" of the board in each row
    if not visits and not devices and any(_says_reading(label) or _names_field(label) for label in under):
        return columns
    if any(map(_names_device, again[0])):
        return columns
    labels = _in_order(list(under))
    return tuple(
        replace(c, groups=c.groups[1:], outlet=labels[c.groups[0]]) if c.groups and not c.outlet else c for c in columns
    )


def _rounds(under: Mapping[str, list[str]]) -> dict[str, int]:
    """The groups that are rounds of one test, by number: "As found" and "As left", beside others such as "What was
    done"; empty unless one column comes again in each."""
    rounds = {label: n for label in under if (n := round_of(label))}
    shared = set.intersection(*(set(under[label]) for label in rounds)) if len(set(rounds.values())) > 1 else set()
    return rounds if any(map(readings_of, shared)) else {}


def _says_reading(label: str) -> bool:
    """Whether a group heading says what is read below it; the letter of "Pier A" is no unit."""
    return any(read.weight >= WEAK for read in readings_of(label))


WEAK = 2.5  # how strongly a heading must speak of a reading to be of one


def _in_order(labels: list[str]) -> dict[str, str]:
    """What columns are told apart by: "visit 1", "visit 2" where labels name visits ("24 January (second go)")."""
    if all(map(names_year, labels)):
        labels = sorted(labels)
    of_visits = any(map(round_of, labels)) or all(map(names_year, labels))
    return {label: f"visit {n}" if of_visits else label for n, label in enumerate(labels, 1)}


def visits_apart(columns: tuple[Headed, ...]) -> tuple[Headed, ...]:
    """Columns of a first and a second test beside each other ("1st 0", "2nd 0", "Outcome after"): the visit is no part
    of their heading. Half-waves have an order too: "1st half" is none."""
    parted = [without_round(c.heading) if not c.outlet and not c.groups else (0, c.heading) for c in columns]
    visits: dict[int, set[str]] = {}
    for number, rest in parted:
        if number and readings_of(rest):
            visits.setdefault(number, set()).add(normal(rest))
    again = set.intersection(*visits.values()) if len(visits) > 1 else set()
    if not again:
        return columns
    return tuple(
        replace(c, heading=rest, outlet=f"visit {number}") if number in visits else c
        for c, (number, rest) in zip(columns, parted, strict=True)
    )


def _names_field(label: str) -> bool:
    return any(fit.quality >= 0.9 and fit.part.value not in ("tested_at", "outlet") for fit in names(label))


def _names_device(heading: str) -> bool:
    return any(fit.quality >= 0.9 and fit.part.value in IDENTITY for fit in names(heading))


def outlet_named(label: str) -> bool:
    """Whether a label calls an outlet, a side or a line of the supply."""
    return bool(_OUTLET.search(label)) or any(f.quality >= 0.9 and f.part.value == "outlet" for f in names(label))


def outlets_apart(columns: list[Headed]) -> tuple[Headed, ...]:
    """Columns of one outlet or line each ("L1 0°", "Socket 2" above "0°"): the outlet is no part of their heading."""
    labels = [next(filter(None, (_OUTLET.search(t) for t in (*c.groups, c.heading))), None) for c in columns]
    distinct = {normal(m[1]) for m in labels if m}
    if len(distinct) < 2:
        return tuple(columns)
    out = []
    for c, label in zip(columns, labels, strict=True):
        if label is None or (normal(label[1]) == normal(c.heading) and not c.groups):
            out.append(c)
            continue
        groups = tuple(filter(None, (_OUTLET.sub("", g).strip() for g in c.groups)))
        out.append(replace(c, heading=_OUTLET.sub("", c.heading).strip(), groups=groups, outlet=label[1]))
    return tuple(out)
