"""Strict loading: a fault is one sentence that names file, entry and key; a file may extend a shipped set."""

from __future__ import annotations

import contextlib
import hashlib
from pathlib import Path

import pytest

from rcdcheck import data
from rcdcheck.errors import SettingsError
from rcdcheck.rules import load, shipped
from rcdcheck.terms import Slot

WHOLE = """
title = "House rules"
document = "House rules of the winter market"
edition = "2026"
covers = "portable devices of the stalls"
notice = "Test only if competent."
must_pass = ["visual"]

[ratings]
values = [30]
source = "house"
standing = "common practice"

[plausibility]
mains_frequency = 50
floor_1x_ms = 4
floor_5x_ms = 3
very_fast_1x_ms = 8
very_fast_5x_ms = 5
source = "house"
standing = "common practice"

[[types]]
name = "small"
rated_above = 0
rated_to = 30
delay = "general"
source = "house"
standing = "common practice"

[[types]]
name = "large"
rated_above = 30
rated_to = 300
delay = "general"
source = "house"
standing = "common practice"

[[limits]]
quantity = "trip_time"
types = ["small", "large"]
multiple = 1
maximum = 250
source = "house"
standing = "common practice"

[[needs]]
quantity = "trip_time"
multiple = 1
phases = ["any"]
source = "house"
standing = "common practice"

[[intervals]]
kind = "portable"
environment = "market"
months = 6
source = "house"
standing = "common practice"

[environment_words]
market = ["stall"]
"""


@pytest.fixture
def house(tmp_path: Path) -> Path:
    path = tmp_path / "house.toml"
    path.write_text(WHOLE, encoding="utf-8")
    return path


def test_a_file_of_ones_own(house: Path) -> None:
    rules = load(str(house))
    assert rules.name == "house"
    assert rules.sha256 == hashlib.sha256(house.read_bytes()).hexdigest()
    limit = rules.limit("large", Slot("trip_time", 1.0, "180"))
    assert limit is not None
    assert limit.maximum == 250
    interval = rules.retest_months("portable", "Stall")
    assert interval is not None
    assert interval.months == 6


LIMIT = 'maximum = 250\nsource = "house"'
TWICE = WHOLE[WHOLE.index("[[intervals]]") : WHOLE.index("[environment_words]")].replace("months = 6", "months = 3")


