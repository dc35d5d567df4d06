"""From the rows of one table to tests and readings: wide (a row per outlet), long (a row per reading), mixed.

In a wide table each test row is a test. Where a column says the phase, the multiple or the quantity of its row, rows of
the same device, outlet, date and person form one test, and a reading that would stand twice begins a second test.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.intake.cells import conventions
from rcdcheck.intake.cells.readings import no_access
from rcdcheck.intake.cells.words import says
from rcdcheck.intake.taken_out.context import Context
from rcdcheck.intake.taken_out.descriptions import describe
from rcdcheck.intake.taken_out.swapped_columns import swapped_columns
from rcdcheck.intake.understood.asking import below_rated
from rcdcheck.intake.understood.grammars import Kind, grammars
from rcdcheck.intake.understood.legend import explained
from rcdcheck.intake.understood.meaning import Meaning
from rcdcheck.intake.understood.named_checks import RATED, check_named
from rcdcheck.intake.understood.reading_headings import readings_of
from rcdcheck.intake.understood.tables import Column
from rcdcheck.records import FLAG_FIELDS, ROWS, TEXT_FIELDS, Flag, Mask, Slot, State, Texts, Vocabulary, as_typed

MUST_HOLD = 0.5  # times the rated residual current up to which no device may trip: IEC 61008-1, 5.3.4, from memory
ROW_FIELDS = ("phase", "multiple", "test_current", "quantity", "waveform")  # columns that make a table long or mixed


@dataclass
class Block:
    """What one table gave: tests (dtypes TESTS), readings (dtypes READINGS, test counted inside the block), rows."""

    tests: pd.DataFrame
    readings: pd.DataFrame
    rows: pd.DataFrame


def lay_out(context: Context) -> Block:
    """Tests and readings of one table, or of one outlet of a table whose outlets have columns of their own."""
    per_row = describe(context)
    by_row = _row_fields(context)
    _checks_of_rows(context, per_row, by_row)
    _ratings_of_rows(context, per_row, by_row)
    rated = per_row["rated_residual_current"].to_numpy()
    readings = _readings(context, rated, by_row)
    _add_remarks(context, per_row)
    readings = _without_untested(context, per_row, readings)
    if context.outlet:
        _of_outlet_or_visit(context, per_row)
    test_of_row = _tests_of_rows(per_row, by_row)
    readings["test"] = test_of_row[readings["test"].to_numpy()].astype("int32")
    tests = _merge_rows(per_row, test_of_row, context.vocabulary)
    shown = pd.DataFrame({"sheet": context.sheet, "row": context.numbers, "test": test_of_row, "column": -1})
    return Block(tests, readings.sort_values(["test"], kind="stable", ignore_index=True), shown.astype(ROWS))


def _of_outlet_or_visit(context: Context, per_row: pd.DataFrame) -> None:
    """What the columns of this block are of: the date of a visit, or the name of an outlet."""
    options = context.options
    label = np.array([context.outlet], dtype=object)
    date = conventions.read_dates(label, order=options.date_order, as_of=options.as_of).value[0]
    if np.isnat(date):
        per_row["outlet"] = np.int32(context.vocabulary.code(context.outlet))
    else:
        per_row["tested_at"] = np.full(len(per_row), date, dtype="datetime64[us]")


def _without_untested(context: Context, per_row: pd.DataFrame, readings: pd.DataFrame) -> pd.DataFrame:
    """The readings without "NT" and the like in rows whose remark says that nothing was tested there."""
    remark, text = per_row["remark"].to_numpy(), readings["text"].to_numpy()
    if not (remark > 0).any():
        return readings
    texts = context.vocabulary.frozen()
    used, back = np.unique(remark, return_inverse=True)
    untested = np.array([i > 0 and _says_untested(str(texts[i])) for i in used], dtype=bool)[back]
    here = np.flatnonzero(untested[readings["test"].to_numpy()])
    marked = [i for i in here if says("no_trip_abbreviations", str(texts[text[i]]))]
    return readings.drop(index=marked).reset_index(drop=True) if marked else readings


def _says_untested(remark: str) -> bool:
    return bool(no_access(remark)) or any(says("not_measured", part.strip()) for part in re.split(r"[,;.]", remark))


def _add_remarks(context: Context, per_row: pd.DataFrame) -> None:
    """Words that belong to a row beside its remark: of its reading cells, of the rows that go on with it, RE-TESTS."""
    extra: dict[int, list[str]] = {i: [text] for i, text in context.said.items()}
    place = {int(at) - context.table.start: i for i, at in enumerate(context.at)}
    for row, test in context.rows.continued.items():
        cells = [as_typed(c) for c in context.grid.row(context.table.start + row) if c != ""]
        extra.setdefault(place[test], []).append(" ".join(cells))
    if len(context.rows.repeats) and context.rows.repeats.any():
        for i in np.flatnonzero(context.rows.repeats[context.at - context.table.start]):
            extra.setdefault(int(i), []).append("re-test")
    if not extra:
        return
    texts = context.vocabulary.frozen()
    remark = per_row["remark"].to_numpy().copy()
    for place_of_row, said in extra.items():
        code = int(remark[place_of_row])
        known = str(texts[code]) if code < len(texts) else ""
        remark[place_of_row] = context.vocabulary.code("; ".join(filter(None, [known, *said])))
    per_row["remark"] = remark


# ── readings ──
def _row_fields(context: Context) -> dict[str, Any]:
    """Phase, multiple, test current, quantity and waveform of each row, where columns state them."""
    out: dict[str, Any] = {}
    readers = {
        "phase": conventions.read_phases,
        "quantity": conventions.read_quantities,
        "waveform": conventions.read_waveforms,
    }
    for name, read_column in readers.items():
        for column in context.table.of(name)[:1]:
            cells = context.described(column)
            read = read_column(cells)
            out[name] = read.value
            problem = read.problem
            if name == "quantity":
                out["check"] = _named_checks(context, cells, out)
                known = _as_headings(cells, out) | (out["check"] != "")
                problem = np.where(known, "", problem).astype(object)
            context.point(column, problem, cells, read.suggestion)
    for column in context.table.of("multiple", "test_current"):
        cells = context.described(column)
        multiples = conventions.read_multiples(cells, test_current=column.meaning.field == "test_current",
                                          unit=column.meaning.unit)  # fmt: skip
        out["multiple"], out["test_current"] = multiples.multiple, multiples.test_current
        ramps = conventions.read_quantities(np.where(multiples.problem != "", cells, "").astype(object)).value
        if (ramps != "").any():  # "ramp" in the place of a multiple
            out["quantity"] = np.where(ramps != "", ramps, out.get("quantity", ramps)).astype(object)
        context.point(column, np.where(ramps != "", "", multiples.problem).astype(object), cells, multiples.suggestion)
    return out


def _named_checks(context: Context, cells: Texts, out: dict[str, Any]) -> Texts:
    """ "visual", "push_button" or RATED where a row says that its value is one of these, else empty; shape (n,).

    "IΔn" names a rating only beside a value that can be one, and no phase: else it is the current of a test.
    """
    codes, distinct = pd.factorize(cells)
    said = [check_named(as_typed(c)) for c in distinct]
    result: Texts = np.array([*said, ""], dtype=object)[codes]
    rated = result == RATED
    for column in context.table.of("value")[:1] if rated.any() else ():
        values, kinds = pd.factorize(_with_units(context, context.cells(column)))
        rating = np.array([bool(grammars(c) & Kind.RATED) for c in kinds] or [False], dtype=bool)[values]
        rated &= rating & (out.get("phase", np.full(len(cells), "", dtype=object)) == "")
        return np.where((result == RATED) & ~rated, "", result).astype(object)
    return np.where(rated, "", result).astype(object)


def _ratings_of_rows(context: Context, per_row: pd.DataFrame, by_row: dict[str, Any]) -> None:
    """Rows of a long table whose value is the rated current ("rated | 30 mA"): it holds for all rows of the device."""
    check = by_row.get("check")
    if check is None or not (check == RATED).any():
        return
    column = context.table.of("value")[0]
    cells = np.where(check == RATED, _with_units(context, context.cells(column)), "").astype(object)
    read = conventions.read_rated(cells, "")
    context.point(column, read.problem, cells, read.suggestion)
    named = per_row[["site", "board", "device", "outlet"]]
    told = pd.Series(np.where(check == RATED, read.value, np.nan)).groupby([named[c] for c in named]).transform("first")
    own = per_row["rated_residual_current"]
    per_row["rated_residual_current"] = own.where(own.notna(), told)


def _as_headings(cells: Texts, out: dict[str, Any]) -> Mask:
    """A cell such as "Trip time 5x 180°" says of its row what a heading says of a column; where it was read so."""
    codes, distinct = pd.factorize(cells)
    told = [readings_of(as_typed(c)) if c != "" else [] for c in distinct]
    found = [t[0].meaning if len(t) == 1 or (t and t[0].weight > t[1].weight) else Meaning("") for t in told]
    slots = [m.slot if m.field == "reading" else None for m in found]
    known = np.array([s is not None for s in slots] or [False], dtype=bool)[codes]
    for name, words in (
        ("quantity", [s.quantity if s else "" for s in slots]),
        ("phase", [s.phase if s and s.phase != "none" else "" for s in slots]),
    ):
        texts = np.array([*words, ""], dtype=object)[codes]
        out[name] = np.where(texts != "", texts, out.get(name, texts)).astype(object)
    said = [s.multiple if s and m.multiple_said else np.nan for s, m in zip(slots, found, strict=True)]
    if np.isfinite(said).any():
        out["multiple"] = np.array(said)[codes]
        out["test_current"] = np.array([m.test_current for m in found])[codes]
    return known


def _checks_of_rows(context: Context, per_row: pd.DataFrame, by_row: dict[str, Any]) -> None:
    """Rows of a long table whose value is a check ("Visual | Pass"): the value is the flag, and no reading."""
    check = by_row.get("check")
    if check is None or not (check != "").any():
        return
    for name in ("visual", "push_button"):
        here = check == name
        for column in context.table.of("value", "reading", "declared")[:1]:
            cells = np.where(here, context.cells(column), "").astype(object)
            read = conventions.read_flags(cells, button=name == "push_button")
            per_row[name] = np.where(here, read.flag, per_row[name]).astype(np.int8)
            context.point(column, np.where(here, read.problem, "").astype(object), cells, read.suggestion)


def _readings(context: Context, rated: npt.NDArray[np.float64], by_row: dict[str, Any]) -> pd.DataFrame:
    """All readings of the table; column `test` holds the row's place among the test rows for now."""
    parts = []
    refused = swapped_columns(context, rated)
    for column in context.table.readings:
        below_rated = column.meaning.slot is not None and 0 < column.meaning.slot.multiple < 1
        cells = context.described(column) if below_rated else context.cells(column)  # there dittos stand for words
        if column.meaning.field == "pair":
            parts += _pair(context, column, cells, rated, by_row)
        else:
            refuse = column.number in refused
            parts.append(_reading_column(context, column, cells, rated, by_row, None, refuse=refuse))
    return pd.concat(parts, ignore_index=True) if parts else _no_readings()


