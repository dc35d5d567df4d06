"""What is to be done now: withdraw, go back or settle, mend the sheet, test again; with room to sign."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from rcdcheck.findings import catalogue
from rcdcheck.records import Audit
from rcdcheck.reports import act_now
from rcdcheck.reports.excel_places import Places, cell, device_link, first_reasons
from rcdcheck.reports.excel_tables import Block, Column, Sheet

Row = tuple[object, ...]


def act_now_sheet(audit: Audit) -> Sheet:
    """Withdraw, go back by site and board, mend by sheet and cell; with a column to sign in."""
    head = (Column("Device", "id", 30), Column("Site", "text", 24), Column("Board", "text", 24),
            Column("Why", "text", 60), Column("What to do", "text", 50))  # fmt: skip
    place = (Column("File", "text", 30), Column("Sheet", "text", 18), Column("Cell", "id", 10))
    done = (Column("Done by, on", "text", 20, 18),)
    everyone = len(audit.devices)
    withdraw, back, mend = act_now.withdraw(audit, everyone), act_now.settle(audit, everyone), _mendable(audit)
    due = act_now.due(audit)
    typed = (Column("Device", "id", 30), Column("Typed", "text", 24), Column("Perhaps", "text", 24), *head[3:])
    blocks = [
        Block("Withdraw", head + place + done, _devices(audit, withdraw), f"Withdraw now ({len(withdraw):,})",
              "No device failed."),
        Block("GoBack", head + place + done, _devices(audit, back),
              f"Go back or settle, by site and board ({len(back):,}); no pass tag until then", "No device is open."),
        Block("Mend", typed + place + done, _mend(audit, mend), f"Mend in the sheet, by sheet and cell ({len(mend):,})",
              "No cell needs mending."),
        Block("Due", head + place + done, _due(audit, due), f"Due within {act_now.SOON} days or past ({len(due):,})",
              "No date is past or near."),
    ]  # fmt: skip
    sentence = "To withdraw, the most dangerous first; to go back to; cells to mend; tests due. Sign at the right."
    return Sheet("Act now", "Act now", sentence, blocks)


def _devices(audit: Audit, items: list[act_now.Item]) -> Iterator[Row]:
    first, places = first_reasons(audit).reindex([item.number for item in items]), Places(audit)
    sheets = first["sheet"].fillna(-1).astype(int).to_numpy()
    where = places.files(sheets), places.sheets(sheets)
    for item, r, file, sheet in zip(items, first.itertuples(), *where, strict=True):
        at = cell(int(r.row), int(r.column)) if r.row == r.row else ""
        name = device_link(item.name, item.number)
        yield name, item.site, item.board, " ".join(item.why), item.action, file, sheet, at, ""


def _due(audit: Audit, devices: pd.DataFrame) -> Iterator[Row]:
    for number, due in zip(devices.index.tolist(), act_now.dues(audit, devices), strict=True):
        when = f"The next test was due on {due.date}." if due.past else f"The next test is due on {due.date}."
        yield device_link(due.name, number), due.site, due.board, when, "Test it again.", "", "", "", ""


def _mendable(audit: Audit) -> pd.DataFrame:
    """Cells with a value that they might have been, and other errors of the sheet itself, by sheet and cell."""
    return pd.concat([act_now.mendable(audit), act_now.also_wrong(audit)]).sort_values(
        ["sheet", "row", "column"], kind="stable"
    )


def _mend(audit: Audit, found: pd.DataFrame) -> Iterator[Row]:
    places, kinds = Places(audit), catalogue()
    names, device = audit.devices["name"].to_numpy(), audit.test_outcomes["device"].to_numpy()
    where = places.files(found["sheet"].to_numpy()), places.sheets(found["sheet"].to_numpy())
    for f, file, sheet in zip(found.itertuples(), *where, strict=True):
        n = int(device[f.test]) if f.test >= 0 else -1
        name = device_link(names[n], n) if n >= 0 else ""
        at = cell(f.row, f.column, f.last_row)
        yield name, f.typed, f.suggestion, f.message, kinds[f.code].do, file, sheet, at, ""
