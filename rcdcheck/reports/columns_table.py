"""How each column was understood, as text for a terminal and as a column file for `--columns`."""

from __future__ import annotations

import numpy as np

from rcdcheck.records import Tables, column_letters
from rcdcheck.reports.text import cut, visible, width


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
        notes += [f"for instance {visible(c.samples)}"] if c.samples else []
        out += [cut(f"       {note}", 80) for note in notes]
    return [*out, ""]


def _padded(text: str, columns: int) -> str:
    return text + " " * max(1, columns - width(text))


def column_file_text(tables: Tables) -> str:
    """A column file: `"HEADING" = "MEANING"` for every heading, those not understood as `ignore` with a remark."""
    out = ["# What each heading means; use it with: rcdcheck audit FILES --columns THIS-FILE", "[columns]"]
    for c in tables.columns.drop_duplicates("heading").itertuples():
        quoted = '"' + visible(c.heading).replace("\\", "\\\\").replace('"', '\\"') + '"'
        known = c.meaning if c.meaning not in ("", "other_test") else "ignore"
        unit = f" [{c.unit}]" if c.unit in ("ms", "s", "mA", "A") and c.meaning.startswith("trip_") else ""
        note = "" if c.meaning else "  # was not understood"
        out.append(f'{quoted} = "{known}{unit}"{note}')
    return "\n".join(out) + "\n"
