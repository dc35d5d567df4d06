"""What the lines above a table say of all its tests: who, when, with which instrument, where, rated how.

"Tested by: A. Snowfield", "Date" beside "20/11/2026", "Cal due 2027-04-30", "rated 30 mA unless noted".
"""

from __future__ import annotations

import functools
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rcdcheck import data
from rcdcheck.as_seen import as_typed
from rcdcheck.intake.cells.currents import PREFERRED
from rcdcheck.intake.cells.date_columns import read_dates
from rcdcheck.intake.opened.grids import Grid
from rcdcheck.intake.understood.grammars import Kind, grammars
from rcdcheck.intake.understood.lexicon import further_fields, names, words_of
from rcdcheck.intake.understood.reading_headings import parts_of, readings_of
from rcdcheck.tables import DATE_FIELDS, FLAG_FIELDS, Mask

FIELDS = (
    "technician", "tested_at", "instrument", "calibration_due", "site", "rated_residual_current", "rcd_type",
    "environment", "kind", "unit", "phase", "multiple", "board",
)  # fmt: skip
DATES = ("tested_at", "calibration_due")
SERIALS = ("serial",)  # above a table: of the instrument
VAGUE = (
    "name",
    "job",
    "project",
    "address",
    "by",
    "area",
    "place",
)  # columns may be headed so; alone they say too little
_CURRENT = re.compile(r"(?<![\d.,])(\d+(?:[.,]\d+)?)\s?(mA|milliamps?|A)(?![\w])", re.IGNORECASE)


@dataclass(frozen=True)
class Fact:
    """One field stated above a table: its cell as typed, and where it stands (row as the person sees it)."""

    field: str
    value: object
    row: int
    column: int


def labelled(text: str) -> tuple[str, str]:
    """Field and value of one line such as "Site: Ice rink"; both empty where it is none."""
    label, sign, value = _parted(text)
    field = _field(label, value) if sign and value.strip() else ""
    if field and not (field in ("board", "site") and rating_in(value)):  # "Main board - 300 mA" names itself
        return field, value.strip()
    words = text.split()
    for n in range(min(4, len(words) - 1), 0, -1):
        value = " ".join(words[n:])
        field = _field(" ".join(words[:n]), value)
        if field and _fits_bare(field, value):
            return field, (rating_in(text) or value) if field == "rated_residual_current" else value
    return _rating(text)


def _parted(text: str) -> tuple[str, str, str]:
    match = re.match(r"([^:=]{2,50}?)\s*(:|=|\s[-–—]\s)\s*(.+)$", text, re.DOTALL)
    return (match[1], match[2], match[3]) if match else (text, "", "")


def _rating(text: str) -> tuple[str, str]:
    """ "All RCDs 30 mA unless noted": the one preferred rating that a line of words gives."""
    found = rating_in(text)
    return ("rated_residual_current", found) if found else ("", "")


def rating_in(text: str) -> str:
    """The one preferred rating that a line of words gives, as "30 mA"; empty where it gives none or several.

    "30 mA (100 mA where marked)" gives one: the rows that are marked say so themselves.
    """
    text = _spelled().sub(lambda word: _numbers()[word[0].casefold()], _EXCEPTED.sub("", text))
    found = _CURRENT.findall(text)
    told = {float(number.replace(",", ".")) * (1000 if unit.upper() == "A" else 1) for number, unit in found}
    if len(told) != 1 or len(text) > 120 or _MEASURED.search(text):
        return ""
    milli, unit = told.pop(), found[0][1]
    return f"{milli:g} mA" if round(milli, 6) in PREFERRED and (unit != "A" or milli < 1000) else ""


@functools.cache
def _numbers() -> dict[str, str]:
    """Ratings as words write them: "thirty" is 30."""
    table = data.toml("words.toml")["cells"]["rated_in_words"]
    spelled = ((form, number) for number, words in table.items() for w in words for form in (w, w.casefold()))
    return dict(spelled)  # "dreißig" folds to "dreissig", and either is typed


@functools.cache
def _spelled() -> re.Pattern[str]:
    words = "|".join(sorted(map(re.escape, _numbers()), key=len, reverse=True))
    return re.compile(rf"\b(?:{words})(?=[ -]?(?:mA|milli-?amps?)\b)", re.IGNORECASE)


