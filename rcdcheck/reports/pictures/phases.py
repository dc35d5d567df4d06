"""The trip time started at 0° against the one started at 180°, with the line of equality."""

from __future__ import annotations

import numpy as np
import pandas as pd

from rcdcheck.audits import Audit
from rcdcheck.reports.pictures.parts import Line, Log, Picture, Plot, Words, key_of, kinds_of, scatter, tests_in_doubt
from rcdcheck.reports.text import counted
from rcdcheck.tables import Numbers
from rcdcheck.terms import Bound, State

HEIGHT = 320


def draw(audit: Audit) -> Picture | None:
    """The picture, or None where no test holds both trip times at the rated current."""
    pairs = phase_pairs(audit)
    if pairs.empty:
        return None
    first, second = pairs["0"].to_numpy(), pairs["180"].to_numpy()
    scale = Log.over(np.concatenate([first, second]), 100.0)
    x, y = scale.at(first), HEIGHT - scale.at(second) * HEIGHT / 100
    marks, circles = scatter(x, y, kinds_of(pairs["verdict"].to_numpy()), tests_in_doubt(audit)[pairs.index.to_numpy()])
    ticks = [(float(scale.at(t)), f"{t:g}") for t in scale.ticks()]
    plot = Plot(
        height=HEIGHT,
        across="started at 0°, ms",
        down="started at 180°, ms",
        ticks_across=tuple(ticks),
        ticks_down=tuple((round(HEIGHT - share * HEIGHT / 100, 1), text) for share, text in ticks),
        lines=(Line("equal", 0, HEIGHT, 100, 0),),
        circles=circles,
        marks=marks,
        words=(Words("equal", 99, 26, "end"),),
    )
    gap = np.abs(first - second)
    equal = int((gap == 0).sum())
    return Picture(
        name="phases",
        title="0° against 180°",
        caption="Each mark is one device tested from both half-waves at its rated current. On the line the two trip "
        "times are equal; a device that stands far from it depends on the half-wave. Real pairs scatter about the "
        "line and seldom stand exactly on it.",
        alternative=f"{counted(len(pairs), 'pair')} of trip times; equal: {equal:,}; the widest apart differ by "
        f"{gap.max():.4g} ms.",
        plots=(plot,),
        head=("Pairs that differ by", "Pairs"),
        rows=tuple((text, f"{int(n):,}") for text, n in _gaps(gap)),
        key=key_of((plot,)),
        shape="half",
    )


def phase_pairs(audit: Audit) -> pd.DataFrame:
    """Exact trip times at the rated current that have both phases: columns 0, 180, verdict (the graver), by test."""
    readings, verdicts = audit.tables.readings, audit.verdicts
    exact = (readings["state"] == State.TRIPPED) & (readings["bound"] == Bound.EXACT) & (readings["value"] > 0)
    exact &= audit.test_outcomes["counted"].to_numpy()[readings["test"].to_numpy()]
    sides = []
    for phase in ("0", "180"):
        slots = enumerate(audit.tables.slots)
        wanted = [i for i, s in slots if (s.quantity, s.phase, s.waveform) == ("trip_time", phase, "ac")]
        at = np.flatnonzero(exact & readings["slot"].isin(wanted) & np.isclose(verdicts["multiple"], 1))
        side = pd.DataFrame({"value": readings["value"].to_numpy()[at], "verdict": verdicts["verdict"].to_numpy()[at]})
        side.index = pd.Index(readings["test"].to_numpy()[at])
        sides.append(side[~side.index.duplicated()])
    both = sides[0].add_suffix("_0").join(sides[1].add_suffix("_180"), how="inner")
    worse = np.maximum(both["verdict_0"], both["verdict_180"]) if len(both) else np.zeros(0, dtype=np.int8)
    return pd.DataFrame({"0": both["value_0"], "180": both["value_180"], "verdict": worse}).astype({"verdict": "int8"})


def _gaps(gap: Numbers) -> list[tuple[str, int]]:
    return [
        ("nothing: equal", int((gap == 0).sum())),
        ("up to 1 ms", int(((gap > 0) & (gap <= 1)).sum())),
        ("over 1, up to 5 ms", int(((gap > 1) & (gap <= 5)).sum())),
        ("over 5, up to 20 ms (a whole cycle at 50 Hz)", int(((gap > 5) & (gap <= 20)).sum())),
        ("more than 20 ms", int((gap > 20).sum())),
    ]
