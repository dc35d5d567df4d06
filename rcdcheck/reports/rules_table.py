"""A rule set as plain text for the terminal: every figure with its source and how that source is known."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from rcdcheck.options import Options
from rcdcheck.rules import Interval, Limit, RcdType, RuleSet, Standing, load, shipped


def rules_list_text(width: int = 80) -> str:
    """The shipped rule sets, one short paragraph each."""
    lines = ["Rule sets (rcdcheck rules NAME prints one with its sources):", ""]
    for name in shipped():
        rules = load(name)
        lines.append(name + (" (default)" if name == Options.rules else ""))
        lines += [*_wrapped(f"{rules.title}: {rules.document}; {rules.covers}.", width), ""]
    return "\n".join(lines).rstrip()


def rules_text(rule_set: RuleSet, width: int = 80) -> str:
    """All of a rule set, no line longer than `width` columns."""
    lines = [rule_set.title, "=" * min(len(rule_set.title), width), ""]
    for label in ("name", "document", "edition", "covers"):
        lines += _labelled(label, getattr(rule_set, label), width)
    lines += ["", *textwrap.wrap(rule_set.notice, width)]
    for title, entries in _sections(rule_set):
        shown = [line for what, standing, notes in entries for line in _entry(what, standing, notes, width)]
        lines += ["", title, "-" * len(title), *(shown or ["  none"])]
    lines += ["", *textwrap.wrap(f"Where recorded, must also pass: {_must_pass(rule_set)}.", width)]
    lines += [f"sha256 {rule_set.sha256}"]
    return "\n".join(lines)


Entry = tuple[str, Standing, list[str]]  # what it says, its standing, and the sentences below it


def _sections(rules: RuleSet) -> Iterator[tuple[str, list[Entry]]]:
    yield "RCD types", [(_type(t), t.standing, [t.source]) for t in rules.types]
    for quantity, title in (("trip_time", "Trip time"), ("trip_current", "Ramp trip current")):
        yield title, [_limit(limit) for limit in rules.limits if limit.quantity == quantity]
    yield "A complete test needs", [(need.text, need.standing, [need.source]) for need in rules.needs]
    yield "Re-test after", [(_interval(i), i.standing, [i.source]) for i in rules.intervals]
    yield "Plausibility", [_plausibility(rules)]
    yield "Ratings", list(_ratings(rules))


def _ratings(rules: RuleSet) -> Iterator[Entry]:
    of = rules.ratings
    yield f"preferred: {', '.join(f'{r:g}' for r in rules.preferred_ratings)} mA", of.standing, [of.source]
    if of.also_standing:
        yield f"also met: {', '.join(f'{r:g}' for r in of.also)} mA", of.also_standing, [of.also_source]
    if of.portable_standing:
        yield f"portable devices: at most {of.portable_to:g} mA", of.portable_standing, [of.portable_source]


def _type(t: RcdType) -> str:
    above = f"above {t.rated_above:g} " if t.rated_above else ""
    only = f", {t.only} devices only" if t.only else ""
    return f"{t.name}: {above}up to {t.rated_to:g} mA, {t.delay}{only}"


def _interval(i: Interval) -> str:
    return f"{i.kind}, {i.environment}: {i.months:g} month{'s' if i.months != 1 else ''}"


def _limit(limit: Limit) -> Entry:
    notes = [limit.source]
    unit = "ms" if limit.quantity == "trip_time" else "mA"
    if limit.waveform_types:
        notes.insert(0, f"for waveform type {', '.join(limit.waveform_types)}")
    if limit.minimum_source:
        notes.append(f"Minimum: {limit.minimum_source} ({limit.minimum_standing}).")
    if limit.curve is not None:
        c = limit.curve
        notes.append(f"Above {c.to_ma:g} mA {c.beyond_ms:g} ms: {c.beyond_source} ({c.beyond_standing}).")
        notes.append(f"Below {c.hold_below_ma:g} mA it must not trip: {c.hold_source} ({c.hold_standing}).")
    if limit.hint:
        notes.append(limit.hint)
    if limit.window_source:
        notes.append(f"Window of {limit.window:g} ms: {limit.window_source} ({limit.window_standing}).")
    if limit.caution_source:
        above = f"Above {limit.caution_above:g} {unit} a caution"
        notes.append(f"{above}: {limit.caution_source} ({limit.caution_standing}).")
    if limit.quick_source:
        quick = f"Below {limit.quick_below:g} ms a short-time delayed device is unclear"
        notes.append(f"{quick}: {limit.quick_source} ({limit.quick_standing}).")
    if limit.minimum_phases:
        phases = " and ".join(f"{phase}°" for phase in limit.minimum_phases)
        notes.append(f"Letting go too soon counts from {phases}; without a phase it is unclear.")
    if limit.on_exceed == "unclear":
        notes.append("Above the maximum, or without a trip, a reading is unclear.")
    if limit.on_below == "caution":
        notes.append("Below the minimum a reading is a caution.")
    return f"{', '.join(limit.types)}: {limit.text}", limit.standing, notes


def _plausibility(rules: RuleSet) -> Entry:
    p = rules.plausibility
    floors = f"no trip below {p.floor_1x_ms:g} ms at 1×, {p.floor_5x_ms:g} ms at 5×"
    fast = f"very fast below {p.very_fast_1x_ms:g} and {p.very_fast_5x_ms:g} ms"
    return f"{floors}; {fast}", p.standing, [f"{p.mains_frequency:g} Hz", p.source]


def _must_pass(rules: RuleSet) -> str:
    words = (word.replace("trip_time_", "trip time ").replace("x", "×") for word in rules.must_pass)
    return ", ".join(word.replace("push_button", "test button") for word in words)


def _entry(what: str, standing: str, notes: list[str], width: int) -> list[str]:
    room = width - len(standing) - 4
    first, *rest = textwrap.wrap(what, room, subsequent_indent="  ")
    head = [f"  {first:<{room}}  {standing}", *(f"  {line}" for line in rest)]
    return head + [line for note in notes for line in _wrapped(note, width, "      ")]


def _wrapped(text: str, width: int, indent: str = "  ") -> list[str]:
    return textwrap.wrap(text, width, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False)


def _labelled(label: str, text: str, width: int) -> list[str]:
    return textwrap.wrap(f"{label:<10}{text}", width, subsequent_indent=" " * 10)
