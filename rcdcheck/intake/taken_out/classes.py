"""What kind of device each row is of: rated residual current, RCD type, waveform type, delay, kind."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.cells import whole_columns
from rcdcheck.intake.cells.classes import class_in_line, class_in_words, delay_beside
from rcdcheck.intake.opened.grids import Coded
from rcdcheck.intake.taken_out.context import Context
from rcdcheck.intake.taken_out.settling import option
from rcdcheck.intake.understood.heading_evidence import from_heading
from rcdcheck.intake.understood.ratings import rating_in
from rcdcheck.numbering import Ints, used_codes
from rcdcheck.rules import SHORT_TIME
from rcdcheck.tables import Codes, Mask, Texts

CLASS_FIELDS = ("rcd_type", "waveform_type", "delay")


def take_kinds(context: Context, out: dict[str, Any]) -> None:
    """Kind of device (socket, portable, in a switchboard) and environment: option, fact above the table, column."""
    out["kind"][:] = context.vocabulary.code(context.options.kind)
    if "kind" in context.facts and not context.options.kind:
        fact = np.empty(1, dtype=object)
        fact[0] = context.facts["kind"].value
        out["kind"][:] = context.vocabulary.code(str(whole_columns.read_kinds(fact).value[0]))
    if context.options.environment and not context.table.of("environment"):
        out["environment"][:] = context.vocabulary.code(context.options.environment)
    for column in context.table.of("kind")[:1]:
        cells = context.described(column)
        read = whole_columns.read_kinds(cells)
        said = context.codes(read.value)
        out["kind"] = np.where(said > 0, said, out["kind"]).astype(np.int32)
        context.point(column, read.problem, cells, read.suggestion)


def take_classes(context: Context, out: dict[str, Any]) -> None:
    """RCD type, waveform type and delay: any of their columns may hold a mark of the others ("A S")."""
    for column in context.table.of(*CLASS_FIELDS):
        cells = context.described(column)
        asked = column.meaning.field == "delay"
        cells_told = whole_columns.answers(column.heading, cells) if asked else cells
        read = whole_columns.read_classes(cells_told, context.types)
        against = np.zeros(len(read.problem), dtype=bool)
        for name in CLASS_FIELDS:
            said = context.codes(getattr(read, name))
            against |= _contradicts(context, out[name], said)
            out[name] = np.where((out[name] == 0) & (said > 0), said, out[name]).astype(np.int32)
        context.point(column, np.where(against, CONTRADICTED, read.problem).astype(object), cells, read.suggestion)
    _unread_classes(context)
    _class_by_section(context, out)
    _stated_class(context, out)
    _told_in_words(context, out)


CONTRADICTED = "classes-contradict"


def _contradicts(context: Context, known: Codes, said: Codes) -> Mask:
    """Whether a cell says another type than one before it; a device with a short-time delay is a general one too."""
    general = [context.vocabulary.code("general"), context.vocabulary.code(SHORT_TIME)]
    alike = np.isin(known, general) & np.isin(said, general)
    result: Mask = (known > 0) & (said > 0) & (known != said) & ~alike
    return result


def _unread_classes(context: Context) -> None:
    """Cells that could only be a class ("VII", "?") below "RCD type", where the column was taken for descriptions."""
    for column in context.table.of("model"):
        if "rcd_type" not in {c.meaning.field for c in from_heading(column.heading)}:
            continue
        cells = context.described(column)
        codes, distinct = cells.parted()
        told = [_UNREAD_CLASS.fullmatch(as_typed(t)) is not None for t in distinct]
        code = np.where(np.array([*told, False], dtype=bool)[codes], "entry-not-understood", "").astype(object)
        context.point(column, code, cells, np.full(len(code), "", dtype=object))


_UNREAD_CLASS = re.compile(
    r"\s*(?:[?IVX]{1,5}|illegible|unreadable|unleserlich|illisible|ilegible|illeggibile|onleesbaar)\s*", re.IGNORECASE
)


def _told_in_words(context: Context, out: dict[str, Any]) -> None:
    """ "type S" among the remarks, or "RCCB 4P selective" in a description, is the type of its device where no column
    asks for one; "not S" says nothing."""
    if context.table.of(*CLASS_FIELDS, "class"):
        return
    for column in context.table.of("remark", *DESCRIBES):
        words = _typed_words if column.meaning.field == "remark" else partial(class_in_words, names=context.types)
        own = context.grid.columns[column.number]
        used, codes = used_codes(own.codes[context.at])
        whole = _worded(own, used, words)
        if not (whole != "").any():
            continue
        read = whole_columns.read_classes(whole, context.types)
        told = ((read.rcd_type != "") | (read.waveform_type != "") | (read.delay != ""))[codes]
        if not told.any():
            continue
        for name in CLASS_FIELDS:
            said = context.codes(getattr(read, name)[codes])
            out[name] = np.where((out[name] == 0) & (said > 0), said, out[name]).astype(np.int32)
        cells = "1 cell" if told.sum() == 1 else f"{told.sum():,} cells"
        context.say(column, (("type-told-by-remark", {"cells": cells, "example": whole[codes[told.argmax()]]}),))


def _worded(own: Coded, codes: Ints, words: Callable[[str], str]) -> Texts:
    """The words for a class that the cells with these codes hold, empty where they hold none."""
    whole = np.full(len(codes), "", dtype=object)
    some = own.ask(lambda cell: words(as_typed(cell)) != "", codes)
    whole[some] = [words(as_typed(cell)) for cell in own.distinct[codes[some]]]
    return whole


def _typed_words(text: str) -> str:
    """A remark that names a type, without the signs around it; else empty."""
    return text.strip(" .!") if _TYPED.search(text) else ""


_TYPED = re.compile(r"\btyp[eo]?\b|selective|selektiv|sélectif|selectivo|selettivo|selectief|seletivo", re.IGNORECASE)


DESCRIBES = ("model", "circuit", "device", "location", "kind")  # columns in whose words a rating may stand


def _rated_in_words(context: Context, out: dict[str, Any]) -> None:
    """A rating in the words of a row ("Plant (100 mA)", "RCCB 100mA") is its own; beside another it is contradicted."""
    own = context.table.of("rated_residual_current")
    stated = ~context.cells(own[0]).blank if own else np.zeros(len(context.at), dtype=bool)
    for column in context.table.of(*DESCRIBES, "remark"):
        said = _rating_alone if column.meaning.field == "remark" else rating_in
        cells = context.described(column)
        used, codes = used_codes(cells.codes)
        some = np.flatnonzero(cells.ask(lambda cell: isinstance(cell, str) and "m" in cell.casefold(), used))
        told = np.full(len(used), "", dtype=object)
        told[some] = [said(t) for t in cells.distinct[used[some]]]
        if not any(told[some]):
            continue
        values = whole_columns.read_rated(told, "").value[codes]
        here, rated = np.isfinite(values), out["rated_residual_current"]
        against = here & stated & np.isfinite(rated) & (values != rated)
        code = np.where(against, "rating-contradicts-words", "").astype(object)
        wrong = [c for c in (column, *own[:1]) if c.meaning.field != "device"]
        offers = [option(context.grid, context.table, c, "ignore") for c in wrong]
        context.point(column, code, cells, np.full(len(code), " or ".join(offers), dtype=object))
        out["rated_unreadable"] |= against
        out["rated_residual_current"] = np.where(here & ~stated & ~out["rated_unreadable"], values, rated)


def _rating_alone(remark: str) -> str:
    """The rating that is all that a remark says ("100mA", "RCD rated 300 mA"): others may tell what was measured."""
    return rating_in(remark) if _ONLY_RATED.fullmatch(remark) else ""


_ONLY_RATED = re.compile(
    r"\W*(?:(?:rcd|rcbo|rated|rating|this (?:one )?is|type s|selective)\W+)*[\d.,]+\s?m?A\W*(?:rcd|rcbo|type s)?\W*",
    re.IGNORECASE,
)


def _rated_by_section(context: Context, out: dict[str, Any]) -> None:
    """A rating that a section line states ("Lab, 10 mA") holds for the rows below it that state none themselves."""
    lines = context.rows.rated[context.at - context.table.start]
    codes, distinct = pd.factorize(lines)
    told = [rating_in(str(t)) if t else "" for t in distinct]
    if not any(told):
        return
    values = whole_columns.read_rated(np.array(told, dtype=object), "").value[codes]
    own = context.table.of("rated_residual_current")
    blank = context.cells(own[0]).blank if own else np.ones(len(codes), dtype=bool)
    here = blank & ~np.isnan(values) & ~out["rated_unreadable"]
    out["rated_residual_current"] = np.where(here, values, out["rated_residual_current"])


def _class_by_section(context: Context, out: dict[str, Any]) -> None:
    """A class that a section line states beside its rating ("100 mA, type S") holds for the rows below it."""
    codes, lines = pd.factorize(context.rows.rated[context.at - context.table.start])
    told = np.array([class_in_line(str(line), context.types) for line in lines], dtype=object)
    if not any(told):
        return
    read = whole_columns.read_classes(told, context.types)
    for name in CLASS_FIELDS:
        said = context.codes(getattr(read, name))[codes]
        out[name] = np.where((out[name] == 0) & (said > 0), said, out[name]).astype(np.int32)


def _stated_class(context: Context, out: dict[str, Any]) -> None:
    """An RCD type above the table, for the rows whose columns leave it open."""
    fact = context.facts.get("rcd_type")
    if fact is None:
        return
    cells = np.empty(1, dtype=object)
    cells[0] = fact.value
    read = whole_columns.read_classes(cells, context.types)
    for name in CLASS_FIELDS:
        code = context.vocabulary.code(str(getattr(read, name)[0]))
        out[name] = np.where(out[name] == 0, code, out[name]).astype(np.int32)


def take_unsure_classes(context: Context, out: dict[str, Any]) -> None:
    """A column headed only "class" is the RCD type if every row agrees with its rated current, else insulation."""
    for column in context.table.of("class")[:1]:
        said = whole_columns.read_classes(context.described(column), context.types).rcd_type
        if not (said != "").any():
            continue
        rated = out["rated_residual_current"]
        by_rating = np.select([rated <= 10, rated <= 30, rated > 30], ["I", "II", "III"], "").astype(object)
        agrees = (np.where(said == "IV", "III", said) == by_rating) | np.isin(said, ["", *context.types.values()])
        if agrees.all():
            out["rcd_type"] = np.where(out["rcd_type"] == 0, context.codes(said), out["rcd_type"]).astype(np.int32)
        code = "class-read-as-rcd-type" if agrees.all() else "class-read-as-insulation"
        context.say(column, ((code, {}),))


def take_ratings(context: Context, out: dict[str, Any], assumed: dict[str, str]) -> None:
    """Rated residual current in mA: from its column, else from a section line, else assumed or stated above."""
    for column in context.table.of("rated_residual_current")[:1]:
        cells = context.described(column)
        read = whole_columns.read_rated(cells, column.meaning.unit)
        out["rated_residual_current"] = read.value
        out["rated_unreadable"] = (read.problem != "") & np.isnan(read.value)
        marked = context.codes(_selective_marks(cells))
        against = _contradicts(context, out["delay"], marked)
        out["delay"] = np.where(out["delay"] == 0, marked, out["delay"]).astype(np.int32)
        context.point(column, np.where(against, CONTRADICTED, read.problem).astype(object), cells, read.suggestion)
    above = context.facts.get("rated_residual_current")
    told = assumed.get("rated_residual_current", above.value if above else "")
    if told != "":
        one = np.empty(1, dtype=object)
        one[0] = told
        value = whole_columns.read_rated(one, "").value[0]
        lacking = np.isnan(out["rated_residual_current"]) & ~out["rated_unreadable"]
        out["rated_residual_current"] = np.where(lacking, value, out["rated_residual_current"])
    _rated_by_section(context, out)
    _rated_in_words(context, out)


def _selective_marks(cells: Coded) -> Coded:
    """`selective` where a rating carries the mark of one ("300 mA S"), else empty."""
    return cells.told(
        lambda cell: (
            "selective" if isinstance(cell, str) and delay_beside(_RATING.sub(" ", cell)) == "selective" else ""
        )
    )


_RATING = re.compile(r"\d+(?:[.,]\d+)?\s*(?:m?A\b)?", re.IGNORECASE)
