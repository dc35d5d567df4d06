"""The entry workbook: what it asks for, and that it is read back without a question."""

from __future__ import annotations

import datetime as dt
import io
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from excel_books import DAY, opened
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from rcdcheck import data, pipeline, rules
from rcdcheck.as_seen import column_letters
from rcdcheck.options import Options
from rcdcheck.reports.entry_workbook import HEAD, entry_workbook, example, heading, needed, ordered, shown
from rcdcheck.terms import Flag, Outcome, slot_named

FIELDS = data.document("test-sheet.json")["fields"]
BY_NAME = {field["name"]: field for field in FIELDS}
SETS = rules.shipped()


def typed(field: dict[str, Any], name: str) -> object:
    """The example of a field as a person would type it; empty where it has none."""
    text = example(field, rules.load(name))
    if field["type"] == "number" and text != "no trip":
        return float(text)
    if field["type"] in ("date", "datetime") and text:
        return dt.datetime.fromisoformat(text)
    return text or None


def filled(name: str, path: Path, rows: list[dict[str, object]]) -> Path:
    """An entry workbook with rows typed below the headings."""
    book = opened(b"".join(entry_workbook(rules.load(name))))
    for folded in book["Tests"].column_dimensions.values():
        folded.hidden = False  # as who types into them does
    for number, row in enumerate(rows, HEAD + 1):
        for column, field in enumerate(ordered(rules.load(name)), 1):
            book["Tests"].cell(number, column, row.get(field["name"]))
    book.save(path)
    return path


@pytest.mark.parametrize("name", SETS)
def test_every_column_is_understood_and_the_filled_example_raises_no_question(name: str, tmp_path: Path) -> None:
    path = filled(name, tmp_path / "day.xlsx", [{field["name"]: typed(field, name) for field in FIELDS}])
    audit = pipeline.run([str(path)], Options(as_of=DAY, rules=name))
    assert audit.tables.inputs[0].status == "audited", audit.tables.inputs[0].reason
    fields = ordered(rules.load(name))
    assert audit.tables.columns["meaning"].tolist() == [field["name"] for field in fields]
    assert audit.tables.columns["unit"].tolist() == [
        field.get("unit", "") if slot_named(field["name"]) or field["name"] == "rated_residual_current" else ""
        for field in fields
    ]
    assert len(audit.tables.tests) == 1
    asked = set(audit.findings["code"]) - {"credibility-partly-untested", "not-in-rules"}
    assert not asked, audit.findings[["code", "message"]].to_dict("records")
    assert audit.devices["outcome"].tolist() == [Outcome.PASS]


def test_needs_of_the_rule_set_decide_which_readings_are_needed() -> None:
    """BS 7671:2008 as its former users knew it wants 5×; AS/NZS 3760 wants 0° and 180° at rated current."""
    wanted = {
        name: {f["name"] for f in FIELDS if slot_named(f["name"]) and needed(f, rules.load(name))} for name in SETS
    }
    both = {"trip_time_1x_0", "trip_time_1x_180"}
    assert wanted["anz-in-service"] == both
    assert wanted["uk-former"] == both | {"trip_time_5x_0", "trip_time_5x_180"}
    assert wanted["uk-present"] == both
    assert "one of these" in needed(BY_NAME["trip_time_1x_0"], rules.load("uk-present"))
    assert both < wanted["north-america-gfci"]


@pytest.mark.parametrize("name", SETS)
def test_headings_carry_units_and_stars(name: str) -> None:
    ws = opened(b"".join(entry_workbook(rules.load(name))))["Tests"]
    head = [cell.value for cell in ws[HEAD]]
    fields = ordered(rules.load(name))
    assert head == [heading(field, rules.load(name)) for field in fields]
    assert all(f"({field['unit']})" in text for field, text in zip(fields, head, strict=True) if "unit" in field)
    assert ws.freeze_panes == f"B{HEAD + 1}"


def test_every_column_has_a_check_with_words_and_choices_come_as_lists() -> None:
    ws = opened(b"".join(entry_workbook(rules.load("anz-in-service"))))["Tests"]
    checks = {
        str(check.sqref).split(":")[0].rstrip("0123456789"): check for check in ws.data_validations.dataValidation
    }
    assert len(checks) == len(FIELDS)
    for cell, field in zip(ws[HEAD], ordered(rules.load("anz-in-service")), strict=True):
        check = checks[cell.column_letter]
        assert check.showInputMessage
        assert field["description"][:40] in check.prompt
        assert len(check.prompt) <= 255
        assert len(check.promptTitle) <= 32
        if "enum" in field.get("constraints", {}):
            assert check.type == "list"
            assert check.formula1 == f'"{",".join(field["constraints"]["enum"])}"'
    names = [field["name"] for field in ordered(rules.load("anz-in-service"))]
    environment = checks[column_letters(names.index("environment"))]
    assert {interval.environment for interval in rules.load("anz-in-service").intervals} == set(
        environment.formula1.strip('"').split(",")
    )


