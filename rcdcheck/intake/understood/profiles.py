"""What the cells of a column are like: which grammars read them, how they repeat, how their numbers lie."""

from __future__ import annotations

import functools
import re
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.cells.classes import NO_NAMES, TypeNames, class_cell
from rcdcheck.intake.cells.numerals import numeral, tidy
from rcdcheck.intake.opened.grids import Coded
from rcdcheck.intake.understood.grammars import Kind, grammars
from rcdcheck.intake.understood.legend import Legend, explained
from rcdcheck.intake.understood.named_checks import check_named
from rcdcheck.intake.understood.reading_headings import readings_of
from rcdcheck.numbering import distinct_codes
from rcdcheck.tables import Numbers

_DRAWN = re.compile(r"\s*[-=_+:|~]{2,}\s*")
LOOKED_AT = 400  # distinct cells of a column that are asked what they could be
COUNTING = 6  # rows in which readings do not rise by exactly one from each to the next
AGAIN = 0.4  # share of cells that stood above already, from which they may be the multiples of several devices
WORDED = 11  # characters from which on a cell is no mark
ROWS = 3_000  # rows that tell how cells repeat


@dataclass(frozen=True)
class Profile:
    """Of one column within its table.

    rows: how many; filled: cells that are neither blank nor a word for "not measured"; distinct: different ones.
    kinds: grammars of each distinct cell looked at; weight: how often each stands there; texts: as typed.
    values: number of each row looked at, NaN where there is none, shape (rows looked at,); codes: of the same rows.
    """

    rows: int
    filled: int
    distinct: int
    kinds: tuple[Kind, ...]
    weight: npt.NDArray[np.float64]
    texts: tuple[str, ...]
    values: Numbers
    codes: npt.NDArray[np.int32]

    def share(self, wanted: Kind) -> float:
        """Share of the filled cells that any of these grammars reads; 0 where the column is blank."""
        if not len(self.weight):
            return 0.0
        return float(self.weight[(self._flags & wanted.value) != 0].sum() / self.weight.sum())

    @functools.cached_property
    def _flags(self) -> npt.NDArray[np.int64]:
        return np.array([kind.value for kind in self.kinds], dtype=np.int64)

    @functools.cached_property
    def numbers(self) -> Numbers:
        """The numbers among the rows looked at."""
        return self.values[np.isfinite(self.values)]

    @functools.cached_property
    def named_share(self) -> float:
        """Share of the cells that name a measurement, as a heading would ("Trip time 5x 180°", "Visual")."""
        if not len(self.weight):
            return 0.0
        names = np.array([
            bool(k & Kind.QUANTITY) or (not k & _SAYS and (names_reading(t) or _names_check(t)))
            for k, t in zip(self.kinds, self.texts, strict=True)
        ])  # fmt: skip
        return float(self.weight[names].sum() / self.weight.sum())

    @functools.cached_property
    def counted_share(self) -> float:
        """Share of the cells that are typed as numbers of lines are: "1.", "2)"."""
        counted = np.array([bool(_COUNTED.fullmatch(text)) for text in self.texts], dtype=bool)
        return float(self.weight[counted].sum() / self.weight.sum()) if len(self.weight) else 0.0

    @functools.cached_property
    def multiples_share(self) -> float:
        """Share of the cells that are multiples of the rated current and no bare numbers ("½ × IΔn", "5x"); 0 where few
        come again, as those of each device do and names such as X1 do not."""
        if not len(self.weight) or self.repeats < AGAIN:
            return 0.0
        signed = np.array([bool(k & Kind.MULTIPLE) and not k & Kind.NUMBER for k in self.kinds], dtype=bool)
        return float(self.weight[signed].sum() / self.weight.sum())

    @functools.cached_property
    def explained_share(self) -> float:
        """Share of the filled cells that a legend of the sheet explains as good or bad ("1 = in order, 2 = fault")."""
        if not len(self.weight):
            return 0.0
        told = np.array([k in (Kind.PASS, Kind.FAIL) and len(t) < WORDED
                         for k, t in zip(self.kinds, self.texts, strict=True)], dtype=bool)  # fmt: skip
        return float(self.weight[told].sum() / self.weight.sum())

    @functools.cached_property
    def repeats(self) -> float:
        """Share of the filled rows looked at whose cell stood above already."""
        some = self.codes[self.codes > 0]
        return 1.0 - len(np.unique(some)) / len(some) if len(some) else 0.0

    @functools.cached_property
    def in_runs(self) -> bool:
        """Whether equal cells stand in rows that follow one another, and none comes again further down."""
        some = self.codes[self.codes > 0]
        return len(some) > 0 and int((np.diff(some) != 0).sum()) == len(np.unique(some)) - 1

    @property
    def constant(self) -> bool:
        """Whether one cell stands in every filled row."""
        return self.distinct == 1 and self.filled > 2

    @functools.cached_property
    def running(self) -> bool:
        """Whether whole numbers count on by one from row to row: from 1, or in so many rows that no readings would."""
        v = self.numbers
        whole = len(v) > 2 and v[0] == np.round(v[0])
        return whole and bool((v[0] == 1 or len(v) >= COUNTING) and np.all(np.diff(v) == 1))

    @functools.cached_property
    def restarts(self) -> bool:
        """Whether small whole numbers begin again, as outlets do."""
        v = self.numbers
        return len(v) > 2 and bool(
            (v == np.round(v)).all() and v.max() <= 24 and (np.diff(v) <= 0).any() and v.min() == 1
        )

    @functools.cached_property
    def counts(self) -> bool:
        """Whether whole numbers count 1, 2, 3 and begin again, as outlets of one box after the other do."""
        v = self.numbers
        if len(v) < 4 or v[0] != 1:
            return False
        up, again = np.diff(v) == 1, v[1:] == 1
        return bool((up | again).all() and up.any() and again.any() and v.max() <= 24)


