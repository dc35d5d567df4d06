"""Errors of cells, columns and dates reach the devices that they concern, each once and no other device.

That of two tests of a device the last one counts, and that a cell nobody can read may have said anything: common
practice, no source.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from small_sheets import TODAY, audited, codes, outcome

from rcdcheck.options import Options
from rcdcheck.pipeline import run

LOST = "date-lost-among-others"
HEADINGS = ("Device", "Rated IΔn (mA)", "Visual", "1× 0° (ms)", "1× 180° (ms)", "Date")
MANY = 1100  # more than the thousand findings of a sheet that are listed


def row(device: str, date: str, first: str = "24.1") -> list[str]:
    """A good test of a 30 mA device."""
    return [device, "30", "pass", first, "25.3", date]


@pytest.mark.parametrize("first", ["Device", "Date"])
def test_a_date_that_is_lost_matters_where_another_test_has_one(first: str) -> None:
    """A cell of the date column, wherever that stands; an error in another column is no date that was lost."""
    order = [HEADINGS.index(first), *(i for i, name in enumerate(HEADINGS) if name != first)]
    rows = [
        row("K1", "2026-11-10"), row("K1", "1o.zz.26", "24.6"),  # lost
        row("K2", "1o.zz.26"),  # lost, and there is no other
        row("K3", "2026-11-10"), row("K3", "", "24.6"),  # never stated
        row("K4", "2026-11-10"), row("K4", "2026-11-11", "24.6"),
        row("K5", "2026-11-10"), row("K5", "", "#REF!"),  # an error, and no date that was lost
        row("K6", "2026-11-10"), row("K6", "#REF!", "24.6"),
    ]  # fmt: skip
    audit = audited([HEADINGS[i] for i in order], *([one[i] for i in order] for one in rows))
    assert {name: LOST in codes(audit, name) for name in ("K1", "K2", "K3", "K4", "K5", "K6")} == {
        "K1": True, "K2": False, "K3": False, "K4": False, "K5": False, "K6": True,
    }  # fmt: skip
    noted = audit.findings.loc[audit.findings["code"] == LOST, "test"]
    assert noted.tolist() == [1, 10], "at the rows that have lost theirs"


@pytest.mark.parametrize("first", ["Device", "Date"])
def test_an_order_of_dates_that_is_not_known_is_heard_wherever_their_column_stands(first: str) -> None:
    """Of 03/04/2026 nobody knows the month where other dates of the column begin with it and others do not."""
    mixed = ["25/03/2026", "03/26/2026", "03/04/2026"]
    rows = [row(f"K{i}", day) for i, day in enumerate(mixed)] + [row("K2", "26/03/2026", "24.6"), row("K3", "")]
    order = [HEADINGS.index(first), *(i for i, name in enumerate(HEADINGS) if name != first)]
    rows = [[one[i] for i in order] for one in [*rows, row("K3", "27/03/2026", "24.6")]]
    audit = audited([HEADINGS[i] for i in order], *rows)
    assert [LOST in codes(audit, f"K{i}") for i in range(4)] == [False, False, True, True]


def test_dates_past_a_thousand_that_cannot_be_read_are_lost_as_those_before_are() -> None:
    rows = [one for i in range(MANY) for one in (row(f"K{i}", "2026-11-10"), row(f"K{i}", f"zz{i}", f"2{i % 9}.6"))]
    audit = audited(HEADINGS, *rows)
    assert audit.devices["outcome"].nunique() == 1 and outcome(audit, f"K{MANY - 1}") == "unclear"
    assert LOST in codes(audit, f"K{MANY - 1}")


@pytest.mark.parametrize("first", HEADINGS[:2])
def test_what_cannot_be_read_is_told_once_also_in_the_first_column(first: str) -> None:
    order = [HEADINGS.index(first), *(i for i, name in enumerate(HEADINGS) if name != first)]
    rows = [["K1", "3O?", *row("", "2026-11-10")[2:]], row("", "2026-11-10"), row("K3", "2026-11-10", "2&.4")]
    audit = audited([HEADINGS[i] for i in order], *([one[i] for i in order] for one in rows))
    told = audit.reasons[audit.reasons["standing"]]
    assert not told.duplicated(["test", "row", "column"]).any()
    assert told["code"].tolist().count("device-unnamed") == 1
    assert audit.findings["code"].tolist().count("device-unnamed") == 1


def test_a_rating_that_no_sheet_states_is_doubted_once_a_test() -> None:
    """13 mA is no rating of IEC 61008-1 (preferred values, clause 5.3.3, from memory); no cell holds it."""
    headings, test = (HEADINGS[0], *HEADINGS[2:]), ["K1", *row("", "2026-11-10")[2:]]
    audit = audited(headings, test, ["K2", *test[1:]], assume=(("rated_residual_current", "13mA"),))
    assert audit.reasons["code"].tolist() == ["rating-not-preferred"] * 2


def test_a_number_that_may_have_slipped_is_asked_about() -> None:
    """Of 2500.5 among times like 25.1 nobody knows whether a device was slow, or a point slipped."""
    rows = [row(f"K{i}", "2026-11-10", f"2{i % 9}.{i % 7}") for i in range(12)]
    audit = audited(HEADINGS, *rows, row("K12", "2026-11-10", "2500.5"))
    assert [outcome(audit, name) for name in ("K11", "K12")] == ["pass", "unclear"]


def test_a_blank_test_current_where_other_rows_state_one_is_asked_about() -> None:
    headings = (*HEADINGS[:3], "Trip time 0° (ms)", "Trip time 180° (ms)", "Date", "Test current (mA)")
    rows = [[*row(f"K{i}", "2026-11-10", f"2{i}.3"), "30" if i < 3 else ""] for i in range(6)]
    audit = audited(headings, *rows)
    assert [outcome(audit, f"K{i}") for i in range(6)] == ["pass"] * 3 + ["unclear"] * 3


def test_a_decimal_sign_that_is_not_known_concerns_the_cells_that_hold_it() -> None:
    rows = [["K1", *row("", "")[1:], "28"], ["K2", *row("", "")[1:], "31"], ["K3", *row("", "")[1:], "1,234"]]
    audit = audited((*HEADINGS, "5× 0° (ms)"), *rows)
    assert [outcome(audit, name) for name in ("K1", "K2", "K3")] == ["pass", "pass", "unclear"]
    assert audit.reasons["code"].tolist() == ["reading-unreadable"]


CURRENT = ("Device", "Rated IΔn (mA)", "Visual", "Multiple", "Test current (mA)", "Phase", "Trip time (ms)")
TYPED = ("Device", "Rated IΔn (mA)", "RCD type", "Visual", "1× 0° (ms)", "1× 180° (ms)")


@pytest.mark.parametrize(
    ("code", "headings", "wrong", "right"),
    [
        ("current-contradicts-multiple", CURRENT, "150", "30"),  # at once the rated current of 30 mA
        ("entry-not-understood", TYPED, "VII", "A"),
    ],
)
def test_an_error_of_a_cell_is_heard_past_the_thousand_that_are_listed(
    code: str, headings: tuple[str, ...], wrong: str, right: str
) -> None:
    def rows(device: str, cell: str) -> list[tuple[str, ...]]:
        if headings == TYPED:
            return [(device, "30", cell, "pass", "24.1", "25.3")]
        return [(device, "30", "pass", "1", cell, phase, time) for phase, time in (("0", "24.1"), ("180", "25.3"))]

    devices = [(f"D{i}", wrong) for i in range(MANY)] + [(f"E{i}", right) for i in range(MANY)]
    unread = [[cell.replace("24.1", "2&.4") for cell in row] for row in rows("U1", right)]
    audit = audited(headings, *(row for one in devices for row in rows(*one)), *unread)
    assert audit.findings["code"].tolist().count(code) == 1001, "the last of them counts the rest"
    told = audit.reasons[audit.reasons["code"] == code]
    assert told["device"].nunique() == MANY and "U1" not in set(audit.devices["name"][told["device"].unique()])
    assert [outcome(audit, name) for name in (f"D{MANY - 1}", "E1", "U1")] == ["unclear", "pass", "unclear"]


def test_a_reading_that_cannot_be_read_hides_no_error_of_the_same_column_in_another_sheet(tmp_path: Path) -> None:
    """Past the thousand that are listed too: the cell is one of a sheet, a row and a column."""
    types = [f"D{i},30,VII,pass,24.1,25.3" for i in range(MANY)]
    (tmp_path / "types.csv").write_text("\n".join([",".join(TYPED), *types]) + "\n", encoding="utf-8")
    times = "Device,Rated IΔn (mA),1× 0° (ms),1× 180° (ms),Visual\nT1,30,2&.4,25.3,pass\nT2,30,24.1,25.3,pass\n"
    (tmp_path / "times.csv").write_text(times, encoding="utf-8")
    audit = run([str(tmp_path / name) for name in ("times.csv", "types.csv")], Options(as_of=TODAY))
    names = ("T1", "T2", "D0", f"D{MANY - 1}")
    assert [outcome(audit, name) for name in names] == ["unclear", "pass", "unclear", "unclear"]


def test_what_is_only_noted_changes_nothing_past_the_thousand_that_are_listed() -> None:
    rows = [row(f"D{i}", "2026-11-10", f"2{i % 9}.{i % 7} kitchen") for i in range(MANY)]
    audit = audited(HEADINGS, *rows, row("E1", "2026-11-10", "2&.4"))  # with an error among them
    assert audit.findings["code"].tolist().count("note-beside-reading") == 1001
    assert set(audit.reasons["device"]) == {MANY} and (audit.devices["outcome"] == 0).sum() == MANY
