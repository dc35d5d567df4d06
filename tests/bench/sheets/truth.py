"""What is true of each device of a made sheet, before anybody types it: its readings, its checks and its outcome."""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TypeAlias

from .phrases import INSTRUMENTS, PERSONS, PLACES, PREFIXES, SITES, THINGS, Words

TIMES = ("t1_0", "t1_180")
SELECTIVE_FROM = 100
EXPECTED = {
    "pass": "pass",
    "harmless": "pass",
    "slow": "fail",
    "slow5": "fail",
    "no_trip": "fail",
    "ramp_high": "fail",
    "half_trip": "fail",
    "visual_fail": "fail",
    "button_fail": "fail",
    "retest_fail": "fail",
    "fault": "unclear",
    "planned": "unclear",
    "unreadable": "unclear",
    "verdict_only": "unclear",
    "retest_pass": "unclear",
    "missing_phase": "incomplete",
    "visual_blank": "incomplete",
    "no_access": "incomplete",
    "unit_bad": "fail",
    "unit_untested": "incomplete",
}
NEEDS = {
    "harmless": "remark",
    "fault": "remark",
    "planned": "remark",
    "slow5": "x5",
    "ramp_high": "ramp",
    "half_trip": "half",
    "visual_fail": "visual",
    "visual_blank": "visual",
    "button_fail": "button",
    "verdict_only": "result",
    "retest_pass": "retests",
    "retest_fail": "retests",
    "unit_bad": "units",
    "unit_untested": "units",
}


class Mark(StrEnum):
    """A reading that is no number."""

    BLANK = "blank"
    NOT_TESTED = "not_tested"
    NO_TRIP = "no_trip"
    OVER = "over_range"
    UNREADABLE = "unreadable"
    NO_ACCESS = "no_access"


Value: TypeAlias = float | Mark


@dataclass
class Unit:
    """What has readings of its own: the device itself, an outlet, a line."""

    label: str
    readings: dict[str, Value]


@dataclass
class Device:
    """A device with everything a sheet may say about it."""

    name: str
    kind: str
    rated: int
    selective: bool
    units: list[Unit]
    facts: dict[str, str]
    checks: dict[str, str]
    remark: str = ""
    retest: Unit | None = None
    names: list[str] = field(default_factory=list)

    @property
    def expected(self) -> str:
        """The outcome that the rules give."""
        return EXPECTED[self.kind]


@dataclass
class Recorded:
    """What a sheet records: the fields it has, the ratings in it and how many units a device has."""

    fields: set[str]
    ratings: list[int]
    unit_labels: list[str] = field(default_factory=list)
    sites: list[str] = field(default_factory=list)

    @property
    def readings(self) -> list[str]:
        """The keys of the readings of a unit, in the order of a sheet."""
        keys = list(TIMES)
        keys += ["t5_0", "t5_180"] if "x5" in self.fields else []
        keys += ["half_0", "half_180"] if "half" in self.fields else []
        return keys + (["ramp"] if "ramp" in self.fields else [])


def draw_devices(recorded: Recorded, words: Words, count: int) -> list[Device]:
    """Draw the devices of a sheet, site by site."""
    rng = words.rng
    names = _names(rng, words.language, count)
    sites = sorted(rng.choices(range(len(recorded.sites) or 1), k=count))
    devices = []
    for index, name in enumerate(names):
        site = recorded.sites[sites[index]] if recorded.sites else ""
        devices.append(_draw_device(recorded, words, name, site, index))
    same = {"technician": rng.choice(PERSONS), "instrument": rng.choice(INSTRUMENTS)}
    for device in devices:
        device.facts |= same
    return devices


def limit(device: Device, key: str) -> float:
    """The longest time in ms that passes for a reading."""
    if key.startswith("t5") or device.rated <= 10:
        return 40
    return 500 if device.selective else 300


def _names(rng: random.Random, language: str, count: int) -> list[str]:
    prefix = PREFIXES[language]
    start = rng.choice([1, 1, 1, 7, 101, 2301])
    pattern = rng.choice(["{p} {n}", "{p}{n}", "{p}-{n:02d}", "A{n:03d}", "K-{n:02d}", "{n}", "{n:04d}", "SB/{n}"])
    return [pattern.format(p=prefix, n=start + step) for step in range(count)]


def _draw_device(recorded: Recorded, words: Words, name: str, site: str, index: int) -> Device:
    rng = words.rng
    kind = _draw_kind(rng, recorded)
    rated = rng.choice(recorded.ratings)
    selective = "rcd_type" in recorded.fields and rated >= SELECTIVE_FROM and rng.random() < 0.6
    labels = _unit_labels(rng, recorded, index)
    device = Device(name, kind, rated, selective, [], _facts(words, site, index), {}, names=[name])
    device.units = [Unit(label, _good_readings(rng, recorded, device)) for label in labels]
    device.checks = {"visual": "pass", "button": "pass" if rng.random() < 0.95 else "", "result": "pass"}
    _spoil(rng, recorded, device)
    _remark(words, recorded, device)
    return device