def _no_readings() -> pd.DataFrame:
    from rcdcheck.records import READINGS, empty

    return empty(READINGS)


def _pair(
    context: Context, column: Column, cells: Texts, rated: npt.NDArray[np.float64], by_row: dict[str, Any]
) -> list[pd.DataFrame]:
    """A column "0°/180°" holds two readings a cell; a cell that is no pair is one reading of unknown phase."""
    codes, distinct = pd.factorize(cells)
    pairs = [conventions.split_pair(c) for c in distinct]
    parts = []
    for side, phase in enumerate(("0", "180")):
        halves = np.array([p[side] if p else "" for p in pairs] or [""], dtype=object)
        parts.append(_reading_column(context, column, halves[codes], rated, by_row, phase, typed=cells))
    rest = np.array([c if p is None else "" for c, p in zip(distinct, pairs, strict=True)] or [""], dtype=object)
    parts.append(_reading_column(context, column, rest[codes], rated, by_row, None))
    return parts


def _reading_column(
    context: Context,
    column: Column,
    cells: Texts,
    rated: npt.NDArray[np.float64],
    by_row: dict[str, Any],
    phase: str | None,
    typed: Texts | None = None,
    refuse: bool = False,
) -> pd.DataFrame:
    slot = column.meaning.slot or Slot("trip_time", 1.0)
    stated = {name: str(context.facts[name].value) for name in ("unit", "phase", "multiple") if name in context.facts}
    if slot.quantity == "trip_time" and "multiple" in stated and not column.meaning.multiple_said:
        slot = slot._replace(multiple=float(stated["multiple"]))
    if slot.quantity == "trip_time" and slot.phase == "none" and phase is None and "phase" not in by_row:
        slot = slot._replace(phase=stated.get("phase", "none"))
    if "check" in by_row:
        cells = np.where(by_row["check"] != "", "", cells).astype(object)
    cells = _with_units(context, _explained(context, cells))
    quantity = np.full(len(cells), slot.quantity, dtype=object)
    if column.meaning.field == "value" and "quantity" in by_row:
        quantity = np.where(by_row["quantity"] != "", by_row["quantity"], quantity)
    parts = []
    for name in pd.unique(quantity):
        here = np.where(quantity == name, cells, "").astype(object)
        read = conventions.read_readings(
            here,
            quantity=name,
            unit=column.meaning.unit or (stated.get("unit", "") if name == "trip_time" else ""),
            rated=rated,
            confirmed=refuse or (column.confirmed and bool(column.meaning.unit)),
            test_current=column.meaning.test_current,
        )
        if refuse:  # the finding on the column says why
            read = read.refused(read.present, "", read.suggestion[read.present])
        if 0 < slot.multiple < 1:
            read = _tripped_below_rated(read, here, column.heading, slot.multiple)
        problem, typed_here = _special(context, column, read, cells if typed is None else typed)
        _set_aside_no_access(context, read, problem, typed_here)
        context.point(column, problem, typed_here, read.suggestion)
        context.point(column, read.note, typed_here, read.remark)
        context.say(column, read.column_notes)
        parts.append(_frame(context, column, read, typed_here, _of_quantity(slot, name), by_row, phase))
    return pd.concat(parts, ignore_index=True) if len(parts) > 1 else parts[0]


