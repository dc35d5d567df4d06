"""The descriptive columns of a table, one row for each test row: who, what, where, when, rated how, pass or fail."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pandas as pd

from rcdcheck.intake.cells import conventions
from rcdcheck.intake.taken_out.boxes import boxes_of, describe_parts, name_parts
from rcdcheck.intake.taken_out.context import Context
from rcdcheck.intake.understood.asking import NO, YES, answer, asks_for_fault
from rcdcheck.intake.understood.facts import Fact, rating_in
from rcdcheck.intake.understood.grammars import Kind, grammars
from rcdcheck.intake.understood.legend import plain_words
from rcdcheck.intake.understood.lexicon import language_of
from rcdcheck.intake.understood.tables import Column
from rcdcheck.records import DATE_FIELDS, FLAG_FIELDS, TEXT_FIELDS, Flag, Mask, Texts, as_typed

CLASS_FIELDS = ("rcd_type", "waveform_type", "delay")


def describe(context: Context) -> pd.DataFrame:
    """One row for each test row with the columns TESTS; what no column states is 0, NaN, NaT or ABSENT."""
    n = len(context.at)
    assumed = dict(context.options.assume)
    out: dict[str, Any] = {name: np.zeros(n, dtype=np.int32) for name in TEXT_FIELDS}
    out |= {name: np.full(n, np.datetime64("NaT"), dtype="datetime64[us]") for name in DATE_FIELDS}
    out |= {name: np.full(n, Flag.ABSENT, dtype=np.int8) for name in FLAG_FIELDS}
    out |= {"clock_known": np.zeros(n, dtype=bool), "rated_residual_current": np.full(n, np.nan)}
    out["rated_unreadable"] = np.zeros(n, dtype=bool)
    out |= {"sheet": np.full(n, context.sheet, dtype=np.int32), "row": context.numbers.astype(np.int32)}
    identifiers = {name: _identifiers(context, name) for name in ("device", "board", "circuit", "serial")}
    identifiers["device"] = _named_otherwise(identifiers)
    boxes = boxes_of(context, identifiers["device"])
    name_parts(context, boxes, identifiers)
    _carry_boards(context, identifiers)
    _places_apart(context, identifiers)
    out |= {name: context.codes(texts) for name, texts in identifiers.items()}
    for name in (
        "outlet",
        "site",
        "location",
        "environment",
        "model",
        "technician",
        "instrument",
        "setup",
        *WORDED,
    ):
        columns = context.table.of(name) if name in WORDED else context.table.of(name)[:1]
        if columns:
            out[name] = context.codes(_side_by_side([_trimmed(context.described(column)) for column in columns]))
        if name in context.facts:
            out[name][:] = context.vocabulary.code(as_typed(context.facts[name].value))
    _kinds(context, out)
    _classes(context, out)
    _rated(context, out, assumed)
    _unsure_classes(context, out)
    _flags(context, out)
    _dates(context, out)
    describe_parts(context, boxes, out)
    _sites(context, out)
    _error_cells(context, out)
    return pd.DataFrame(out)


def _error_cells(context: Context, out: dict[str, Any]) -> None:
    """Error cells and formulas without a stored value in columns that hold no readings are pointed at too."""
    special = context.grid.special[context.grid.special["kind"].isin(ERROR_CODES)]
    for column in context.table.columns if len(special) else ():
        if column in context.table.readings or column.meaning.field in ("", "ignore", "other_test"):
            continue
        mine = special[special["column"] == column.number]
        at = pd.Index(context.numbers).get_indexer(mine["row"])
        here = at[at >= 0]
        code, typed = np.full(len(context.at), "", dtype=object), np.full(len(context.at), "", dtype=object)
        code[here] = mine["kind"].map(ERROR_CODES).to_numpy()[at >= 0]
        typed[here] = mine["text"].to_numpy()[at >= 0]
        context.point(column, code, typed, np.full(len(code), "", dtype=object))
        if column.meaning.field == "rated_residual_current":
            out["rated_unreadable"][here] = True
        elif column.meaning.field in FLAG_FIELDS:
            out[column.meaning.field][here] = Flag.UNCLEAR


ERROR_CODES = {"error": "error-cell", "formula_without_value": "formula-without-value"}


WORDED = ("remedy", "remark")  # every column of them is read


def _side_by_side(columns: list[Texts]) -> Texts:
    """The texts of several columns as one, parted by semicolons where more than one says something."""
    if len(columns) == 1:
        return columns[0]
    both = pd.MultiIndex.from_arrays(columns)
    codes, distinct = both.factorize()
    texts = np.array(["; ".join(filter(None, parts)) for parts in distinct] or [""], dtype=object)
    result: Texts = texts[codes]
    return result


def _trimmed(cells: Texts) -> Texts:
    codes, distinct = pd.factorize(cells)
    texts = np.array([as_typed(t).replace("\xa0", " ").strip() for t in distinct] or [""], dtype=object)
    result: Texts = texts[codes] if len(cells) else cells
    return result


def _identifiers(context: Context, name: str) -> Texts:
    """Texts of an identifying column, empty where there is none."""
    for column in context.table.of(name)[:1]:
        typed = context.described(column)
        read = conventions.read_identifiers(typed)
        context.point(column, read.problem, typed, read.suggestion)
        return read.value.copy()
    return np.full(len(context.at), "", dtype=object)


def _named_otherwise(identifiers: dict[str, Texts]) -> Texts:
    """The device's own identifier; else switchboard and circuit, which name a fixed device; else its serial number."""
    device, board, circuit = (identifiers[name] for name in ("device", "board", "circuit"))
    both = np.where((board != "") & (circuit != ""), board + " / " + circuit, board + circuit)
    fixed = np.where(both != "", both, identifiers["serial"])
    named: Texts = np.where(device != "", device, fixed).astype(object)
    return named


