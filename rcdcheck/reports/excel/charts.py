"""The two pictures of the workbook: outcomes by site and trip times by band, each drawn from the numbers beside it."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from rcdcheck.audits import Audit
from rcdcheck.reports.excel.tables import Block, Column
from rcdcheck.terms import Outcome, State

SITES = 20  # sites listed one by one; the others are counted together
ORDER = (Outcome.FAIL, Outcome.UNCLEAR, Outcome.INCOMPLETE, Outcome.PASS)
SHADES = {
    "fail": "7A0019",
    "unclear": "C98A00",
    "incomplete": "F0D27A",
    "pass": "7FB0DC",
    "0°": "24465A",
    "180°": "9DBBCB",
}
EDGES = (0, 10, 20, 30, 40, 50, 60, 80, 100, 150, 200, 300, 500)  # ms; the usual limits stand at edges


def sites(audit: Audit) -> Block:
    """Devices by site and outcome, the sites with most that did not pass first."""
    words = [outcome.word for outcome in ORDER]
    columns = (Column("Site", "text", 44), *(Column(word, "whole", 12) for word in words), Column("all", "whole", 12))
    return Block(
        "Sites", columns, _sites(audit), "Outcomes by site", none="No device was read.",
        chart=lambda ws, first, last: _bars(ws, first, last, words, "Devices by site and outcome"),
        alt="Bars: devices of each site by outcome. The same numbers stand in the table beside it.",
    )  # fmt: skip


def _sites(audit: Audit) -> list[tuple[object, ...]]:
    codes, place = np.unique(audit.devices["site"].to_numpy(), return_inverse=True)
    counts = np.zeros((len(codes), 4), dtype=np.int64)
    np.add.at(counts, (place, 3 - audit.devices["outcome"].to_numpy()), 1)
    order = np.lexsort((np.arange(len(codes)), -counts[:, :3].sum(axis=1)))
    names = [str(name) or "no site named" for name in audit.tables.texts(codes[order])]
    rows = [_counted(name, n) for name, n in zip(names, counts[order], strict=True)]
    if len(rows) > SITES:
        rest = counts[order][SITES:].sum(axis=0)
        rows = [*rows[:SITES], _counted(f"{len(names) - SITES:,} more sites", rest)]
    return rows


def _counted(name: str, counts: npt.NDArray[np.int64]) -> tuple[object, ...]:
    return name, *counts.tolist(), int(counts.sum())


def trip_times(audit: Audit) -> Block:
    """Trip times at the rated current by band and phase; a band holds its upper edge."""
    columns = (Column("Trip time at rated current", "text", 44), Column("0°", "whole", 12), Column("180°", "whole", 12))
    return Block(
        "TripTimes", columns, list(_bands(audit)), "Trip times at rated current, number of readings by band",
        chart=lambda ws, first, last: _columns(ws, first, last, ["0°", "180°"], "Trip times at rated current (ms)"),
        alt="Columns: number of trip times in each band, started at 0° and at 180°. The same numbers stand beside it.",
    )  # fmt: skip


def _bands(audit: Audit) -> Iterator[tuple[object, ...]]:
    counted = [_of_phase(audit, phase) for phase in ("0", "180")]
    names = [f"{low} to {high}" for low, high in pairwise(EDGES)]
    for name, *numbers in zip([*names, f"over {EDGES[-1]}", "no trip"], *counted, strict=True):
        yield name, *numbers


def _of_phase(audit: Audit, phase: str) -> list[int]:
    slots = [n for n, s in enumerate(audit.tables.slots) if s.quantity == "trip_time" and s.phase == phase]
    read = audit.tables.readings
    here = read["slot"].isin(slots).to_numpy() & np.isclose(audit.verdicts["multiple"].to_numpy(), 1.0)
    tripped = here & (read["state"] == State.TRIPPED).to_numpy()
    values = read["value"].to_numpy()[tripped]
    bands = np.bincount(np.searchsorted(EDGES[1:], values[~np.isnan(values)]), minlength=len(EDGES))
    return [*bands.tolist(), int((here & (read["state"] == State.NOT_TRIPPED).to_numpy()).sum())]


def _bars(ws: Any, first: int, last: int, names: list[str], title: str) -> Any:
    chart = _columns(ws, first, last, names, title)
    chart.type, chart.grouping, chart.overlap = "bar", "stacked", 100
    chart.x_axis.scaling.orientation = "maxMin"  # the first row on top
    chart.y_axis.crosses = "max"
    return chart


def _columns(ws: Any, first: int, last: int, names: list[str], title: str) -> Any:
    from openpyxl.chart import BarChart, Reference

    chart = BarChart()
    chart.add_data(
        Reference(ws, min_col=2, max_col=1 + len(names), min_row=first - 1, max_row=last), titles_from_data=True
    )
    chart.set_categories(Reference(ws, min_col=1, min_row=first, max_row=last))
    chart.title, chart.height, chart.width, chart.gapWidth = title, 8, 17, 50
    chart.legend.position = "b"
    chart.x_axis.delete = chart.y_axis.delete = False
    chart.y_axis.numFmt, chart.y_axis.majorGridlines = "0", None
    for series, name in zip(chart.series, names, strict=True):
        series.graphicalProperties.solidFill = SHADES[name]
        series.graphicalProperties.line.solidFill = "5F5F5F"
    return chart