def _explained(context: Context, cells: Texts) -> Texts:
    """Cells with the marks that the sheet itself explains as "not tested" or "no trip" replaced by these."""
    plain = {Kind.UNMEASURED: "", Kind.NO_TRIP: "no trip"}
    if not set(plain) & set(context.legend.values()):
        return cells
    codes, distinct = pd.factorize(cells)
    told = [plain.get(explained(c, context.legend), c) for c in distinct]
    kept: Texts = np.array([*told, ""], dtype=object)[codes]
    return kept


def _of_quantity(slot: Slot, quantity: str) -> Slot:
    """The slot of a value that its row says to be of this quantity; a ramp has no multiple."""
    return slot._replace(quantity=quantity, multiple=0.0 if quantity == "trip_current" else slot.multiple)


def _tripped_below_rated(
    read: conventions.ReadingColumn, cells: Texts, heading: str, multiple: float
) -> conventions.ReadingColumn:
    """Below the rated current words do: "tripped" is a reading, since no time is needed there to fail, and up to half
    of it "OK" says that it held. The bare end of a display is no hold: it may be a time, or have lost its ">"."""
    codes, distinct = pd.factorize(cells)
    must_hold = multiple <= MUST_HOLD  # above it a device may trip, and "OK" and "fail" say too little
    told = np.array([*(below_rated(c, heading) for c in distinct), ""], dtype=object)[codes]
    plain = np.array([isinstance(c, str) and says("tripped", c) for c in distinct] or [False], dtype=bool)[codes]
    worded = read.problem == "declared-not-measured"
    tripped, held = worded & (plain | (must_hold & (told == "tripped"))), worded & must_hold & (told == "held")
    bare_end = read.note == "over-range-number"
    if not (tripped | held | bare_end).any():
        return read
    state, problem, note = read.state.copy(), read.problem.copy(), read.note.copy()
    state[held], state[tripped | bare_end], problem[tripped | held] = State.NOT_TRIPPED, State.TRIPPED, ""
    note[held], note[bare_end] = "held-in-words", ""
    return replace(read, state=state, problem=problem, note=note)