def _carry_boards(context: Context, identifiers: dict[str, Texts]) -> None:
    """A switchboard named once above its circuits holds until the next is named; so does one in a line above them."""
    board = identifiers["board"]
    if context.table.of("board") and context.table.of("circuit") and (board[:1] != "").all():
        identifiers["board"] = pd.Series(board).replace("", None).ffill().to_numpy(dtype=object)
    elif (context.rows.section_field == "board" or "board" in context.facts) and not context.table.of("board"):
        above = as_typed(context.facts["board"].value) if "board" in context.facts else ""
        within = context.rows.section_field == "board"
        lines = _trimmed(context.sections(identifiers["device"])) if within else board
        identifiers["board"] = np.where(lines != "", lines, above).astype(object)
    else:
        return
    if not context.table.of("device"):
        identifiers["device"] = np.full(len(board), "", dtype=object)
        identifiers["device"] = _named_otherwise(identifiers)


def _places_apart(context: Context, identifiers: dict[str, Texts]) -> None:
    """Names such as "main" and "sockets" that come again in each flat name a device only with its place.

    So where names without a number repeat, no column of boards or outlets tells them apart, and each place has each
    name once: the place stands for the board.
    """
    places, device = context.table.of("location")[:1], identifiers["device"]
    if not places or context.table.of("board", "circuit", "outlet") or (identifiers["board"] != "").any():
        return
    place = _trimmed(context.described(places[0]))
    both = pd.DataFrame({"place": place, "device": device})[device != ""]
    names = both["device"].unique()
    again = both.groupby("device")["place"].nunique()
    apart = len(both) and not both.duplicated().any() and (again > 1).mean() > 0.5 and (both["place"] != "").all()
    if apart and not any(re.search(r"\d\d", name) for name in names):
        identifiers["board"] = place


