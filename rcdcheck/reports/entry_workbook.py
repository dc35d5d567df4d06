"""The workbook to type tests into: headings with units, drop-downs, input messages and checks, from the entry schema.

A sheet made so is read without a question. The checks warn and let pass: "no trip" and ">300" are readings too.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Literal

from rcdcheck import data
from rcdcheck.as_seen import column_letters
from rcdcheck.reports.excel import style
from rcdcheck.reports.excel.tables import Block, Column, Sheet
from rcdcheck.reports.excel.writer import Book
from rcdcheck.reports.wording import CAUTIONS
from rcdcheck.rules import Need, RuleSet
from rcdcheck.sheet_fields import NUMBER_FIELDS
from rcdcheck.terms import slot_named

if TYPE_CHECKING:
    from openpyxl.worksheet.datavalidation import DataValidation

KEYWORDS = "rcdcheck-entry"  # by which intake knows that the notes hold no tests
FIRST = ("device", "location", "rated_residual_current", "visual", "push_button")  # with readings and these, ten
THEN, LAST_SHOWN = ("tested_at", "technician", "remark"), ("remedy",)
PRINTED = 32  # rows of a printed page
BY_HAND = 27  # height of a row in points, to be written in on paper too
HEAD, LAST = 5, 2000  # row of the headings, below a blank one; last row with checks
TRACE = ("rated_residual_current", "visual", "technician", "instrument", "tested_at")  # what a good record states
WIDE = {"remark": 40, "remedy": 24, "location": 24, "model": 22, "site": 18, "tested_at": 18}
NARROW = 13
LONGEST_PROMPT, LONGEST_LIST, LONGEST_CELL = 255, 255, 32_767
NO_LIMIT = 10**9  # beyond any number of a field that declares no limit
Field = Mapping[str, Any]
Check = Literal["list", "date", "custom", "textLength"]


def entry_workbook(rules: RuleSet, rows: Sequence[Mapping[str, object]] = ()) -> Iterable[bytes]:
    """The workbook for a rule set, empty or begun with `rows` (field of the schema → value)."""
    book = Book("Residual current device tests", KEYWORDS, None)
    fields = ordered(rules)
    _tests(book.book.create_sheet("Tests"), fields, rules, rows)
    book.add(_notes(fields, rules))
    return book.pieces()


def ordered(rules: RuleSet) -> list[Field]:
    """The columns in the order of the workbook: what a contractor fills in first, then what is folded away."""
    fields = {field["name"]: field for field in data.document("test-sheet.json")["fields"]}
    readings = [name for name, field in fields.items() if slot_named(name) and needed(field, rules)]
    first = [*FIRST, *readings, *THEN]
    first += [name for name, field in fields.items() if needed(field, rules) and name not in first]
    first += [name for name in LAST_SHOWN if name not in first]
    return [fields[name] for name in (*first, *(name for name in fields if name not in first))]


def shown(rules: RuleSet) -> int:
    """How many columns are not folded: the contractor's, whatever else is needed, and the remedy."""
    names = [field["name"] for field in ordered(rules)]
    return names.index(LAST_SHOWN[-1]) + 1


