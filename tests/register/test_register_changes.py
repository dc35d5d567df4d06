"""What is new since the last audit, from a register and from two documents, and the exit code that hears only that."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from fleets import DEVICES, T180, held, outcomes, sheet, visit
from whole_runs import DAY, Run, valid

from rcdcheck.history import Change
from rcdcheck.register.changes import between
from rcdcheck.reports.json_document import document

NO_TRIP = {"Device": "R-02", T180: "no trip"}
HALF = {"Device": "R-03", T180: ""}
REMEDY = {"Device": "R-02", "Remarks": "RCD replaced"}


def kinds(changes: tuple[Change, ...]) -> list[tuple[str, str]]:
    return [(change.kind, change.device) for change in changes]


@pytest.fixture
def rounds(tmp_path: Path) -> dict[str, Path]:
    """Two rounds of one site half a year apart, and one by whom nothing changes."""
    return {
        "january": sheet(tmp_path / "january.csv", ["R-01", NO_TRIP, HALF, "R-04", "R-05", "R-06"], Date="2026-01-20"),
        "july": sheet(
            tmp_path / "july.csv",
            [{"Device": "R-01", T180: "no trip"}, REMEDY, HALF, {"Device": "R-04", T180: ""}, "R-05", "R-77"],
            Date="2026-07-20",
        ),
    }


EXPECTED = [
    ("failed", "R-01"),
    ("unsettled", "R-04"),
    ("settled", "R-02"),
    ("still open", "R-03"),
    ("appeared", "R-77"),
    ("missing", "R-06"),
]


def test_register_and_two_documents_say_the_same(tmp_path: Path, rounds: dict[str, Path]) -> None:
    audits = {name: visit(tmp_path / "fleet.db", path) for name, path in rounds.items()}
    documents = {name: json.loads(json.dumps(document(audit))) for name, audit in audits.items()}
    for one in documents.values():
        valid(one)
    assert kinds(audits["july"].history.changes) == EXPECTED
    assert [(c["kind"], c["device"]) for c in documents["july"]["history"]["changes"]] == EXPECTED
    from_documents = between(documents["january"], documents["july"])
    assert kinds(from_documents) == EXPECTED
    elsewhere = {**documents["july"], "devices": [d | {"site": "South yard"} for d in documents["july"]["devices"]]}
    unseen = [("missing", "R-02"), ("missing", "R-03")]
    assert [k for k in kinds(between(documents["january"], elsewhere)) if k[0] in ("appeared", "missing")] == unseen, (
        "a site that was not visited misses only what had not passed, and all of a new one is known from now on"
    )
    assert kinds(audits["january"].history.changes) == [("failed", "R-02"), ("unsettled", "R-03")]
    assert not audits["january"].history.devices["known"].duplicated().any()


def test_the_command_prints_the_difference_and_its_exit_code_says_whether_it_is_bad(
    run_rcdcheck: Run, rounds: dict[str, Path], tmp_path: Path
) -> None:
    for name, path in rounds.items():
        options = ("--as-of", DAY, "--write", "none", "--quiet", "--fail-on", "never", "--json", f"{name}.json")
        assert run_rcdcheck("audit", path.name, *options).returncode == 0
    ran = run_rcdcheck("difference", "january.json", "july.json")
    assert ran.returncode == 1
    said = ran.stdout.decode()
    assert "1 failed, and did not before" in said and "R-01, North yard (pass → fail)" in said
    assert "R-06, North yard (pass) last seen 2026-01-20" in said
    told = json.loads(run_rcdcheck("difference", "january.json", "july.json", "--json").stdout)
    assert [(c["kind"], c["device"]) for c in told] == EXPECTED
    same = run_rcdcheck("difference", "july.json", "july.json")
    assert (same.returncode, "failed" in same.stdout.decode()) == (0, False)
    (tmp_path / "half.json").write_text('{"schema_version": 1, "devices": [{}], "counts": {}}', encoding="utf-8")
    for wrong in ("january.csv", "nowhere.json", "half.json"):
        ran = run_rcdcheck("difference", wrong, "july.json")
        assert ran.returncode == 3 and wrong in ran.stderr.decode()


def test_only_what_is_new_reddens_the_night(tmp_path: Path, rounds: dict[str, Path]) -> None:
    register = tmp_path / "fleet.db"
    assert visit(register, rounds["january"], fail_on=("new",)).exit_code == 1
    still = sheet(tmp_path / "february.csv", ["R-01", NO_TRIP, HALF], Date="2026-02-20")
    assert visit(register, still, fail_on=("new",)).exit_code == 0
    assert visit(register, rounds["july"], fail_on=("new",)).exit_code == 1


def test_a_workbook_that_grows_counts_each_test_once(tmp_path: Path) -> None:
    register = tmp_path / "fleet.db"
    rows = [{**NO_TRIP, "Date": "2026-01-20"}, {"Device": "R-01", "Date": "2026-01-20"}]
    visit(register, sheet(tmp_path / "log.csv", rows))
    grown = sheet(tmp_path / "log.csv", [*rows, {"Device": "R-09", "Date": "2026-01-21"}])
    audit = visit(register, grown)
    assert audit.history.listed.tolist() == [True, True, False]
    assert held(register, "SELECT tests FROM visits ORDER BY id") == [(2,), (1,)]
    assert held(register, "SELECT count(*) FROM tests") == [(3,)]
    assert audit.exit_code == 1, "the sheet still holds a failed device"


def test_new_only_judges_by_tests_that_the_register_lacks(tmp_path: Path) -> None:
    register = tmp_path / "fleet.db"
    rows = [{**NO_TRIP, "Date": "2026-01-20"}, {"Device": "R-01", "Date": "2026-01-20"}]
    visit(register, sheet(tmp_path / "log.csv", rows))
    grown = sheet(tmp_path / "log.csv", [*rows, {"Device": "R-09", "Date": "2026-01-21"}])
    audit = visit(register, grown, new_only=True)
    assert outcomes(audit) == {"R-09": 0} and audit.exit_code == 0
    assert audit.tables.sheets["test"].sum() == 3, "the account of rows is of the whole sheet"
    valid(json.loads(json.dumps(document(audit))))
    failed = sheet(tmp_path / "log.csv", [*rows, {"Device": "R-09", "Date": "2026-01-21", T180: "no trip"}])
    assert visit(register, failed, new_only=True).exit_code == 1
    assert held(register, "SELECT count(*) FROM tests") == [(4,)]


def test_a_test_of_which_something_reads_otherwise_now_is_not_the_same(tmp_path: Path) -> None:
    register = tmp_path / "fleet.db"
    visit(register, sheet(tmp_path / "a.csv", DEVICES))
    rows = [{"Device": name, **({"Visual": "cracked"} if name == "R-01" else {})} for name in DEVICES]
    audit = visit(register, sheet(tmp_path / "b.csv", rows), new_only=True)
    assert outcomes(audit) == {"R-01": 3}


def test_terminal_and_page_show_the_section(run_rcdcheck: Run, tmp_path: Path, rounds: dict[str, Path]) -> None:
    visit(tmp_path / "fleet.db", rounds["january"])
    ran = run_rcdcheck("audit", "july.csv", "--register", "fleet.db", "--as-of", DAY, "--write", "html")
    said = ran.stdout.decode()
    assert "NEW SINCE THE LAST AUDIT" in said and "1 missing, and seen before" in said
    assert all(len(line) <= 80 for line in said.splitlines())
    page = (tmp_path / "july-audit.html").read_text(encoding="utf-8")
    section = page[page.index('id="history.new"') : page.index("</table>", page.index('id="history.new"'))]
    assert all(f">{device}<" in section for _, device in EXPECTED)
    without = run_rcdcheck("audit", "july.csv", "--as-of", DAY, "--write", "html")
    assert "NEW SINCE" not in without.stdout.decode()
    assert 'id="history"' not in (tmp_path / "july-audit.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "options", [("--fail-on", "new"), ("--new-only",), ("--again",), ("--replaces", "1")], ids=lambda o: o[0]
)
def test_options_that_need_a_register_say_so(run_rcdcheck: Run, tmp_path: Path, options: tuple[str, ...]) -> None:
    sheet(tmp_path / "a.csv", DEVICES)
    ran = run_rcdcheck("audit", "a.csv", "--as-of", DAY, "--write", "none", *options)
    assert ran.returncode == 2 and "--register" in ran.stderr.decode()
