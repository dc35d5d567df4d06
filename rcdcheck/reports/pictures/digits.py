"""Last digits of trip times against what chance gives."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from rcdcheck.audits import Audit
from rcdcheck.reports.pictures.parts import Box, Line, Picture, Plot
from rcdcheck.reports.text import cut
from rcdcheck.showing import visible
from rcdcheck.tables import Numbers
from rcdcheck.terms import Bound, State

HEIGHT = 150
FEWEST = 50  # digits below which a panel would show nothing but chance
PANELS = 6
FINEST = 3  # decimals of a millisecond looked at

Counts = npt.NDArray[np.int64]


def draw(audit: Audit) -> Picture | None:
    """The picture, or None where too few trip times were read."""
    groups = digit_counts(audit)
    if not groups:
        return None
    asked = audit.questions[(audit.questions["question"] == "digits")]
    plots = [_plot(name, counts) for name, counts in groups[:PANELS]]
    return Picture(
        name="digits",
        title="Last digits against chance",
        caption="How often each last digit stands in the trip times. If the digits were even, nineteen bars in twenty "
        "would end inside the grey band. 0 and 5 stand out where readings were rounded. "
        + _fitness(bool(asked["asked"].any())),
        alternative=" ".join(f"{name}: {_told(counts)}." for name, counts in groups[:PANELS]),
        plots=tuple(plots),
        head=("Trip times of", *map(str, range(10)), "All", "Band of chance"),
        rows=tuple(_row(name, counts) for name, counts in groups),
        side_by_side=True,
    )


def _told(counts: Counts) -> str:
    return ", ".join(f"{digit} stands {n:,} times" for digit, n in enumerate(counts))


def _fitness(asked: bool) -> str:
    if asked:
        return "It is never more than a note: instruments with a unit of their own are uneven too."
    return "The question was not put to these readings: they are too few, too coarse or too alike for even digits."


def digit_counts(audit: Audit) -> list[tuple[str, Counts]]:
    """Counts of the last digits 0 to 9, shape (10,), of all trip times or, where several have enough, by person."""
    readings = audit.tables.readings
    is_time = np.array([s.quantity == "trip_time" for s in audit.tables.slots] or [False])
    test = readings["test"].to_numpy()
    exact = (readings["state"] == State.TRIPPED) & (readings["bound"] == Bound.EXACT) & (readings["value"] > 0)
    shown = exact & is_time[readings["slot"].to_numpy()] & audit.test_outcomes["counted"].to_numpy()[test]
    at = np.flatnonzero(shown)
    if not len(at):
        return []
    digit = _last_digits(readings["value"].to_numpy()[at], _column(audit, at))
    person = audit.tables.tests["technician"].to_numpy()[test[at]]
    of_person = {code: np.bincount(digit[person == code], minlength=10) for code in np.unique(person)}
    enough = [(str(audit.tables.vocabulary[c]) or "nobody named", n) for c, n in of_person.items() if n.sum() >= FEWEST]
    if len(enough) > 1:
        return sorted(enough, key=lambda pair: pair[0])
    return [("all readings", np.bincount(digit, minlength=10))] if len(digit) >= FEWEST else []


def _column(audit: Audit, at: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """A number for each sheet and column: what is typed in one column has one resolution."""
    readings = audit.tables.readings
    sheet = audit.tables.tests["sheet"].to_numpy()[readings["test"].to_numpy()[at]].astype(np.int64)
    return sheet * 20_000 + readings["column"].to_numpy()[at]


def _last_digits(value: Numbers, column: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """Last digit of each value at the finest resolution that its column shows."""
    decimals = np.full(len(value), FINEST)
    for d in reversed(range(FINEST)):
        decimals[np.isclose(value * 10**d, np.round(value * 10**d), rtol=0, atol=1e-6)] = d
    _, number = np.unique(column, return_inverse=True)
    finest = np.zeros(number.max() + 1, dtype=np.int64)
    np.maximum.at(finest, number, decimals)
    whole = np.round(value * 10.0 ** finest[number]).astype(np.int64)
    digits: npt.NDArray[np.int64] = whole % 10
    return digits


def band(n: int) -> tuple[float, float]:
    """Where 95 % of counts of one digit lie among n even digits: the normal approximation to Binomial(n, 0.1)."""
    half = 1.96 * math.sqrt(n * 0.1 * 0.9)
    return max(0.0, n * 0.1 - half), n * 0.1 + half


def _plot(name: str, counts: Counts) -> Plot:
    n = int(counts.sum())
    low, high = band(n)
    per = (HEIGHT - 14) / max(float(counts.max()), high)
    boxes = [Box("band", 0, round(HEIGHT - high * per, 1), 100, round((high - low) * per, 1))]
    tall = np.round(counts * per, 1)
    boxes += [Box("bar", d * 10 + 2.0, round(HEIGHT - float(t), 1), 6, float(t)) for d, t in enumerate(tall) if t]
    level = round(HEIGHT - n * 0.1 * per, 1)
    return Plot(
        height=HEIGHT,
        title=f"{cut(visible(name), 26)}, {n:,} digits",
        across="last digit",
        ticks_across=tuple((d * 10 + 5.0, str(d)) for d in range(10)),
        ticks_down=((HEIGHT, "0"), (level, f"{n * 0.1:,.0f}" if n >= 1000 else f"{n * 0.1:g}")),
        boxes=tuple(boxes),
        lines=(Line("chance", 0, level, 100, level),),
        words=(),
    )


def _row(name: str, counts: Counts) -> tuple[str, ...]:
    low, high = band(int(counts.sum()))
    return (name, *(f"{int(c):,}" for c in counts), f"{int(counts.sum()):,}", f"{low:.1f} to {high:.1f}")
