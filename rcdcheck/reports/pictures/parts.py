"""What pictures are made of: what is drawn, in per cent across and pixels down, with the words and numbers beside it.

A picture is data; the template draws it as inline SVG. Widths are per cent of the column, so that marks and letters
keep their size on a phone; each kind of mark has a shape of its own, so that nothing hangs on colour. Past 2,000 points
marks are gathered into circles whose area is the number of readings.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from rcdcheck.audits import Audit
from rcdcheck.reports.wording import READINGS
from rcdcheck.tables import Mask, Numbers
from rcdcheck.terms import Verdict

MOST = 2_000  # points of a picture before they are gathered
LABELLED = 6  # failing marks that carry their device's name
ACROSS, DOWN = 48, 26  # boxes that gathered points fall into
WIDEST = 9.0  # radius in pixels of the circle that stands for most readings


@dataclass(frozen=True)
class Mark:
    """One mark: its kind names its shape (`pass`, `marginal`, `unclear`, `fail`, `stroke`, `doubt`)."""

    kind: str
    x: float  # per cent
    y: float  # pixels from the top


@dataclass(frozen=True)
class Circle:
    """Readings that were gathered: area in proportion to their number."""

    kind: str
    x: float
    y: float
    r: float
    count: int


@dataclass(frozen=True)
class Line:
    """A straight line; its kind is `limit`, `equal`, `grid` or `chance`."""

    kind: str
    x1: float
    y1: float
    x2: float
    y2: float


@dataclass(frozen=True)
class Box:
    """A rectangle; its kind is `bar`, `bar-fail`, `band`."""

    kind: str
    x: float
    y: float
    width: float  # per cent
    height: float


@dataclass(frozen=True)
class Words:
    """A text in the picture; `end` is `start`, `middle` or `end`, the side of x on which it hangs."""

    text: str
    x: float
    y: float
    end: str = "start"
    wide: bool = False  # left out on a phone, where it would stand on another


@dataclass(frozen=True)
class Plot:
    """One panel. Ticks across are (per cent, text), ticks down (pixels, text)."""

    height: int
    title: str = ""
    across: str = ""
    down: str = ""
    ticks_across: tuple[tuple[float, str], ...] = ()
    ticks_down: tuple[tuple[float, str], ...] = ()
    boxes: tuple[Box, ...] = ()
    lines: tuple[Line, ...] = ()
    circles: tuple[Circle, ...] = ()
    marks: tuple[Mark, ...] = ()
    words: tuple[Words, ...] = ()


@dataclass(frozen=True)
class Picture:
    """A picture with its caption, its text alternative, its key of marks, and its numbers as a table."""

    name: str
    title: str
    caption: str
    alternative: str
    plots: tuple[Plot, ...]
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    key: tuple[tuple[str, str], ...] = ()
    shape: str = "full"  # or "half": of the width of the page
    side_by_side: bool = False
    notes: tuple[str, ...] = ()


# ── scales ──
@dataclass(frozen=True)
class Log:
    """A logarithmic scale from `low` to `high`, laid over `size` pixels or per cent."""

    low: float
    high: float
    size: float

    @classmethod
    def over(cls, values: Numbers, size: float) -> Log:
        """A scale that holds all values with a little room."""
        low, high = float(values.min()), float(values.max())
        return cls(low / 1.25, high * 1.25 if high > low else low * 2, size)

    def at(self, values: npt.ArrayLike) -> Numbers:
        """Distance from the low end, shape as given."""
        share = np.log(np.asarray(values, dtype=np.float64) / self.low) / math.log(self.high / self.low)
        return np.round(share * self.size, 2)

    def ticks(self) -> list[float]:
        """Round values of the form 1, 2, 5 × 10ⁿ inside the scale."""
        powers = range(math.floor(math.log10(self.low)), math.ceil(math.log10(self.high)) + 1)
        steps = [digit * 10.0**power for power in powers for digit in (1, 2, 5)]
        return [step for step in steps if self.low <= step <= self.high]


# ── marks ──
KINDS = {
    Verdict.PASS: "pass",
    Verdict.MARGINAL: "marginal",
    Verdict.UNCLEAR: "unclear",
    Verdict.FAIL: "fail",
    Verdict.NOT_JUDGED: "none",
}
KEY = {
    **READINGS,
    "doubt": "in a doubt about credibility",
    "stroke": "a test",
    "stroke-doubt": "a test in a doubt about pace",
    "circle": "readings gathered: the area is their number, the largest circle {most}",
    "fail-circle": "failing readings gathered",
}


def kinds_of(verdicts: npt.NDArray[np.int8]) -> list[str]:
    """Kind of mark of each verdict."""
    return [KINDS[Verdict(v)] for v in verdicts]


def scatter(x: Numbers, y: Numbers, kinds: Sequence[str], doubted: Mask) -> tuple[tuple[Mark, ...], tuple[Circle, ...]]:
    """Marks for each point, or, past 2,000, circles for the points that pass and marks for up to 500 others."""
    kind = np.array(kinds, dtype=object)
    if len(x) <= MOST:
        order = np.argsort(kind == "fail", kind="stable")  # what fails is drawn last, on top
        return (*_marks(kind, x, y, order), *_marks(np.full(len(x), "doubt"), x, y, np.flatnonzero(doubted))), ()
    apart = (kind == "fail") | doubted
    if apart.sum() > 500:
        apart[:] = False
    shown = np.where(doubted & (kind != "fail"), "doubt", kind)
    fails, rest = (kind == "fail") & ~apart, (kind != "fail") & ~apart
    circles = _gathered("circle", x, y, rest) + _gathered("fail-circle", x, y, fails)
    return tuple(_marks(shown, x, y, np.flatnonzero(apart))), _sized(circles)


def _marks(kind: npt.NDArray[np.object_], x: Numbers, y: Numbers, at: npt.NDArray[np.int64]) -> list[Mark]:
    return [Mark(str(kind[i]), round(float(x[i]), 2), round(float(y[i]), 1)) for i in at]


def _gathered(kind: str, x: Numbers, y: Numbers, which: Mask) -> tuple[Circle, ...]:
    if not which.any():
        return ()
    step = max(1.0, float(y.max()) / DOWN)
    columns = np.clip(x[which] * ACROSS // 100, 0, ACROSS - 1)
    boxes, counts = np.unique(np.column_stack([columns, y[which] // step]), axis=0, return_counts=True)
    middle = np.round((boxes + 0.5) * [100 / ACROSS, step], 2)
    return tuple(Circle(kind, float(a), float(b), 0, int(n)) for (a, b), n in zip(middle, counts, strict=True))


def _sized(circles: tuple[Circle, ...]) -> tuple[Circle, ...]:
    """Circles with radii, so that areas compare over all kinds; the smallest can still be seen."""
    most = max((c.count for c in circles), default=1)
    return tuple(replace(c, r=round(max(1.2, WIDEST * math.sqrt(c.count / most)), 1)) for c in circles)


def key_of(plots: Sequence[Plot]) -> tuple[tuple[str, str], ...]:
    """The kinds of mark that stand in these panels, with their meaning."""
    used = {m.kind for plot in plots for m in plot.marks} | {c.kind for plot in plots for c in plot.circles}
    most = max((circle.count for plot in plots for circle in plot.circles), default=0)
    return tuple((kind, text.format(most=f"{most:,}")) for kind, text in KEY.items() if kind in used)


def tests_in_doubt(audit: Audit, question: str = "") -> Mask:
    """Tests that a doubt about credibility, or only one of one question, speaks of, shape (tests,)."""
    doubted = np.zeros(len(audit.test_outcomes), dtype=bool)
    for evidence in audit.findings.loc[audit.findings["severity"] == "doubt", "evidence"]:
        if evidence and question in ("", evidence.get("question")):
            doubted[evidence.get("tests", [])] = True
    return doubted


def number(value: float) -> str:
    """A value as typed, without rounding: a fail never looks equal to its limit."""
    return f"{value:.10g}"
