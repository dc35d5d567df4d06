"""The current at which devices let go on a rising current, as a share of their rated residual current."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.audits import Audit
from rcdcheck.reports.pictures.parts import Box, Line, Picture, Plot, Words
from rcdcheck.tables import Numbers
from rcdcheck.terms import State, Verdict

HEIGHT = 320  # as high as the picture beside it
STEP = 5  # per cent of rated in a bar

Counts = npt.NDArray[np.int64]


def draw(audit: Audit) -> Picture | None:
    """The picture, or None where no ramp was read or no rated current is known."""
    ramps = ramp_shares(audit)
    if ramps.empty:
        return None
    share, failed = ramps["share"].to_numpy(), (ramps["verdict"] == Verdict.FAIL).to_numpy()
    top = int(min(200, max(125, np.ceil(share.max() / STEP) * STEP)))
    edges = np.arange(0, top + STEP, STEP, dtype=np.int64)
    bins = np.clip(np.ceil(share / STEP).astype(int) - 1, 0, len(edges) - 2)  # 100 % itself belongs below the line
    counts = np.bincount(bins, minlength=len(edges) - 1).astype(np.int64)
    bad = np.bincount(bins[failed], minlength=len(edges) - 1).astype(np.int64)
    plot = _plot(edges, counts, bad, _bounds(audit))
    return Picture(
        name="ramp",
        title="Ramp current as a share of rated",
        caption="How many devices let go at which share of their rated residual current, on a slowly rising current. "
        "A sound device lets go above one half and not above the whole of it. Hatched bars hold readings that fail.",
        alternative=f"{len(share):,} ramp readings from {share.min():.3g} % to {share.max():.4g} % of rated; "
        f"{int(failed.sum()):,} fail, {int((share <= 50).sum()):,} are at or below one half.",
        plots=(plot,),
        head=("Share of rated", "Readings", "of which fail"),
        rows=tuple(
            (_range(edges, int(i), share), f"{int(counts[i]):,}", f"{int(bad[i]):,}") for i in np.flatnonzero(counts)
        ),
        shape="half",
        key=(("bar", "readings"), *((("bar-fail", "of which fail"),) if failed.any() else ())),
    )


def ramp_shares(audit: Audit) -> pd.DataFrame:
    """Ramp readings on alternating current that let go: share in per cent of rated, and verdict."""
    readings = audit.tables.readings
    wanted = [i for i, s in enumerate(audit.tables.slots) if (s.quantity, s.waveform) == ("trip_current", "ac")]
    rated = audit.tables.tests["rated_residual_current"].to_numpy()[readings["test"].to_numpy()]
    shown = readings["slot"].isin(wanted) & (readings["state"] == State.TRIPPED) & (readings["value"] > 0) & (rated > 0)
    shown &= audit.test_outcomes["counted"].to_numpy()[readings["test"].to_numpy()]
    at = np.flatnonzero(shown)
    share = 100 * readings["value"].to_numpy()[at] / rated[at]
    return pd.DataFrame({"share": share, "verdict": audit.verdicts["verdict"].to_numpy()[at]})


def _plot(edges: Counts, counts: Counts, bad: Counts, bounds: list[float]) -> Plot:
    top, most = int(edges[-1]), int(counts.max())
    room, per_cent = HEIGHT - 24, 100 / top
    boxes: list[Box] = []
    words = [Words(f"{b:g} %", round(b * per_cent + 1, 2), 10) for b in bounds]
    for i in np.flatnonzero(counts):
        x, wide = round(float(edges[i]) * per_cent, 2), round(STEP * per_cent, 2)
        good = float(counts[i] - bad[i]) * room / most
        fail = max(3.0, float(bad[i]) * room / most) if bad[i] else 0.0
        boxes += [Box("bar", x, round(HEIGHT - good, 1), wide, round(good, 1))] if good else []
        if fail:
            boxes.append(Box("bar-fail", x, round(HEIGHT - good - fail, 1), wide, round(fail, 1)))
            words.append(Words(f"{bad[i]} ✗", round(x + wide / 2, 2), round(HEIGHT - good - fail - 5, 1), "middle"))
    return Plot(
        height=HEIGHT,
        across="let go at, % of rated residual current",
        down="readings",
        ticks_across=tuple((round(v * per_cent, 2), f"{v:g}") for v in range(0, top + 1, 25)),
        ticks_down=((HEIGHT, "0"), (24, f"{most:,}")),
        boxes=tuple(boxes),
        lines=tuple(Line("limit", round(b * per_cent, 2), 0, round(b * per_cent, 2), HEIGHT) for b in bounds),
        words=tuple(words),
    )


def _bounds(audit: Audit) -> list[float]:
    """Bounds that the rule set sets on a ramp, in per cent of rated."""
    ramps = [x for x in audit.rules.limits if (x.quantity, x.waveform) == ("trip_current", "ac")]
    shares = {100 * s for x in ramps for s in (x.minimum_share, x.maximum_share) if np.isfinite(s)}
    return sorted(s for s in shares if s <= 200)


def _range(edges: Counts, i: int, share: Numbers) -> str:
    last = i == len(edges) - 2 and share.max() > edges[-1]
    return f"over {edges[i]:g} %" + ("" if last else f", up to {edges[i + 1]:g} %")
