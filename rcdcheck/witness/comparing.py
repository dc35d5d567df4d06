"""Submitted readings beside those of the re-test, device by device."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from rcdcheck import data, identity
from rcdcheck.audits import Audit
from rcdcheck.errors import UsageError
from rcdcheck.scrutiny.grouping import readings_side_by_side
from rcdcheck.tables import Numbers
from rcdcheck.terms import Verdict
from rcdcheck.witness.agreement import Agreement, agreement, rank_correlation, repeatability
from rcdcheck.witness.drawing import latest
from rcdcheck.witness.sample_size import most_false

NAMES = {"time0": ("trip time at 0°", "ms"), "time180": ("trip time at 180°", "ms"), "ramp": ("ramp current", "mA")}


@dataclass(frozen=True, eq=False)
class Reading:
    """One kind of reading: of how many devices, agreement (None of too few), what two may differ by, and ρ."""

    name: str
    unit: str
    n: int
    agreement: Agreement | None
    limit: float
    measured: bool  # the limit comes from repeats of the re-test
    outside: int
    chance: float  # of so many outside or more, if 1 in 10 honest readings were
    correlation: float


@dataclass(frozen=True, eq=False)
class Comparison:
    """What a re-test says of a batch."""

    records: int
    pairs: pd.DataFrame  # device, site, both readings of each kind, `outside`, `turned` (one fails) and `differs`
    readings: tuple[Reading, ...]
    missing: tuple[str, ...]  # devices of the re-test that the files do not hold

    @property
    def differing(self) -> int:
        """Devices that differ by more than repeatability, or of which a reading fails in one of both only."""
        return int(self.pairs["differs"].sum())

    def most_false(self, confidence: float) -> int:
        """Upper bound on the false records of the batch, if the re-tested ones were drawn at random."""
        return most_false(self.records, len(self.pairs), self.differing, confidence)


def compare(submitted: Audit, retest: Audit) -> Comparison:
    """Match devices by identifier but for signs and zeros, and by site where both state one.

    Raises UsageError where the re-test holds no reading, or nothing matches.
    """
    batch, again = _table(submitted), _table(retest)
    pairs, missing = _matched(batch, again)
    if not len(again):
        raise UsageError("The re-test holds no reading yet. Type its readings, and compare then.")
    if not len(pairs):
        raise UsageError(
            "No device of the re-test stands in the files. Identifiers are compared but for signs and zeros."
        )
    repeats = _repeats(retest)
    readings = []
    outside = np.zeros((len(NAMES), len(pairs)), dtype=bool)
    for i, name in enumerate(NAMES):
        reading, outside[i] = _reading(name, pairs, repeats[i])
        readings.append(reading)
    known = np.array([pairs[f"{n}_again"].notna() & pairs[n].notna() for n in NAMES]).sum(axis=0)
    least = np.minimum(data.toml("witness.toml")["compare"]["readings"], np.maximum(known, 1))
    turned = (pairs["failed"] != pairs["failed_again"]).to_numpy()  # whatever the numbers: no trip is none
    differs = turned | ((known > 0) & (outside.sum(axis=0) >= least))
    pairs = pairs.assign(outside=outside.sum(axis=0), turned=turned, differs=differs)[(known > 0) | turned]
    return Comparison(len(batch), pairs.reset_index(drop=True), tuple(r for r in readings if r.n), missing)


def _table(audit: Audit) -> pd.DataFrame:
    """The latest test of each device: plain identifier, site without case, texts, readings, and whether one fails."""
    tests = latest(audit)
    frame = audit.tables.tests.iloc[tests]
    device, site = (audit.tables.texts(frame[name].to_numpy()) for name in ("device", "site"))
    readings = dict(zip(NAMES, (r[tests] for r in readings_side_by_side(audit.tables)), strict=True))
    plain = identity.plain(device) if len(device) else device
    failed = audit.tables.readings["test"][(audit.verdicts["verdict"] == Verdict.FAIL).to_numpy()]
    return pd.DataFrame(
        {"device": device, "site": site, "plain": plain, "failed": np.isin(tests, failed.to_numpy()), **readings}
    )


def _matched(batch: pd.DataFrame, again: pd.DataFrame) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Each device of the re-test beside the one of the batch that it is."""
    both = again.reset_index().merge(batch, on="plain", suffixes=("_again", ""))
    one, other = both["site_again"].str.casefold(), both["site"].str.casefold()
    both = both[((one == other) | (one == "") | (other == "")) & (both["plain"] != "")]
    several = both["index"].duplicated(keep=False)
    alone = both[~several]
    missing = again[~again.index.isin(alone["index"])]
    return alone.reset_index(drop=True), tuple(missing["device"].astype(str))


def _repeats(retest: Audit) -> tuple[Numbers, ...]:
    """Differences of two tests of one device in the re-test, of each kind of reading."""
    readings = readings_side_by_side(retest.tables)
    device = retest.test_outcomes["device"].to_numpy()
    order = np.argsort(device, kind="stable")
    same = device[order][1:] == device[order][:-1]
    pairs = [(r[order][1:] - r[order][:-1])[same] for r in readings]
    return tuple(p[~np.isnan(p)] for p in pairs)


def _reading(name: str, pairs: pd.DataFrame, repeats: Numbers) -> tuple[Reading, np.ndarray]:
    from rcdcheck.scrutiny.tails import binomial

    set_ = data.toml("witness.toml")["compare"]
    words, unit = NAMES[name]
    difference = (pairs[f"{name}_again"] - pairs[name]).to_numpy(dtype=np.float64)
    known = ~np.isnan(difference)
    n = int(known.sum())
    measured = len(repeats) >= set_["repeats"]
    own = math.sqrt(float((repeats**2).sum()) / (2 * len(repeats))) if measured else 0.0
    limit = repeatability(own) if measured else repeatability(set_["time_ms" if unit == "ms" else "ramp_ma"])
    outside = known & (np.abs(np.nan_to_num(difference)) > limit + 1e-9)
    k = int(outside.sum())
    enough = n >= set_["minimum"]
    return Reading(
        words,
        unit,
        n,
        agreement(difference[known]) if enough else None,
        limit,
        measured,
        k,
        float(binomial(k, n, 0.1)) if n else 1.0,
        rank_correlation(pairs[name].to_numpy()[known], pairs[f"{name}_again"].to_numpy()[known])
        if enough
        else math.nan,
    ), outside
