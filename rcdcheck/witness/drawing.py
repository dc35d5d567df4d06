"""The devices to test again: a random part that carries the statement, and the doubtful ones apart from it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rcdcheck import data
from rcdcheck.audits import Audit
from rcdcheck.errors import UsageError
from rcdcheck.scrutiny.grouping import readings_side_by_side
from rcdcheck.witness.sample_size import chance_to_find, needed

Tests = npt.NDArray[np.int64]
WRITTEN = ("device", "outlet", "board", "circuit", "site", "location", "model", "rcd_type", "delay")


@dataclass(frozen=True, eq=False)
class Drawn:
    """Tests whose devices are to be tested again, of `records` devices with readings."""

    records: int
    share: float
    confidence: float
    seed: int
    random: Tests
    doubtful: Tests  # named by a doubt and not in the random part

    @property
    def false(self) -> int:
        """Fewest false records that make up the share."""
        return max(1, math.ceil(self.share * self.records - 1e-9))

    @property
    def reached(self) -> float:
        """Chance that the random part holds at least one of them."""
        return chance_to_find(self.records, self.false, len(self.random))

    @property
    def reached_by_time(self) -> float:
        """The same where one trip time exposes a false record only so often as settings say."""
        seen = data.toml("witness.toml")["size"]["seen"]
        return chance_to_find(self.records, self.false, len(self.random), seen=seen)


def draw(audit: Audit, share: float, confidence: float, seed: int) -> Drawn:
    """Draw without replacement from all devices that have readings, one record each, its latest test.

    Raises UsageError where there is none.
    """
    tests = latest(audit)
    if not len(tests):
        raise UsageError("No device in these files has a trip time or a ramp current: there is nothing to test again.")
    n = needed(len(tests), max(1, math.ceil(share * len(tests) - 1e-9)), confidence)
    taken = np.random.default_rng(seed).permutation(len(tests))[:n]
    random = tests[np.sort(taken)]
    named = doubted(audit)
    device = audit.test_outcomes["device"].to_numpy()
    apart = np.isin(device[tests], device[named]) & ~np.isin(tests, random)
    return Drawn(len(tests), share, confidence, seed, random, tests[apart])


def latest(audit: Audit) -> Tests:
    """The latest counted test with readings of each device, in entry order."""
    readings = np.array(readings_side_by_side(audit.tables))
    held = np.flatnonzero(audit.test_outcomes["counted"].to_numpy() & ~np.isnan(readings).all(axis=0))
    outcome = audit.test_outcomes.iloc[held]
    order = np.lexsort((held, outcome["visit"].to_numpy(), outcome["device"].to_numpy()))
    device = outcome["device"].to_numpy()[order]
    last = np.append(device[1:] != device[:-1], True) if len(device) else np.zeros(0, dtype=bool)
    result: Tests = np.sort(held[order[last]])
    return result


def doubted(audit: Audit) -> Tests:
    """Tests that a doubt names."""
    doubts = audit.findings[audit.findings["severity"] == "doubt"]
    named = [test for seen in doubts["evidence"] if seen for test in seen.get("tests", [])]
    return np.array(sorted(set(named)), dtype=np.int64)


def entry_rows(audit: Audit, tests: Tests) -> list[Mapping[str, object]]:
    """What stands in the entry workbook of each test: where the device is and what it is, and no reading."""
    frame = audit.tables.tests.iloc[tests]
    columns = {name: audit.tables.texts(frame[name].to_numpy()) for name in WRITTEN if name in frame}
    rated = frame["rated_residual_current"].to_numpy()
    return [
        {name: str(texts[i]) for name, texts in columns.items() if texts[i]}
        | ({} if np.isnan(rated[i]) else {"rated_residual_current": float(rated[i])})
        for i in range(len(tests))
    ]
