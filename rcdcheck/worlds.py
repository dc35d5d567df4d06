"""Where a sheet leaves two understandings possible, both are judged: devices that come out alike keep their outcome.

A world is one choice of meanings for the columns whose next best meaning lies close behind. The others are judged as
if a person had stated it; a test whose device comes out otherwise in any of them is unclear, with one question.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from rcdcheck.as_seen import column_letters
from rcdcheck.findings import Findings, catalogue
from rcdcheck.intake.understood.candidates import weights
from rcdcheck.intake.understood.meaning import Meaning
from rcdcheck.intake.understood.stated import option, stated
from rcdcheck.tables import UNSETTLED, Tables

# sheet → column and row of its heading → its meaning there
World = Mapping[int, dict[tuple[int, int], Meaning]]
ALIKE = (  # no outcome depends on which of these
    {"site", "location", "model", "environment", "setup", "serial"},
    {"technician", "instrument"},
    {"ignore", "other_test", "serial", "model", "environment", "setup"},
)


@dataclass(frozen=True)
class Question:
    """One heading that may mean two things, in every sheet and column where it stands."""

    heading: str
    meaning: str
    other: str
    places: tuple[tuple[int, int, int], ...]  # sheet, number of the column, row of its heading
    row: int
    column: int
    sheet_name: str

    @property
    def options(self) -> str:
        """The options that settle it, ready to paste."""
        return f"{self.option(self.meaning)} or {self.option(self.other)}"

    def option(self, meaning: str) -> str:
        """The option that says which it is."""
        return option(self.heading, column_letters(self.column), meaning, self.sheet_name)


def questions(tables: Tables) -> list[Question]:
    """Columns of which a second understanding is possible, those of one heading together."""
    told = tables.columns[tables.columns["samples"] != ""]  # a blank column says nothing, whatever it means
    close = told[(told["margin"] < weights()["decide"]["worlds"]) & (told["other"] != "")]
    out = []
    for (heading, meaning, other), group in close.groupby(["heading", "meaning", "other"], sort=False):
        if any({meaning, other} <= alike for alike in ALIKE) or not meaning:
            continue
        places = tuple(zip(group["sheet"].tolist(), group["number"].tolist(), group["at"].tolist(), strict=True))
        first = group.iloc[0]
        out.append(Question(str(heading), str(meaning), str(other), places, int(first["row"]), int(first["column"]),
                            str(tables.sheets["sheet"].iloc[int(first["sheet"])])))  # fmt: skip
    return out


def worlds(asked: Sequence[Question]) -> Iterator[World]:
    """Every other world than the best; the questions must be few enough."""
    for choice in itertools.product((False, True), repeat=len(asked)):
        if any(choice):
            world: dict[int, dict[tuple[int, int], Meaning]] = {}
            for question, taken in zip(asked, choice, strict=True):
                for sheet, number, at in question.places if taken else ():
                    world.setdefault(sheet, {})[number, at] = stated(question.other)
            yield world


def settle(
    tables: Tables, here: Callable[[], pd.Series[int]], there: Callable[[World], pd.Series[int]], found: Findings
) -> Tables:
    """The tables with every test unsettled whose device comes out otherwise in another world.

    `here` gives the outcome of the device of each row, by (sheet, row, column); `there` the same of another world.
    """
    asked = questions(tables)
    if not asked:
        return tables
    most = int(np.log2(weights()["decide"]["most_worlds"]))
    if len(asked) > most:
        return _too_many(tables, asked, found)
    outcome = here()
    differs = pd.Series(False, index=outcome.index)
    for world in worlds(asked):
        other = there(world).reindex(outcome.index)
        differs |= other.isna() | (other != outcome)
    if not differs.any():
        return tables
    return _unsettled(tables, asked, differs, found)


def _unsettled(tables: Tables, asked: Sequence[Question], differs: pd.Series[bool], found: Findings) -> Tables:
    key = ["sheet", "row", "column"]
    rows = tables.rows[differs.reindex(pd.MultiIndex.from_frame(tables.rows[key])).fillna(False).to_numpy(dtype=bool)]
    parts = []
    for question in asked:
        sheets = {place[0] for place in question.places}
        here = rows[rows["sheet"].isin(sheets)].drop_duplicates("test")
        if len(here):
            parts.append(_asked(question, here, "column-has-two-meanings", found, {}))
    return replace(tables, unsettled=pd.concat([tables.unsettled, *parts], ignore_index=True).astype(UNSETTLED))


def _too_many(tables: Tables, asked: Sequence[Question], found: Findings) -> Tables:
    sheets = {place[0] for question in asked for place in question.places}
    parts = []
    for sheet in sorted(sheets):
        own = [q for q in asked if any(place[0] == sheet for place in q.places)]
        words = ", ".join(f"“{q.heading}” ({q.meaning} or {q.other})" for q in own)
        here = tables.rows[tables.rows["sheet"] == sheet].drop_duplicates("test")
        together = " ".join(q.option(q.meaning) for q in own)
        parts.append(_asked(own[0], here, "too-many-meanings", found, {"words": words}, together))
    return replace(tables, unsettled=pd.concat([tables.unsettled, *parts], ignore_index=True).astype(UNSETTLED))


def _asked(
    question: Question, rows: pd.DataFrame, code: str, found: Findings, words: Mapping[str, str], options: str = ""
) -> pd.DataFrame:
    sheet = int(rows["sheet"].iloc[0])
    told: dict[str, Any] = {"heading": question.heading, "meaning": question.meaning, "other": question.other, **words}
    found.add(
        code, sheet=sheet, row=question.row, column=question.column, suggestion=options or question.options, **told
    )
    message = catalogue()[code].message.format_map({"typed": "", "suggestion": question.options, **told})
    return pd.DataFrame({
        "test": rows["test"], "code": code, "message": message, "sheet": rows["sheet"], "row": rows["row"],
        "column": question.column,
    })  # fmt: skip
