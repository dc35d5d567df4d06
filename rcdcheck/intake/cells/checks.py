"""Yes/no cells: visual inspection, test button, declared result. A word that is not known is never taken as pass."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rcdcheck.intake.cells.check_letters import letters_told
from rcdcheck.intake.cells.distinct import Cells, parted, spread
from rcdcheck.intake.cells.numerals import perhaps
from rcdcheck.intake.cells.phrases import plain, says
from rcdcheck.intake.cells.remarks import fault_words
from rcdcheck.intake.cells.verdicts import BOTH, FAIL, NOTHING, PASS, opens_with_fail, opens_with_pass, verdict
from rcdcheck.tables import Texts
from rcdcheck.terms import Flag


@dataclass(frozen=True)
class FlagColumn:
    """flag: records.Flag BLANK, PASS, FAIL or UNCLEAR; problem and suggestion for the unclear ones; shapes (n,)."""

    flag: npt.NDArray[np.int8]
    problem: Texts
    suggestion: Texts


def read_flags(cells: Cells, *, button: bool = False, language: str = "") -> FlagColumn:
    """Read a column of yes/no cells; under a test button "tripped" is a pass. `language`: of the sheet, where known."""
    letters = letters_told(parted(cells)[1], language)

    def read(cell: object) -> tuple[int, str, str]:
        if letters and isinstance(cell, str) and plain(cell) in letters:
            return _OF_VERDICT[letters[plain(cell)]]
        tripped = button and isinstance(cell, str) and says("tripped", cell)
        return _OF_VERDICT[PASS] if tripped else _flag(cell)

    return FlagColumn(*spread(cells, read, ("int8", "object", "object")))


_OF_VERDICT = {
    PASS: (Flag.PASS, "", ""),
    FAIL: (Flag.FAIL, "", ""),
    NOTHING: (Flag.UNCLEAR, "result-not-understood", ""),
}


def _flag(cell: object) -> tuple[int, str, str]:
    if isinstance(cell, float) and cell in (0.0, 1.0):
        return (Flag.PASS if cell else Flag.FAIL), "", ""
    if not isinstance(cell, str):
        return Flag.UNCLEAR, "result-not-understood", ""
    if not cell.strip():
        return Flag.BLANK, "", ""
    said = verdict(cell)
    if said in (PASS, FAIL):
        return _OF_VERDICT[said]
    if says("not_measured", cell):
        return Flag.BLANK, "", ""
    praised = opens_with_pass(cell)
    if (said != BOTH and opens_with_fail(cell)) or ((said == BOTH or not praised) and fault_words(cell)):
        return Flag.FAIL, "", ""
    return Flag.UNCLEAR, "result-not-understood", perhaps("pass") if praised else ""
