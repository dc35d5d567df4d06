"""Measurement uncertainty: the chance that what was measured conforms, by JCGM 106:2012 (ISO/IEC Guide 98-4).

The true value is taken as normal about the reading, with standard uncertainty u. All take whole columns.
"""

from __future__ import annotations

import math
import re
from statistics import NormalDist

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck import data
from rcdcheck.errors import UsageError
from rcdcheck.tables import Numbers

_SPEC = re.compile(r"(\d+(?:\.\d+)?)\s*%\s*(r?)")
COVERAGE = 2.0  # stated uncertainties are expanded, k = 2


def default_spec(quantity: str) -> dict[str, str]:
    """`spec`, `source` and `standing` of what is assumed for a quantity where no uncertainty is stated."""
    found: dict[str, str] = data.toml("uncertainty.toml")[quantity]
    return found


def parse_spec(spec: str) -> tuple[float, bool]:
    """`10%` → (0.1, False), of the limit; `5%r` → (0.05, True), of the reading. Else a UsageError."""
    match = _SPEC.fullmatch(spec.strip().casefold())
    if match is None or not 0 < float(match[1]) <= 100:
        raise UsageError(
            f"`{spec}` is no uncertainty. Write a share of the limit such as `10%`, or of the reading such "
            "as `5%r`, as the expanded uncertainty (k = 2) on the instrument's data sheet."
        )
    return float(match[1]) / 100, bool(match[2])


def standard_uncertainty(
    value: npt.ArrayLike, limit: npt.ArrayLike, spec: str, display_step: npt.ArrayLike = 0.0
) -> Numbers:
    """Standard uncertainty u of readings in their unit: half of what `spec` states, and display step ÷ √12.

    `limit` is the limit of a trip time, the rated residual current of a trip current. The step may be NaN.
    """
    share, of_reading = parse_spec(spec)
    of = np.broadcast_arrays(value, limit)[0 if of_reading else 1].astype(np.float64)
    stated = share / COVERAGE * np.abs(of)
    step = np.nan_to_num(np.asarray(display_step, dtype=np.float64))
    return np.hypot(stated, step / math.sqrt(12))


def p_conform(value: npt.ArrayLike, minimum: npt.ArrayLike, maximum: npt.ArrayLike, u: npt.ArrayLike) -> Numbers:
    """Chance that the true value lies within its limits: Φ((max − y) ÷ u) − Φ((min − y) ÷ u).

    A limit that is NaN is none. NaN where the reading or u is NaN; with u of 0 the plain comparison, 1 or 0.
    """
    y, low, high, u = (np.asarray(a, dtype=np.float64) for a in (value, minimum, maximum, u))
    above = _below(np.where(np.isnan(high), np.inf, high) - y, u)
    below = 1 - _below(y - np.where(np.isnan(low), -np.inf, low), u)
    return np.clip(above - below, 0, 1)


def guard_band(p: float, u: npt.ArrayLike) -> Numbers:
    """How far inside its limit a reading must lie to conform with probability `p`: w = z_p · u."""
    return NormalDist().inv_cdf(p) * np.asarray(u, dtype=np.float64)


def _below(room: Numbers, u: Numbers) -> Numbers:
    """Φ(room ÷ u), each distinct quotient computed once."""
    with np.errstate(divide="ignore", invalid="ignore"):
        z = np.where(u > 0, room / u, np.where(room >= 0, np.inf, -np.inf))
    z = np.where(np.isnan(room) | np.isnan(u), np.nan, z)
    where, distinct = pd.factorize(z.ravel(), use_na_sentinel=False)
    phi = np.array([0.5 * math.erfc(-v / math.sqrt(2)) for v in distinct.tolist()])
    return phi[where].reshape(z.shape)
