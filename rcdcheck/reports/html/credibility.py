"""Can the record be relied on? Doubts with their cells, what was asked and is ordinary, what could not be asked."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from rcdcheck.as_seen import column_letters
from rcdcheck.audits import Audit
from rcdcheck.findings import catalogue
from rcdcheck.reports.html.devices import TestLine, device_table
from rcdcheck.reports.pictures.parts import tests_in_doubt
from rcdcheck.reports.text import address
from rcdcheck.scrutiny import method
from rcdcheck.scrutiny.grouping import readings_side_by_side

DOZEN = 12  # stretches of rows in one line
HOUR = 3600  # s
AT_ONE_SITE = ("tested-too-fast", "tested-fast")  # findings that speak of tests at one site with one instrument
LISTED = 60  # tests of one doubt whose readings are printed
Tests = npt.NDArray[np.int64]  # rows of the tests table, or other whole numbers


@dataclass(frozen=True)
class Cells:
    """Rows of one sheet that a doubt speaks of."""

    place: str
    rows: str
    columns: str
    count: int

    @property
    def where(self) -> str:
        """`North row, rows 5–9, columns J–L`."""
        parts = (("row", self.rows), ("column", self.columns))
        return ", ".join([self.place, *(f"{_several(word, text)} {text}" for word, text in parts if text)])


def _several(word: str, text: str) -> str:
    return word + "s" * (not text.isalnum())


@dataclass(frozen=True)
class Beside:
    """A row and the row that it repeats, or the same device's at the visit before."""

    where: str
    device: str
    readings: str
    of_where: str
    of_device: str
    of_readings: str


@dataclass(frozen=True)
class Clock:
    """When and where a test was made, and how long after the one before it."""

    where: str
    device: str
    site: str
    at: str
    after: str


@dataclass(frozen=True)
class Doubt:
    """A doubt, or a note on credibility, with all that a reader may ask about it."""

    sentence: str
    strength: str
    question: str
    asks: str
    who: str
    n: int
    seen: str
    expected: str
    chance: str
    cells: tuple[Cells, ...]
    total: int
    readings: tuple[tuple[str, str, TestLine], ...]  # device, place, test
    beside: tuple[Beside, ...]
    clocks: tuple[Clock, ...]
    headings: tuple[tuple[str, str], ...]
    innocent: str
    assumes: str
    why: str
    do: str


@dataclass(frozen=True)
class Asked:
    """A question asked of one group, and found ordinary."""

    question: str
    asks: str
    who: str
    n: str
    seen: str
    expected: str
    chance: str


@dataclass(frozen=True)
class Open:
    """A question that could not be asked of some groups: of whom, and why not."""

    asks: str
    of_whom: str


def doubts(audit: Audit, severity: str) -> list[Doubt]:
    """Findings of credibility of a severity (`doubt`, `note`, `caution`), the strongest first."""
    findings = audit.findings[(audit.findings["severity"] == severity) & audit.findings["evidence"].notna()]
    found = [_doubt(audit, f, with_readings=severity == "doubt") for f in findings.itertuples()]
    return sorted(found, key=lambda d: (d.strength != "strong", -d.total))


def _doubt(audit: Audit, finding: Any, *, with_readings: bool) -> Doubt:
    seen, kind = finding.evidence, catalogue()[finding.code]
    tests = np.array(seen.get("tests", []), dtype=np.int64)
    readings, headings = _readings(audit, tests[:LISTED]) if with_readings else ((), ())
    return Doubt(
        sentence=str(finding.message),
        strength=str(seen.get("strength", "")),
        question=str(seen.get("question", "")).replace("_", " "),
        asks=_asks(str(seen.get("question", ""))),
        who=", ".join(filter(None, (seen.get("technician", ""), seen.get("group", "")))) or "all readings",
        n=int(seen.get("n", 0)),
        seen=figure(seen.get("statistic")),
        expected=figure(seen.get("expectation")),
        chance=str(seen.get("chance_in_words", "")),
        cells=tuple(cells_of(audit, tests, int(finding.column))),
        total=int(seen.get("tests_total", len(tests))),
        readings=readings,
        beside=_beside(audit, seen.get("pairs", [])) if with_readings else (),
        clocks=_clocks(audit, tests, at_one_site=finding.code in AT_ONE_SITE) if seen.get("question") == "pace" else (),
        headings=headings,
        innocent=str(seen.get("innocent", "")),
        assumes=str(seen.get("assumes", "")),
        why=kind.why,
        do=kind.do,
    )


