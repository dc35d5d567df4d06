"""What a register adds, as a sheet of the workbook: what is new since the last audit, drift, jumps, failure rates."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from rcdcheck.audits import Audit
from rcdcheck.history import STILL
from rcdcheck.reports.excel.tables import Block, Column, Measure, Sheet
from rcdcheck.reports.history_facts import drifts, jumps, models, taken_for_the_same
from rcdcheck.reports.history_text import TITLES

Row = tuple[object, ...]
DEVICE = (Column("Device", "id", 30), Column("Site", "text", 24))
READING = Column("Reading", "text", 30)


def over_time(audit: Audit) -> Sheet:
    """Every line; a table that holds none is left out, but for what is new."""
    blocks = (_new(audit), _drifts(audit), _models(audit), _jumps(audit), _rates(audit), _same(audit))
    return Sheet(
        "Over time",
        "Over time",
        "What the register of visits knows of these devices: what is new since the last audit, what drifts and jumps.",
        [blocks[0], *(block for block in blocks[1:] if block.rows)],
    )


def _new(audit: Audit) -> Block:
    columns = (
        *DEVICE, Column("What is new", "text", 40), Column("Before", "word"), Column("Now", "word"),
        Column("Why", "text", 60),
    )  # fmt: skip
    rows = [(c.device, c.site, STILL if c.kind == STILL else TITLES[c.kind], c.was, c.now, c.why)
            for c in audit.history.changes]  # fmt: skip
    return Block("NewSince", columns, rows, "New since the last audit", none="Nothing is new since the last audit.")


def _drifts(audit: Audit) -> Block:
    columns = (
        *DEVICE, READING, Column("Visits", "whole"), Column("Now", "number"), Column("Limit", "number"),
        Column("A year", "number"), Column("At least", "number"), Column("At most", "number"),
        Column("Reaches its limit about", "date", 24),
    )  # fmt: skip
    rows = [
        (
            d["device"], d["site"], d["reading"], d["visits"],
            *(Measure(d[name], d["unit"]) for name in ("last", "limit", "slope", "low", "high")),
            dt.date.fromisoformat(d["reached"]),
        )
        for d in drifts(audit)
    ]  # fmt: skip
    return Block("Drift", columns, rows, "Drifting to their limit, with the 95 % interval of the change a year")


def _models(audit: Audit) -> Block:
    columns = (
        Column("Model", "text", 30), READING, Column("Devices", "whole"), Column("Median change a year", "number", 24),
        Column("Chance without drift", "figure", 24),
    )  # fmt: skip
    rows = [(m["model"], m["reading"], m["devices"], Measure(m["slope"], m["unit"]), max(m["chance"], 1e-4))
            for m in models(audit)]  # fmt: skip
    return Block("ModelsThatDrift", columns, rows, "Models that drift, of devices with fewer than five visits")


def _jumps(audit: Audit) -> Block:
    columns = (*DEVICE, READING, Column("Before", "number"), Column("Now", "number"), Column("Beside it", "text", 50))
    rows = [
        (
            j["device"], j["site"], j["reading"], Measure(j["before"], j["unit"]), Measure(j["now"], j["unit"]),
            "every reading jumped: perhaps another device" if j["whole_device"] else "",
        )
        for j in jumps(audit)
    ]  # fmt: skip
    return Block("Jumps", columns, rows, "Jumps since the visit before")


def _rates(audit: Audit) -> Block:
    columns = (
        Column("By", "text", 14), Column("Name", "text", 30), Column("Failed", "whole"), Column("Of", "whole"),
        Column("Share", "share"), Column("At least", "share"), Column("At most", "share"),
    )  # fmt: skip
    caption = "How often devices failed before this audit, with the 95 % interval; intervals that overlap rank nobody"
    return Block("FailureRates", columns, list(_of_rates(audit)), caption)


def _of_rates(audit: Audit) -> Iterator[Row]:
    for rate in audit.history.rates:
        share = (None, None, None) if rate.few else (rate.failed / rate.of, rate.low, rate.high)
        yield rate.by, rate.name, rate.failed, rate.of, *share


def _same(audit: Audit) -> Block:
    columns = (*DEVICE, Column("Known as", "id", 30), Column("Because", "text", 60))
    lines = taken_for_the_same(audit)
    rows = [(d["device"], d["site"], d["called_before"], d["why"]) for d in lines]
    return Block("TakenForTheSame", columns, rows, "Taken for the same device")
