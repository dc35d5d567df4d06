"""Which sheets of a workbook are called by a site: not those called by a month or visit, nor the parts of one test."""

from __future__ import annotations

import itertools
import re
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.cells.phrases import numbered, opens_with, says
from rcdcheck.intake.cells.rounds import names_round, round_of
from rcdcheck.intake.understood.candidates import CHECKS
from rcdcheck.intake.understood.facts import Fact
from rcdcheck.intake.understood.lexicon import normal
from rcdcheck.intake.understood.row_kinds import RowKind
from rcdcheck.intake.understood.sheet import Understood
from rcdcheck.numbering import distinct_codes

SHARED = 0.6  # share of the names of the smaller sheet that stand in the other too, of sheets that part one test

_DEFAULT_NAME = re.compile(
    r"^(sheet|tabelle|feuil|hoja|foglio|blad|planilha|folha|list|arkusz|ark|munka|taul|sayfa|foaie|harok|table"
    r"|data|readings|results?|export|test(s|ing)?( sheet)?)"
    r"\s*\(?\d*\)?$"
)
_MONTHS = "jan|feb|mar|apr|may|mai|jun|jul|aug|sep|oct|okt|nov|dec|dez"


_DATED = re.compile(  # and not "Lab 2.04", which is a room
    r"(?<![\w.])(?:\d{1,4}[-./ ]\d{1,2}[-./ ]\d{1,4}|\d{1,2}[-/]\d{1,2}|\d{1,2}\.\d{1,2}\.|\d{1,2}[-./ ]\d{4}"
    r"|\d{4}[-./ ]\d{1,2}|(?:19|20)\d\d)(?![\w.])"
)


def site_of_sheet(name: str) -> str:
    """A sheet's name as a site, without the month or date in it; empty where it is a default name."""
    plain = normal(name)
    if names_round(plain) or opens_with("repeat", plain.replace("tests", "test")) or says("kinds_of_device", plain):
        return ""
    if not re.search(r"[^\W\d_]", plain) or _DEFAULT_NAME.match(plain):
        return ""
    if re.match(rf"^\d*\s*({_MONTHS})\w*\s*\d*$", plain):
        return ""
    left = re.sub(rf"(?<![^\W\d_])({_MONTHS})[a-z]{{0,6}}(?![^\W\d_])", " ", name.strip(), flags=re.IGNORECASE)
    left = re.sub(_DATED, " ", left)
    left = re.sub(r"[\s\-–_,]+$|^[\s\-–_,]+", "", left)
    if names_round(re.sub(r"\s*[-–,]\s*\d{1,2}$", "", normal(left))):  # "Visit 1 - 8 Jan"
        return ""
    return " ".join(left.split()) if re.search(r"[^\W\d_]", left) else ""


def sites_of(senses: Sequence[Understood]) -> list[str]:
    """The site that each sheet of a file is called by, empty where its name is none.

    Sheets that name the same devices and test different things ("Looks and button", "Five times") part one test.
    """
    named = [site_of_sheet(sense.grid.sheet) for sense in senses]
    whole = [sense for sense in senses if not sense.reason]
    tested = [_tested(sense) for sense in whole]
    apart = sum(map(len, tested)) == len(set().union(*tested)) and all(tested)
    if len(whole) < 2 or not apart:
        return named
    devices = [_devices(sense) for sense in whole]
    return [""] * len(senses) if all(_same(a, b) for a, b in itertools.combinations(devices, 2)) else named


def with_boards(senses: Sequence[Understood]) -> list[Understood]:
    """The sheets, those of one site and day that name the same devices told apart by what they are called: "R1", "R2"
    are switchboards then, each with its own FI1."""
    whole = [sense for sense in senses if not sense.reason]
    if len(whole) < 2:
        return list(senses)
    called = [site_of_sheet(sense.grid.sheet) for sense in whole]
    said = [{(f.field, as_typed(f.value)) for facts in sense.facts for f in facts} for sense in whole]
    site, day = ({tuple(sorted(v for k, v in told if k == field)) for told in said} for field in ("site", "tested_at"))
    named = any(k == "board" for told in said for k, _ in told) or any(t.of("board") for s in whole for t in s.tables)
    devices = [_devices(sense) for sense in whole]
    shared = len(set().union(*devices)) < sum(map(len, devices))
    apart = all(called) and len(set(called)) == len(called)
    if named or not (apart and shared) or len(site) != 1 or site == {()} or len(day) > 1:
        return list(senses)
    return [s if s.reason else _in_board(s, site_of_sheet(s.grid.sheet)) for s in senses]


def _in_board(sense: Understood, board: str) -> Understood:
    return replace(sense, facts=tuple([*facts, Fact("board", board, 0, 0)] for facts in sense.facts))


def with_repeats(senses: Sequence[Understood]) -> list[Understood]:
    """The sheets, with the rows of one that is called by a repeat, a later round or a later month ("round 2",
    "Retests", "Visit May" behind "Visit Feb") noted as repeats where sheets before it name its devices and no day
    orders them."""
    if len(senses) < 2:
        return list(senses)
    out, known, month = [], set[str](), 0
    for sense in senses:
        names, own = _devices(sense), _month(sense.grid.sheet)
        same = len(names & known)
        later = _later_round(sense.grid.sheet) or 0 < month < own
        again = 0 < SHARED * len(names) <= same and not _dated(sense) and later
        known, month = known | names, own
        rows = tuple(replace(r, repeats=np.ones(len(r.kind), dtype=bool)) for r in sense.rows)
        out.append(replace(sense, rows=rows) if again else sense)
    return out


def _dated(sense: Understood) -> bool:
    """Whether a sheet says of what day its tests are, which orders them without its name."""
    above = any(fact.field == "tested_at" for facts in sense.facts for fact in facts)
    return above or any(table.of("tested_at") for table in sense.tables)


def _later_round(name: str) -> bool:
    plain = normal(name)
    return opens_with("repeat", plain.replace("tests", "test")) or round_of(plain) > 1


def _month(name: str) -> int:
    """The month that a sheet is called by, 0 where none or several: "Visit Feb"."""
    found = {numbered("months")[word] for word in normal(name).split() if word in numbered("months")}
    return found.pop() if len(found) == 1 else 0


def _same(a: set[str], b: set[str]) -> bool:
    return len(a & b) >= max(2, SHARED * min(len(a), len(b)))


def _devices(sense: Understood) -> set[str]:
    """Names of the devices of a sheet, as typed."""
    found: set[str] = set()
    for table, rows in zip(sense.tables, sense.rows, strict=True):
        at = np.flatnonzero(rows.kind == RowKind.TEST) + table.start
        for column in table.of("device")[:1]:
            own = sense.grid.columns[column.number]
            found |= {as_typed(own.distinct[code]).strip().casefold() for code in distinct_codes(own.codes[at]) if code}
    return found


def _tested(sense: Understood) -> set[object]:
    """The readings and checks that a sheet has columns for."""
    found: set[object] = set()
    for table, facts in zip(sense.tables, sense.facts, strict=True):
        stated = [float(as_typed(f.value)) for f in facts if f.field == "multiple"]
        found |= {c.meaning.field for c in table.of(*CHECKS)}
        for slot, said in ((c.meaning.slot, c.meaning.multiple_said) for c in table.readings if c.meaning.slot):
            of_time = slot.quantity == "trip_time" and bool(stated) and not said
            found.add(slot._replace(multiple=stated[0]) if of_time else slot)
    return found