def _beside(audit: Audit, pairs: list[dict[str, Any]]) -> tuple[Beside, ...]:
    """The first pairs of rows, with their readings."""
    shown = pairs[:LISTED]
    copies = _rows(audit, np.array([p["test"] for p in shown], dtype=np.int64))
    originals = _rows(audit, np.array([p["repeats"] for p in shown], dtype=np.int64))
    return tuple(Beside(*one, *other) for one, other in zip(copies, originals, strict=True))


def _clocks(audit: Audit, tests: Tests, *, at_one_site: bool) -> tuple[Clock, ...]:
    """The clock times of tests in their order, those at one site and with one instrument together where asked."""
    frame = audit.tables.tests.iloc[tests]
    frame = frame[frame["clock_known"].to_numpy()].sort_values(
        [*(["instrument", "site"] if at_one_site else []), "tested_at"], kind="stable"
    )
    seconds = frame["tested_at"].diff().dt.total_seconds().to_numpy(copy=True)
    if at_one_site:
        seconds[frame[["instrument", "site"]].diff().ne(0).any(axis=1).to_numpy()] = np.nan
    rows = _rows(audit, frame.index.to_numpy())
    sites = audit.tables.texts(frame["site"].to_numpy())
    return tuple(
        Clock(where, device, str(site), f"{at:%Y-%m-%d %H:%M:%S}", f"{after:,.0f} s" if 0 <= after < HOUR else "")
        for (where, device, _), site, at, after in zip(rows, sites, frame["tested_at"], seconds, strict=True)
    )


def _rows(audit: Audit, tests: Tests) -> list[tuple[str, str, str]]:
    """Place, device and readings of each test."""
    frame = audit.tables.tests.iloc[tests]
    device = audit.tables.texts(frame["device"].to_numpy())
    places = [
        f"{address(audit, int(s), 0, -1)} row {r}".strip() for s, r in zip(frame["sheet"], frame["row"], strict=True)
    ]
    readings = np.array(readings_side_by_side(audit.tables))[:, tests].T
    said = [", ".join("–" if np.isnan(v) else f"{v:g}" for v in row) for row in readings]
    return list(zip(places, map(str, device), said, strict=True))


def _asks(question: str) -> str:
    return method.page(question).asks if question in method.QUESTIONS else ""


def figure(value: object) -> str:
    """A statistic in four figures; empty where there is none."""
    if not isinstance(value, int | float) or math.isnan(value):
        return ""
    return f"{value:,.0f}" if float(value).is_integer() else f"{value:.2g}" if abs(value) < 10 else f"{value:,.1f}"


def cells_of(audit: Audit, tests: Tests, only: int = -1) -> list[Cells]:
    """The rows of these tests and the columns of their readings, or `only` one column, sheet by sheet."""
    sheet = audit.tables.tests["sheet"].to_numpy()[tests]
    row = audit.tables.tests["row"].to_numpy()[tests]
    readings = audit.tables.readings
    mine = np.isin(readings["test"].to_numpy(), tests)
    column = readings["column"].to_numpy()[mine]
    of_sheet = audit.tables.tests["sheet"].to_numpy()[readings["test"].to_numpy()[mine]]
    return [
        Cells(
            address(audit, int(s), 0, -1) or "the sheet",
            ranges(row[sheet == s]),
            column_letters(only) if only >= 0 else ranges(column[of_sheet == s], column_letters),
            int((sheet == s).sum()),
        )
        for s in np.unique(sheet)
    ]


def ranges(numbers: Tests, name: Callable[[int], str] = str) -> str:
    """`5–9, 12`, or with letters for a name `J–L`; of many the first dozen and how many rows the others hold."""
    pieces = _runs(numbers)
    said = ", ".join("–".join(name(int(n)) for n in dict.fromkeys((p[0], p[-1]))) for p in pieces[:DOZEN])
    left = sum(len(p) for p in pieces[DOZEN:])
    return f"{said} and {left:,} more" if left else said