_SAYS = Kind.NO_TRIP | Kind.TRIPPED | Kind.PASS | Kind.FAIL  # "no trip" is what was read, and no name of a reading


def names_reading(text: str) -> bool:
    """Whether a cell names a reading as a heading would ("5 fois 0°")."""
    if not any(c.isalpha() for c in text):
        return False
    return any(r.weight >= 2.5 and r.meaning.field == "reading" for r in readings_of(text))


def _names_check(text: str) -> bool:
    """Whether a cell names a check, or the rated current by more than the letters of somebody's name ("RT")."""
    check = check_named(text)
    return check != "" and (check != "rated_residual_current" or len(text) > INITIALS)


INITIALS = 3


def profile(column: Coded, at: npt.NDArray[np.int64], legend: Legend, types: TypeNames = NO_NAMES) -> Profile:
    """The profile of a column in the rows at these positions; `legend` explains marks of the sheet, and `types` are
    what the rule set calls types of devices."""
    codes = _dittos_followed(column, column.codes[at])
    counts = np.bincount(codes, minlength=len(column.distinct))
    used = np.flatnonzero(counts)
    used = used[used > 0]
    looked = used[:LOOKED_AT]
    cells = [column.distinct[i] for i in looked]
    kinds = [explained(c, legend) or grammars(c) for c in cells]
    if types:
        named = set(types.values())
        kinds = [k | Kind.ROMAN if class_cell(c, types)[0] in named else k for k, c in zip(kinds, cells, strict=True)]
    measured = [i for i, k in enumerate(kinds) if not _says_nothing(k, cells[i])]
    unmeasured = {int(looked[i]) for i in set(range(len(kinds))) - set(measured)}
    filled = int(counts[used].sum() - sum(counts[i] for i in unmeasured))
    of_code = {int(looked[i]): number_of(cells[i], kinds[i]) for i in measured}
    sample = codes[:ROWS]
    return Profile(
        rows=len(at),
        filled=filled,
        distinct=len(used) - len(unmeasured),
        kinds=tuple(kinds[i] for i in measured),
        weight=counts[looked[measured]].astype(float) if measured else np.zeros(0),
        texts=tuple(as_typed(cells[i]).strip() for i in measured),
        values=np.array([of_code.get(int(c), np.nan) for c in sample]),
        codes=np.where(np.isin(sample, list(unmeasured)), 0, sample) if unmeasured else sample,
    )


def _dittos_followed(column: Coded, codes: npt.NDArray[np.int32]) -> npt.NDArray[np.int32]:
    """Codes with those of ditto marks replaced by the last before them that is none: they say the same again."""
    here = distinct_codes(codes)
    marks = here[column.ask(lambda cell: bool(grammars(cell) & Kind.DITTO), here)]
    if not len(marks):
        return codes
    at = np.where(np.isin(codes, marks), 0, np.arange(len(codes)))
    followed: npt.NDArray[np.int32] = codes[np.maximum.accumulate(at)]
    return followed


def _says_nothing(kind: Kind, cell: object) -> bool:
    """Whether a cell says nothing of its column: "-", "not tested", a ditto mark, a drawn line."""
    if isinstance(cell, str) and _DRAWN.fullmatch(cell):
        return True
    return bool(kind & Kind.DITTO) or bool(kind & Kind.UNMEASURED and not kind & (Kind.NUMBER | Kind.WORDS))


_COUNTED = re.compile(r"(\d{1,4})[.)]")  # "1.", "2)": numbers of lines


def number_of(cell: Any, kind: Kind) -> float:
    """The number of a cell in ms or mA, NaN where it is none."""
    if isinstance(cell, str) and (counted := _COUNTED.fullmatch(cell.strip())):
        return float(counted[1])
    if not kind & (Kind.NUMBER | Kind.BOUND):
        return np.nan
    if isinstance(cell, float):
        return cell
    read = numeral(tidy(cell).strip("' "))
    if read is None or read.digits.count(".") + read.digits.count(",") > 1:
        return np.nan
    return float(read.digits.replace(",", ".")) * (1000.0 if read.unit in ("s", "A") else 1.0)