def _with_units(context: Context, cells: Texts) -> Texts:
    """Cells with the unit that a column of units gives them ("0.31" beside "s" is "0.31 s")."""
    for column in context.table.of("unit")[:1]:
        codes, distinct = pd.factorize(context.described(column))
        units = np.array([*(as_typed(c).strip() for c in distinct), ""], dtype=object)[codes]
        plain = np.array([isinstance(c, float) or bool(_ONLY_NUMBER.fullmatch(as_typed(c))) for c in cells], dtype=bool)
        some = plain & (units != "")
        cells = cells.copy()
        cells[some] = [f"{as_typed(c)} {u}" for c, u in zip(cells[some], units[some], strict=True)]
    return cells


_ONLY_NUMBER = re.compile(r"\s*[<>]?\s*\d+(?:[.,]\d+)?\s*")


def _set_aside_no_access(context: Context, read: conventions.ReadingColumn, problem: Texts, typed: Texts) -> None:
    """ "Locked" where a reading should stand is no reading: kept as a remark of its row."""
    at = np.flatnonzero(problem != "")
    codes, distinct = pd.factorize(typed[at])
    said = np.array([isinstance(t, str) and bool(no_access(t)) for t in distinct], dtype=bool)
    for i in at[said[codes]] if len(at) else ():
        read.present[i], problem[i] = False, ""
        context.said[int(i)] = str(typed[i])