# what was measured and not rated: "trips at 22 mA", and not "rated trip 30 mA", "30 mA trips", "trip times, all 30 mA"
_MEASURED = re.compile(
    r"\d\s?ms\b|\btest current"
    r"|(?<!rated )(?<!nominal )(?<!mA )(?<!milliamp )\btrips?\b(?! (?:times?|tests?|switch(?:es)?)\b)",
    re.IGNORECASE,
)
_EXCEPTED = re.compile(
    r"\([^)]*\b(?:where|unless|except|apart|others?|marked|if|wo|außer|sonst|sauf|salvo|excepto|tranne|behalve|exceto)\b"
    r"[^)]*\)|\b(?:unless|except|apart from|other than|außer|sauf|salvo|excepto|tranne|behalve|exceto)\b.*",
    re.IGNORECASE,
)


def _fits_bare(field: str, value: str) -> bool:
    """Whether a value that no sign parts from its label can only be that of the field."""
    if field in DATES:
        return _is_date(value)
    if field == "rated_residual_current":
        return bool(_CURRENT.match(value))
    return field == "instrument" and bool(re.fullmatch(r"(?:no\.?|nr\.?|#)?\s*(?=\S*\d)\S+", value))


def _field(label: str, value: object) -> str:
    """Field that a label names, empty where it is none; a "tester" with a digit in its name is an instrument."""
    words = words_of(label)
    if not words or " ".join(words) in VAGUE:
        return ""
    fits = [f for f in names(label) if f.part.kind == "field" and f.quality >= 0.84]
    if not fits or len(fits[0].rest) > 1:
        return ""
    best = [f.part.value for f in fits if f.quality >= fits[0].quality - 0.03]
    if "technician" in best and "instrument" in best:
        return "instrument" if any(c.isdigit() for c in as_typed(value)) else "technician"
    if best[0] in SERIALS and re.search(r"\d", as_typed(value)):
        return "instrument"
    return next((field for field in best if field in FIELDS or field in further_fields() - {*FLAG_FIELDS}), "")


def _is_date(value: object) -> bool:
    cells = np.empty(1, dtype=object)
    cells[0] = value
    return not np.isnat(read_dates(cells, order="", as_of=None).value[0])


def facts_of_row(grid: Grid, at: int) -> list[Fact]:
    """Everything that the row at a position states, from left to right."""
    filled = [(c, cell) for c, cell in enumerate(grid.row(at)) if cell != ""]
    row, facts = int(grid.numbers[at]), []
    for i, (column, cell) in enumerate(filled):
        if not isinstance(cell, str):
            continue
        beside = filled[i + 1] if i + 1 < len(filled) else (0, "")
        label = _field(cell.rstrip(" :="), beside[1]) if beside[1] != "" else ""
        if (
            label
            and not _is_heading(beside[1])
            and (label not in DATES or _is_date(beside[1]))
            and _value_of(label, beside[1])
        ):
            facts.append(Fact(label, beside[1], row, beside[0]))
            continue
        for piece in re.split(r"\s{3,}|\s[|;•·]\s|,\s+(?=[^,]{2,40}:)", cell):
            field, value = labelled(piece)
            if field:
                facts.append(Fact(field, value, row, column))
            rated = rating_in(piece) if field not in ("", "rated_residual_current") else ""  # "Site: …, all 30 mA"
            facts += [Fact("rated_residual_current", rated, row, column)] if rated else []
        facts += [Fact(field, value, row, column) for field, value in of_all_times(cell)]
    parts = [part for _, cell in filled if isinstance(cell, str) and (part := _part_in_title(cell))[0]]
    if len(parts) == 1 and filled[0][0] == 0 and _part_in_title(as_typed(filled[0][1]))[0]:  # and no heading of columns
        facts.append(Fact(*parts[0], row, 0))
    return facts


def _part_in_title(text: str) -> tuple[str, str]:
    pieces = map(part_of_test, re.split(r"\s[-–—]\s|[,:;]", text))
    return next((part for part in pieces if part[0]), ("", ""))


def of_all_times(text: str) -> list[tuple[str, str]]:
    """What a line says of all times: "times in seconds" their unit, "slower of 0 and 180 deg" that both are in one,
    "times at 5x rated current" their multiple."""
    parts, told = parts_of(text), []
    if len(text) > 20 and "worst" in parts.of("phase") and {"0", "180"} <= {*parts.of("phase"), *parts.bare}:
        told.append(("phase", "worst"))
    if _SECONDS.search(text) and "trip_time" in {*parts.of("quantity")} | {_TIMES[q] for q in parts.of("quantity")
                                                                          if q in _TIMES}:  # fmt: skip
        told.append(("unit", "s"))
    multiples = [m for m in parts.of("multiple") if m != "1"] or parts.of("multiple")  # "5x rated" is no once
    if len(multiples) == 1 and not parts.rest and {"trip_time", "time", "trip"} & {*parts.of("quantity")}:
        told.append(("multiple", multiples[0]))
    return told


