"""Checks that no key of a rule set can make by itself: gaps, contradictions, words that name nothing."""

from __future__ import annotations

import difflib
import itertools
import math
import re
from collections.abc import Collection, Iterable
from typing import Any, NoReturn

from rcdcheck.errors import SettingsError
from rcdcheck.rules.model import Limit, RcdType, RuleSet

MUST_PASS = re.compile(r"visual|push_button|ramp|outlets|trip_time_\d+(\.\d+)?x")


def refuse(where: str, trouble: str) -> NoReturn:
    """Raise the SettingsError for `trouble` at `where` (file, entry)."""
    raise SettingsError(f"{where}: {trouble}")


def guess(word: str, known: Iterable[str]) -> str:
    """`; did you mean …?` where one of `known` is close to `word`, else what there is to choose from."""
    known = sorted(known)
    close = difflib.get_close_matches(word, known, n=1)
    return f"; did you mean `{close[0]}`?" if close else f". Known: {', '.join(known)}."


def check(rules: RuleSet, where: str) -> None:
    """Refuse a set whose entries contradict each other."""
    _check_types(rules.types, where)
    names = {t.name for t in rules.types}
    for limit in rules.limits:
        _check_limit(limit, names, f"{where}: limit of {limit.quantity} ({limit.text})")
    _check_once(
        where,
        "a limit for the same quantity, waveform, multiple and type",
        [
            (limit.quantity, limit.waveform, _key(limit.multiple), _key(limit.current), name)
            for limit in rules.limits
            for name in limit.types
        ],
    )
    _check_once(
        where,
        "an interval for the same kind and environment",
        [(i.kind, i.environment) for i in rules.intervals],
    )
    _check_words(rules, names, where)
    _check_needs(rules, where)
    plausibility = rules.plausibility
    if not (plausibility.mains_frequency > 0 and plausibility.floor_1x_ms >= plausibility.floor_5x_ms):
        refuse(
            where,
            "`plausibility`: the mains frequency must be above 0, and the floor at 5× not above that at 1×.",
        )
    _check_ratings(rules, where)


def _key(multiple: float) -> float | None:
    return None if math.isnan(multiple) else multiple  # NaN does not equal itself


def _check_once(where: str, what: str, keys: list[tuple[Any, ...]]) -> None:
    for key in keys:
        if keys.count(key) > 1:
            refuse(where, f"{what} stands twice: {', '.join(str(k) for k in key if k is not None)}.")


def _check_types(types: tuple[RcdType, ...], where: str) -> None:
    _check_once(where, "an RCD type of one name", [(t.name,) for t in types])
    for t in types:
        if t.rated_above >= t.rated_to:
            refuse(
                where,
                f"type `{t.name}`: `rated_above` {t.rated_above:g} is not below `rated_to` {t.rated_to:g}.",
            )
        if t.beside and not any(t.beside == o.name and o.delay == t.delay and not o.beside for o in types):
            refuse(where, f"type `{t.name}`: `beside` names `{t.beside}`, which is no type of the same delay.")
    for delay in ("general", "selective"):
        run = sorted((t for t in types if t.delay == delay and not t.beside), key=lambda t: t.rated_above)
        for lower, upper in itertools.pairwise(run):
            if lower.rated_to != upper.rated_above:
                kind = "overlap" if lower.rated_to > upper.rated_above else "leave a gap"
                refuse(
                    where,
                    f"types `{lower.name}` (to {lower.rated_to:g} mA) and `{upper.name}` "
                    f"(above {upper.rated_above:g} mA) {kind}. "
                    "Mend `rated_to` or `rated_above`, or say `beside` where both are meant.",
                )


def _check_limit(limit: Limit, names: Collection[str], where: str) -> None:
    for name in limit.types:
        if name not in names:
            refuse(where, f"`types` names the unknown type `{name}`{guess(name, names)}")
    if not limit.types:
        refuse(where, "`types` is empty.")
    if not (math.isnan(limit.multiple) or math.isnan(limit.current)):
        refuse(where, "a limit has either a `multiple` or a `current`.")
    if (limit.quantity == "trip_current") != (limit.multiple == 0):
        refuse(where, "`multiple` is that of a trip time and above 0; a ramp (trip_current) has 0.")
    if limit.minimum > limit.maximum or limit.minimum_share > limit.maximum_share:
        refuse(where, "the minimum is above the maximum.")
    if limit.tripping == "forbidden" and not (math.isnan(limit.minimum) and math.isnan(limit.maximum)):
        refuse(where, "where tripping is forbidden there is neither `minimum` nor `maximum`.")
    bounds = (limit.minimum, limit.maximum, limit.minimum_share, limit.maximum_share)
    if limit.tripping == "demanded" and limit.curve is None and all(map(math.isnan, bounds)):
        refuse(where, "no figure is given: state `minimum`, `maximum`, a share of the rated current, or `curve`.")
    if limit.curve and not limit.curve.from_ma < limit.curve.to_ma:
        refuse(where, "`curve`: `from_ma` is not below `to_ma`.")
    for figure, value in (("minimum", math.nan), ("caution", limit.caution_above), ("window", limit.window),
                          ("quick", limit.quick_below)):  # fmt: skip
        source, standing = getattr(limit, f"{figure}_source"), getattr(limit, f"{figure}_standing")
        if bool(source) != bool(standing) or (not math.isnan(value) and not source):
            refuse(where, f"`{figure}_source` and `{figure}_standing` must both be given.")


def _check_ratings(rules: RuleSet, where: str) -> None:
    ratings = rules.ratings
    for figure, given in (("also", bool(ratings.also)), ("portable", math.isfinite(ratings.portable_to))):
        source, standing = getattr(ratings, f"{figure}_source"), getattr(ratings, f"{figure}_standing")
        if not given == bool(source) == bool(standing):
            refuse(where, f"`ratings`: `{figure}_source` and `{figure}_standing` must both be given.")


def _check_words(rules: RuleSet, names: Collection[str], where: str) -> None:
    for word in rules.must_pass:
        if not MUST_PASS.fullmatch(word):
            refuse(
                where,
                f"`must_pass` holds `{word}`. Known: visual, push_button, ramp, outlets, trip_time_5x.",
            )
    for word, types in rules.class_names.items():
        for name in types:
            if name not in names:
                refuse(where, f"`class_names.{word}` names the unknown type `{name}`{guess(name, names)}")
    environments = {i.environment for i in rules.intervals}
    for word in rules.environment_words:
        if word not in environments:
            refuse(
                where,
                f"`environment_words.{word}`: no interval is for this environment{guess(word, environments)}",
            )


def _check_needs(rules: RuleSet, where: str) -> None:
    """A need that no limit judges would let a device pass without a verdict."""
    for need in rules.needs:
        for t in rules.types:
            judged = any(
                limit.quantity == need.quantity
                and t.name in limit.types
                and limit.waveform == need.waveform
                and math.isnan(limit.current)
                and _key(limit.multiple) in (_key(need.multiple), None)
                for limit in rules.limits
            )
            if t.rated_above < need.rated_to and not judged:
                refuse(where, f"a complete test needs {need.text}, but type `{t.name}` has no limit for it.")
