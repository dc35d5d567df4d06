"""What a rule set answers: which types a row leaves possible, which limit holds, floors, intervals."""

from __future__ import annotations

import dataclasses
import math

import pytest

from rcdcheck.rules import load, shipped
from rcdcheck.rules.model import Need, Waveform
from rcdcheck.terms import Slot

UNKNOWN = math.nan
ANZ, PRODUCT, GFCI = "anz-in-service", "international-product", "north-america-gfci"
G10, G30, G500, S = "general ≤ 10 mA", "general ≤ 30 mA", "general > 30 mA", "selective"


@pytest.mark.parametrize(
    ("rules", "rated", "stated", "delay", "possible"),
    [
        (ANZ, 10, "", "", ("I", G10)),  # a 10 mA device is not thereby Type I
        (ANZ, 10, "I", "", ("I",)),
        (ANZ, 30, "", "", ("II",)),
        (ANZ, 30, "II", "general", ("II",)),
        (ANZ, 100, "", "", ("III", "IV")),  # delay not stated
        (ANZ, 100, "", "general", ("III",)),
        (ANZ, 100, "", "selective", ("IV",)),
        (ANZ, 30, "", "selective", ()),  # no selective type at 30 mA
        (ANZ, 30, "I", "", ()),
        (ANZ, 10, "II", "", ()),
        (ANZ, 500, "", "", ()),  # outside the set
        (ANZ, 30, "V", "", ()),
        (ANZ, 30, "", "short", ()),
        (ANZ, UNKNOWN, "", "", ("I", G10, "II < 30 mA", "II", "III", "IV")),
        (ANZ, 15, "II", "", ("II < 30 mA", "II")),  # half waves: of which column of Table 2 was not read
        (ANZ, UNKNOWN, "II", "", ("II < 30 mA", "II")),
        (ANZ, UNKNOWN, "", "selective", ("IV",)),
        (PRODUCT, 10, "", "", (G10,)),
        (PRODUCT, 30, "II", "", (G30,)),  # the sheet's word for it
        (PRODUCT, 30, "IV", "", ()),
        (PRODUCT, 300, "IV", "", (S,)),
        (PRODUCT, 500, "", "", (G500, S)),
        (PRODUCT, 1000, "", "", ()),
        ("uk-present", 100, "III", "", (G500,)),
        (GFCI, 6, "", "", ("class A",)),
        (GFCI, 30, "", "", ()),
    ],
)
def test_possible_types(rules: str, rated: float, stated: str, delay: str, possible: tuple[str, ...]) -> None:
    assert load(rules).possible_types(rated, stated, delay) == possible


def test_ten_milliamps_of_unstated_type() -> None:
    """35 ms passes under both possible types, 55 under one, 301 under none."""
    anz = load(ANZ)
    limits = [anz.limit(name, Slot("trip_time", 1.0, "0")) for name in anz.possible_types(10, "", "")]
    assert [limit.maximum for limit in limits if limit] == [40, 300]


def test_limit_depends_on_multiple_waveform_and_device() -> None:
    product = load(PRODUCT)
    pulsating = Slot("trip_current", 0.0, "none", "pulsating")
    assert product.limit(G30, Slot("trip_time", 3.0)) is None
    assert product.limit(G30, Slot("trip_time", math.nan)) is None
    assert product.limit("unknown", Slot("trip_time", 1.0)) is None
    assert product.limit(G30, pulsating, "AC") is None  # a type AC device does not sense half waves
    for waveform_type in ("", "A", "F", "B"):
        limit = product.limit(G30, pulsating, waveform_type)
        assert limit is not None
        assert limit.maximum_share == 1.4
    smooth = Slot("trip_current", 0.0, "none", "smooth_dc")
    assert product.limit(G30, smooth, "A") is None
    assert product.limit(G30, smooth, "B") is not None


def test_the_curve_holds_at_every_test_current() -> None:
    gfci = load(GFCI)
    assert gfci.limit("class A", Slot("trip_time", math.nan)) is gfci.limit("class A", Slot("trip_time", 5.0))


@pytest.mark.parametrize(
    ("type_name", "wave", "multiple", "due"),
    [
        # between two multiples: the longest time of the lower one, IEC 61008-1 Table 1
        (G30, "ac", 1.0, (math.nan, 300)), (G30, "ac", 1.5, (math.nan, 300)), (G30, "ac", 3, (math.nan, 150)),
        (G30, "ac", 7, (math.nan, 40)), (G30, "ac", 60, (math.nan, 40)),
        # the shortest time of the next higher one; at 500 A a type S holds for 40 ms
        ("selective", "ac", 1.5, (60, 500)), ("selective", "ac", 3, (50, 200)), ("selective", "ac", 7, (40, 150)),
        # smooth d.c. begins at twice the rated current: IEC 62423, from memory
        (G30, "smooth_dc", 1.2, None), (G30, "smooth_dc", 3, (math.nan, 300)), (G30, "smooth_dc", 5, (math.nan, 150)),
        (G30, "ac", 0.7, None),  # it may trip or not
    ],
)  # fmt: skip
def test_what_has_no_limit_of_its_own_is_reached_by_those_beside_it(
    type_name: str, wave: Waveform, multiple: float, due: tuple[float, float] | None
) -> None:
    product = load(PRODUCT)
    rated = 300 if type_name == "selective" else 30
    limit = product.reaching(type_name, Slot("trip_time", multiple, "0", wave), "", rated)
    assert (limit and (limit.minimum, limit.maximum)) == pytest.approx(due, nan_ok=True)
    assert product.reaching(type_name, Slot("trip_current", multiple, "0", wave), "", rated) is None
    assert not limit or multiple == 1 or (" above " in limit.text and limit.text.endswith(("×", "mA")))


