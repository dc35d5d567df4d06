"""What the cells of a column say for and against each meaning that its heading may have."""

from __future__ import annotations

import datetime as dt
import functools
import re
from dataclasses import replace

import numpy as np

from rcdcheck.intake.cells.currents import PREFERRED
from rcdcheck.intake.cells.phrases import says
from rcdcheck.intake.cells.rounds import round_of
from rcdcheck.intake.understood.candidates import IDENTITY, Candidate, cells_of, weights
from rcdcheck.intake.understood.cells_alone import in_series
from rcdcheck.intake.understood.grammars import Kind
from rcdcheck.intake.understood.meaning import Meaning
from rcdcheck.intake.understood.profiles import AGAIN, Profile
from rcdcheck.tables import Numbers

MOSTLY = 0.8  # share of the cells of a column that tell what they are
BEYOND = 3.0  # times the rated residual current: no ramp goes so far
OF_MULTIPLES = (
    "multiple",
    "quantity",
    "value",
    "pair",
    "test_current",
)  # a column of "½ × IΔn", "5x" may be one of these
DESCRIBING = ("model", "location", "kind", "remark", "other_test", "ignore")
TIMES = (0.5, 1.0, 1.4, 2.0, 3.0, 5.0, 10.0)  # multiples of the rated residual current at which devices are tested


_HELD = Kind.PASS | Kind.FAIL | Kind.TICK  # below the rated current no time is needed: "OK" says that it held


@functools.cache
def _kinds_of(field: str) -> Kind:
    mask = Kind(0)
    for name in (cells_of(field) or {})["kinds"]:
        mask |= Kind[name]
    return mask


def with_cells(candidate: Candidate, cells: Profile, rated: Numbers, as_of: dt.date) -> Candidate:
    """The candidate with what the cells say; `rated`: rated currents in mA of the rows looked at, NaN where unknown."""
    m = candidate.meaning
    name = m.slot.quantity if m.field == "reading" and m.slot else m.field
    told = cells_of(name)
    below_rated = m.slot is not None and 0 < m.slot.multiple < 1
    if told is None or cells.rows == 0:
        return candidate
    if not cells.filled:
        told_plainly = candidate.heading >= weights()["heading"]["plainly"]  # it may be filled further down
        heading = candidate.heading if told_plainly else min(candidate.heading, weights()["heading"]["blank"])
        return replace(candidate, heading=heading, why=(*candidate.why, "its cells are blank"), blank=True)
    share = (
        cells.named_share if name == "quantity" else cells.share(_kinds_of(name) | (_HELD if below_rated else Kind(0)))
    )
    score = told["fit"] * share + told["misfit"] * (1 - share)
    clauses = []
    for weight, clause in _shape(name, m, cells, rated, as_of):
        score += weight
        if clause:
            clauses.append(clause)
    if name == "rated_residual_current" and candidate.heading >= weights()["heading"]["rated_only"]:
        score = max(score, weights()["cells"][name]["least"])  # whatever stands below such a heading, it is a rating
    says = f"{share:.0%} of its cells read so"
    return replace(candidate, cells=score, why=(*candidate.why, says, *clauses))


def _shape(name: str, m: Meaning, cells: Profile, rated: Numbers, as_of: dt.date) -> list[tuple[float, str]]:
    s = weights()["shape"]
    if told := _says_other(name, cells):
        return [(s["multiples"], told)]
    if name in IDENTITY:
        return _identity(name, cells)
    if name == "outlet":
        return _outlet(cells)
    if name == "visit":
        counted = all(round_of(text, bare=True) for text in cells.texts)
        return [] if counted else [(s["no_visit"], "its cells count no visits")]
    if name in ("technician", "instrument"):
        return _people(name, cells)
    if name in ("trip_time", "trip_current"):
        return _reading(name, cells, rated, m.unit)
    if name == "test_current":
        return _test_current(cells, rated)
    if name in ("tested_at", "retest_due", "calibration_due"):
        return _date(name, cells, as_of)
    if m.field == "pair" and not cells.share(Kind.PAIR):
        angles = cells.filled > 2 and cells.share(Kind.PHASE) > 0.9
        return [(s["angles_read"] if angles else s["no_pair"], "no cell holds two")]
    if name == "class" and not cells.share(Kind.ROMAN) and cells.share(Kind.DELAY) > 0.9:
        return [(s["no_quantity"], "its cells are delays")]
    if name == "quantity" and cells.filled > 2 and cells.share(Kind.PHASE) > 0.9:
        return [(s["no_quantity"], "its cells are phase angles")]
    if name == "value":
        return _value(cells)
    return _ignored(cells) if name == "ignore" else []