def curve(low: float, high: float) -> str:
    """An inverse-time limit from one test current in mA to another."""
    known = "{0}_source = 'house', {0}_standing = 'common practice'"
    return (f"curve = {{coefficient_ma = 20, exponent = 1.43, from_ma = {low}, to_ma = {high}, beyond_ms = 25, "
            f"{known.format('beyond')}, hold_below_ma = 4, {known.format('hold')}}}")  # fmt: skip


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            'title = "House rules"',
            'titel = "House rules"',
            "`titel` is not a key here; did you mean `title`?",
        ),
        ('title = "House rules"', "", "`title` is missing"),
        ('title = "House rules"', 'title = " "', "`title` must be a text that is not empty"),
        ('title = "House rules"', 'name = "x"', "`name` is not a key here"),
        ('title = "House rules"', "title = ", "is not valid TOML"),
        (
            "maximum = 250",
            "maximun = 250",
            "`limits`, entry 1: `maximun` is not a key here; did you mean `maximum`?",
        ),
        ("maximum = 250", 'maximum = "250 ms"', "`maximum` must be a number that is not negative"),
        ("maximum = 250", "maximum = true", "`maximum` must be a number"),
        ("maximum = 250", "maximum = -1", "`maximum` must be a number that is not negative"),
        ("maximum = 250", "maximum = nan", "`maximum` must be a number"),
        ("maximum = 250", "maximum = inf", "`maximum` must be a number"),
        ("maximum = 250", "minimum = 260\nmaximum = 250", "the minimum is above the maximum"),
        ("maximum = 250", "minimum_share = 1\nmaximum_share = 0.5", "the minimum is above the maximum"),
        ("maximum = 250", "", "no figure is given"),
        ("maximum = 250", 'tripping = "forbidden"\nmaximum = 250', "neither `minimum` nor `maximum`"),
        (
            "maximum = 250",
            "caution_above = 200\nmaximum = 250",
            "`caution_source` and `caution_standing` must both",
        ),
        ("maximum = 250", "window = 2000\nmaximum = 250", "`window_source` and `window_standing` must both"),
        (
            "maximum = 250",
            'minimum_source = "x"\nmaximum = 250',
            "`minimum_source` and `minimum_standing` must both",
        ),
        ("maximum = 250", "curve = 5\nmaximum = 250", "a table of keys and values was expected"),
        (LIMIT, "maximum = 250", "`limits`, entry 1: `source` is missing"),
        (LIMIT, 'maximum = 250\nsource = ""', "`source` must be a text that is not empty"),
        (LIMIT + '\nstanding = "common practice"', LIMIT, "`standing` is missing"),
        (
            LIMIT + '\nstanding = "common practice"',
            LIMIT + '\nstanding = "rumour"',
            "must be one of: published, common",
        ),
        (
            'types = ["small", "large"]',
            'types = ["small", "larg"]',
            "unknown type `larg`; did you mean `large`?",
        ),
        ('types = ["small", "large"]', "types = []", "`types` is empty"),
        ('types = ["small", "large"]', 'types = "small"', "`types` must be a list"),
        ('types = ["small", "large"]', 'types = ["small"]', "type `large` has no limit for it"),
        (
            'types = ["small", "large"]\nmultiple = 1',
            'types = ["small", "large"]\nmultiple = 0',
            "`multiple` is that of",
        ),
        ("rated_to = 30\n", "rated_to = 40\n", "`small` (to 40 mA) and `large` (above 30 mA) overlap"),
        ("rated_to = 30\n", "rated_to = 20\n", "`small` (to 20 mA) and `large` (above 30 mA) leave a gap"),
        ("rated_to = 300", "rated_to = 20", "`rated_above` 30 is not below `rated_to` 20"),
        ('name = "large"', 'name = "small"', "an RCD type of one name stands twice: small"),
        ('name = "large"', 'name = "large"\nbeside = "smal"', "`beside` names `smal`"),
        ('delay = "general"', 'delay = "slow"', "`delay` is 'slow', and must be one of: general, selective"),
        ('phases = ["any"]', 'phases = ["90"]', "must be one of: 0, 180, any"),
        ('must_pass = ["visual"]', 'must_pass = ["looks"]', "`must_pass` holds `looks`"),
        ("months = 6", "months = 6.5", "`months` must be a whole number"),
        ("market = [", "marked = [", "no interval is for this environment; did you mean `market`?"),
        ("multiple = 1\nmaximum", "multiple = 1\ncurrent = 30\nmaximum", "either a `multiple` or a `current`"),
        ("rated_to = 300", "rated_to = 30", "`rated_above` 30 is not below `rated_to` 30"),
        ("values = [30]", "values = [30]\nalso = [10]", "`also_source` and `also_standing` must both be given"),
        ("mains_frequency = 50", "mains_frequency = 0", "the mains frequency must be above 0"),
        ("floor_1x_ms = 4", "floor_1x_ms = 2.9", "the floor at 5× not above that at 1×"),
        ("maximum = 250", curve(264, 6), "`from_ma` is not below `to_ma`"),
        ("maximum = 250", curve(6, 6), "`from_ma` is not below `to_ma`"),
        ("[[intervals]]", TWICE + "[[intervals]]", "same kind and environment stands twice: portable, market"),
        (
            "[environment_words]",
            '[class_names]\nI = ["tiny"]\n[environment_words]',
            "`class_names.I` names the unknown type",
        ),
        ("[[intervals]]", "[intervals]", "`intervals` must be a list"),
        (
            '[environment_words]\nmarket = ["stall"]',
            "[[environment_words]]\nmarket = []",
            "must be a table of words",
        ),
    ],
)
def test_a_fault_is_one_sentence(house: Path, old: str, new: str, said: str) -> None:
    assert old in WHOLE
    house.write_text(WHOLE.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(SettingsError) as caught:
        load(str(house))
    assert str(caught.value).startswith(str(house))
    assert said in str(caught.value)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("mains_frequency = 50", "mains_frequency = 0.5"),
        ("floor_1x_ms = 4", "floor_1x_ms = 3"),
        ("maximum = 250", "minimum = 250\nmaximum = 250"),
        ("maximum = 250", "minimum_share = 1\nmaximum_share = 1"),
        ("maximum = 250", curve(6, 7)),
    ],
)
def test_what_lies_at_the_edge_of_a_fault_is_none(house: Path, old: str, new: str) -> None:
    house.write_text(WHOLE.replace(old, new, 1), encoding="utf-8")
    assert load(str(house)).title == "House rules"