def _tests(ws: Any, fields: Sequence[Field], rules: RuleSet, rows: Sequence[Mapping[str, object]]) -> None:
    first = shown(rules)
    for number, field in enumerate(fields):
        column = ws.column_dimensions[column_letters(number)]
        column.width = WIDE.get(field["name"], NARROW)
        column.number_format = _format(field)
        if number >= first:
            column.outlineLevel, column.hidden = 1, True
    beside = ws.column_dimensions[column_letters(len(fields))]  # carries the sign that unfolds
    beside.width, beside.collapsed = NARROW, True
    ws.freeze_panes = f"B{HEAD + 1}"
    ws.print_title_rows = f"{HEAD}:{HEAD}"
    style.print_set_up(ws)
    ws.print_options.gridLines = True
    ws.sheet_format.defaultRowHeight, ws.sheet_format.customHeight = BY_HAND, True
    ws.print_area = f"A1:{column_letters(first - 1)}{max(PRINTED, HEAD + len(rows))}"
    ws.row_dimensions[HEAD].height = 4 * style.LINE
    ws.append([_said(ws, "title", "Residual current device tests")])
    ws.append([_said(ws, "line", "One row for each test of each outlet, as the instrument showed it. * is needed.")])
    ws.append(
        [_said(ws, "line", f"Rules: {rules.title}. More columns are folded at the right; the notes explain all.")]
    )
    ws.append([])
    ws.append([_said(ws, "head" if needed(f, rules) else "head pale", heading(f, rules)) for f in fields])
    for row in rows:
        ws.append([_value(ws, field, row.get(field["name"])) for field in fields])
    for number, field in enumerate(fields):
        ws.data_validations.append(_check(field, rules, column_letters(number)))


def heading(field: Field, rules: RuleSet) -> str:
    """`Trip time 1×, 0° (ms) *`: title, unit, and a star where it is needed."""
    unit = f" ({field['unit']})" if "unit" in field else ""
    return field["title"] + unit + (" *" if needed(field, rules) else "")


def needed(field: Field, rules: RuleSet) -> str:
    """Why a column is needed, in words; empty where it is not."""
    if field.get("constraints", {}).get("required"):
        return "needed"
    if field["name"] in TRACE:
        return "needed for a record that can be relied on"
    return next((_demand(need) for need in rules.needs if _meets(field["name"], need)), "")


def example(field: Field, rules: RuleSet) -> str:
    """What a person might type: the example of the schema, moved to a device that the rule set covers."""
    text: str = field["example"]
    if rules.possible_types(30, "", ""):
        return text
    rated = max(rules.preferred_ratings)
    other = {"rated_residual_current": f"{rated:g}", "trip_current": f"{0.75 * rated:g}", "rcd_type": ""}
    return other.get(field["name"], text)


def _meets(name: str, need: Need) -> bool:
    slot = slot_named(name)
    if slot is None or (slot.quantity, slot.waveform) != (need.quantity, need.waveform):
        return False
    if slot.multiple not in (need.multiple, 0.0) and need.multiple == need.multiple:  # NaN: any
        return False
    return "any" in need.phases or slot.phase in need.phases


def _demand(need: Need) -> str:
    one_of = ": one of these columns is enough" if "any" in need.phases else ""
    return f"needed for a complete test{one_of} ({need.text})"


def _format(field: Field) -> str:
    kinds = {"string": "@", "date": "yyyy-mm-dd", "datetime": "yyyy-mm-dd hh:mm"}
    return kinds.get(field["type"], "General")


def _said(ws: Any, kind: str, text: str) -> Any:
    cell = style.pen(ws, kind)
    cell.value = style.cell_text(text)
    cell.data_type = "s"
    return cell


def _value(ws: Any, field: Field, value: Any) -> Any:
    if value is None:
        return None
    if isinstance(value, str):
        return _said(ws, "id" if field["type"] == "string" else "line", value)
    cell = style.pen(ws, "line")
    cell.value, cell.number_format = value, _format(field)
    return cell


def _check(field: Field, rules: RuleSet, letters: str) -> DataValidation:
    from openpyxl.worksheet.datavalidation import DataValidation

    kind, formula, said = _condition(field, rules, f"{letters}{HEAD + 1}")
    check = DataValidation(
        type=kind,
        formula1=formula,
        errorStyle="stop" if field["name"] == "rated_residual_current" else "warning",
        allow_blank=True,
        showErrorMessage=True,
        showInputMessage=True,
    )
    check.operator = "greaterThanOrEqual" if kind == "date" else "lessThanOrEqual" if kind == "textLength" else None
    check.promptTitle, check.prompt = field["title"][:32], _prompt(field, rules)[:LONGEST_PROMPT]
    check.errorTitle, check.error = "Please look again", said
    check.add(f"{letters}{HEAD + 1}:{letters}{LAST}")
    return check


