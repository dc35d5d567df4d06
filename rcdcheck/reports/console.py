"""The answer on a terminal, as wide as it is: what was read, the three lists, and last the verdict.

The list to withdraw is complete wherever it stands; where it is too long to stand here at all, the reports hold it and
the last lines say so. The others are cut to what fits, unless `verbose`.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

import click

from rcdcheck.audits import Audit
from rcdcheck.reports import desk, facts
from rcdcheck.reports.history_text import new_since, over_time, taken_for_the_same
from rcdcheck.reports.not_said import not_said
from rcdcheck.reports.text import counted, cut, width, wrapped
from rcdcheck.reports.to_do import Item
from rcdcheck.showing import visible

HELD = "\u00a0"  # a blank at which no line ends; `wrapped` prints it as a blank
NARROWEST, WIDEST, PIPED = 60, 140, (80, 24)
FILES, CAUSES, VISITS, DOUBTS, CELLS = 5, 6, 8, 5, 6  # shown of each; the rest with -v and in the reports
WITHDRAWN = 200  # failed devices up to which all are listed even beside a report that lists them
COLOURS = {"WITHDRAW": "red", "NOT AUDITED": "red", "NOTHING": "red", "GO BACK": "yellow", "MEND": "yellow",
           "DOUBT": "yellow"}  # fmt: skip  # of headings; their words say the same


@dataclass(frozen=True)
class Screen:
    """Columns of the terminal within 60 and 140, and its lines, 0 where there is no terminal."""

    columns: int
    lines: int = 0


def screen(*, terminal: bool) -> Screen:
    """The terminal as it is; COLUMNS decides where it is set, 80 columns stand where nothing is known."""
    size = shutil.get_terminal_size(PIPED)
    return Screen(min(WIDEST, max(NARROWEST, size.columns)), size.lines if terminal else 0)


def summary(
    audit: Audit,
    written: Sequence[Path],
    *,
    colour: bool = False,
    verbose: bool = False,
    on: Screen = Screen(80),  # frozen
) -> str:
    """The whole text, without a final line break."""
    told = _Told(audit, facts.of(audit), written, on, verbose)
    lines: list[str] = []
    history = (new_since(audit.history.changes), over_time(audit.history), taken_for_the_same(audit.history))
    for part in (
        told.inputs(),
        told.mend(),
        told.go_back(),
        *history,
        told.doubts(),
        told.record(),
        told.withdraw(),
    ):
        block = list(part)
        if block:
            lines += [*block, ""]
    lines += told.closing(lines)
    return "\n".join(_styled(line) if colour else line for line in lines)


def _styled(line: str) -> str:
    if not line or line.startswith(" "):
        return line
    colour = next((c for word, c in COLOURS.items() if line.startswith(word)), None)
    return click.style(line, bold=True, fg=colour)


class _Told:
    """The parts of the text, each an iterator of lines."""

    def __init__(self, audit: Audit, told: facts.Facts, written: Sequence[Path], on: Screen, verbose: bool) -> None:
        self.audit, self.facts, self.written, self.verbose = audit, told, written, verbose
        self.columns, self.lines = on.columns, on.lines

    def wrap(self, text: str, indent: str = "  ") -> Iterator[str]:
        return wrapped(visible(text), self.columns, indent)

    def unbroken(self, options: str) -> str:
        """Options that are copied whole: each stays on one line where a line holds it."""
        parts = options.split(" or ")
        return " or ".join(p.replace(" ", HELD) if width(p) <= self.columns - 4 else p for p in parts)

    def first(self, things: Sequence[object], most: int) -> int:
        """How many of a list are shown."""
        return len(things) if self.verbose else min(most, len(things))

    def left(self, left: int, what: str) -> Iterator[str]:
        if left > 0:
            held = "in the reports and with -v" if self.written else "with -v"
            yield from self.wrap(f"  and {counted(left, what)} more, {held}")

    def inputs(self) -> Iterator[str]:
        tables, n = self.audit.tables, self.facts.counts
        for number, one in enumerate(tables.inputs):
            if one.status != "audited":
                yield from self.wrap(f"NOT AUDITED  {one.name}: {one.reason}")
            elif len(tables.inputs) <= FILES or self.verbose:
                sheets = tables.sheets[(tables.sheets["input"] == number) & (tables.sheets["reason"] == "")]
                rows = counted(int(sheets["test"].sum()), "row")
                yield from self.wrap(f"{one.name}: {counted(len(sheets), 'sheet')} read, {rows} of tests")
        if len(tables.inputs) != 1:
            audited = n["inputs.all"] - n["inputs.not_audited"]
            yield f"{counted(audited, 'file')} audited of {n['inputs.all']:,}"
        yield from self.wrap(
            f"{counted(n['rows.non_blank'], 'row')} = {n['rows.heading']:,} heading + {n['rows.test']:,} test + "
            f"{n['rows.passed_over']:,} passed over; {counted(n['tests.counted'], 'test')} of "
            f"{counted(n['devices.all'], 'device')}"
        )
        rules = self.audit.rules
        yield from self.wrap(f"Rules {rules.name}: {rules.title} ({rules.document})")
        for notice in self.facts.notices:
            if "could not be audited" not in notice:
                yield from self.wrap(f"! {notice}")

    def mend(self) -> Iterator[str]:
        """One entry a cause: the sentence, its cells, and what settles it."""
        causes = self.facts.desk
        if not causes:
            return
        cells = self.facts.counts["to_do.desk_cells"]
        yield f"MEND AT THE DESK ({counted(len(causes), 'cause')}, {counted(cells, 'place')})"
        shown = self.first(causes, CAUSES)
        for cause in causes[:shown]:
            held = f" ({counted(cause.devices, 'device')})" if cause.devices else ""
            yield from self.wrap(f"  {cause.message}{held}", "    ")
            spots = _spots(cause, self.first(cause.spots, CELLS))
            if spots:
                yield from self.wrap(f"    {spots}", "    ")
            if cause.option:
                yield from self.wrap(f"    Settle it with {self.unbroken(cause.option)}", "    ")
        yield from self.left(len(causes) - shown, "cause")

    def go_back(self) -> Iterator[str]:
        """Devices by site and place, with all that keeps each from passing."""
        items = self.facts.go_back
        if not items:
            return
        yield f"GO BACK TO SITE ({counted(len(items), 'device')}; no pass tag until then)"
        shown = self.first(items, VISITS)
        for site, here in groupby(items[:shown], key=lambda item: item.site):
            if site:
                yield from self.wrap(f"  {site}")
            for item in here:
                yield from self.device(item, "    " if site else "  ", with_site=False)
        yield from self.left(len(items) - shown, "device")

    def device(self, item: Item, indent: str, *, with_site: bool) -> Iterator[str]:
        """Name and place, the first cell at the right, and below them each reason and what was written."""
        place = ", ".join(filter(None, (item.site if with_site else "", item.place)))
        head = visible(f"{indent}{item.name}{', ' + place if place else ''}")
        cells = visible("; ".join(item.cells))
        room = self.columns - width(head) - 2
        at = cells if width(cells) <= room else ""
        yield from [head + " " * (self.columns - width(head) - width(at)) + at] if at else self.wrap(head, indent * 2)
        for why in (*item.why, *([cells] if cells and not at else []), *(f"Written: “{s}”" for s in item.said)):
            yield from self.wrap(f"{indent}  {why}", f"{indent}  ")

    def doubts(self) -> Iterator[str]:
        doubts = self.audit.findings[self.audit.findings["severity"] == "doubt"]
        if doubts.empty:
            return
        yield f"DOUBTS: reasons to look, not proof ({len(doubts)})"
        shown = self.first(doubts.index, DOUBTS)
        for f in doubts.head(shown).itertuples():
            strength = (f.evidence or {}).get("strength", "")
            yield from self.wrap(f"  {strength + ': ' if strength else ''}{f.message}", "    ")
        yield from self.left(len(doubts) - shown, "doubt")

    def record(self) -> Iterator[str]:
        grade = self.audit.grade
        yield from self.wrap(f"Record grade {grade.grade}: {grade.decided_by}. {not_said(self.audit)}".strip())
        if self.written:
            yield from self.wrap("Written: " + ", ".join(map(str, self.written)))
        yield from self.wrap(
            "Test only if competent and authorised, by the local standard and regulator, and isolate before work. "
            "A passed record is no proof that a device is safe today.",
            "",
        )

    def withdraw(self) -> Iterator[str]:
        """All of it, in full or where that is too high a line for each; or by site, where the reports hold it."""
        items = self.facts.withdraw
        if not items:
            return
        yield f"WITHDRAW NOW ({len(items):,})"
        if self._held_by_reports():
            yield from self.wrap(f"  Too many for a screen; all {len(items):,} stand in: {self._holders()}")
            by_site = sorted(items, key=lambda item: item.site)
            for site, here in groupby(by_site, key=lambda item: item.site):
                yield from self.wrap(f"  {site or 'site not stated'}: {sum(1 for _ in here):,}")
            return
        full = [line for item in items for line in self.device(item, "  ", with_site=True)]
        if self.lines and len(full) > self.lines - 5 and not self.verbose:
            full = [self.one_line(item) for item in items]
        yield from full

    def one_line(self, item: Item) -> str:
        """Name, place, cells and the gravest reason, cut at the edge."""
        where = ", ".join(filter(None, (item.site, item.place)))
        return cut(
            visible("  " + "  ".join(filter(None, (item.name, where, *item.cells[:1], item.why[0])))), self.columns
        )

    def closing(self, above: Sequence[str]) -> Iterator[str]:
        """The verdict in one line, and before it where the list to withdraw is, when it has left the screen."""
        n = self.facts.counts
        at = next((i for i, line in enumerate(above) if line.startswith("WITHDRAW NOW")), len(above))
        if self.lines and len(above) - at > self.lines - 3:
            here, also = "" if self._held_by_reports() else " are listed above", self._holders()
            held = f"{' and' if here else ' stand'} in: {also}" if also else ""
            yield from self.wrap(f"WITHDRAW NOW: all {n['devices.fail']:,}{here}{held}.")
        if n["inputs.not_audited"] or not n["inputs.all"]:
            unread = [one.name for one in self.audit.tables.inputs if one.status != "audited"]
            rest = f" and {len(unread) - FILES:,} more" if len(unread) > FILES else ""
            yield from self.wrap(f"NOT AUDITED: {', '.join(unread[:FILES]) or 'no file to audit was found'}{rest}.")
        elif not n["devices.all"]:
            yield "NOTHING READ: no device could be read."
        yield from self.wrap(self.facts.closing)

    def _held_by_reports(self) -> bool:
        """Whether the list to withdraw is too long to stand here, and a report holds it."""
        return self.facts.counts["devices.fail"] > WITHDRAWN and bool(self._holders()) and not self.verbose

    def _holders(self) -> str:
        """The written reports that hold the whole list."""
        return ", ".join(
            str(p) for p in self.written if p.suffix in (".html", ".xlsx", ".json") and "-marked" not in p.stem
        )


def _spots(cause: desk.Cause, most: int) -> str:
    """`North row!G7 “2840” perhaps 28.40 or 284.0; North row!H9`, those of one sheet after its name."""
    parts = []
    for sheet, here in groupby(cause.spots[:most], key=lambda spot: spot.sheet):
        spots = list(here)
        if len(spots) == 1:
            parts.append(_spot(cause, spots[0].where, spots[0]))
        else:
            parts.append(f"{sheet + ': ' if sheet else ''}{', '.join(_spot(cause, s.cell, s) for s in spots)}")
    left = cause.count - most
    return "; ".join(parts) + (f" and {left:,} more" if left > 0 and cause.count > len(cause.spots[:most]) else "")


def _spot(cause: desk.Cause, where: str, spot: desk.Spot) -> str:
    typed = f"“{spot.typed}”" if spot.typed and f"“{spot.typed}”" not in cause.message else ""
    return " ".join(filter(None, (where, typed, spot.perhaps)))
