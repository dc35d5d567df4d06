"""How each column was understood, as text for a terminal and as a column file for `--columns`."""

from __future__ import annotations

from typing import Any

import numpy as np

from rcdcheck.records import Tables, column_letters
from rcdcheck.reports.text import cut, visible, width

NO_HEADING = "(no heading)"  # as intake calls it; --column names such a column by its letters


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
        notes += [f"{_sureness(c)}, because of {visible(c.why)}"] if c.meaning and c.why else []
        notes += [f"for instance {visible(c.samples)}"] if c.samples else []
        out += [cut(f"       {note}", 80) for note in notes]
    return [*out, ""]


def _sureness(column: Any) -> str:
    """How sure the meaning is: nothing else lies near, or what else it could be."""
    return f"could also be {column.other}" if column.other else "sure"


def fields_text() -> str:
    """The names that MEANING of --column may be, a line each with what it holds."""
    from rcdcheck import data

    told = [f"{f['name']:<24}{f['description']}" for f in data.document("test-sheet.json")["fields"]]
    more = ("ignore, other_test, or of tables with a row for each reading: phase, multiple, test_current, quantity, "
            "waveform, value, unit; time (of day); pair (0° and 180° in one cell); pass_ticks, fail_ticks")  # fmt: skip
    return "\n".join([
        *(cut(line, 80) for line in told), "", f"Also: {more}.",
        "Readings: trip_time_MULTIPLEx_PHASE, such as trip_time_0.5x_180; [s] or [A] for another unit.",
    ])  # fmt: skip


def _padded(text: str, columns: int) -> str:
    return text + " " * max(1, columns - width(text))


def column_file_text(tables: Tables) -> str:
    """A column file: `"HEADING" = "MEANING"` for every heading, those that a person should decide as a question.

    A heading that means one thing here and another there is written with its sheet, as `"SHEET!HEADING"`.
    """
    columns = tables.columns.assign(name=tables.sheets["sheet"].to_numpy()[tables.columns["sheet"]])
    letters = columns["column"].map(column_letters)
    columns["heading"] = columns["heading"].where(columns["heading"] != NO_HEADING, letters)
    differs = columns.groupby("heading")["meaning"].transform("nunique") > 1
    columns["key"] = columns["heading"].where(
        ~differs | (columns["name"] == ""), columns["name"] + "!" + columns["heading"]
    )
    lines = [
        f"{_quoted(c.key)} = {_quoted(_meaning(c))}{_note(c)}" for c in columns.drop_duplicates("key").itertuples()
    ]
    return "\n".join([_HEAD, "[columns]", *lines]) + "\n"


_HEAD = "# What each heading means; use it with: rcdcheck audit FILES --columns THIS-FILE"


def _meaning(column: Any) -> str:
    """A meaning that --columns reads; where only the test current is known, the heading says it best."""
    if column.meaning == "":
        return "?"
    if column.meaning.startswith("trip_time_x"):
        return str(column.heading)
    unit = column.unit if column.meaning.startswith("trip_") and column.unit in ("ms", "s", "mA", "A") else ""
    return f"{column.meaning} [{unit}]" if unit else str(column.meaning)


def _note(column: Any) -> str:
    if column.meaning:
        return f"  # could also be {column.other}" if column.other else ""
    return f"  # what does it mean? It holds {_comment(column.samples)}; a field, or ignore"


def _comment(text: str) -> str:
    return visible(text).replace("\n", " ")[:60]


def _quoted(text: str) -> str:
    return '"' + visible(text).replace("\\", "\\\\").replace('"', '\\"') + '"'