def _value(cells: Profile) -> list[tuple[float, str]]:
    s = weights()["shape"]
    if cells.share(Kind.NUMBER | Kind.BOUND | Kind.NO_TRIP | Kind.PAIR) < 0.3:
        return [(s["value_of_checks"], "hardly any cell is a number")]
    if cells.filled > 2 and cells.distinct == 2 and cells.share(Kind.PHASE) == 1.0:
        return [(s["no_quantity"], "its cells are phase angles")]
    ratings = cells.filled > 5 and cells.distinct < 5 and cells.share(Kind.RATED) > 0.9
    return [(s["value_of_ratings"], "its cells are ratings")] if ratings else []


def _ignored(cells: Profile) -> list[tuple[float, str]]:
    if cells.share(Kind.PASS | Kind.FAIL) > 0.8:
        return [(-3.0, "its cells are checks")]
    if cells.filled > 2 and cells.repeats == 0 and cells.share(Kind.CODE) > 0.8:
        return [(-3.0, "its cells tell the rows apart")]
    return []


def _says_other(name: str, cells: Profile) -> str:
    """Why cells can be of no such column: they are multiples, or name measurements again for each device."""
    if name not in OF_MULTIPLES and cells.distinct > 1 and cells.multiples_share >= MOSTLY:
        return "its cells are multiples of the rated current"
    again = cells.distinct > 1 and cells.repeats >= AGAIN
    return "its cells name measurements" if name in DESCRIBING and again and cells.named_share >= MOSTLY else ""


def _identity(name: str, cells: Profile) -> list[tuple[float, str]]:
    s = weights()["shape"]
    out: list[tuple[float, str]] = []
    if cells.share(Kind.PASS | Kind.FAIL) > 0.7 and not cells.share(Kind.CODE | Kind.WHOLE) > 0.5:
        out.append((s["check_device"], "its cells are checks"))
    if cells.share(Kind.UNIT) > 0.7 and {"ms", "mA"} & set(cells.texts):
        out.append((s["check_device"], "its cells are units"))
    if name == "board" and cells.filled > 3 and cells.repeats == 0:
        out.append((s["board_apart"], "each row has its own"))
    if name != "device":
        return out
    if cells.running and cells.numbers[0] == 1:
        out.append((s["counting_device"], "it counts the rows"))
    if cells.counted_share > 0.9:
        out.append((s["check_device"] / 2, "its cells number the lines"))
    kinds = np.array([_describes(text) for text in cells.texts], dtype=bool)
    if cells.repeats > 0 and cells.weight[kinds].sum() >= MOSTLY * cells.weight.sum():
        out.append((s["kinds_device"], "its cells say what kind of device"))
    out.append((s["blank_device"] * (1 - cells.filled / cells.rows), ""))
    if cells.constant:
        out.append((s["constant_device"], "one name in every row"))
    elif cells.distinct > 1:
        out.append((s["repeats_device"] * cells.repeats, ""))
    if cells.filled > 1 and cells.repeats == 0:
        series = in_series(cells)
        out.append((s["different_device"] + s["series_device"] * series, "its cells tell the rows apart"))
    whole = cells.share(Kind.WHOLE)
    if cells.share(Kind.NUMBER) - whole > 0.4:
        out.append((s["reading_device"], "its cells are numbers with decimals"))
    rated = cells.share(Kind.RATED) > 0.9 and not cells.share(Kind.LONG) > 0.5  # "DB1 Kitchen RCD 30 mA" is a name
    if rated and cells.distinct < 5 and cells.filled > 2:
        out.append((s["constant_device"], "its cells are ratings"))
    return out


def _describes(text: str) -> bool:
    """Whether a text says what kind of device it is, and no more: "RCBO", "RCBO B32", "16A C", "2P 63A"."""
    return all(says("kinds_of_device", word) or _MADE.fullmatch(word) for word in re.split(r"[\s/,]+", text) if word)


_LINE = re.compile(r"L[123]?|[RYB]|[RST]|[UVW]|red|yellow|white|blue", re.IGNORECASE)


_MADE = re.compile(
    r"(?:[BCD](?:6|1[036]|2[05]|32|40|50|63|80|100|125)?|\d{1,3}\s?A|\d+\s?mA|[1-4]P(?:\+?N)?|type|AC|[ABFGS])",
    re.IGNORECASE,
)


def _outlet(cells: Profile) -> list[tuple[float, str]]:
    s = weights()["shape"]
    if cells.filled > 1 and all(_LINE.fullmatch(text) for text in cells.texts):
        return [(s["outlet_restarts"], "its cells name lines of the supply")]
    if cells.filled > 1 and cells.share(Kind.PHASE) > 0.9 and not cells.share(Kind.WHOLE):
        return [(s["outlet_large"], "its cells are phase angles")]
    if cells.restarts:
        return [(s["outlet_restarts"], "small numbers that begin again")]
    if len(cells.numbers) > 2 and cells.running and cells.numbers[0] == 1:
        return [(s["outlet_large"], "it counts the rows")]
    large = len(cells.numbers) > 0 and float(np.median(cells.numbers)) > 60
    return [(s["outlet_large"], "its numbers are large")] if large else []


