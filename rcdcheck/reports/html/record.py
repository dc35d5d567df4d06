"""How the answer was come by: findings, rows passed over, limits with their sources, inputs, options."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from rcdcheck import data
from rcdcheck.as_seen import column_letters
from rcdcheck.audits import Audit
from rcdcheck.findings import SEVERITIES, THE_REST, Kind, catalogue
from rcdcheck.options import Options
from rcdcheck.reports.text import address, cell_or_rows

PLACES = 100  # places of one finding that are listed
PASSED_OVER = 300  # rows passed over that are listed


@dataclass(frozen=True)
class Group:
    """All findings of one code."""

    kind: Kind
    count: int
    places: tuple[tuple[str, str, str, str], ...]  # where, cell, device, message

    @property
    def left_out(self) -> int:
        """How many are not listed."""
        return self.count - len(self.places)


def findings(audit: Audit) -> list[Group]:
    """Findings by code, the gravest first; those of credibility stand in their own section and are counted here too."""
    kinds, table = catalogue(), audit.findings
    groups = [(kinds[str(code)], frame) for code, frame in table.groupby("code", sort=True)]
    groups.sort(key=lambda pair: (SEVERITIES.index(pair[0].severity), -int(pair[1]["count"].sum())))
    device = audit.test_outcomes["device"].to_numpy()
    names = audit.devices["name"].to_numpy()
    out = []
    for kind, frame in groups:
        own = frame[frame["row"] < THE_REST].head(PLACES)
        places = tuple(
            (
                address(audit, int(f.sheet), 0, -1),
                cell_or_rows(f),
                str(names[device[f.test]]) if f.test >= 0 else "",
                str(f.message),
            )
            for f in own.itertuples()
        )
        out.append(Group(kind, int(frame["count"].sum()), places))
    return out


def passed_over(audit: Audit) -> tuple[list[tuple[str, str, str, str, bool]], int]:
    """Rows passed over (sheet, row, reason, text, holds a reading), those with readings first; and how many in all."""
    rows = audit.tables.passed_over
    first = rows.sort_values("holds_reading", ascending=False, kind="stable").head(PASSED_OVER)
    shown = [
        (
            address(audit, int(r.sheet), 0, -1) or "the sheet",
            str(r.row),
            str(r.reason),
            str(r.text),
            bool(r.holds_reading),
        )
        for r in first.itertuples()
    ]
    return shown, len(rows)


def inputs(audit: Audit) -> list[dict[str, Any]]:
    """Each file with hash, size and its sheets."""
    sheets = audit.tables.sheets
    return [
        {
            "name": one.name,
            "sha256": one.sha256,
            "bytes": f"{one.bytes:,}",
            "audited": one.status == "audited",
            "reason": one.reason,
            "sheets": [_sheet(audit, int(s)) for s in np.flatnonzero(sheets["input"].to_numpy() == number)],
        }
        for number, one in enumerate(audit.tables.inputs)
    ]


def _sheet(audit: Audit, number: int) -> dict[str, Any]:
    sheet = audit.tables.sheets.iloc[number]
    columns = audit.tables.columns[audit.tables.columns["sheet"] == number]
    return {
        "name": str(sheet["sheet"]),
        "kind": str(sheet["kind"]),
        "hidden": bool(sheet["hidden"]),
        "saved": "" if pd.isna(sheet["saved_at"]) else str(sheet["saved_at"])[:16],
        "reason": str(sheet["reason"]),
        "rows": {name: int(sheet[name]) for name in ("non_blank", "heading", "test", "passed_over")},
        "columns": [
            (column_letters(int(c.column)), str(c.heading), str(c.meaning).replace("_", " "), str(c.unit), str(c.how))
            for c in columns.itertuples()
        ],
    }


def limits(audit: Audit) -> list[tuple[str, ...]]:
    """Every limit that judged something: quantity, type, words, source, standing."""
    return [
        (str(x.quantity).replace("_", " "), str(x.rcd_type), str(x.text), str(x.source), str(x.standing))
        for x in audit.limits.itertuples()
    ]


def options(audit: Audit) -> list[tuple[str, str]]:
    """Options that were set and can change an answer, in words."""
    plain, asked = Options(as_of=audit.options.as_of), audit.options
    shown = []
    for name in ("columns", "site", "identity", "date_order", "encoding", "delimiter", "kind", "environment", "assume",
                 "require", "decision", "uncertainty", "remedied"):  # fmt: skip
        value = getattr(asked, name)
        if value != getattr(plain, name):
            shown.append((name.replace("_", " "), value if isinstance(value, str) else "; ".join(map(_joined, value))))
    return shown


def _joined(value: object) -> str:
    return " = ".join(map(str, value)) if isinstance(value, tuple) else str(value)


def uncertainties(audit: Audit) -> list[tuple[str, str, str, str]]:
    """Quantity, expanded uncertainty, source and standing that chances of conformity were worked out with."""
    stated = dict(audit.options.uncertainty)
    return [
        (
            quantity.replace("_", " "),
            stated.get(quantity, entry["spec"]),
            "stated by you" if quantity in stated else entry["source"],
            "" if quantity in stated else entry["standing"],
        )
        for quantity, entry in data.toml("uncertainty.toml").items()
    ]