def _kinds(context: Context, out: dict[str, Any]) -> None:
    out["kind"][:] = context.vocabulary.code(context.options.kind)
    if "kind" in context.facts and not context.options.kind:
        cells = np.empty(1, dtype=object)
        cells[0] = context.facts["kind"].value
        out["kind"][:] = context.vocabulary.code(str(conventions.read_kinds(cells).value[0]))
    if context.options.environment and not context.table.of("environment"):
        out["environment"][:] = context.vocabulary.code(context.options.environment)
    for column in context.table.of("kind")[:1]:
        cells = context.described(column)
        read = conventions.read_kinds(cells)
        said = context.codes(read.value)
        out["kind"] = np.where(said > 0, said, out["kind"]).astype(np.int32)
        context.point(column, read.problem, cells, read.suggestion)


def _classes(context: Context, out: dict[str, Any]) -> None:
    """RCD type, waveform type and delay: any of their columns may hold a mark of the others ("A S")."""
    for column in context.table.of(*CLASS_FIELDS):
        cells = context.described(column)
        asked = column.meaning.field == "delay"
        read = conventions.read_classes(conventions.answers(column.heading, cells) if asked else cells)
        for name in CLASS_FIELDS:
            said = context.codes(getattr(read, name))
            out[name] = np.where((out[name] == 0) & (said > 0), said, out[name]).astype(np.int32)
        context.point(column, read.problem, cells, read.suggestion)
    _stated_class(context, out)
    _told_by_remarks(context, out)


def _told_by_remarks(context: Context, out: dict[str, Any]) -> None:
    """ "type S" among the remarks is the type of its device where no column asks for one; "not S" says nothing."""
    if context.table.of(*CLASS_FIELDS, "class"):
        return
    for column in context.table.of("remark"):
        codes, distinct = pd.factorize(context.cells(column))
        whole = [as_typed(t).strip(" .!") if _TYPED.search(as_typed(t)) else "" for t in distinct]
        read = conventions.read_classes(np.array([*whole, ""], dtype=object))
        told = ((read.rcd_type != "") | (read.waveform_type != "") | (read.delay != ""))[codes]
        if not told.any():
            continue
        for name in CLASS_FIELDS:
            said = context.codes(getattr(read, name)[codes])
            out[name] = np.where((out[name] == 0) & (said > 0), said, out[name]).astype(np.int32)
        cells = "1 cell" if told.sum() == 1 else f"{told.sum():,} cells"
        context.say(column, (("type-told-by-remark", {"cells": cells, "example": whole[codes[told.argmax()]]}),))


_TYPED = re.compile(r"\btyp[eo]?\b|selective|selektiv|sélectif|selectivo|selettivo|selectief|seletivo", re.IGNORECASE)


def _rated_by_section(context: Context, out: dict[str, Any]) -> None:
    """A rating that a section line states ("Lab, 10 mA") holds for the rows below it that state none themselves."""
    lines = context.rows.section[context.at - context.table.start]
    codes, distinct = pd.factorize(lines)
    told = [rating_in(str(t)) if t else "" for t in distinct]
    if not any(told):
        return
    values = conventions.read_rated(np.array(told, dtype=object), "").value[codes]
    own = context.table.of("rated_residual_current")
    blank = context.cells(own[0]) == "" if own else np.ones(len(codes), dtype=bool)
    here = blank & ~np.isnan(values) & ~out["rated_unreadable"]
    out["rated_residual_current"] = np.where(here, values, out["rated_residual_current"])


def _stated_class(context: Context, out: dict[str, Any]) -> None:
    """An RCD type above the table, for the rows whose columns leave it open."""
    fact = context.facts.get("rcd_type")
    if fact is None:
        return
    cells = np.empty(1, dtype=object)
    cells[0] = fact.value
    read = conventions.read_classes(cells)
    for name in CLASS_FIELDS:
        code = context.vocabulary.code(str(getattr(read, name)[0]))
        out[name] = np.where(out[name] == 0, code, out[name]).astype(np.int32)


