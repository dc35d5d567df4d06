"""Look-over, test button and declared result of each row, the worst where several columns hold one."""

from __future__ import annotations

from typing import Any

import numpy as np

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.cells import whole_columns
from rcdcheck.intake.cells.phrases import says
from rcdcheck.intake.cells.remarks import no_access
from rcdcheck.intake.opened.grids import Coded, coded
from rcdcheck.intake.taken_out.context import Context
from rcdcheck.intake.understood.asking import NO, YES, answer, asks_for_fault
from rcdcheck.intake.understood.colours import not_tested, says_fail
from rcdcheck.intake.understood.grammars import Kind, grammars
from rcdcheck.intake.understood.legend import Legend, of_column, plain_words
from rcdcheck.intake.understood.lexicon import language_of
from rcdcheck.intake.understood.table import Column
from rcdcheck.sheet_fields import FLAG_FIELDS, WORDS_OF
from rcdcheck.tables import Mask
from rcdcheck.terms import Flag


def take_checks(context: Context, out: dict[str, Any]) -> None:
    """Checks, the worst where several columns hold one."""
    language = language_of(column.heading for column in context.table.columns)
    for name in FLAG_FIELDS:
        columns = context.table.of(name)
        log = name == "push_button" and len(columns) >= LOG
        for column in columns:
            cells = _without_access(context, context.described(column))
            plain = _crossed(_explained(of_column(context.legend, column.heading), cells))
            plain = _answered(plain) if asks_for_fault(column.heading) else plain
            read = whole_columns.read_flags(plain, button=name == "push_button", language=language)
            if not (read.flag == Flag.BLANK).all():
                _keep_words(context, name, beside_verdict(cells), out)
                passed_since = (out[name] == Flag.FAIL) & (read.flag == Flag.PASS) & log
                worst = np.where(_GRAVITY[read.flag] > _GRAVITY[out[name]], read.flag, out[name])
                out[name] = np.where(passed_since, Flag.UNCLEAR, worst).astype(np.int8)
            context.point(column, read.problem, cells, read.suggestion)
    _ticks(context, out)
    _untested(context)
    _coloured(context, out)


LOG = 3  # columns of one check from which they are those of months or weeks: what failed in one may have been mended


def _coloured(context: Context, out: dict[str, Any]) -> None:
    """A row in a colour that the sheet explains as a fail ("red row = failed, do not use") is declared one; where it is
    explained as not tested ("blue row = locked"), that is its remark."""
    special = context.grid.special
    if not context.colours or not len(special):
        return
    fills = special[(special["kind"] == "filled") & special["text"].isin(list(context.colours))]
    where = dict(zip(context.at.tolist(), range(len(context.at)), strict=True))
    for at, fill in zip(context.grid.positions(fills["row"].to_numpy()).tolist(), fills["text"], strict=True):
        failed = says_fail(context.colours, str(fill))
        if at in where and failed:
            out["declared"][where[at]] = Flag.FAIL
        if at in where and (failed or not_tested(context.colours, str(fill))):
            context.said.setdefault(where[at], context.colours[str(fill)])


def _without_access(context: Context, cells: Coded) -> Coded:
    """Cells without those that say "locked" and the like: these are kept as remarks of their rows."""
    codes, distinct = cells.parted()
    said = np.array([isinstance(c, str) and bool(no_access(c)) for c in distinct], dtype=bool)[codes]
    at = np.flatnonzero(said)
    context.said |= dict(zip(at.tolist(), map(str, cells.cells(at)), strict=True))
    return cells.without(said)


def _keep_words(context: Context, name: str, said: Coded, out: dict[str, Any]) -> None:
    """What a check says beside its verdict is kept with it; what the result says ("ok, new unit") is a remark."""
    if name in WORDS_OF:
        words = context.codes(said)
        out[WORDS_OF[name]] = np.where(words > 0, words, out[WORDS_OF[name]]).astype(np.int32)
        return
    codes, distinct = said.parted()
    at = np.flatnonzero(np.array([len(text.split()) > MOST_OF_VERDICT for text in distinct], dtype=bool)[codes])
    for i, words in zip(at.tolist(), said.cells(at), strict=True):
        context.said[i] = "; ".join(filter(None, (context.said.get(i, ""), words)))