def test_a_contractors_ten_columns_stand_first_and_the_rest_is_folded_and_prints_on_one_page() -> None:
    rule_set = rules.load("anz-in-service")
    names = [field["name"] for field in ordered(rule_set)]
    assert names[:10] == ["device", "location", "rated_residual_current", "visual", "push_button", "trip_time_1x_0",
                          "trip_time_1x_180", "tested_at", "technician", "remark"]  # fmt: skip
    assert sorted(names) == sorted(BY_NAME)
    ws = opened(b"".join(entry_workbook(rule_set)))["Tests"]
    folded = [ws.column_dimensions[column_letters(n)].hidden for n in range(len(names))]
    assert folded == [n >= shown(rule_set) for n in range(len(names))]
    assert not any(needed(BY_NAME[name], rule_set) for name in names[shown(rule_set) :])
    assert (ws.page_setup.fitToWidth, ws.print_options.gridLines) == (1, True)


def test_the_rated_cell_takes_only_ratings() -> None:
    """IEC 60755: preferred values of the rated residual operating current; the rule set holds those it covers."""
    rule_set = rules.load("anz-in-service")
    ws = opened(b"".join(entry_workbook(rule_set)))["Tests"]
    check = next(c for c in ws.data_validations.dataValidation if str(c.sqref).startswith("C6"))
    assert (check.type, check.errorStyle) == ("list", "stop")
    assert {"10", "30", "100", "300"} <= set(check.formula1.strip('"').split(","))


def test_the_notes_hold_a_filled_example_and_cautions() -> None:
    notes = opened(b"".join(entry_workbook(rules.load("uk-former"))))["Notes"]
    texts = [str(cell.value) for row in notes.iter_rows() for cell in row if cell.value is not None]
    assert all(field["example"] in texts for field in FIELDS if field["example"])
    assert any("no proof that a device is safe" in text for text in texts)


def test_the_workbook_is_input_and_says_nothing_of_when_it_was_made() -> None:
    about = opened(b"".join(entry_workbook(rules.load("uk-former")))).properties
    assert (about.creator, about.keywords) == (None, "rcdcheck-entry")  # nobody is named whom nobody named
    assert b"".join(entry_workbook(rules.load("uk-former"))) == b"".join(entry_workbook(rules.load("uk-former")))


IDENTIFIERS = st.from_regex(r"0{0,2}[1-9A-Z][A-Z0-9]{0,3}-[0-9]{1,3}", fullmatch=True)
TIMES = st.integers(80, 2999).map(lambda n: n / 10)


@settings(
    max_examples=5,
    deadline=None,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.lists(st.tuples(IDENTIFIERS, TIMES, TIMES, st.booleans()), min_size=1, max_size=6, unique_by=lambda r: r[0]))
def test_what_is_typed_is_what_is_read(tmp_path: Path, tests: list[tuple[str, float, float, bool]]) -> None:
    rows: list[dict[str, object]] = [
        {"device": device, "site": "Rink", "rated_residual_current": 30, "trip_time_1x_0": first,
         "trip_time_1x_180": second, "visual": "pass" if good else "fail", "technician": "A. Snowfield",
         "tested_at": dt.datetime(2026, 11, 20, 9, n)}
        for n, (device, first, second, good) in enumerate(tests)
    ]  # fmt: skip
    audit = pipeline.run([str(filled("anz-in-service", tmp_path / "day.xlsx", rows))], Options(as_of=DAY))
    read = audit.tables.text_fields(audit.tables.tests)
    assert read["device"].tolist() == [row["device"] for row in rows]
    assert read["site"].tolist() == ["Rink"] * len(rows)
    assert read["tested_at"].tolist() == [row["tested_at"] for row in rows]
    assert [Flag(flag) == Flag.PASS for flag in read["visual"]] == [good for *_, good in tests]
    assert audit.tables.readings["value"].tolist() == [value for _, *pair, _ in tests for value in pair]


def test_begun_rows_stand_below_the_headings(tmp_path: Path) -> None:
    begun = [{"device": "007", "site": "=Rink", "tested_at": dt.datetime(2026, 11, 20)}]
    ws = opened(b"".join(entry_workbook(rules.load("anz-in-service"), begun)))["Tests"]
    row = {field["name"]: cell for field, cell in zip(ordered(rules.load("anz-in-service")), ws[HEAD + 1], strict=True)}
    assert (row["device"].value, row["device"].data_type) == ("007", "s")
    assert (row["site"].value, row["site"].data_type) == ("=Rink", "s")
    assert row["tested_at"].value == dt.datetime(2026, 11, 20)


def test_the_command_writes_once_and_never_over_what_was_typed(run_rcdcheck: Any, tmp_path: Path) -> None:
    first = run_rcdcheck("template", "--rules", "uk-present", "--out", "monday.xlsx")
    assert (first.returncode, b"monday.xlsx" in first.stdout) == (0, True)
    kept = (tmp_path / "monday.xlsx").read_bytes()
    assert "Tests" in openpyxl.load_workbook(io.BytesIO(kept)).sheetnames
    again = run_rcdcheck("template", "--out", "monday.xlsx")
    assert again.returncode == 5
    assert b"is there already" in again.stderr
    assert (tmp_path / "monday.xlsx").read_bytes() == kept
    assert run_rcdcheck("template", "--rules", "no-such-set", "--out", "x.xlsx").returncode == 4


def test_libreoffice_opens_it_with_its_checks(saved_again: dict[str, bytes]) -> None:
    ws = opened(saved_again["entry"])["Tests"]
    head = [cell.value for cell in ws[HEAD]][: len(FIELDS)]
    assert head == [heading(field, rules.load("anz-in-service")) for field in ordered(rules.load("anz-in-service"))]
    assert {check.type for check in ws.data_validations.dataValidation} == {"list", "custom", "date", "textLength"}
