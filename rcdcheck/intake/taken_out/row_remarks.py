"""Words that belong to a row beside its remark column, and rows whose remark says that nothing was tested."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.cells.phrases import says
from rcdcheck.intake.cells.readings import no_access
from rcdcheck.intake.cells.rounds import round_of
from rcdcheck.intake.taken_out.context import Context
from rcdcheck.intake.taken_out.readings import Part
from rcdcheck.numbering import used_codes


def without_untested(context: Context, per_row: pd.DataFrame, readings: Part) -> Part:
    """The readings without "NT" and the like in rows whose remark says that nothing was tested there."""
    remark, text = per_row["remark"].to_numpy(), readings["text"]
    if not (remark > 0).any():
        return readings
    texts = context.vocabulary.frozen()
    used, back = used_codes(text)
    marked = np.array([says("no_trip_abbreviations", str(texts[i])) for i in used], dtype=bool)[back]
    at = np.flatnonzero(marked)
    used, back = used_codes(remark[readings["test"][at]])
    untested = np.array([i > 0 and _says_untested(str(texts[i])) for i in used], dtype=bool)
    left = at[untested[back]] if len(at) else at
    return {name: np.delete(column, left) for name, column in readings.items()} if len(left) else readings


def _says_untested(remark: str) -> bool:
    return bool(no_access(remark)) or any(says("not_measured", part.strip()) for part in re.split(r"[,;.]", remark))


def add_remarks(context: Context, per_row: pd.DataFrame) -> None:
    """Words that belong to a row beside its remark: of its reading cells, of the rows that go on with it, of
    footnotes, RE-TESTS."""
    extra: dict[int, list[str]] = {i: [text] for i, text in context.said.items()}
    for row, test in context.rows.continued.items():
        cells = [as_typed(c) for c in context.grid.row(context.table.start + row) if c != ""]
        extra.setdefault(_place(context, test + context.table.start), []).append(" ".join(cells))
    for at in context.notes.keys() & set(context.at.tolist()) if context.notes else ():
        extra.setdefault(_place(context, at), []).append(context.notes[at])
    if len(context.rows.repeats) and context.rows.repeats.any():
        for i in np.flatnonzero(context.rows.repeats[context.at - context.table.start]):
            extra.setdefault(int(i), []).append("re-test")
    if round_of(context.outlet) > 1 and per_row["tested_at"].isna().all():  # a date says itself which came later
        for row in range(len(per_row)):
            extra.setdefault(row, []).append("re-test")
    if not extra:
        return
    texts = context.vocabulary.frozen()
    remark = per_row["remark"].to_numpy().copy()
    for place_of_row, said in extra.items():
        code = int(remark[place_of_row])
        known = str(texts[code]) if code < len(texts) else ""
        remark[place_of_row] = context.vocabulary.code("; ".join(filter(None, [known, *said])))
    per_row["remark"] = remark


def _place(context: Context, at: int) -> int:
    """Which test row a position of the grid is."""
    return int(np.searchsorted(context.at, at))