def test_what_must_hold_at_half_rated_must_hold_at_less() -> None:
    product = load(PRODUCT)
    held = [product.reaching(G30, Slot("trip_time", multiple), "", 30) for multiple in (0.2, 0.5)]
    assert [limit and limit.tripping for limit in held] == ["forbidden"] * 2


def test_the_curve_at_its_ends() -> None:
    """UL 943: t = (20/I)^1.43 s from 6 to 264 mA, 25 ms above; 5.59 s at 6 mA (four secondary sources)."""
    curve = next(limit.curve for limit in load(GFCI).limits if limit.curve)
    got = curve.maximum_ms([5.9, 6, 20, 264, 265, math.nan])
    assert got == pytest.approx(
        [math.inf, 1000 * (20 / 6) ** 1.43, 1000, 1000 * (20 / 264) ** 1.43, 25, math.nan], rel=1e-12, nan_ok=True
    )


def test_a_lower_bound_is_known_of_the_phases_that_it_names() -> None:
    """The worse of both phases is of either; a reading without a phase is of neither."""
    limits = load(PRODUCT).limits
    some = next(limit for limit in limits if limit.minimum_phases == ("0", "180"))
    assert [some.knows_minimum(phase) for phase in ("0", "180", "worst", "none")] == [True, True, True, False]
    assert all(limit.knows_minimum("none") for limit in limits if not limit.minimum_phases)


def test_only_longest_times_are_times() -> None:
    told = {(limit.quantity, limit.tripping): limit.is_time for limit in load(PRODUCT).limits if not limit.curve}
    assert told[("trip_time", "demanded")] and not told[("trip_time", "forbidden")]
    assert not told[("trip_current", "demanded")]
    ramp = next(limit for limit in load(GFCI).limits if limit.quantity == "trip_current")
    assert ramp.maximum == 6 and not ramp.is_time


def test_needs_say_what_they_are() -> None:
    assert [need.text for need in load("uk-former").needs] == [
        "trip time 1× at 0° and 180°", "trip time 5× at 0° and 180°, up to 30 mA",
    ]  # fmt: skip
    assert [need.text for need in load("uk-present").needs] == ["trip time 1×"]
    assert Need("trip_current", ("any",), "", "published", 0.0).text == "ramp trip current"


def test_over_sensitive_is_a_caution_in_service_and_a_failure_of_a_product() -> None:
    ramp = Slot("trip_current")
    verdicts = {name: load(name).limit(t, ramp) for name, t in ((ANZ, "II"), (PRODUCT, G30))}
    assert {name: limit.on_below for name, limit in verdicts.items() if limit} == {
        ANZ: "caution",
        PRODUCT: "fail",
    }


def test_multiples_and_ratings_ascend() -> None:
    assert load(ANZ).multiples_of("ac") == (0.5, 1, 2, 5)
    assert load(PRODUCT).multiples == (0.35, 0.5, 1, 1.4, 2, 2.8, 4, 5, 7, 10)
    assert load(ANZ).preferred_ratings == (6, 10, 30, 100, 300, 500)


def test_texts_say_the_limit() -> None:
    texts = {limit.text for name in (ANZ, GFCI, "uk-present") for limit in load(name).limits}
    assert {
        "at most 300 ms at 1×",
        "130 to 500 ms at 1×",
        "must not trip at half rated",
        "must not trip within 2000 ms at half rated",
        "above 0.5 and at most 1 × IΔn",
        "above 0.35 and at most 1.4 × IΔn, pulsating",
        "4 to 6 mA",
        "at most (20 mA ÷ I)^1.43 s",
    } <= texts


# ── plausibility: common practice, no source ──


def test_physical_floor() -> None:
    """4 ms at 1×, 3 ms at 5×, straight between; figures of this project, no source (inference)."""
    floor = load(ANZ).plausibility.floor_ms
    assert [floor(m) for m in (0.5, 1, 3, 5, 10)] == [4, 4, 3.5, 3, 3]
    assert floor(math.nan) == 3  # a test current whose multiple is not known: the lowest


def test_very_fast() -> None:
    plausibility = load(ANZ).plausibility
    assert [plausibility.very_fast_ms_at(m) for m in (0.5, 1, 3, 5, 10)] == [8, 8, 6.5, 5, 5]


# ── intervals ──


@pytest.mark.parametrize("word", ["construction", "Construction", "building site", "Building-Site ", "demolition"])
def test_environments_are_known_by_the_words_people_use(word: str) -> None:
    interval = load(ANZ).retest_months("portable", word)
    assert interval is not None
    assert (interval.environment, interval.months) == ("construction", 3)


@pytest.mark.parametrize(("kind", "environment"), [("portable", ""), ("portable", "moon base"), ("", "office")])
def test_no_interval_is_guessed(kind: str, environment: str) -> None:
    assert load(ANZ).retest_months(kind, environment) is None


def test_no_environment_word_means_two_things() -> None:
    for name in (ANZ, "uk-present", "uk-former"):
        words = [word for words in load(name).environment_words.values() for word in words]
        assert len(words) == len(set(words))


@pytest.mark.parametrize("name", sorted(shipped()))
def test_the_words_of_every_limit_hold_a_figure_and_none_that_is_none(name: str) -> None:
    for limit in load(name).limits:
        assert "nan" not in limit.text and any(c.isdigit() for c in limit.text + "0" * (limit.tripping == "forbidden"))


def test_a_ramp_that_has_an_upper_limit_only_is_told_by_it() -> None:
    """As a set of one's own may have it; every shipped set states both."""
    ramp = next(limit for limit in load(ANZ).limits if limit.quantity == "trip_current")
    assert (
        dataclasses.replace(ramp, minimum_share=float("nan"), text="").text == f"at most {ramp.maximum_share:g} × IΔn"
    )
