"""What is to be done now: withdraw, go back, mend at the desk, test again; with room to sign."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from rcdcheck.audits import Audit
from rcdcheck.reports import facts
from rcdcheck.reports.desk import Cause
from rcdcheck.reports.excel.places import device_link
from rcdcheck.reports.excel.tables import Block, Column, Sheet
from rcdcheck.reports.text import counted
from rcdcheck.reports.to_do import Item

Row = tuple[object, ...]
DUES = 20_000
PLACE = (Column("Device", "id", 16), Column("Site", "text", 16), Column("Board", "text", 12),
         Column("Location", "text", 20))  # fmt: skip
DONE = Column("Done by, on", "text", 16, 14)


def act_now_sheet(audit: Audit) -> Sheet:
    """Withdraw; go back by site, board and location; mend by cause; with a column to sign in."""
    told = facts.of(audit)
    step = (Column("Why", "text", 44), Column("What to do", "text", 40), Column("In the sheet", "text", 20),
            Column("Cells", "text", 16), DONE)  # fmt: skip
    causes = (Column("Device", "id", 16), Column("Place", "text", 16), Column("Cell", "id", 12),
              Column("Typed", "text", 20), Column("What is wrong", "text", 44), Column("What to do", "text", 40),
              Column("Perhaps, or the option", "text", 20), Column("Cause", "text", 16), DONE)  # fmt: skip
    mend = f"Mend at the desk, by cause ({len(told.desk):,}, in {counted(told.counts['to_do.desk_cells'], 'place')})"
    blocks = [
        Block("Withdraw", PLACE + step, _devices(told.withdraw), f"Withdraw now ({len(told.withdraw):,})",
              told.lead[0]),
        Block("GoBack", PLACE + step, _devices(told.go_back),
              f"Go back to site, in the order of the sheet ({len(told.go_back):,}); no pass tag until then",
              "Nothing needs a visit."),
        Block("Mend", causes, _mend(told.desk), mend, "No cell needs mending."),
        Block("Due", PLACE + step, _due(told), f"Due within {facts.SOON} days or past ({len(told.due):,})",
              "No date is past or near."),
    ]  # fmt: skip
    sentence = (
        "To withdraw, the most dangerous first; to go back to; to mend at the desk; tests due. Sign at the right."
    )
    return Sheet("Act now", "Act now", sentence, [replace(block, lines=1) for block in blocks])


def _devices(items: list[Item]) -> Iterator[Row]:
    for item in items:
        yield (
            device_link(item.name, item.number), item.site, item.board, item.location, " ".join(item.why), item.action,
            " · ".join(f"“{text}”" for text in item.said), "; ".join(item.cells), "",
        )  # fmt: skip


def _due(told: facts.Facts) -> Iterator[Row]:
    for due in told.dues(DUES):
        when = f"The next test {'was' if due.past else 'is'} due on {due.date}."
        yield device_link(due.name, due.number), due.site, due.board, due.location, when, "Test it again.", "", "", ""


def _mend(causes: list[Cause]) -> Iterator[Row]:
    """A row for each place of a cause; the number tells which belong together."""
    for number, cause in enumerate(causes, 1):
        for n, spot in enumerate(cause.spots):
            held = f"{number}: {cause.devices:,} waiting" if cause.devices and not n else f"{number}"
            yield (
                device_link(spot.device, spot.device_number), spot.sheet, spot.cell, spot.typed,
                cause.message if not n else "as above", cause.do if not n else "",
                spot.perhaps or (cause.option if not n else ""), held, "",
            )  # fmt: skip
