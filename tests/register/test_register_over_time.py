"""Drift, jumps and failure rates over the visits of an invented fleet."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from fleets import T0, T180, sheet, visit
from openpyxl import load_workbook
from whole_runs import DAY, Run, valid

from rcdcheck.audits import Audit
from rcdcheck.register.rates import rates
from rcdcheck.register.statistics import wilson
from rcdcheck.register.store import opened
from rcdcheck.reports.json_document import document

YEARS = range(2020, 2026)
FLEET = [f"K-{i:02d}" for i in range(1, 26)]


def fleet(year: int, random: np.random.Generator, **more: dict[str, float]) -> list[dict[str, str]]:
    """Honest readings: each device about its own, 3 % from visit to visit; `more` adds by device and heading."""
    rows = []
    for i, name in enumerate(FLEET):
        level = 20 + i * 0.9
        first, second = (round(level * shift * random.normal(1, 0.03), 1) for shift in (1.0, 1.15))
        rows.append({"Device": name, T0: f"{first}", T180: f"{second}", "Model": "Type K", "Date": f"{year}-03-10"})
        for head, value in more.get(name.replace("-", ""), {}).items():
            rows[-1][head] = f"{value:.1f}"
    return rows


@pytest.fixture(scope="module")
def years(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Audit]:
    """Six yearly visits: K-03 climbs by 40 ms a year, K-07 jumps at the last in one reading, K-09 in both."""
    folder = tmp_path_factory.mktemp("years")
    random = np.random.default_rng(7)
    audit = None
    for n, year in enumerate(YEARS):
        more: dict[str, dict[str, float]] = {"K03": {T0: 60 + 40.0 * n}}
        if year == 2025:
            more |= {"K07": {T0: 75.0}, "K09": {T0: 80.0, T180: 91.0}}
        audit = visit(
            folder / "fleet.db", sheet(folder / f"{year}.csv", fleet(year, random, **more)), fail_on=("fail",)
        )
    assert audit is not None
    return folder, audit


def named(audit: Audit, code: str) -> list[str]:
    found = audit.findings[audit.findings["code"] == code]
    return [str(audit.devices["name"].iloc[audit.test_outcomes["device"].iloc[t]]) for t in found["test"]]


def test_a_device_that_climbs_is_told_with_its_slope_and_the_day_it_would_fail(years: tuple[Path, Audit]) -> None:
    """60 to 260 ms over five years towards 300: 40 ms a year, the limit after one more; worked by hand."""
    audit = years[1]
    assert named(audit, "drifting-to-its-limit") == ["K-03"]
    (drift,) = audit.history.drifts
    assert (drift.visits, drift.limit, drift.last) == (6, 300.0, 260.0)
    assert drift.slope == pytest.approx(40, rel=0.01) and drift.low > 39 and drift.high < 41
    assert drift.reached.startswith("2026-03")


def test_nothing_is_projected_further_than_was_seen(tmp_path: Path) -> None:
    """A climb of 4 ms a year reaches 300 ms after decades: no caution."""
    random = np.random.default_rng(3)
    audits = [
        visit(tmp_path / "fleet.db", sheet(tmp_path / f"{y}.csv", fleet(y, random, K03={T0: 60 + 4.0 * n})))
        for n, y in enumerate(range(2021, 2026))
    ]
    assert not audits[-1].history.drifts


def test_a_jump_is_told_and_one_of_all_readings_as_perhaps_another_device(years: tuple[Path, Audit]) -> None:
    audit = years[1]
    assert named(audit, "jump-since-the-last-visit") == ["K-07"]
    assert named(audit, "perhaps-replaced") == ["K-09"]
    assert not set(audit.devices["outcome"]) - {0}, "cautions change no outcome"


def test_a_remedy_begins_the_history_anew(years: tuple[Path, Audit], tmp_path: Path) -> None:
    register = tmp_path / "fleet.db"
    register.write_bytes((years[0] / "fleet.db").read_bytes())
    rows = fleet(2026, np.random.default_rng(9), K03={T0: 22.0}, K09={T0: 80.0, T180: 91.0}, K07={T0: 75.0})
    rows[2]["Remarks"] = "RCD replaced"
    audit = visit(register, sheet(tmp_path / "2026.csv", rows))
    assert not audit.history.drifts and not audit.history.jumps


def test_few_visits_are_pooled_by_model(tmp_path: Path) -> None:
    random = np.random.default_rng(5)
    register = tmp_path / "fleet.db"
    for n, year in enumerate((2023, 2024, 2025)):
        more = {name.replace("-", ""): {T0: 30 + i + 6.0 * n} for i, name in enumerate(FLEET)}
        audit = visit(register, sheet(tmp_path / f"{year}.csv", fleet(year, random, **more)))
    assert not audit.history.drifts, "no device has five visits"
    (pooled,) = [m for m in audit.history.models if m.slot == "trip_time_1x_0"]
    assert (pooled.model, pooled.devices) == ("Type K", 25)
    assert pooled.slope == pytest.approx(6, rel=0.01)
    assert pooled.chance == pytest.approx(2 / 2**25)


def test_failure_rates_have_intervals_and_few_have_no_share(run_rcdcheck: Run, tmp_path: Path) -> None:
    register = tmp_path / "fleet.db"
    bad = [{"Device": f"B-{i}", T180: "no trip", "Model": "Type B"} for i in range(3)]
    good = [{"Device": f"A-{i:02d}", "Model": "Type A"} for i in range(17)]
    visit(register, sheet(tmp_path / "a.csv", [*good, *bad]))
    visit(register, sheet(tmp_path / "b.csv", ["S-1"], Site="South yard"))
    with opened(register, writing=False) as known:
        by_site, by_model = rates(known, "site"), rates(known, "model")
    assert [(r.name, r.failed, r.of, r.few) for r in by_site] == [
        ("North yard", 3, 20, False), ("South yard", 0, 1, True),
    ]  # fmt: skip
    assert (by_site[0].low, by_site[0].high) == wilson(3, 20)
    assert [(r.name, r.few) for r in by_model] == [("not stated", True), ("Type A", False), ("Type B", True)]
    said = run_rcdcheck("rates", "--register", "fleet.db", "--by", "site").stdout.decode()
    assert "3 of 20" in said and "15 %" in said and "5.2 to 36 %" in said
    assert "0 of 1" in said and "0 %" not in said.split("South yard")[1]
    assert run_rcdcheck("rates", "--register", "fleet.db", "--by", "moon").returncode == 2


def test_the_page_draws_the_drift_and_the_document_holds_it(
    run_rcdcheck: Run, years: tuple[Path, Audit], tmp_path: Path
) -> None:
    told = json.loads(json.dumps(document(years[1])))
    valid(told)
    assert [d["device"] for d in told["history"]["drifts"]] == ["K-03"]
    assert {j["device"] for j in told["history"]["jumps"]} == {"K-07", "K-09"}
    assert told["history"]["rates"]
    (tmp_path / "fleet.db").write_bytes((years[0] / "fleet.db").read_bytes())
    (tmp_path / "2025.csv").write_bytes((years[0] / "2025.csv").read_bytes())
    options = (
        "--register",
        "fleet.db",
        "--again",
        "--as-of",
        DAY,
        "--write",
        "html,xlsx",
        "--quiet",
        "--fail-on",
        "fail",
    )
    assert run_rcdcheck("audit", "2025.csv", *options).returncode == 0
    page = (tmp_path / "2025-audit.html").read_text(encoding="utf-8")
    assert 'id="picture-drift"' in page
    picture = page[page.index('id="picture-drift"') : page.index("</figure>", page.index('id="picture-drift"'))]
    assert "K-03" in picture and "2020-03-10" in picture and 'class="limit"' in picture
    assert picture.count('class="chance"') == 1, "one device leads on to its limit"
    known = load_workbook(tmp_path / "2025-audit.xlsx")["Over time"]
    rows = [row[:4] for row in known.iter_rows(values_only=True) if row[0] in ("K-03", "K-07", "K-09")]
    assert ("K-03", "North yard", "trip time 1×, 0°", 6) in rows
    assert {row[0] for row in rows} == {"K-03", "K-07", "K-09"}
    assert all(f'id="history.{anchor}"' in page for anchor in ("drift", "jumps", "rates"))