def _people(name: str, cells: Profile) -> list[tuple[float, str]]:
    s = weights()["shape"]
    if name == "technician" and cells.share(Kind.CODE) > 0.9 and any(map(str.isdigit, "".join(cells.texts))):
        return [(s["check_people"], "its cells are codes")]
    if cells.share(Kind.PASS | Kind.FAIL | Kind.QUANTITY) > 0.5 or cells.named_share > 0.5:
        return [(s["check_people"], "its cells are checks")]
    if cells.filled > 3 and cells.distinct <= max(2, cells.filled / 4):
        return [(s["few_people"], "a few that repeat")]
    if cells.filled > 5 and cells.repeats < 0.1:
        return [(s["many_people"], "as many as rows")]
    return []


def _reading(name: str, cells: Profile, rated: Numbers, unit: str) -> list[tuple[float, str]]:
    s, v = weights()["shape"], cells.numbers
    out: list[tuple[float, str]] = []
    if len(v) > 2 and np.isin(v, (0.0, 180.0)).all():
        out.append((s["angles_read"], "every cell is a phase angle"))
    if len(v) > 2 and cells.running:
        out.append((s["running_reading"] if v[0] == 1 else s["running_on"], "it counts the rows"))
    if len(v) > 4 and cells.distinct == 1 and cells.share(Kind.NUMBER) > 0.9:
        out.append((s["constant_reading"], "one number in every row"))
    if len(v) > 2 and cells.share(Kind.RATED) > 0.9:
        out.append((s["preferred_reading"], "every cell is a preferred rating"))
    if cells.share(Kind.CURRENT if name == "trip_time" else Kind.MILLISECONDS) > 0.5:
        out.append((s["unit_contradicts"], "its cells have another unit"))
    if name == "trip_time" and len(v) and float(np.median(v)) > 10_000:
        out.append((s["beyond_times"], "no instrument shows such times"))
    return out + _against_rated(name, cells, rated, unit)


def _test_current(cells: Profile, rated: Numbers) -> list[tuple[float, str]]:
    """Test currents are multiples of the rated residual current; a ramp ends anywhere."""
    known = len(rated) == len(cells.values)
    with np.errstate(invalid="ignore", divide="ignore"):
        times = cells.values / rated if known else cells.values
    times = times[np.isfinite(times)]
    meant = np.array(TIMES) if known else np.outer(PREFERRED, TIMES).ravel()
    even = [bool(np.isclose(one, meant, rtol=0.02).any()) for one in np.unique(times)]
    if not even or np.mean(even) >= 0.8:
        return []
    return [
        (weights()["shape"]["uneven_current"] * float(1 - np.mean(even)), "its currents are no multiples of ratings")
    ]


def _against_rated(name: str, cells: Profile, rated: Numbers, unit: str) -> list[tuple[float, str]]:
    """How numbers lie to the rated residual current: a ramp ends between half of it and somewhat above it."""
    s = weights()["shape"]
    if len(rated) != len(cells.values):
        return []
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = cells.values / rated
    ratio = ratio[np.isfinite(ratio) & (ratio > 0)]
    if len(ratio) < 3:
        return []
    near = float(np.mean((ratio > 0.4) & (ratio <= 1.7)))
    tight = near > 0.9 and float(np.std(np.log(ratio))) < 0.35
    if name == "trip_current":
        if ratio.max() > BEYOND and not unit:
            return [(s["beyond_ramps"], "a ramp ends before its largest number")]
        if near > 0.8:
            return [(s["near_rated"] if tight else 0.5, "its numbers lie about the rated residual current")]
        return [(s["far_from_rated"] * (1 - near), "its numbers lie far from the rated residual current")]
    return [(s["times_near_rated"], "")] if tight else []


def _date(name: str, cells: Profile, as_of: dt.date) -> list[tuple[float, str]]:
    from rcdcheck.intake.cells.date_columns import read_dates

    s = weights()["shape"]
    some = np.array([t for t, k in zip(cells.texts, cells.kinds, strict=True) if k & Kind.DATE][:20], dtype=object)
    if not len(some):
        return []
    at = read_dates(some).value
    ahead = float(np.mean(at[~np.isnat(at)] > np.datetime64(as_of))) if (~np.isnat(at)).any() else 0.0
    if name == "tested_at":
        return [(-s["future_date"] * 2, "its dates lie ahead")] if ahead > 0.5 else []
    return [(s["future_date"], "its dates lie ahead")] if ahead > 0.5 else [(s["past_due"], "")]
