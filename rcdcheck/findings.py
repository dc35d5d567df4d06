"""What was noticed: a code from the catalogue `schemas/findings.toml`, the place, and the figures.

The catalogue gives each code its severity, message template, why it matters and what to do. Up to 1,000 findings of
one code in one sheet are listed with their own addresses; after that they are counted, one more row says so, and
`unlisted` still tells where they stand, so that no grade hangs on what is listed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck import data, models
from rcdcheck.as_seen import as_typed

KEPT = 1000
THE_REST = int(np.iinfo(np.int32).max)  # row of a finding that only counts those beyond KEPT
QUOTED = 80  # characters of a cell that a sentence quotes
Whole = npt.NDArray[np.int64]
NONE: Whole = np.zeros(0, dtype=np.int64)
SEVERITIES = ("danger", "error", "doubt", "caution", "note")  # what each does: findings.toml


@dataclass(frozen=True)
class Kind:
    """An entry of the catalogue."""

    code: str
    severity: str
    message: str
    why: str
    do: str
    settled: str = ""  # where the work is that settles it: "site", "desk", or empty: none
    many: str = ""  # the sentence for `{n}` of what the desk settles
    innocent: str = ""  # what may explain a doubt innocently, where its question's page speaks of more than this doubt
    option: str = ""  # the option that settles it without touching the sheet; sees `{heading}`


@cache
def catalogue() -> dict[str, Kind]:
    """Every finding that can be raised, by code."""
    return {code: Kind(code, **entry) for code, entry in data.toml("findings.toml").items() if code != "severities"}


def _short(text: str) -> str:
    """A cell as a sentence quotes it; the finding keeps it whole."""
    return text if len(text) <= QUOTED else f"{text[:QUOTED]}…"


class Findings:
    """Collects findings during a run; `frame` gives the table of models.Noticed."""

    def __init__(self) -> None:
        self._catalogue = catalogue()
        self._rows: list[dict[str, Any]] = []
        self._kept: dict[tuple[str, int], int] = {}
        self._rest: dict[tuple[str, int], int] = {}
        self._unlisted: list[tuple[str, int, Whole, Whole, Whole]] = [
            ("", -1, NONE, NONE, NONE)
        ]  # as `unlisted` has it

    def add(
        self,
        code: str,
        *,
        sheet: int = -1,
        row: int = 0,
        last_row: int = 0,
        column: int = -1,
        test: int = -1,
        typed: object = "",
        suggestion: str = "",
        evidence: Mapping[str, Any] | None = None,
        count: int = 1,
        message: str = "",
        **words: object,
    ) -> None:
        """Note one finding; `words` fill the message template of the catalogue, which also sees `typed`.

        A caller that has filled the template already gives the finished `message`.
        """
        kind = self._catalogue[code]
        if self._kept.get((code, sheet), 0) >= KEPT:
            self._rest[code, sheet] = self._rest.get((code, sheet), 0) + count
            of_one_row = row if last_row in (0, row) else 0
            self._unlisted.append((code, sheet, np.array([test]), np.array([of_one_row]), np.array([column])))
            return
        self._kept[code, sheet] = self._kept.get((code, sheet), 0) + 1
        shown = as_typed(typed)
        self._rows.append(
            {
                "code": code,
                "severity": kind.severity,
                "message": message
                or kind.message.format_map({"typed": _short(shown), "suggestion": suggestion, **words}),
                "test": test,
                "sheet": sheet,
                "row": row,
                "last_row": last_row or row,
                "column": column,
                "typed": shown,
                "suggestion": suggestion,
                "evidence": dict(evidence) if evidence is not None else None,
                "count": count,
            }
        )

    def add_many(
        self,
        code: str,
        where: Mapping[str, Sequence[Any] | npt.NDArray[Any] | pd.Series[Any]],
        *,
        total: int = 0,
    ) -> None:
        """Note one finding for each entry of equally long columns named like the arguments and words of `add`.

        Only the first 1,000 of a sheet are looked at; the rest is counted, and so are those that a caller left out of
        the columns because it gives only the first 1,000 of `total`, which are of one sheet then.
        """
        columns = {
            name: np.asarray(values, dtype=object if isinstance(values, Sequence) else None)
            for name, values in where.items()
        }
        given = len(next(iter(columns.values())))
        if given == 0:
            return
        of = np.asarray(where.get("sheet", [-1]), dtype=np.int64)
        if (of != of[0]).any():
            for sheet in np.unique(of):
                self.add_many(code, {name: values[of == sheet] for name, values in columns.items()})
            return
        n = max(given, total)
        sheet = int(columns["sheet"][0]) if "sheet" in columns else -1
        room = max(0, KEPT - self._kept.get((code, sheet), 0))
        listed = {name: values[:room].astype(object) for name, values in columns.items()}
        for i in range(min(given, room)):
            self.add(code, **{name: values[i] for name, values in listed.items()})
        if n > min(given, room):
            self._rest[code, sheet] = self._rest.get((code, sheet), 0) + n - min(given, room)
            blank = {"test": np.full(given, -1), "row": np.zeros(given), "column": np.full(given, -1)}
            test, row, column = (columns.get(n, b)[room:].astype(np.int64) for n, b in blank.items())
            self._unlisted.append((code, sheet, test, row, column))

    def take(self, other: Findings) -> None:
        """Note after these what was noted apart from them, of codes that are noted only there."""
        self._rows += other._rows
        self._kept |= other._kept
        self._rest |= other._rest
        self._unlisted += other._unlisted

    def unlisted(self) -> pd.DataFrame:
        """Code, severity, test, sheet, row, last_row and column of the findings that are counted and not listed."""
        code, sheet, test, row, column = zip(*self._unlisted, strict=True)
        number = [len(tests) for tests in test]
        rows = np.concatenate(row)
        severity = [self._catalogue[c].severity if c else "" for c in code]
        return pd.DataFrame(
            {
                "code": np.repeat(np.array(code, dtype=object), number),
                "severity": np.repeat(np.array(severity, dtype=object), number),
                "column": np.concatenate(column),
                "test": np.concatenate(test),
                "sheet": np.repeat(sheet, number),
                "row": rows,
                "last_row": rows,
            }
        )

    def frame(self) -> pd.DataFrame:
        """The table, in order of sheet, row, column and code; where a code was capped, its last row counts the rest."""
        rows = self._rows + [self._more(code, sheet, n) for (code, sheet), n in self._rest.items()]
        columns = models.dtypes(models.Noticed)
        table = pd.DataFrame(rows, columns=list(columns)).astype(columns)
        table["sheet"] = table["sheet"].where(table["sheet"] >= 0, np.iinfo(np.int64).max)
        table = table.sort_values(["sheet", "row", "column", "code"], kind="stable", ignore_index=True)
        table["sheet"] = table["sheet"].where(table["sheet"] < np.iinfo(np.int64).max, -1)
        return table

    def _more(self, code: str, sheet: int, n: int) -> dict[str, Any]:
        kind = self._catalogue[code]
        row = dict.fromkeys(("typed", "suggestion"), "") | {
            "code": code,
            "severity": kind.severity,
            "sheet": sheet,
        }
        said = f"{n:,} more of the same kind in this sheet: {kind.why}"
        return row | {
            "message": said,
            "test": -1,
            "row": THE_REST,
            "last_row": THE_REST,
            "column": -1,
            "evidence": None,
            "count": n,
        }