def _draw_kind(rng: random.Random, recorded: Recorded) -> str:
    if rng.random() < 0.6:
        return "harmless" if "remark" in recorded.fields and rng.random() < 0.15 else "pass"
    have = recorded.fields | ({"units"} if recorded.unit_labels else set())
    # On a sheet of line conductors an empty line may be none of the device's.
    have -= {"units"} if recorded.unit_labels[:1] == ["L1"] else set()
    special = [kind for kind in EXPECTED if kind not in ("pass", "harmless") and NEEDS.get(kind, "") in have | {""}]
    weights = [
        4 if kind.startswith(("unit_", "retest")) else 2 if kind in ("slow", "no_trip", "fault") else 1
        for kind in special
    ]
    return rng.choices(special, weights)[0]


def _unit_labels(rng: random.Random, recorded: Recorded, index: int) -> list[str]:
    labels = recorded.unit_labels
    if not labels:
        return [""]
    if labels[0] == "L1":
        return labels
    count = rng.randint(2, len(labels))
    return labels[:count]


def _facts(words: Words, site: str, index: int) -> dict[str, str]:
    rng = words.rng
    board = index // 4 + 1
    return {
        "site": site or SITES[0],
        "location": rng.choice(PLACES[words.language]),
        "board": f"B{board}",
        "circuit": str(index % 4 * 2 + 1),
        "serial": f"{rng.randint(10**6, 10**7 - 1)}",
        "description": rng.choice(THINGS[words.language]),
        "clock": f"{8 + index // 4:02d}:{index % 4 * 14 + 5:02d}",
    }


def _good_readings(rng: random.Random, recorded: Recorded, device: Device) -> dict[str, Value]:
    return {key: _good(rng, device, key) for key in recorded.readings}


def _good(rng: random.Random, device: Device, key: str) -> Value:
    if key == "ramp":
        return round(device.rated * rng.uniform(0.6, 0.93), 1)
    if key.startswith("half"):
        return rng.choice([Mark.NO_TRIP, Mark.NO_TRIP, Mark.OVER])
    if key.startswith("t5") or device.rated <= 10:
        return round(rng.uniform(12, 36), 1)
    return round(rng.uniform(160, 400) if device.selective else rng.uniform(15, 150), 1)


def _slow(rng: random.Random, device: Device, key: str) -> Value:
    if rng.random() < 0.3:
        return Mark.OVER
    return float(rng.randint(650 if device.selective else 340, 1900))


def _spoil(rng: random.Random, recorded: Recorded, device: Device) -> None:
    """Make the device what its kind says, in one unit of it."""
    kind, readings = device.kind, rng.choice(device.units).readings
    phase = rng.choice(TIMES)
    if kind in ("slow", "unit_bad", "retest_pass", "retest_fail"):
        readings[phase] = _slow(rng, device, phase) if rng.random() < 0.7 else Mark.NO_TRIP
    elif kind == "slow5":
        readings["t5_" + phase[3:]] = _slow(rng, device, "t5_0")
    elif kind == "no_trip":
        readings[phase] = Mark.NO_TRIP
    elif kind == "ramp_high":
        readings["ramp"] = round(device.rated * rng.uniform(1.1, 1.6), 1)
    elif kind == "half_trip":
        readings["half_" + phase[3:]] = float(rng.randint(20, 120))
    elif kind == "unreadable":
        readings[phase] = Mark.UNREADABLE
    elif kind == "missing_phase":
        readings[phase] = _absent(rng)
    elif kind == "unit_untested":
        mark = _absent(rng)
        readings.update(dict.fromkeys(readings, mark))
    elif kind == "no_access":
        _no_access(device)
    _spoil_checks(rng, device)
    if kind.startswith("retest"):
        device.retest = Unit(device.units[0].label, _good_readings(rng, recorded, device))
        if kind == "retest_fail":
            device.retest.readings[phase] = _slow(rng, device, phase)


def _absent(rng: random.Random) -> Mark:
    return Mark.BLANK if rng.random() < 0.5 else Mark.NOT_TESTED


def _no_access(device: Device) -> None:
    for unit in device.units:
        unit.readings = dict.fromkeys(unit.readings, Mark.BLANK)
        unit.readings["t1_0"] = Mark.NO_ACCESS
    device.checks = {"visual": "", "button": "", "result": ""}


def _spoil_checks(rng: random.Random, device: Device) -> None:
    kind = device.kind
    if kind in ("visual_fail", "button_fail"):
        device.checks[kind.removesuffix("_fail")] = "fail"
    if kind == "visual_blank":
        device.checks["visual"] = ""
    if device.expected == "fail" or kind in ("verdict_only", "retest_pass"):
        device.checks["result"] = "fail"
    elif device.expected == "incomplete" or kind == "unreadable":
        device.checks["result"] = "pass" if rng.random() < 0.3 and kind != "no_access" else ""


def _remark(words: Words, recorded: Recorded, device: Device) -> None:
    if "remark" not in recorded.fields:
        return
    if device.kind in ("harmless", "fault", "planned"):
        device.remark = words.pick("remarks", device.kind)
    elif device.kind == "no_access" and words.rng.random() < 0.5:
        device.remark = words.pick("marks", "no_access")
        for unit in device.units:
            unit.readings["t1_0"] = Mark.BLANK