def _unsure_classes(context: Context, out: dict[str, Any]) -> None:
    """A column headed only "class" is the RCD type if every row agrees with its rated current, else insulation."""
    for column in context.table.of("class")[:1]:
        said = conventions.read_classes(context.described(column)).rcd_type
        if not (said != "").any():
            continue
        rated = out["rated_residual_current"]
        by_rating = np.select([rated <= 10, rated <= 30, rated > 30], ["I", "II", "III"], "").astype(object)
        agrees = (np.where(said == "IV", "III", said) == by_rating) | (said == "")
        if agrees.all():
            out["rcd_type"] = np.where(out["rcd_type"] == 0, context.codes(said), out["rcd_type"]).astype(np.int32)
        code = "class-read-as-rcd-type" if agrees.all() else "class-read-as-insulation"
        context.say(column, ((code, {}),))


def _rated(context: Context, out: dict[str, Any], assumed: dict[str, str]) -> None:
    for column in context.table.of("rated_residual_current")[:1]:
        cells = context.described(column)
        read = conventions.read_rated(cells, column.meaning.unit)
        out["rated_residual_current"] = read.value
        out["rated_unreadable"] = (read.problem != "") & np.isnan(read.value)
        marked = context.codes(_selective_marks(cells))
        out["delay"] = np.where(out["delay"] == 0, marked, out["delay"]).astype(np.int32)
        context.point(column, read.problem, cells, read.suggestion)
    above = context.facts.get("rated_residual_current")
    told = assumed.get("rated_residual_current", above.value if above else "")
    if told != "":
        cells = np.empty(1, dtype=object)
        cells[0] = told
        value = conventions.read_rated(cells, "").value[0]
        lacking = np.isnan(out["rated_residual_current"]) & ~out["rated_unreadable"]
        out["rated_residual_current"] = np.where(lacking, value, out["rated_residual_current"])
    _rated_by_section(context, out)


def _selective_marks(cells: Texts) -> Texts:
    """`selective` where a rating carries the mark of one ("300 mA S"), else empty."""
    codes, distinct = pd.factorize(cells)
    told = ["selective" if isinstance(c, str) and _SELECTIVE.search(c) else "" for c in distinct]
    marks: Texts = np.array([*told, ""], dtype=object)[codes]
    return marks


_SELECTIVE = re.compile(r"\d\s*(?:m?A)?\s*[(,/]?\s*(?:S\b|selective|sel\b|delayed)", re.IGNORECASE)


def _flags(context: Context, out: dict[str, Any]) -> None:
    """Checks, the worst where several columns hold one."""
    language = language_of(column.heading for column in context.table.columns)
    for name in FLAG_FIELDS:
        for column in context.table.of(name):
            cells = context.described(column)
            plain = _explained(context, cells)
            plain = _answered(plain) if asks_for_fault(column.heading) else plain
            read = conventions.read_flags(plain, button=name == "push_button", language=language)
            if not (read.flag == Flag.BLANK).all():
                out[name] = np.where(_GRAVITY[read.flag] > _GRAVITY[out[name]], read.flag, out[name]).astype(np.int8)
            context.point(column, read.problem, cells, read.suggestion)
    _ticks(context, out)


def _explained(context: Context, cells: Texts) -> Texts:
    """Cells with the marks that the sheet itself explains replaced by plain words."""
    if not context.legend:
        return cells
    codes, distinct = pd.factorize(cells)
    plain: Texts = np.array([*plain_words(distinct, context.legend), ""], dtype=object)[codes]
    return plain


def _answered(cells: Texts) -> Texts:
    """Cells under a heading that asks for a fault: "yes" is a fail, "no" a pass, a bare tick says neither."""
    codes, distinct = pd.factorize(cells)
    meant = {YES: "fail", NO: "pass"}
    told = [c if as_typed(c).strip() == "" else "?" if grammars(c) & Kind.TICK else meant.get(answer(as_typed(c)), c)
            for c in distinct]  # fmt: skip
    plain: Texts = np.array([*told, ""], dtype=object)[codes]
    return plain


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