def _runs(numbers: Tests) -> list[Tests]:
    """Numbers that follow one another, together."""
    numbers = np.unique(numbers)
    pieces = np.split(numbers, np.flatnonzero(np.diff(numbers) > 1) + 1)
    return [p for p in pieces if len(p)]


def _readings(audit: Audit, tests: Tests) -> tuple[tuple[tuple[str, str, TestLine], ...], tuple[tuple[str, str], ...]]:
    """The tests of a doubt in entry order, with device and address."""
    device = audit.test_outcomes["device"].to_numpy()[tests]
    table = device_table(audit, np.unique(device))
    wanted = {f"{s}:{r}" for s, r in audit.tables.tests[["sheet", "row"]].iloc[tests].itertuples(index=False)}
    lines = [(line.name, test) for line in table.lines for test in line.tests if test.place in wanted]
    lines.sort(key=lambda pair: tuple(map(int, pair[1].place.split(":"))))
    shown = []
    for name, test in lines:
        sheet, row = map(int, test.place.split(":"))
        shown.append((name, f"{address(audit, sheet, 0, -1)} row {row}".strip(), test))
    return tuple(shown), table.headings


def ordinary(audit: Audit) -> list[Asked]:
    """Questions that were asked and showed nothing unusual."""
    asked = audit.questions[audit.questions["asked"] & (audit.questions["strength"] == "nothing unusual")]
    return [
        Asked(
            question=str(q.question).replace("_", " "),
            asks=_asks(str(q.question)),
            who=_who(q),
            n=f"{q.n:,}" if q.n else "",
            seen=figure(q.statistic),
            expected=figure(q.expectation),
            chance="" if math.isnan(q.adjusted) else "more than 1 in 20" if q.adjusted > 0.05 else f"{q.adjusted:.2g}",
        )
        for q in asked.itertuples()
    ]


def not_asked(audit: Audit) -> list[Open]:
    """Questions that could not be asked, each once."""
    left = audit.questions[~audit.questions["asked"]]
    out = []
    for question, group in left.groupby("question", sort=False):
        people: dict[str, list[str]] = {}
        for q in group.itertuples():
            people.setdefault(str(q.why_not), []).append(_who(q))
        said = "; ".join(f"{'; '.join(dict.fromkeys(who))}: {why}" for why, who in people.items())
        out.append(Open(_asks(str(question)) or str(question).replace("_", " "), said))
    return out


def _who(question: Any) -> str:
    return ", ".join(filter(None, (question.technician, question.group))) or "all readings"


# ── the letter of questions ──
def letter(audit: Audit) -> list[tuple[str, ...]]:
    """Rows to ask about: person, file and sheet, rows, columns of their readings. What was found is not said.

    They are those of the doubts, and those that declare a pass which the readings contradict.
    """
    asked = tests_in_doubt(audit)
    asked[audit.reasons.loc[audit.reasons["code"] == "declared-pass-contradicted", "test"].to_numpy()] = True
    tests = np.flatnonzero(asked)
    person = audit.tables.texts(audit.tables.tests["technician"].to_numpy()[tests])
    out = []
    for name in sorted(set(person)):
        for some in _by_dozens(audit, tests[person == name]):
            for cells in cells_of(audit, some):
                out.append((str(name) or "nobody named", cells.place, cells.rows, cells.columns, f"{cells.count:,}"))
    return [(str(n), *line) for n, line in enumerate(out, 1)]


def _by_dozens(audit: Audit, tests: Tests) -> list[Tests]:
    """The tests of each sheet in lots of at most a dozen stretches of rows, so that a letter lists every row."""
    sheet = audit.tables.tests["sheet"].to_numpy()[tests]
    row = audit.tables.tests["row"].to_numpy()[tests]
    lots = []
    for s in np.unique(sheet):
        here, rows = tests[sheet == s], row[sheet == s]
        runs = _runs(rows)
        for start in range(0, len(runs), DOZEN):
            lots.append(here[np.isin(rows, np.concatenate(runs[start : start + DOZEN]))])
    return lots
