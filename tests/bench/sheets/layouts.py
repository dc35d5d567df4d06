"""The layouts: each says what it changes about a plain table, so that a layout is a line of data."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Layout:
    """What is particular about a layout."""

    header: str = "plain"  # plain, first (group in its first column), each (group in each column), three
    body: str = "wide"  # wide, mixed (a row a phase), both (a row a reading), split (phase and multiple), unit
    readings: str = "own"  # own column each, pairs, worst, lines
    naming: str = "device"  # device, board (board and circuit)
    outlets: str = ""  # blank (box named once), repeat, merged
    rated: str = "column"  # column, fact
    place: str = "one"  # one table, sections, stacked, beside, sheets, repeated (heading), sideways
    facts: bool = False
    footer: bool = False
    retests: bool = False
    ticks: bool = False
    remark: str = "maybe"  # maybe, unheaded, always, never
    shuffled: bool = False
    harmless: int = 0
    seconds: bool = False
    workbook: float = 0.25
    fields: frozenset[str] = field(default_factory=frozenset)


LAYOUTS: dict[str, Layout] = {
    "plain": Layout(),
    "facts_above": Layout(facts=True),
    "rated_above": Layout(facts=True, rated="fact"),
    "group_first": Layout(header="first"),
    "group_each": Layout(header="each"),
    "group_three": Layout(header="three", facts=True),
    "sections": Layout(place="sections"),
    "footer": Layout(facts=True, footer=True),
    "remark_unheaded": Layout(remark="unheaded"),
    "outlets_blank": Layout(outlets="blank"),
    "outlets_repeat": Layout(outlets="repeat"),
    "outlets_merged": Layout(outlets="merged", workbook=1),
    "board_circuit": Layout(naming="board"),
    "long_split": Layout(body="split"),
    "long_both": Layout(body="both"),
    "long_unit": Layout(body="unit"),
    "mixed": Layout(body="mixed"),
    "pairs": Layout(readings="pairs"),
    "ticks": Layout(ticks=True, fields=frozenset({"result"})),
    "beside": Layout(place="beside", remark="never"),
    "stacked": Layout(place="stacked"),
    "repeated": Layout(place="repeated"),
    "sideways": Layout(place="sideways"),
    "lines": Layout(readings="lines"),
    "sheets": Layout(place="sheets", workbook=1),
    "retests": Layout(retests=True),
    "worst": Layout(readings="worst"),
    "shuffled": Layout(shuffled=True, harmless=2),
    "harmless": Layout(harmless=4),
    "seconds": Layout(seconds=True),
}
