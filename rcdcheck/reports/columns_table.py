"""How each column was understood, as text for a terminal and as a column file for `--columns`."""

from __future__ import annotations

from typing import Any

import numpy as np

from rcdcheck import data
from rcdcheck.as_seen import NO_HEADING, column_letters
from rcdcheck.reports.text import cut, width
from rcdcheck.showing import visible, visible_toml
from rcdcheck.tables import Tables


def columns_text(tables: Tables) -> str:
    """One line a column: letter, heading, meaning with unit, how; what is not understood says so."""
    lines: list[str] = []
    for number, one in enumerate(tables.inputs):
        if one.status != "audited":
            lines += [f"{visible(one.name)}: {visible(one.reason)}", ""]
        for sheet in np.flatnonzero(tables.sheets["input"].to_numpy() == number):
            lines += _sheet(tables, int(sheet), visible(one.name))
    return "\n".join(lines).rstrip()


def _sheet(tables: Tables, sheet: int, file: str) -> list[str]:
    line = tables.sheets.iloc[sheet]
    name = f"{file}, sheet {visible(line['sheet'])}" if line["sheet"] else file
    if line["reason"]:
        return [f"{name}: passed over, {line['reason']}", ""]
    mine = tables.columns[tables.columns["sheet"] == sheet]
    out = [name]
    for c in mine.itertuples():
        meaning = (c.meaning or "NOT UNDERSTOOD") + (f" [{c.unit}]" if c.unit else "")
        left = f"  {column_letters(c.column):<3}{_padded(cut(visible(c.heading), 30), 31)}{meaning}"
        out.append(cut(left, 80))
        notes = [c.how] if c.how else []
        notes += _evidence(c)
        notes += [f"for instance {visible(c.samples)}"] if c.samples else []
        out += [cut(f"       {note}", 80) for note in notes]
    return [*out, ""]


def _evidence(column: Any) -> list[str]:
    """How sure the meaning is and what speaks for it, and what it could also be and what speaks for that."""
    also = f"{'could also be' if column.meaning else 'perhaps'} {column.other}"
    also += f": {visible(column.other_why)}" if column.other_why else ""
    if not column.meaning:
        return [also] if column.other else []
    if not column.why or column.how == "stated by you":
        return []
    likely = "likely" if column.margin >= _close() else "undecided, both are judged"
    return [f"{likely if column.other else 'sure'}: {visible(column.why)}", *([also] if column.other else [])]


def _close() -> float:
    """How far, in log-odds, another meaning may lie behind so that both are judged."""
    return float(data.toml("evidence.toml")["decide"]["worlds"])


def fields_text() -> str:
    """The names that MEANING of --column may be, a line each with what it holds."""
    told = [f"{f['name']:<24}{f['description']}" for f in data.document("test-sheet.json")["fields"]]
    more = ("ignore, other_test, or of tables with a row for each reading: phase, multiple, test_current, quantity, "
            "waveform, value, unit; time (of day); pair (0° and 180° in one cell); visit (its number); pass_ticks, "
            "fail_ticks, untested_ticks")  # fmt: skip
    return "\n".join([
        *(cut(line, 80) for line in told), "", f"Also: {more}.",
        "Readings: trip_time_MULTIPLEx_PHASE, such as trip_time_0.5x_180; [s] or [A] for another unit.",
    ])  # fmt: skip


def _padded(text: str, columns: int) -> str:
    return text + " " * max(1, columns - width(text))


def column_file_text(tables: Tables) -> str:
    """A column file: `"HEADING" = "MEANING"` for every heading, and `"?"` where a person should decide.

    A heading that means one thing here and another there is written with its sheet, as `"SHEET!HEADING"`; a column
    without a heading of its own goes by its letters.
    """
    columns = tables.columns.assign(name=tables.sheets["sheet"].to_numpy()[tables.columns["sheet"]])
    letters = columns["column"].map(column_letters)
    shared = columns.groupby(["sheet", "heading", "row"])["column"].transform("nunique") > 1
    columns["heading"] = columns["heading"].str.split().str.join(" ")  # one line, and read as the same
    bare = shared | (columns["heading"] == NO_HEADING) | columns["heading"].str.fullmatch("[A-Z]{1,2}")
    columns["key"] = columns["heading"].where(~bare, letters)
    differs = columns.groupby("key")["meaning"].transform("nunique") > 1
    named = columns["name"] + "!" + columns["key"]
    columns["key"] = columns["key"].where(~differs | (columns["name"] == ""), named)
    columns["open"] = _open(tables)
    lines = [
        f"{visible_toml(c.key)} = {visible_toml('?' if c.open else _meaning(c))}{_note(c)}"
        for c in columns.drop_duplicates("key").itertuples()
    ]
    return "\n".join([_HEAD, "[columns]", *lines]) + "\n"


def _open(tables: Tables) -> list[bool]:
    """Columns that a person should decide: not understood, undecided between two, or set aside though loud."""
    loud = set(zip(tables.unsettled["sheet"], tables.unsettled["column"], strict=True))
    return [
        c.meaning == ""
        or (c.other != "" and c.margin < _close())
        or (c.meaning in ("ignore", "other_test") and (c.sheet, c.column) in loud)
        for c in tables.columns.itertuples()
    ]


_HEAD = "# What each heading means; use it with: rcdcheck audit FILES --columns THIS-FILE"


def _meaning(column: Any) -> str:
    """A meaning that --columns reads; where only the test current is known, the heading says it best."""
    if column.meaning.startswith("trip_time_x"):
        return str(column.heading)
    unit = column.unit if column.meaning.startswith("trip_") and column.unit in ("ms", "s", "mA", "A") else ""
    return f"{column.meaning} [{unit}]" if unit else str(column.meaning)


def _note(column: Any) -> str:
    likely = " or ".join(filter(None, (column.meaning, column.other)))
    if column.open:
        return f"  # {likely or 'what does it mean'}? It holds {_comment(column.samples)}; a field, or ignore"
    return f"  # could also be {column.other}" if column.other else ""


def _comment(text: str) -> str:
    return visible(text).replace("\n", " ")[:60]