def test_a_need_concerns_the_ratings_up_to_its_own(house: Path) -> None:
    only_small = WHOLE.replace('types = ["small", "large"]', 'types = ["small"]')
    house.write_text(only_small.replace('phases = ["any"]', 'phases = ["any"]\nrated_to = 30'), encoding="utf-8")
    assert [need.rated_to for need in load(str(house)).needs] == [30]
    house.write_text(only_small.replace('phases = ["any"]', 'phases = ["any"]\nrated_to = 30.1'), encoding="utf-8")
    with pytest.raises(SettingsError, match="type `large` has no limit for it"):
        load(str(house))


@pytest.mark.skipif(not Path("/proc/self/mem").exists(), reason="a file that can be named and not be read")
def test_a_file_that_cannot_be_read_says_why() -> None:
    with pytest.raises(SettingsError, match="could not be read: Input/output error"):
        load("/proc/self/mem")


@pytest.mark.parametrize(
    "value", ["3", "-1", "0", "true", "nan", '"x"', "[]", "[1]", "[[1]]", "{}", "{a = 1}", "1979-05-27"]
)
def test_any_value_under_any_key_is_read_or_refused_in_a_sentence(house: Path, value: str) -> None:
    lines = WHOLE.splitlines()
    for i, line in enumerate(lines):
        if " = " in line:
            changed = [*lines[:i], f"{line.split(' = ')[0]} = {value}", *lines[i + 1 :]]
            house.write_text("\n".join(changed), encoding="utf-8")
            with contextlib.suppress(SettingsError):
                load(str(house))


def test_the_same_limit_twice(house: Path) -> None:
    limit = WHOLE[WHOLE.index("[[limits]]") : WHOLE.index("[[needs]]")]
    house.write_text(WHOLE + limit, encoding="utf-8")
    with pytest.raises(SettingsError, match=r"stands twice: trip_time, ac, 1\.0, small"):
        load(str(house))


def test_files_that_are_no_rule_set(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="`anz` is neither a rule set nor a file"):
        load("anz")
    with pytest.raises(SettingsError, match="did you mean `uk-present`"):
        load("uk-presnt")
    with pytest.raises(SettingsError, match="neither a rule set nor a file"):
        load(str(tmp_path))
    binary = tmp_path / "x.toml"
    binary.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(SettingsError, match="not UTF-8"):
        load(str(binary))


# ── extending ──

STRICTER = """
extends = "anz-in-service"
title = "House rules on top"
must_pass = ["ramp", "trip_time_10x"]

[[limits]]
quantity = "trip_time"
types = ["II"]
multiple = 5
maximum = 35
on_exceed = "unclear"
source = "house rule 3"
standing = "common practice"

[[intervals]]
kind = "portable"
environment = "office"
months = 12
source = "risk assessment"
standing = "common practice"

[environment_words]
office = ["ticket booth"]
"""


def test_an_extension_replaces_what_it_names_and_keeps_the_rest(tmp_path: Path) -> None:
    path = tmp_path / "stricter.toml"
    path.write_text(STRICTER, encoding="utf-8")
    base, rules = load("anz-in-service"), load(str(path))
    assert (rules.title, rules.document, rules.name) == ("House rules on top", base.document, "stricter")
    assert rules.must_pass == (*(w for w in base.must_pass if w != "ramp"), "ramp", "trip_time_10x")
    five = Slot("trip_time", 5.0, "0")
    limits = {name: rules.limit(name, five) for name in ("I", "II", "III")}
    assert {n: x.maximum for n, x in limits.items() if x} == {"I": 40, "II": 35, "III": 40}
    assert {n: x.on_exceed for n, x in limits.items() if x} == {"I": "fail", "II": "unclear", "III": "fail"}
    booth, factory = rules.retest_months("portable", "ticket booth"), rules.retest_months("fixed", "workshop")
    assert booth is not None
    assert factory is not None
    assert (booth.months, booth.source, factory.months) == (12, "risk assessment", 12)
    assert rules.sha256 not in (base.sha256, hashlib.sha256(path.read_bytes()).hexdigest())


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('extends = "anz"', "`extends` names no shipped set"),
        ("extends = 3", "`extends` names no shipped set"),
        ('extends = "anz-in-service"\n[plausibility]\nfloor_1x_ms = 2', "`mains_frequency` is missing"),
        ('extends = "anz-in-service"\n[[limits]]\nquantity = "trip_time"', "`types` is missing"),
    ],
)
def test_faults_of_an_extension(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "extension.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError, match=said):
        load(str(path))


def test_shipped_files_say_their_units_and_hash_to_their_bytes() -> None:
    for name in shipped():
        raw = (data.schemas() / "rules" / f"{name}.toml").read_bytes()
        assert b"Times in ms, currents in mA" in raw[:400]
        assert load(name).sha256 == hashlib.sha256(raw).hexdigest()
