"""Every figure that a shipped rule set calls published, against literals typed here from its document.

Nobody of this project read the clause tables of the standards in a bought copy: "published" means that the
words were read in a law, a regulator's page or a code of practice, or that three or more independent
secondary sources quote the document alike. Figures known less well are listed at the end.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import pytest

from rcdcheck.rules import (
    Interval,
    Limit,
    Need,
    Plausibility,
    Ratings,
    RcdType,
    RuleSet,
    load,
    shipped,
)
from rcdcheck.terms import Slot, slot_named

NAMES = ("anz-in-service", "international-product", "north-america-gfci", "uk-former", "uk-present")
ANZ, PRODUCT, GFCI, UK_FORMER, UK_PRESENT = NAMES
G10, G20, G30, G500, S = "general ≤ 10 mA", "general < 30 mA", "general ≤ 30 mA", "general > 30 mA", "selective"


class Row(NamedTuple):
    """A published limit: on devices of `type` rated `rated` mA, `reading` is from `low` to `high`."""

    rules: str
    type: str
    rated: float
    delay: str
    reading: str
    low: float | None
    high: float | None
    document: str


def rows() -> Iterator[Row]:
    iec = "IEC 61008-1 Table 1; four secondary sources (UK approval body, contractor, trade press, notes)"
    window = "IEC 61008-1 Table 1, type S; three secondary sources for 130 to 500 ms"
    band = "IEC 61008-1, sinusoidal: above 0.5 and at most 1 IΔn; three secondary sources"
    # Australia and New Zealand, in service
    yield Row(ANZ, "I", 10, "", "trip_time_1x", None, 40, "AS/NZS 3190 and AS/NZS 3760; four secondary sources")
    for name, rated in (("II", 30), ("II < 30 mA", 20)):
        practice = "Managing electrical risks in the workplace, code of practice, p. 9"
        yield Row(ANZ, name, rated, "", "trip_time_1x", None, 300, practice)
    # product standard, also named by the United Kingdom's sets
    for rules in (PRODUCT, UK_PRESENT, UK_FORMER):
        for name, rated, delay in (
            (G10, 6, ""),
            (G20, 20, ""),
            (G30, 30, "general"),
            (G500, 500, "general"),
            (S, 300, "selective"),
        ):
            yield Row(rules, name, rated, delay, "trip_time_0.5x", None, None, "no trip: " + iec)
            yield Row(rules, name, rated, delay, "trip_current", rated / 2, rated, band)
        yield Row(rules, G500, 300, "general", "trip_time_5x", None, 40, iec)
        yield Row(rules, S, 100, "selective", "trip_time_2x", None, 200, iec)
        yield Row(rules, S, 100, "selective", "trip_time_5x", None, 150, iec)
    for name, rated in ((G10, 10), (G20, 15), (G30, 30), (G500, 100)):
        yield Row(PRODUCT, name, rated, "general", "trip_time_1x", None, 300, iec)
        yield Row(PRODUCT, name, rated, "general", "trip_time_2x", None, 150, iec)
        yield Row(UK_PRESENT, name, rated, "general", "trip_time_2x", None, 150, iec)
    for rules in (PRODUCT, UK_FORMER):
        yield Row(rules, S, 100, "selective", "trip_time_1x", 130, 500, window)
    for name, rated in ((G10, 10), (G20, 20), (G30, 30)):
        yield Row(
            UK_FORMER,
            name,
            rated,
            "",
            "trip_time_5x",
            None,
            40,
            "BS 7671:2018 before A2, 643.8; four secondary sources",
        )
    # North America
    yield Row(
        GFCI,
        "class A",
        6,
        "",
        "trip_current",
        4,
        6,
        "UL 943 class A; NFPA 70 informational note; five secondary sources",
    )
    yield Row(
        GFCI,
        "class A",
        6,
        "",
        "trip_time_1x",
        None,
        None,
        "UL 943, inverse time: the values stand in the test below",
    )


def figures(limit: Limit, rated: float) -> tuple[float | None, float | None]:
    """Published lower and upper figure in ms or mA; a minimum that is known less well is left out."""
    shares = (limit.minimum_share * rated, limit.maximum_share * rated)
    pairs = zip((limit.minimum, limit.maximum), shares, strict=True)
    low, high = (next((f for f in pair if not math.isnan(f)), None) for pair in pairs)
    return (low if limit.minimum_standing in ("", "published") else None), high


def found(row: Row) -> Limit:
    rules = load(row.rules)
    assert row.type in rules.possible_types(row.rated, "", row.delay), row
    slot = slot_named(row.reading)
    assert slot is not None
    limit = rules.limit(row.type, slot)
    assert limit is not None, row
    return limit


@pytest.mark.parametrize("row", list(rows()), ids=lambda r: f"{r.rules}-{r.type}-{r.reading}")
def test_published_limits(row: Row) -> None:
    limit = found(row)
    assert figures(limit, row.rated) == (row.low, row.high), row.document
    assert limit.tripping == ("forbidden" if row.reading == "trip_time_0.5x" else "demanded")
    assert limit.standing == "published"


def test_every_published_limit_has_a_row_above() -> None:
    shown = Counter((row.rules, row.type, found(row).text) for row in rows())
    shipped_limits = Counter(
        (name, t, limit.text)
        for name in NAMES
        for limit in load(name).limits
        if limit.standing == "published" and math.isnan(limit.current)
        for t in limit.types
    )
    assert shown == shipped_limits


def test_shipped_sets_are_those_tested_here() -> None:
    assert shipped() == NAMES


# ── other published figures ──


@pytest.mark.parametrize(
    ("name", "reading", "caution", "document"),
    [
        (ANZ, "I", 30, "Managing electrical risks in the workplace, code of practice, p. 9: Type I 30 ms"),
    ],
)
def test_published_stricter_figures(name: str, reading: str, caution: float, document: str) -> None:
    slot = slot_named("trip_time_1x_0")
    assert slot is not None
    limit = load(name).limit(reading, slot)
    assert limit is not None
    assert (limit.caution_above, limit.caution_standing) == (caution, "published"), document


def test_fast_point_at_a_quarter_of_an_ampere() -> None:
    """IEC 61008-1 Table 1, footnote: up to 30 mA 40 ms at 5 IΔn or at 0.25 A (three secondary sources)."""
    for name in (ANZ, PRODUCT, UK_FORMER, UK_PRESENT):
        fast = [x for x in load(name).limits if x.standing == "published" and not math.isnan(x.current)]
        assert [(x.current, x.maximum) for x in fast] == ([] if name == ANZ else [(250, 40)])  # adopted there, modified
        covered = {t.rated_to for t in load(name).types for limit in fast if t.name in limit.types}
        assert covered == (set() if name == ANZ else {10, 20, 30})
        limit = load(name).reaching("II" if name == ANZ else G30, Slot("trip_time", 250 / 30), "", 30)
        assert limit is not None and limit.current == 250


def test_stricter_figure_for_devices_to_three_standards_is_no_published_figure_for_all() -> None:
    """HSE HSG141 §74 (read): 30 mA devices to BS 4293, BS 7071 and BS 7288 operate within 200 ms; others need not."""
    cautions = {x.types: (x.caution_above, x.caution_standing) for x in load(UK_FORMER).limits if x.caution_source}
    assert cautions == {(G30,): (200, "common practice")}


def test_figures_of_the_product_standard_are_no_published_figures_of_types_one_to_four() -> None:
    """AS/NZS 3190 defines types I to IV; what is taken for them from IEC 61008-1 stands in no standard as theirs."""
    theirs = {"I", "II", "III", "IV"}
    taken = [
        x
        for x in load(ANZ).limits
        if x.waveform == "ac" and x.source.startswith("IEC 61008-1") and set(x.types) & theirs
    ]
    at = {x.multiple if math.isnan(x.current) else x.current for x in taken}
    assert at >= {0.5, 2, 5, 250, 0}, "half rated, 2×, 5×, 250 mA, and the ramp"
    assert {x.standing for x in taken} == {"common practice", "from memory"}
    assert all("AS/NZS 3190, which does not define it" in x.source or "maker chooses" in x.source
               for x in taken if x.standing == "common practice")  # fmt: skip


def test_highest_rating_of_portable_devices() -> None:
    """IEC 61540:2023 (abstract read): not above 0.03 A; AS/NZS 3190:2016, 2.5 (sample read): type I or II only."""
    for name in (ANZ, PRODUCT, UK_FORMER, UK_PRESENT):
        ratings = load(name).ratings
        assert (ratings.portable_to, ratings.portable_standing) == (30, "published")


def test_class_a_holds_below_four_milliamperes() -> None:
    """UL 943 class A (five secondary sources; the note of NFPA 70 read): must not trip below 4 mA."""
    curve = load(GFCI).limits[0].curve
    assert curve is not None
    assert (curve.hold_below_ma, curve.hold_standing) == (4, "published")


def test_published_window_of_the_half_rated_test() -> None:
    """Basic Electrical Installation Work, p. 359 (read): no trip within 2 s at half the rated current."""
    for name in (UK_PRESENT, UK_FORMER):
        windows = {x.window for x in load(name).limits if x.window_standing == "published"}
        assert windows == {2000}


@pytest.mark.parametrize(
    ("name", "rated", "inside", "outside", "document"),
    [
        (ANZ, 10, "I", "II", "AS/NZS 3190: Type I up to 10 mA; four secondary sources"),
        (
            ANZ,
            10,
            G10,
            "II",
            "New Zealand Gazette, 28 April 2016, p. 31 (read): a 10 mA device need not be Type I",
        ),
        (ANZ, 10.5, "II", "I", "code of practice, as above (read): Type II above 10 mA"),
        (ANZ, 30, "II", "III", "code of practice, as above (read): Type II up to 30 mA"),
        (ANZ, 30.5, "III", "II", "the same"),
        (PRODUCT, 30, G30, G500, "IEC 61008-1 Table 1 footnote: up to 30 mA; three secondary sources"),
        (UK_PRESENT, 30, G30, G500, "the same"),
        (UK_FORMER, 30, G30, G500, "the same"),
        (GFCI, 6, "class A", "", "UL 943 class A, 6 mA; five secondary sources"),
    ],
)
def test_published_ranges_of_types(name: str, rated: float, inside: str, outside: str, document: str) -> None:
    possible = load(name).possible_types(rated, "", "")
    assert inside in possible, document
    assert outside not in possible, document


def test_published_needs() -> None:
    """Both half cycles: AS/NZS 3760:2010 (three secondary sources); Basic Electrical Installation Work, 359.

    Five times up to 30 mA: note to 643.8 of BS 7671:2018 before amendment 2 (four secondary sources).
    """
    published = {
        name: [(n.multiple, n.phases, n.rated_to) for n in load(name).needs if n.standing == "published"]
        for name in NAMES
    }
    both = ("0", "180")
    assert published == {
        ANZ: [(1, both, math.inf)],
        PRODUCT: [],
        GFCI: [],
        UK_FORMER: [(1, both, math.inf), (5, both, 30)],
        UK_PRESENT: [],
    }


@pytest.mark.parametrize(
    ("kind", "environment", "months", "document"),
    [
        (
            "portable",
            "factory",
            12,
            "AS/NZS 3760 Table 4 (three secondary sources); Queensland regulator (read)",
        ),
        ("fixed", "factory", 12, "the same"),
        (
            "portable",
            "hostile",
            12,
            "AS/NZS 3760 Table 4, cord flexed, abuse, hostile (three secondary sources)",
        ),
        ("fixed", "hostile", 12, "the same"),
        ("portable", "office", 24, "AS/NZS 3760 Table 4; Queensland regulator (read): 2 years"),
        ("fixed", "office", 24, "the same"),
        ("portable", "residential", 24, "AS/NZS 3760 Table 4 (three secondary sources)"),
        ("fixed", "residential", 24, "the same"),
        ("portable", "hire", 3, "AS/NZS 3760 Table 4, hire, test and tag (three secondary sources)"),
        ("fixed", "hire", 12, "the same"),
        ("portable", "construction", 3, "Queensland regulator (read), AS/NZS 3012"),
        ("fixed", "construction", 12, "the same"),
    ],
)
def test_published_retest_intervals(kind: str, environment: str, months: int, document: str) -> None:
    interval = load(ANZ).retest_months(kind, environment)
    assert interval is not None
    assert (interval.months, interval.standing) == (months, "published"), document


def test_no_other_interval_is_called_published() -> None:
    published = Counter(name for name in NAMES for i in load(name).intervals if i.standing == "published")
    assert published == {ANZ: 12}


def test_inverse_time_curve_of_ul_943() -> None:
    """UL 943: t = (20 ÷ I)^1.43 s from 6 to 264 mA (four secondary sources), 25 ms above (two)."""
    limit = load(GFCI).limit("class A", Slot("trip_time", math.nan))
    assert limit is not None
    assert limit.curve is not None
    mA = [6, 7, 8, 10, 15, 20, 25, 30, 50, 100, 150, 200, 264]  # noqa: N806
    seconds = [5.594, 4.487, 3.707, 2.695, 1.509, 1.000, 0.727, 0.560, 0.270, 0.100, 0.0561, 0.0372, 0.0250]
    np.testing.assert_allclose(limit.curve.maximum_ms(mA), np.multiply(seconds, 1000), rtol=2e-3)
    assert limit.curve.maximum_ms([264.1, 500, 5.9]).tolist() == [25, 25, math.inf]
    assert np.isnan(limit.curve.maximum_ms(math.nan))
    assert (limit.standing, limit.curve.beyond_standing) == ("published", "common practice")


def test_published_rating_of_class_a() -> None:
    """UL 943 class A: 6 mA (five secondary sources)."""
    assert load(GFCI).preferred_ratings == (6,)


# ── no standing is upgraded ──


def standings(rules: RuleSet) -> Iterator[str]:
    """The standing of every figure, those of minima, cautions, windows and curves of their own included."""
    entries: list[RcdType | Limit | Need | Interval | Ratings | Plausibility]
    entries = [*rules.types, *rules.limits, *rules.needs, *rules.intervals, rules.ratings, rules.plausibility]
    for entry in entries:
        assert entry.source.strip()
        yield entry.standing
    for limit in rules.limits:
        own = (limit.minimum_standing, limit.caution_standing, limit.window_standing, limit.quick_standing)
        yield from filter(None, own)
        if limit.curve:
            yield from (limit.curve.beyond_standing, limit.curve.hold_standing)
    yield from filter(None, (rules.ratings.also_standing, rules.ratings.portable_standing))


@pytest.mark.parametrize(
    ("name", "published", "common", "memory"),
    [(ANZ, 20, 23, 29), (PRODUCT, 11, 11, 25), (GFCI, 5, 4, 0), (UK_FORMER, 13, 16, 29), (UK_PRESENT, 10, 15, 27)],
)
def test_counts_by_standing(name: str, published: int, common: int, memory: int) -> None:
    counts = Counter(standings(load(name)))
    assert counts == Counter({"published": published, "common practice": common, "from memory": memory})


@pytest.mark.parametrize(
    ("name", "type_name", "reading", "band", "standing"),
    [
        # AS/NZS 3190, types III and IV: from memory
        (ANZ, "III", "trip_time_1x", (None, 300), "from memory"),
        (ANZ, "IV", "trip_time_1x", (130, 500), "from memory"),
        # IEC 61008-1 Table 1: up to 30 mA the maker may choose 0.25 A instead of 5×
        (ANZ, "I", "trip_time_5x", (None, 40), "common practice"),
        (ANZ, "II", "trip_time_5x", (None, 40), "common practice"),
        (PRODUCT, G30, "trip_time_5x", (None, 40), "common practice"),
        (UK_PRESENT, G30, "trip_time_5x", (None, 40), "common practice"),
        # IEC 61008-1 Table 2, half waves, and IEC 62423: from memory
        (PRODUCT, G10, "trip_time_2x_pulsating", (None, 300), "from memory"),
        (PRODUCT, G10, "trip_time_4x_pulsating", (None, 150), "from memory"),
        (PRODUCT, G30, "trip_time_1.4x_pulsating", (None, 300), "from memory"),
        (PRODUCT, G30, "trip_time_2.8x_pulsating", (None, 150), "from memory"),
        (PRODUCT, G500, "trip_time_7x_pulsating", (None, 40), "from memory"),
        (PRODUCT, S, "trip_time_1.4x_pulsating", (None, 500), "from memory"),
        (PRODUCT, S, "trip_time_2.8x_pulsating", (None, 200), "from memory"),
        (PRODUCT, S, "trip_time_7x_pulsating", (None, 150), "from memory"),
        (PRODUCT, G30, "trip_time_2x_smooth_dc", (None, 300), "from memory"),
        (PRODUCT, G30, "trip_time_4x_smooth_dc", (None, 150), "from memory"),
        (PRODUCT, G30, "trip_time_10x_smooth_dc", (None, 40), "from memory"),
        (PRODUCT, S, "trip_time_2x_smooth_dc", (None, 500), "from memory"),
        (PRODUCT, S, "trip_time_4x_smooth_dc", (None, 200), "from memory"),
        (PRODUCT, S, "trip_time_10x_smooth_dc", (None, 150), "from memory"),
        (PRODUCT, G10, "trip_current_pulsating", (None, 2), "from memory"),
        # ramps of other waveforms: two secondary sources
        (PRODUCT, G30, "trip_current_pulsating", (0.35, 1.4), "common practice"),
        (PRODUCT, G30, "trip_current_smooth_dc", (0.5, 2), "common practice"),
        (ANZ, "II", "trip_current_pulsating", (0.35, 1.4), "common practice"),
        # BS 7671 after amendment 2: one article; Table 3A of 2008: two secondary sources
        (UK_PRESENT, G30, "trip_time_1x", (None, 300), "common practice"),
        (UK_PRESENT, S, "trip_time_1x", (130, 500), "common practice"),
        (UK_FORMER, G30, "trip_time_1x", (None, 300), "common practice"),
        (UK_FORMER, G30, "trip_time_2x", (None, 150), "common practice"),
    ],
)
def test_figures_known_less_well_say_so(
    name: str, type_name: str, reading: str, band: tuple[float | None, float], standing: str
) -> None:
    slot = slot_named(reading)
    assert slot is not None
    limit = load(name).limit(type_name, slot)
    assert limit is not None
    assert limit.standing == standing
    assert figures(limit, 1.0) == band


def test_selective_minima_above_rated_are_common_practice() -> None:
    """IEC 61008-1 Table 1, type S: 60 ms at 2× and 50 ms at 5×, one secondary source each."""
    for name, type_name in ((ANZ, "IV"), (PRODUCT, S), (UK_FORMER, S), (UK_PRESENT, S)):
        minima = {
            x.multiple: (x.minimum, x.minimum_standing)
            for x in load(name).limits
            if type_name in x.types and x.minimum_standing and x.multiple
        }
        assert minima == {2: (60, "common practice"), 5: (50, "common practice")}


def test_disputed_and_remembered_intervals_say_so() -> None:
    """Commercial cleaning, portable: 3 or 6 months, the shorter is shipped. HSG141 from memory."""
    cleaning = load(ANZ).retest_months("portable", "commercial cleaning")
    assert cleaning is not None
    assert (cleaning.months, cleaning.standing) == (3, "common practice")
    assert load(ANZ).retest_months("fixed", "cleaning") is None
    for kind, months in (("portable", 1), ("fixed", 3)):
        site = load(UK_PRESENT).retest_months(kind, "building site")
        assert site is not None
        assert (site.months, site.standing) == (months, "from memory")