MOST_OF_VERDICT = 2  # words that are a verdict and no remark


def beside_verdict(cells: Coded) -> Coded:
    """What cells of a check say beside pass or fail ("cracked lid", "ok, but loose"), else empty."""
    return cells.told(lambda cell: "" if _only_verdict(cell) else as_typed(cell).strip())


def _only_verdict(cell: object) -> bool:
    text = as_typed(cell)
    plain = Kind.TICK | Kind.UNMEASURED | Kind.NUMBER
    return (
        not any(c.isalpha() for c in text) or says("pass", text) or says("fail", text) or bool(grammars(cell) & plain)
    )


def _explained(legend: Legend, cells: Coded) -> Coded:
    """Cells with the marks that the sheet itself explains replaced by plain words."""
    if not legend:
        return cells
    codes, distinct = cells.parted()
    plain = np.empty(len(distinct), dtype=object)
    plain[:] = list(plain_words(distinct, legend))
    return coded(plain).taken(codes)


def _crossed(cells: Coded) -> Coded:
    """Cells in which an X beside ticks is a fail: where some are ticked, what is crossed was not in order."""
    _, distinct = cells.parted()
    if not any(isinstance(c, str) and c.strip() in _TICKS for c in distinct):
        return cells
    return cells.told(lambda cell: "fail" if isinstance(cell, str) and cell.strip() in _CROSSES else cell)


_TICKS, _CROSSES = frozenset("✓✔√☑✅"), frozenset("xX×")


def _answered(cells: Coded) -> Coded:
    """Cells under a heading that asks for a fault: "yes" is a fail, "no" a pass, a bare tick says neither."""
    meant = {YES: "fail", NO: "pass"}

    def plain(cell: object) -> object:
        if as_typed(cell).strip() == "":
            return cell
        return "?" if grammars(cell) & Kind.TICK else meant.get(answer(as_typed(cell)), cell)

    return cells.told(plain)


_GRAVITY = np.zeros(5, dtype=np.int8)
_GRAVITY[[Flag.ABSENT, Flag.PASS, Flag.BLANK, Flag.UNCLEAR, Flag.FAIL]] = (0, 1, 2, 3, 4)


def _ticks(context: Context, out: dict[str, Any]) -> None:
    """Two columns headed pass and fail: what stands in the second fails, both or neither say nothing."""
    columns = context.table.of("pass_ticks", "fail_ticks")
    for check in dict.fromkeys(c.meaning.check for c in columns):
        passed, failed = ([c for c in columns if c.meaning.check == check and c.meaning.field == field][:1]
                          for field in ("pass_ticks", "fail_ticks"))  # fmt: skip
        ticked = [_ticked(context, one) for one in (passed, failed)]
        both, neither = ticked[0] & ticked[1], ~ticked[0] & ~ticked[1]
        flag = np.select([both, ticked[1], ticked[0]], [Flag.UNCLEAR, Flag.FAIL, Flag.PASS], Flag.BLANK).astype(np.int8)
        if not neither.all():
            out[check] = np.where(_GRAVITY[flag] > _GRAVITY[out[check]], flag, out[check]).astype(np.int8)
        code = np.where(both, "ticks-contradict", "").astype(object)
        column = (failed or passed)[0]
        blank = np.full(len(code), "", dtype=object)
        context.point(column, code, context.cells(column), blank)


def _untested(context: Context) -> None:
    """A tick under "Not tested" is its row's remark in the words of the heading."""
    for column in context.table.of("untested_ticks"):
        for i in np.flatnonzero(_ticked(context, [column])).tolist():
            context.said.setdefault(i, column.heading)


def _ticked(context: Context, columns: list[Column]) -> Mask:
    """Rows that hold a tick, or anything that is not blank, "-", "no" or "0"."""
    if not columns:
        return np.zeros(len(context.at), dtype=bool)
    codes, distinct = context.cells(columns[0]).parted()
    empty = [c == "" or bool(grammars(c) & Kind.UNMEASURED) or as_typed(c).strip().casefold() in ("0", "n", "no", "-")
             for c in distinct]  # fmt: skip
    result: Mask = ~np.array(empty, dtype=bool)[codes]
    return result
