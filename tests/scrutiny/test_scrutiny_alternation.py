"""Alternation, and a route that itself alternates."""

from __future__ import annotations

import numpy as np

from rcdcheck.scrutiny import alternation, preparation


def series(n: int, correlation: float, seed: int = 3) -> np.ndarray:
    rng = np.random.default_rng(seed)
    x = rng.normal(0, 1, n)
    for i in range(1, n):
        x[i] = correlation * x[i - 1] + np.sqrt(1 - correlation**2) * x[i]
    return np.round(28 + 4 * x, 1)


def chance(x: np.ndarray, models: np.ndarray | None = None) -> float:
    none = np.full(len(x), np.nan)
    stratum = np.zeros(len(x), dtype=np.int32) if models is None else models.astype(np.int32)
    return alternation.ask(preparation.group(x, none, none, stratum=stratum))[0].chance


def test_only_alternation_counts_and_no_clustering() -> None:
    assert chance(series(200, -0.5)) < 1e-6
    assert chance(series(200, 0.5)) > 0.99
    assert chance(series(200, 0.0)) > 0.01


def test_a_route_from_model_to_model_is_no_alternation() -> None:
    models = np.arange(200) % 2
    x = series(200, 0.0) + 10 * models
    assert chance(x) < 1e-12
    assert chance(x, models) > 0.01
    assert chance(series(200, -0.5) + 10 * models, models) < 1e-6
