"""Earlier readings used again, from anywhere in the register, as they are and shifted a little. Measured here."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import register_calibration
from fleets import T0, T180, sheet, visit
from sheets_of_readings import KINDS, Kind

from rcdcheck.audits import Audit
from rcdcheck.tables import Numbers

DOUBTS = {"copied-block-elsewhere", "unchanged-since-earlier-visit", "closer-than-a-repeat", "unchanged-together"}


def readings(random: np.random.Generator, n: int) -> Numbers:
    """Trip times at both phases of n devices, shape (n, 2), in tenths of a millisecond: about 27 ms, 20 % apart."""
    level = np.exp(random.normal(np.log(27), 0.2, n))
    return np.round(np.column_stack([level, level + random.normal(0, 2.5, n)]), 1)


def again(random: np.random.Generator, before: Numbers) -> Numbers:
    """The same devices measured anew: 3 % and partly another phase."""
    return np.round(before * random.normal(1, 0.03, before.shape) + random.normal(0, 0.5, before.shape), 1)


def month(folder: Path, name: str, values: Numbers, prefix: str, site: str, day: str) -> Path:
    rows = [{"Device": f"{prefix}-{i:03d}", T0: f"{a:.1f}", T180: f"{b:.1f}"} for i, (a, b) in enumerate(values)]
    return sheet(folder / name, rows, Site=site, Date=day)


def doubts(audit: Audit) -> set[str]:
    return set(audit.findings.loc[audit.findings["severity"] == "doubt", "code"]) & DOUBTS


@pytest.fixture(scope="module")
def known(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[Numbers]]:
    """Three honest years of one site, and one visit of another."""
    folder, random = tmp_path_factory.mktemp("known"), np.random.default_rng(11)
    years = [readings(random, 60)]
    years += [again(random, years[0]) for _ in range(2)]
    for n, values in enumerate(years):
        path = month(folder, f"north-{n}.csv", values, "K", "North yard", f"202{n + 2}-03-10")
        assert not doubts(visit(folder / "fleet.db", path))
    south = readings(random, 60)
    assert not doubts(visit(folder / "fleet.db", month(folder, "south.csv", south, "S", "South yard", "2024-05-10")))
    return folder / "fleet.db", [*years, south]


def taken(known: tuple[Path, list[Numbers]], folder: Path, values: Numbers, prefix: str, site: str) -> Audit:
    register = folder / "fleet.db"
    register.write_bytes(known[0].read_bytes())
    return visit(register, month(folder, "today.csv", values, prefix, site, "2026-10-10"))


def test_readings_of_any_earlier_year_used_again_are_noticed(known: tuple[Path, list[Numbers]], tmp_path: Path) -> None:
    """Those of the oldest of three years, not of the visit before."""
    audit = taken(known, tmp_path, known[1][0], "K", "North yard")
    assert "unchanged-since-earlier-visit" in doubts(audit)
    found = audit.findings[audit.findings["code"] == "unchanged-since-earlier-visit"]
    assert "north-0.csv, visit 1" in found["message"].iloc[0]


def test_a_block_from_another_site_is_noticed_as_it_is_and_shifted(
    known: tuple[Path, list[Numbers]], tmp_path: Path
) -> None:
    random = np.random.default_rng(12)
    for shift in (0.0, 0.1):
        values = readings(random, 60)
        values[20:38] = known[1][3][5:23] + shift * random.choice([-1, 0, 1], (18, 2))
        audit = taken(known, tmp_path, np.round(values, 1), "E", "East yard")
        found = audit.findings[audit.findings["code"] == "copied-block-elsewhere"]
        assert len(found) == 1, f"shifted by {shift}"
        assert "south.csv" in found["message"].iloc[0]
        rows = {int(audit.tables.tests["row"].iloc[t]) for t in found["evidence"].iloc[0]["tests"]}
        assert set(range(24, 38)) <= rows <= set(range(18, 44))


def test_honest_readings_raise_nothing(known: tuple[Path, list[Numbers]], tmp_path: Path) -> None:
    """One honest visit of known devices and one of new ones, as sheets."""
    random = np.random.default_rng(13)
    assert not doubts(taken(known, tmp_path, again(random, known[1][0]), "K", "North yard"))
    assert not doubts(taken(known, tmp_path, readings(random, 60), "E", "East yard"))


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_ten_visits_of_an_honest_technician_raise_nothing(kind: Kind) -> None:
    """Sixteen kinds of fleet, whole milliseconds too. At full length register_calibration.py notes 4 of 51,840 sheets,
    of 3 of 5,760 technicians, and doubts none."""
    found = register_calibration.technician(kind, 40, 10, np.random.default_rng([17, KINDS.index(kind)]))
    assert found["sheets"] == 9 and found["asked closer-than-a-repeat"] == 9
    assert found["sheets: note"] == found["sheets: doubt"] == 0


def test_the_same_simulation_sees_a_visit_that_was_copied() -> None:
    """So that finding nothing says something: the last of ten visits is the first one again."""
    random = np.random.default_rng(19)
    rounds = register_calibration.measured(KINDS[0], 140, 10, random)
    rounds[-1][:40] = rounds[0][:40]
    smallest, found = register_calibration.sheet(rounds, np.arange(140), 40)
    assert smallest < 1e-4 and found["unchanged-since-earlier-visit"] == 1


def test_the_same_test_listed_again_is_never_evidence(known: tuple[Path, list[Numbers]], tmp_path: Path) -> None:
    register = tmp_path / "fleet.db"
    register.write_bytes(known[0].read_bytes())
    grown = np.concatenate([known[1][2], readings(np.random.default_rng(14), 5)])
    audit = visit(register, month(tmp_path, "grown.csv", grown, "K", "North yard", "2024-03-10"))
    assert audit.history.listed.sum() == 60 and not doubts(audit)
