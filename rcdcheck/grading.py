"""Outcomes and findings → whether the record can be relied on (A to D), and a grade for each device.

The table is data (`schemas/grades.toml`): each line measures one thing, the worst line decides, and is named.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck import data
from rcdcheck.audits import Grade
from rcdcheck.findings import catalogue
from rcdcheck.tables import Codes, Mask, Tables
from rcdcheck.terms import Flag, Outcome, Verdict

FEWEST = 20  # tests from which a technician's or instrument's record is graded
STRONG_SHARE = 0.20
DOUBTS = ("none", "moderately strong, or strong on few tests", "strong on many tests, or in several ways")


OF_TESTS = ("outcome", "unreadable", "contradicted", "unsigned", "no_instrument", "out_of_calibration", "no_visual",
            "counted", "sheet")  # fmt: skip


@dataclass(frozen=True)
class Evidence:
    """What grading looks at, one entry a test unless said otherwise."""

    outcome: npt.NDArray[np.int8]
    unreadable: Mask
    contradicted: Mask
    unsigned: Mask
    no_instrument: Mask
    out_of_calibration: Mask
    no_visual: Mask
    counted: Mask
    lost: npt.NDArray[np.int64]  # sheet of each row passed over that holds readings
    sheet: npt.NDArray[np.int32]
    doubts: tuple[Doubt, ...]

    def only(self, at: npt.NDArray[np.int64]) -> Evidence:
        """The evidence of these tests, given in ascending order, as a record of their own."""
        place = np.full(len(self.outcome), -1)
        place[at] = np.arange(len(at))
        theirs = [(d, place[d.tests][place[d.tests] >= 0]) for d in self.doubts]
        doubts = tuple(replace(d, tests=tests) for d, tests in theirs if len(tests) or not len(d.tests))
        masks = {name: getattr(self, name)[at] for name in OF_TESTS}
        return replace(self, **masks, doubts=doubts)


@dataclass(frozen=True)
class Doubt:
    """A doubt: its question, whether it is strong, and the tests concerned."""

    question: str
    strong: bool
    tests: npt.NDArray[np.int64]  # those that the evidence lists
    total: int  # all that it concerns, where that is more; else 0
    sheet: int


def evidence(
    tables: Tables, verdicts: pd.DataFrame, outcomes: pd.DataFrame, counted: Mask, findings: pd.DataFrame
) -> Evidence:
    """Collect what the lines of the table measure."""
    tests = tables.tests
    bad = verdicts["reason"].to_numpy() == "reading-unreadable"
    unreadable = np.bincount(tables.readings["test"].to_numpy()[bad], minlength=len(tests)) > 0
    declared_pass = tests["declared"].to_numpy() == Flag.PASS
    at, due = tests["tested_at"].to_numpy(), tests["calibration_due"].to_numpy()
    with np.errstate(invalid="ignore"):
        lapsed = ~np.isnat(at) & ~np.isnat(due) & (at.astype("datetime64[D]") > due.astype("datetime64[D]"))
    return Evidence(
        outcome=outcomes["outcome"].to_numpy(),
        unreadable=unreadable,
        contradicted=declared_pass & (outcomes["outcome"].to_numpy() == Outcome.FAIL),
        unsigned=np.isnat(at) | (tests["technician"].to_numpy() == 0),
        no_instrument=tests["instrument"].to_numpy() == 0,
        out_of_calibration=lapsed,
        no_visual=tests["visual"].to_numpy() == Flag.ABSENT,
        counted=counted,
        lost=tables.passed_over.loc[tables.passed_over["holds_reading"], "sheet"].to_numpy().astype(np.int64),
        sheet=tests["sheet"].to_numpy(),
        doubts=_doubts(findings),
    )


def _doubts(findings: pd.DataFrame) -> tuple[Doubt, ...]:
    out = []
    for row in findings[findings["severity"] == "doubt"].itertuples():
        seen: dict[str, Any] = row.evidence or {}
        tests = np.array(seen.get("tests", [row.test] if row.test >= 0 else []), dtype=np.int64)
        of_all = int(seen.get("tests_total", 0))
        total = of_all if of_all > len(tests) else 0
        strong = seen.get("strength") == "strong"
        out.append(Doubt(str(seen.get("question", row.code)), strong, tests, total, int(row.sheet)))
    return tuple(out)


def grade_record(facts: Evidence, tests: Mask, scope: str, name: str, *, unaudited: int = 0) -> Grade:
    """Grade the record made of these tests, shape (tests,)."""
    here = tests & facts.counted
    n = int(here.sum())
    measured = _measures(facts, here, unaudited)
    lines = [_line(line, measured[line["name"]], n) for line in data.toml("grades.toml")["line"]]
    if n == 0:
        return Grade(scope, name, "D", "no test could be read", 0, tuple(lines))
    letter = max((letter for _, letter, _ in lines), default="A")
    worst = "; ".join(f"{title}: {figure}" for title, of_line, figure in lines if of_line == letter)
    decided = "nothing that was looked at stands against it" if letter == "A" else worst
    return Grade(scope, name, letter, decided, n, tuple(lines))


def _measures(facts: Evidence, here: Mask, unaudited: int) -> dict[str, int]:
    n = int(here.sum())
    without = int((facts.no_instrument & here).sum())
    sheets = np.unique(facts.sheet[here])
    return {
        "unfinished": int((here & np.isin(facts.outcome, (Outcome.INCOMPLETE, Outcome.UNCLEAR))).sum()),
        "unreadable": int((here & facts.unreadable).sum()),
        "contradicted": int((here & facts.contradicted).sum()),
        "unsigned": int((here & facts.unsigned).sum()),
        "untraced": without if without < n else 0,
        "instrument-absent": without if without == n else 0,
        "out-of-calibration": int((here & facts.out_of_calibration).sum()),
        "lost": int(np.isin(facts.lost, sheets).sum()),
        "doubt": _doubt_level(facts, here),
        "visual": len(np.unique(facts.sheet[here & facts.no_visual])),
        "inputs": unaudited,
    }


def _doubt_level(facts: Evidence, here: Mask) -> int:
    """0 none; 1 moderately strong, or strong on under 20 % of tests; 2 strong on more, or by two questions."""
    mine = [
        d for d in facts.doubts if here[d.tests].any() or (not len(d.tests) and (here & (facts.sheet == d.sheet)).any())
    ]
    strong = [d for d in mine if d.strong]
    reached = np.zeros(len(here), dtype=bool)
    for d in strong:
        reached[d.tests] = True
    concerned = max([int((reached & here).sum()), *(d.total for d in strong)])
    share = concerned / max(1, int(here.sum()))
    if len({d.question for d in strong}) >= 2 or (strong and share >= STRONG_SHARE):
        return 2
    return int(bool(mine))


def _line(line: dict[str, Any], count: int, n: int) -> tuple[str, str, str]:
    """Title, letter and figure of one line."""
    figure = DOUBTS[count] if line["name"] == "doubt" else f"{count:,}"
    figure += f" of {n:,}" if "share" in line["A"] else ""
    for letter in "ABC":
        allowed = line.get(letter)
        if allowed is not None and count <= max(allowed["count"], allowed.get("share", 0.0) * n):
            return line["title"], letter, figure
    return line["title"], "B" if "C" not in line and "B" in line else "D", figure


def grade_all(facts: Evidence, tables: Tables) -> tuple[Grade, ...]:
    """Batch first, then each input, then technicians and instruments with at least 20 tests."""
    everything = np.ones(len(facts.outcome), dtype=bool)
    unaudited = sum(i.status != "audited" for i in tables.inputs)
    grades = [grade_record(facts, everything, "batch", "all inputs", unaudited=unaudited)]
    source = tables.sheets["input"].to_numpy()[facts.sheet] if len(facts.sheet) else np.zeros(0, dtype=int)
    if len(tables.inputs) > 1:
        for number, one in enumerate(tables.inputs):
            if one.status == "audited":
                grades.append(grade_record(facts, source == number, "input", one.name))
    for scope in ("technician", "instrument"):
        grades += _by_text(facts, tables, scope)
    return tuple(grades)


def _by_text(facts: Evidence, tables: Tables, scope: str) -> list[Grade]:
    from rcdcheck.identity import folded

    codes = tables.tests[scope].to_numpy()
    alike = folded(codes, tables.vocabulary)
    order = np.argsort(alike, kind="stable")
    groups = np.split(order, np.cumsum(np.bincount(alike))[:-1]) if len(order) else []
    large = [at for at in groups if facts.counted[at].sum() >= FEWEST and codes[at[0]] > 0]
    named = sorted(((str(tables.vocabulary[codes[at[0]]]), at) for at in large), key=lambda pair: pair[0])
    return [grade_record(facts.only(at), np.ones(len(at), dtype=bool), scope, name) for name, at in named]


def grade_devices(
    tables: Tables,
    verdicts: pd.DataFrame,
    devices: pd.DataFrame,
    device: Codes,
    facts: Evidence,
    findings: pd.DataFrame,
) -> npt.NDArray[np.object_]:
    """A nothing noted, B cautions, C incomplete, unclear or in a doubt, D contradicted pass or no identifier."""
    n = len(devices)
    grade = np.full(n, "A", dtype=object)
    marginal = verdicts["verdict"].to_numpy() == Verdict.MARGINAL
    quiet = [*(code for code, kind in catalogue().items() if kind.severity == "note")]
    reason = verdicts["reason"].to_numpy()
    said = np.flatnonzero(reason != "")
    noted = said[~np.isin(reason[said], quiet)]
    grade[device[tables.readings["test"].to_numpy()[marginal]]] = "B"
    grade[device[tables.readings["test"].to_numpy()[noted]]] = "B"
    cautions = findings.loc[findings["severity"].isin(["caution"]) & (findings["test"] >= 0), "test"]
    grade[device[cautions.to_numpy()]] = "B"
    grade[np.isin(devices["outcome"].to_numpy(), (Outcome.INCOMPLETE, Outcome.UNCLEAR))] = "C"
    for doubt in facts.doubts:
        grade[device[doubt.tests]] = "C"
    grade[device[facts.contradicted]] = "D"
    grade[devices["device"].to_numpy() == 0] = "D"
    return grade
