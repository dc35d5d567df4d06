"""Rule sets: what one is (`model`), reading it from TOML (`loading`), and what no key can tell by itself (`checks`)."""

from rcdcheck.rules.loading import load, shipped
from rcdcheck.rules.model import (
    NAN,
    SHORT_TIME,
    Curve,
    Interval,
    Limit,
    Need,
    Plausibility,
    Ratings,
    RcdType,
    RuleSet,
    Standing,
)

__all__ = [
    "NAN", "SHORT_TIME", "Curve", "Interval", "Limit", "Need", "Plausibility", "Ratings", "RcdType", "RuleSet",
    "Standing", "load", "shipped",
]  # fmt: skip