def part_of_test(text: str) -> tuple[str, str]:
    """ "phase" or "multiple" and which, of a line or name that calls what stands below it by a part of the test:
    "Positive half cycle (0 deg)", "Half current test", "5 × IΔn"; both empty where it says anything else."""
    parts = parts_of(text)
    for field in ("phase", "multiple"):
        named = set(parts.of(field))
        if len(named) == 1 and not parts.rest and not parts.bare and set(parts.found) <= {field, "rated"}:
            return field, named.pop()
    return "", ""


_TIMES = {"time": "trip_time"}
_SECONDS = re.compile(
    r"(?<!\w)(?:in|en|em|as)\s+(?:s|sec|secs|seconds?|sekunden|secondes?|segundos|secondi|seconden)(?!\w)",
    re.IGNORECASE,
)


def _value_of(field: str, value: object) -> bool:
    """Whether a cell may be the value of a field: a rating is a current."""
    if field != "rated_residual_current":
        return True
    return bool(grammars(value) & Kind.RATED) or bool(_CURRENT.match(as_typed(value)))


def _is_heading(cell: object) -> bool:
    """Whether the cell beside a label is a label or heading itself: "Date" beside "Trip time (ms)" states nothing."""
    if not isinstance(cell, str):
        return False
    named = any(f.quality >= 0.95 and not f.rest for f in names(cell))
    return labelled(cell)[0] != "" or named or any(r.weight >= 3.0 for r in readings_of(cell))


def title_blocks(grid: Grid, full: Mask, tops: Sequence[int], tests: Mask) -> list[list[Fact]]:
    """Facts for each table; what stands over the first holds for the others, unless lines directly over them differ.

    tops: position of the first heading row of each table. tests: which rows are tests or headings.
    """
    first: list[Fact] = []
    out: list[list[Fact]] = []
    for top in tops:
        rows = range(top) if not out else _directly_above(full, top, tests)
        own = [fact for row in rows for fact in facts_of_row(grid, row)]
        if not any(fact.field == "tested_at" for fact in own):
            dated = {fact.row for fact in own if fact.field in further_fields() & {*DATE_FIELDS}}
            titles = (row for row in rows if int(grid.numbers[row]) not in dated)
            own += [fact for row in titles for fact in _dates_of_titles(grid, row)]
        if not out:
            first = own
        named = {fact.field for fact in own}
        out.append(_certain([*own, *(f for f in first if f.field not in named)]))
    return out


def _dates_of_titles(grid: Grid, at: int) -> list[Fact]:
    """The one date within the words of a title: "RCD results, main hall 18/7/23"; of a due date it says nothing."""
    row, found = int(grid.numbers[at]), []
    for column, cell in enumerate(grid.row(at)):
        if isinstance(cell, str) and len(cell) <= 120 and not _OTHER_DATE.search(cell):
            dates = [text for text in _DATED.findall(cell) if _is_date(text)]
            found += [Fact("tested_at", dates[0], row, column)] if len(dates) == 1 else []
    return found


_DATED = re.compile(
    r"(?<![\w./-])(?:\d{1,2}[./-]\d{1,2}[./-](?:\d{4}|\d{2})|\d{4}[./-]\d{1,2}[./-]\d{1,2}"
    r"|\d{1,2}(?:st|nd|rd|th|\.)?\s+[^\W\d_]{3,9}\.?\s+\d{4})(?![\w/-])"
)
_OTHER_DATE = re.compile(
    r"(?<![^\W_])(?:due|next|cal|calib\w*|expir\w*|print\w*|issue\w*|rev|version|until|before|since|from|to|bis|seit"
    r"|fällig|nächste\w*|gedruckt|prochain\w*|próxim\w*|prossim\w*|volgende)(?![^\W_])",
    re.IGNORECASE,
)


def _directly_above(full: Mask, top: int, tests: Mask) -> range:
    """Rows between a heading and the blank row or the test above it."""
    row = top
    while row > 0 and full[row - 1].any() and not tests[row - 1]:
        row -= 1
    return range(row, top)


def _certain(facts: Sequence[Fact]) -> list[Fact]:
    """One fact for each field; a field stated twice and differently is no fact."""
    said = {f.field: {as_typed(g.value) for g in facts if g.field == f.field} for f in facts}
    return list({f.field: f for f in reversed(facts) if len(said[f.field]) == 1}.values())