def _ticked(context: Context, columns: list[Column]) -> Mask:
    """Rows that hold a tick, or anything that is not blank, "-", "no" or "0"."""
    if not columns:
        return np.zeros(len(context.at), dtype=bool)
    codes, distinct = pd.factorize(context.cells(columns[0]))
    empty = [c == "" or bool(grammars(c) & Kind.UNMEASURED) or as_typed(c).strip().casefold() in ("0", "n", "no", "-")
             for c in distinct]  # fmt: skip
    result: Mask = ~np.array(empty, dtype=bool)[codes]
    return result


def _dates(context: Context, out: dict[str, Any]) -> None:
    for name in DATE_FIELDS:
        for column in context.table.of(name)[:1]:
            cells = context.described(column)
            as_of = context.options.as_of if name == "tested_at" else None
            read = conventions.read_dates(cells, order=context.options.date_order, as_of=as_of)
            out[name] = read.value.astype("datetime64[us]")
            if name == "tested_at":
                out["clock_known"] = read.clock_known
            context.point(column, read.problem, cells, read.suggestion)
            context.say(column, read.column_notes)
        if name in context.facts:
            _stated_date(context, context.facts[name], out)
    if context.rows.section_field == "tested_at" and not context.table.of("tested_at"):
        lines = context.rows.section[context.at - context.table.start]
        read = conventions.read_dates(lines, order=context.options.date_order, as_of=context.options.as_of)
        out["tested_at"] = np.where(np.isnat(read.value), out["tested_at"], read.value.astype("datetime64[us]"))
    for column in context.table.of("time")[:1]:
        cells = context.cells(column)
        clock = conventions.read_times(cells)
        known = ~np.isnat(clock.value) & ~np.isnat(out["tested_at"]) & ~out["clock_known"]
        out["tested_at"] = np.where(known, out["tested_at"] + clock.value, out["tested_at"])
        out["clock_known"] = out["clock_known"] | known
        context.point(column, clock.problem, cells, clock.suggestion)


def _stated_date(context: Context, fact: Fact, out: dict[str, Any]) -> None:
    """A date above the table, in every row; what is wrong with it is said at its own cell."""
    cells = np.empty(1, dtype=object)
    cells[0] = fact.value
    as_of = context.options.as_of if fact.field == "tested_at" else None
    read = conventions.read_dates(cells, order=context.options.date_order, as_of=as_of)
    out[fact.field][:] = read.value[0]
    if fact.field == "tested_at":
        out["clock_known"][:] = read.clock_known[0]
    told: list[tuple[str, dict[str, str]]] = [(read.problem[0], {})] if read.problem[0] else []
    for code, words in [*told, *read.column_notes]:
        shown: dict[str, Any] = {"heading": "above the table", **words}
        row, column = context.grid.place(fact.row, fact.column)
        context.findings.add(code, sheet=context.sheet, row=row, column=column, typed=fact.value,
                             suggestion=str(read.suggestion[0]), **shown)  # fmt: skip


def _sites(context: Context, out: dict[str, Any]) -> None:
    """Site from its column, else from the section line above, else what the caller gave or stands above the table."""
    if not context.table.of("site") and context.rows.section_field not in ("board", "tested_at"):
        section = context.codes(_trimmed(context.sections(out["device"])))
        within = "site" in context.facts and context.rows.section_field != "site"
        name = "location" if within else "site"  # below a stated site, section lines name places within it
        if not context.table.of(name):
            out[name] = np.where(section > 0, section, out[name]).astype(np.int32)
    blank = out["site"] == 0
    out["site"][blank] = context.vocabulary.code(context.site)