def _special(context: Context, column: Column, read: conventions.ReadingColumn, typed: Texts) -> tuple[Texts, Texts]:
    """Problems of a reading column with error cells and formulas without a stored value taken into account."""
    problem, shown = read.problem.copy(), typed.copy()
    special = context.grid.special
    if not len(special):
        return problem, shown
    special = special[special["column"] == column.number]
    for kind, code in (("error", "error-cell"), ("formula_without_value", "formula-without-value")):
        mine = special[special["kind"] == kind]
        here = pd.Index(context.numbers).get_indexer(mine["row"])
        at, texts = here[here >= 0], mine["text"].to_numpy()[here >= 0]
        problem[at], shown[at] = code, texts
        read.present[at], read.state[at], read.value[at] = True, State.UNREADABLE, np.nan
    return problem, shown


def _frame(
    context: Context,
    column: Column,
    read: conventions.ReadingColumn,
    typed: Texts,
    slot: Slot,
    by_row: dict[str, Any],
    phase: str | None,
) -> pd.DataFrame:
    at = np.flatnonzero(read.present)
    current = np.full(len(typed), column.meaning.test_current)
    if "test_current" in by_row and not np.isfinite(column.meaning.test_current):
        current = by_row["test_current"]
    return pd.DataFrame(
        {
            "test": at.astype(np.int32),
            "slot": _slot_codes(context, slot, by_row, phase, len(typed))[at],
            "value": read.value[at],
            "state": read.state[at],
            "bound": read.bound[at],
            "test_current": current[at],
            "text": context.codes(typed[at]),
            "row": context.numbers[at].astype(np.int32),
            "column": np.full(len(at), column.number, dtype=np.int16),
        }
    )


def _slot_codes(
    context: Context, slot: Slot, by_row: dict[str, Any], phase: str | None, n: int
) -> npt.NDArray[np.int16]:
    """Slot of each row: what the heading says, completed by what the row says."""
    if not by_row:
        return np.full(n, _slot_code(context.slots, slot._replace(phase=phase or slot.phase)), dtype=np.int16)
    phases = np.full(n, phase or slot.phase, dtype=object)
    if phase is None and slot.phase == "none" and "phase" in by_row:
        phases = np.where(by_row["phase"] != "", by_row["phase"], "none").astype(object)
    multiples = np.full(n, slot.multiple)
    if slot.quantity == "trip_time" and "multiple" in by_row:
        stated = np.isfinite(by_row["multiple"]) | np.isfinite(by_row["test_current"])
        multiples = np.where(stated, by_row["multiple"], multiples)
    waves = np.full(n, slot.waveform, dtype=object)
    if slot.waveform == "ac" and "waveform" in by_row:
        waves = np.where(by_row["waveform"] != "", by_row["waveform"], "ac").astype(object)
    coded, distinct = pd.factorize(pd.MultiIndex.from_arrays([multiples, phases, waves]))
    found = [_slot_code(context.slots, Slot(slot.quantity, float(m), str(p), str(w))) for m, p, w in distinct]
    result: npt.NDArray[np.int16] = np.array(found or [0], dtype=np.int16)[coded]
    return result


