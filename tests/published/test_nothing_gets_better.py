"""Properties that need no figure: worse readings, readings taken out, cells that cannot be read and stricter rules
never make a device better. Seeded devices of every rule set, every column; from the definition of each outcome.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from audits_here import AuditsHere
from devices_made import SETS, Maker, Row
from independent_judge import RANK, reading, readings, visits

from rcdcheck import data

pytestmark = pytest.mark.filterwarnings("ignore::RuntimeWarning")  # asked beside the decision tables

DEVICES = 50  # of each rule set; each is asked once for every cell
SHOWN = 25
NAMED = {"Device", "Outlet"}  # another name is another device, and nothing is known of the first
Variant = tuple[str, list[Row]]


def named(rows: list[Row], name: str) -> list[Row]:
    """The same rows as another device."""
    return [row | {"Device": name} for row in rows]


def changed(rows: list[Row], place: int, cells: Row) -> list[Row]:
    """Rows of which one has other cells."""
    return [row | cells if number == place else row for number, row in enumerate(rows)]


def asked(
    audits: AuditsHere, rules: str, variants: list[tuple[list[Row], str, list[Row]]], *options: str
) -> list[tuple[str, str, str]]:
    """What was changed, the outcome before, and the outcome after, of each variant."""
    before = {rows[0]["Device"]: rows for rows, _, _ in variants}
    sheet = [*before.values(), *(named(rows, f"V{number:06}") for number, (_, _, rows) in enumerate(variants))]
    got = audits.outcomes(rules, Maker(rules, 0).headings(), sheet, *options)
    return [
        (f"{rows[0]['Device']} {what}", got[rows[0]["Device"]], got[f"V{number:06}"])
        for number, (rows, what, _) in enumerate(variants)
    ]


def told(rules: str, wrong: list[str], count: int) -> None:
    """Fail with the first few of what became better."""
    if wrong:
        pytest.fail("\n".join([f"{rules}: {len(wrong)} of {count} became better", *wrong[:SHOWN]]), pytrace=False)


def worse(maker: Maker, rows: list[Row]) -> Iterator[Variant]:
    """A reading that fails, in place of what the latest row holds and as a further test of its day.

    The latest in time: what an earlier row holds may have been remedied since.
    """
    rows = sorted(rows, key=lambda row: (row["Date"], row["Time"]))
    for heading in maker.readings:
        if maker.may_hold(rows[-1], heading):
            bad = "25.3" if "0.5×" in heading or " 3 mA" in heading else "no trip"
            yield f"{heading}: {rows[-1][heading]} → {bad}", changed(rows, len(rows) - 1, {heading: bad})
            empty = dict.fromkeys(maker.readings, "") | {"Time": "17:30", "Result": "", "Remedy": "", heading: bad}
            yield f"{heading}: further test, {bad}", [*rows, rows[-1] | empty]


def taken_out(maker: Maker, rows: list[Row]) -> Iterator[Variant]:
    """Any one reading that passes, left blank."""
    for place, row in enumerate(rows):
        for heading in readings(row):
            if reading(maker.rules, row, heading) == "pass":
                yield f"row {place + 1}, {heading}: {row[heading]} → blank", changed(rows, place, {heading: ""})


def unreadable(maker: Maker, rows: list[Row]) -> Iterator[Variant]:
    """Any one cell of the last visit that cannot be read; nobody knows of an earlier fail that cannot be read."""
    last = visits(rows)[-1]
    for place, row in enumerate(rows):
        for heading in maker.headings():
            if row in last and heading not in NAMED and row[heading]:
                yield f"row {place + 1}, {heading}: {row[heading]} → illegible", changed(rows, place, {heading: "2&.4"})


@pytest.mark.parametrize("rules", SETS)
def test_a_worse_reading_improves_no_outcome_and_leaves_no_pass(rules: str, audits_here: AuditsHere) -> None:
    maker = Maker(rules, seed=2)
    variants = [(rows, *variant) for rows in maker.devices(DEVICES) for variant in worse(maker, rows)]
    found = asked(audits_here, rules, variants)
    wrong = [f"{what}: {old}, then {new}" for what, old, new in found if better(old, new) or new == "pass"]
    told(rules, wrong, len(found))


@pytest.mark.parametrize("rules", SETS)
def test_taking_a_reading_out_never_makes_a_pass(rules: str, audits_here: AuditsHere) -> None:
    maker = Maker(rules, seed=4)
    variants = [(rows, *variant) for rows in maker.devices(DEVICES) for variant in taken_out(maker, rows)]
    found = asked(audits_here, rules, variants)
    told(rules, [f"{what}: {old}, then {new}" for what, old, new in found if old != new == "pass"], len(found))


@pytest.mark.parametrize("rules", SETS)
def test_a_needed_reading_that_is_missing_never_passes(rules: str, audits_here: AuditsHere) -> None:
    maker = Maker(rules, seed=5)
    needed = ["Trip time 1× 0° (ms)", "Trip time 1× 180° (ms)"]
    if rules == "north-america-gfci":
        needed = [one for one in maker.readings if one.startswith("Trip time") and " 3 mA" not in one]
    together = rules in ("uk-present", "north-america-gfci")  # any one of them is enough
    parts = [needed] if together else [[one] for one in needed]
    variants = [
        ([row], f"{', '.join(part)} → blank", [row | dict.fromkeys(part, "")])
        for row in (maker.drawn(maker.blank()) for _ in range(8 * DEVICES))
        for part in parts
    ]
    found = asked(audits_here, rules, variants)
    told(rules, [f"{what}: {old}, then {new}" for what, old, new in found if new == "pass"], len(found))


@pytest.mark.parametrize("rules", SETS)
def test_a_cell_that_cannot_be_read_never_makes_a_pass(rules: str, audits_here: AuditsHere) -> None:
    maker = Maker(rules, seed=6)
    variants = [(rows, *variant) for rows in maker.devices(DEVICES) for variant in unreadable(maker, rows)]
    found = asked(audits_here, rules, variants)
    told(rules, [f"{what}: {old}, then {new}" for what, old, new in found if old != new == "pass"], len(found))


@pytest.mark.parametrize("rules", SETS)
def test_a_cell_that_decides_and_cannot_be_read_never_passes(rules: str, audits_here: AuditsHere) -> None:
    """Whatever says what a device is, how it looked, and every reading; of the last visit alone."""
    maker = Maker(rules, seed=7)
    decides = ["Rated IΔn (mA)", "RCD type", "Waveform type", "Delay", "Visual", "Test button", *maker.readings]
    variants = [
        ([row], what, after)
        for row in (maker.drawn(maker.blank()) for _ in range(DEVICES))
        for what, after in unreadable(maker, [row])
        if any(f", {heading}: " in what for heading in decides)
    ]
    found = asked(audits_here, rules, variants)
    told(rules, [f"{what}: {old}, then {new}" for what, old, new in found if new == "pass"], len(found))


@pytest.mark.parametrize("rules", SETS)
def test_nothing_gets_better_under_stricter_options(rules: str, audits_here: AuditsHere) -> None:
    maker = Maker(rules, seed=8)
    devices = maker.devices(8 * DEVICES)
    plain = audits_here.outcomes(rules, maker.headings(), devices)
    for options in (["--require", "visual,push_button,ramp"], ["--decision", "guarded"]):
        held_to(rules, plain, audits_here.outcomes(rules, maker.headings(), devices, *options))


def test_nothing_gets_better_under_stricter_rules(audits_here: AuditsHere) -> None:
    """The present rules of the United Kingdom ask for one reading at 1×; the others for both half cycles and more."""
    maker = Maker("uk-present", seed=9)
    devices = [rows for rows in maker.devices(8 * DEVICES) if float(rows[0]["Rated IΔn (mA)"]) <= 300]
    devices += [[maker.drawn(maker.blank()) | {"Trip time 1× 180° (ms)": ""}] for _ in range(DEVICES)]
    plain = audits_here.outcomes("uk-present", maker.headings(), devices)
    for stricter in ("uk-former", "international-product", "anz-in-service"):
        held_to(stricter, plain, audits_here.outcomes(stricter, maker.headings(), devices))


@pytest.mark.parametrize("rules", SETS)
def test_nothing_gets_better_where_every_limit_is_tighter(rules: str, audits_here: AuditsHere, tmp_path: Path) -> None:
    """The rule set itself with every longest time and highest current a fifth lower."""
    whole = (data.schemas() / "rules" / f"{rules}.toml").read_text(encoding="utf-8")
    tighter = re.sub(
        r"(?m)^(maximum|maximum_share|coefficient_ma|beyond_ms|caution_above) = ([\d.]+)$", a_fifth_lower, whole
    )
    assert tighter != whole
    file = tmp_path / "tighter.toml"
    file.write_text(tighter, encoding="utf-8")
    maker = Maker(rules, seed=10)
    devices = maker.devices(8 * DEVICES)
    plain = audits_here.outcomes(rules, maker.headings(), devices)
    held_to(rules, plain, audits_here.outcomes(str(file), maker.headings(), devices))


def a_fifth_lower(line: re.Match[str]) -> str:
    """A line of a rule set with its figure a fifth lower."""
    return f"{line[1]} = {0.8 * float(line[2]):g}"


def held_to(rules: str, plain: dict[str, str], strict: dict[str, str]) -> None:
    """What is stricter changes something, and nothing for the better."""
    told(
        rules,
        [f"{name}: {plain[name]}, then {strict[name]}" for name in plain if better(plain[name], strict[name])],
        len(plain),
    )
    assert plain != strict, "it changes something"


def better(old: str, new: str) -> bool:
    """Whether an outcome is better than it was."""
    return RANK.index(new) < RANK.index(old)