def _condition(field: Field, rules: RuleSet, first: str) -> tuple[Check, str, str]:
    """Kind of check, its formula for the first cell, and the sentence shown where it is not met."""
    limits = field.get("constraints", {})
    choices = _choices(field, rules)
    if choices:
        return "list", f'"{",".join(choices)}"', f"Usual here: {', '.join(choices)}."
    if field["type"] in ("date", "datetime"):
        return "date", "DATE(1990,1,1)", "Write a date, for instance 2026-11-20; with the time where known."
    if field["name"] in NUMBER_FIELDS:
        least, most = limits.get("minimum", -NO_LIMIT), limits.get("maximum", NO_LIMIT)
        number = f"AND(ISNUMBER({first}),{first}>={least},{first}<={most})"
        return "custom", number, f"Write a number of {field['unit']}." if "unit" in field else "Write a number."
    if field["type"] == "number":
        number = f"AND(ISNUMBER({first}),{first}>0,{first}<={limits['maximum']})"
        words = f'ISNUMBER(SEARCH("no",{first})),LEFT({first},1)=">"'
        unit = field.get("unit", "")
        return "custom", f"OR({number},{words})", f"Write a number of {unit}, no trip, or for instance >300."
    most = limits.get("maxLength", LONGEST_CELL)
    return "textLength", str(most), f"At most {most} characters."


def _choices(field: Field, rules: RuleSet) -> list[str]:
    choices = list(field.get("constraints", {}).get("enum", ()))
    if field["name"] == "rated_residual_current":
        choices = [f"{rating:g}" for rating in rules.preferred_ratings]
    if field["name"] == "rcd_type":
        delays = {rcd_type.delay for rcd_type in rules.types}  # several words, or one for a delay, describe a type
        choices = [name for name in rules.typed_names if len(name.split()) == 1 and name not in delays]
    if field["name"] == "environment":
        choices = sorted({interval.environment for interval in rules.intervals})
    return choices if len(",".join(choices)) <= LONGEST_LIST else []


def _prompt(field: Field, rules: RuleSet) -> str:
    why = needed(field, rules)
    return field["description"] + (f" {why[0].upper()}{why[1:]}." if why else "")


def _notes(fields: Sequence[Field], rules: RuleSet) -> Sheet:
    columns = (
        Column("Heading", "text", 34), Column("For example", "id", 20), Column("What to write", "text", 60),
        Column("Choices", "text", 40), Column("Needed", "text", 40),
    )  # fmt: skip
    rows = [
        (heading(f, rules), example(f, rules), f["description"], ", ".join(_choices(f, rules)), needed(f, rules))
        for f in fields
    ]
    blocks = [
        Block("Typing", (Column("How to type", "line", 34),), [(line,) for line in _typing(rules)], "How to type"),
        Block("Cautions", (Column("Caution", "line", 34),), [(line,) for line in CAUTIONS], "Cautions"),
        Block("Example", columns, rows, "Every column, with a filled example"),
    ]
    begin = data.document("test-sheet.json")["notes"]  # by which intake knows these notes
    sentence = f"{begin} for the rules {rules.title} ({rules.document})."
    return Sheet("Notes", "Notes", sentence, blocks, back="Tests")


def _typing(rules: RuleSet) -> Iterator[str]:
    yield "Type what the instrument showed, all digits, without rounding; leave empty what was not measured."
    yield "Write no trip where the device held; the end of a display's range is written with its sign, as >300."
    yield "Test every outlet, and write each in a row of its own with the same device and another outlet."
    yield "A device that failed keeps its row, with what was done under Remedy: replaced, or repaired."
    yield "Then test what is there now in a new row: with the time of day, retest under Remark, or the new serial."
    yield "Both rows stand: the report tells the story, and the later test decides."
    yield from (f"A complete test needs: {need.text}." for need in rules.needs)
    yield f"Then: rcdcheck audit FILE --rules {rules.name}"
