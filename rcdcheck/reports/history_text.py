"""What is new since the last audit, on a terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby

from rcdcheck.history import APPEARED, FAILED, MISSING, SETTLED, STILL, UNSETTLED, Change, History
from rcdcheck.reports.text import counted, cut
from rcdcheck.showing import visible

COLUMNS = 80
SHOWN = 5  # of each kind on a terminal
TITLES = {
    FAILED: "failed, and did not before",
    UNSETTLED: "unclear or incomplete, and not before",
    SETTLED: "settled: passed, and did not before",
    STILL: "still open, as before",
    APPEARED: "appeared at a site that was known",
    MISSING: "missing, and seen before",
}


def taken_for_the_same(history: History) -> Iterator[str]:
    """A line where evidence, and not name and site alone, says that devices were known."""
    how = history.devices["how"]
    joined = how[(how != "") & (how != "settled")]
    if len(joined):
        yield f"Taken for the same as before: {counted(len(joined), 'device')} under another name or site."
        yield "  Look: rcdcheck visits --register FILE --same"


def over_time(history: History) -> Iterator[str]:
    """What drifts and what jumped, in a line that leads to the page."""
    of = history.points.drop_duplicates("series").set_index("series")["device"]
    drifting = of[[drift.series for drift in history.drifts]].nunique()
    replaced = of[[jump.series for jump in history.jumps if jump.whole_device]].nunique()
    jumped = of[[jump.series for jump in history.jumps if not jump.whole_device]].nunique()
    models = len({model.model for model in history.models})
    told = [
        counted(drifting, "device drifts to its limit", "devices drift to their limits") if drifting else "",
        counted(models, "model drifts as a whole", "models drift as a whole") if models else "",
        f"{counted(replaced, 'device')} jumped in every reading, perhaps replaced" if replaced else "",
        f"{counted(jumped, 'device')} jumped in one reading" if jumped else "",
    ]
    if any(told):
        yield "OVER TIME (page and workbook name them)"
        yield from (f"  {line}" for line in told if line)


def new_since(changes: Sequence[Change], *, shown: int = SHOWN) -> Iterator[str]:
    """Lines of the section; none where nothing changed."""
    if not changes:
        return
    yield "NEW SINCE THE LAST AUDIT"
    for kind, group in groupby(changes, key=lambda change: change.kind):
        mine = list(group)
        yield f"  {len(mine):,} {TITLES[kind]}"
        for change in mine[: 0 if kind == STILL else shown]:
            name = ", ".join(filter(None, (visible(change.device), visible(change.site))))
            what = " → ".join(filter(None, (change.was, change.now)))
            yield cut(f"    {name} ({what}) {visible(change.why)}".rstrip(), COLUMNS)
        if kind != STILL and len(mine) > shown:
            yield f"    and {counted(len(mine) - shown, 'device')} more"
