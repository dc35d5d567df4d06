"""What the cells of one column say as readings, before each becomes a row of its own."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from rcdcheck.intake.cells.distinct import Notes
from rcdcheck.tables import Mask, Numbers, Texts
from rcdcheck.terms import Bound, State


@dataclass(frozen=True)
class ReadingColumn:
    """Readings of one column; every array has the shape (n,) of the cells.

    present: False for a blank or a word for "not measured". value: ms or mA, rounded to 1e-6, NaN where there is none.
    state, bound: of records. problem: code of a finding on an unreadable cell or an unclear mark; empty where a note on
    the column says it. suggestion: what the cell may have meant. note: code of a finding on a cell that was read;
    remark: its trailing text. column_notes: findings of the whole column. own_unit: whether the cell states a unit.
    """

    present: Mask
    value: Numbers
    state: npt.NDArray[np.int8]
    bound: npt.NDArray[np.int8]
    problem: Texts
    suggestion: Texts
    note: Texts
    remark: Texts
    column_notes: Notes
    own_unit: Mask

    @property
    def exact(self) -> Mask:
        """Plain numbers: tripped, without comparator."""
        found: Mask = self.present & (self.state == State.TRIPPED) & (self.bound == Bound.EXACT) & ~np.isnan(self.value)
        return found

    def spread(self, codes: npt.NDArray[np.intp]) -> ReadingColumn:
        """The column of cells of which this one holds the distinct ones."""
        arrays = {f.name: getattr(self, f.name)[codes] for f in fields(self) if f.name != "column_notes"}
        return replace(self, **arrays)

    def refused(self, at: Mask, problem: str, suggestion: Texts, notes: Notes = ()) -> ReadingColumn:
        """The column with the cells `at` unreadable; `suggestion` has the shape (at.sum(),)."""
        changed = {
            name: _with(getattr(self, name), at, new)
            for name, new in (("value", np.nan), ("state", State.UNREADABLE), ("bound", Bound.EXACT),
                              ("problem", problem), ("suggestion", suggestion))
        }  # fmt: skip
        return replace(self, **changed, column_notes=self.column_notes + notes)


def _with(array: npt.NDArray[Any], at: Mask, new: Any) -> npt.NDArray[Any]:
    out = array.copy()
    out[at] = new
    return out