def _slot_code(slots: dict[Slot, int], slot: Slot) -> int:
    if np.isnan(slot.multiple):  # NaN never equals itself: keep one of each
        known = [s for s in slots if np.isnan(s.multiple) and s[0] == slot[0] and s[2:] == slot[2:]]
        slot = known[0] if known else slot
    return slots.setdefault(slot, len(slots))


# ── rows into tests ──
def _tests_of_rows(per_row: pd.DataFrame, by_row: dict[str, Any]) -> npt.NDArray[np.int32]:
    """Number of the test that each row belongs to, counted from 0 in order of first rows."""
    n = len(per_row)
    if not any(name in by_row for name in ROW_FIELDS):
        return np.arange(n, dtype=np.int32)
    keys = ["site", "board", "device", "outlet", "technician", "instrument"]
    key = per_row[keys].assign(day=per_row["tested_at"].to_numpy().astype("datetime64[D]"))
    alone = key["device"].to_numpy() == 0  # unnamed rows stand alone
    key["device"] = np.where(alone, -1 - np.arange(n), key["device"].to_numpy())
    signature = pd.DataFrame({k: v for k, v in by_row.items() if k in ROW_FIELDS}, index=key.index)
    whole = pd.concat([key, signature], axis=1)
    again = whole.groupby(list(whole), dropna=False, sort=False).cumcount()
    return key.assign(again=again).groupby([*key, "again"], dropna=False, sort=False).ngroup().to_numpy(np.int32)


def _merge_rows(per_row: pd.DataFrame, test_of_row: npt.NDArray[np.int32], vocabulary: Vocabulary) -> pd.DataFrame:
    """One row for each test: the first statement of each field, the worst flag, all remarks."""
    if len(per_row) == (test_of_row.max() + 1 if len(test_of_row) else 0):
        return per_row
    stated = per_row.copy()
    for name in TEXT_FIELDS:
        stated[name] = stated[name].where(stated[name] > 0)
    tests = stated.groupby(test_of_row).first()
    for name in FLAG_FIELDS:
        severity = per_row[name].map({Flag.ABSENT: 0, Flag.BLANK: 1, Flag.PASS: 2, Flag.UNCLEAR: 3, Flag.FAIL: 4})
        worst = severity.groupby(test_of_row).max()
        tests[name] = worst.map({0: Flag.ABSENT, 1: Flag.BLANK, 2: Flag.PASS, 3: Flag.UNCLEAR, 4: Flag.FAIL}).astype(
            "int8"
        )
    for name in TEXT_FIELDS:
        tests[name] = tests[name].fillna(0).astype("int32")
    for name in ("remark", "remedy"):
        _join_texts(per_row, test_of_row, tests, name, vocabulary)
    return tests.reset_index(drop=True)


def _join_texts(
    per_row: pd.DataFrame,
    test_of_row: npt.NDArray[np.int32],
    tests: pd.DataFrame,
    name: str,
    vocabulary: Vocabulary,
) -> None:
    some = per_row[name].to_numpy() > 0
    distinct = pd.DataFrame({"test": test_of_row[some], "code": per_row[name].to_numpy()[some]}).drop_duplicates()
    several = distinct[distinct.duplicated("test", keep=False)]
    if len(several):
        texts = vocabulary.frozen()
        for test, group in several.groupby("test"):
            tests.loc[test, name] = vocabulary.code("; ".join(texts[group["code"].to_numpy()]))
