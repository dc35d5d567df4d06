"""Audit sheets of residual current device test readings: what to withdraw, where to go back, what can be relied on."""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rcdcheck.audits import Audit
    from rcdcheck.options import Options
    from rcdcheck.tidy import Frames

__all__ = ["audit", "frames"]


def audit(paths: Sequence[str | os.PathLike[str]], options: Options | None = None, *, jobs: int = 1) -> Audit:
    """Audit files and folders together; `frames` makes DataFrames of the answer.

    A file that cannot be audited is part of the answer (`.tables.inputs`), not an exception. Raises SettingsError
    for an invalid rule set and UsageError for options that contradict each other.
    """
    from rcdcheck.options import Options
    from rcdcheck.pipeline import run

    return run([os.fspath(p) for p in paths], options or Options(), jobs=jobs)


def frames(audit: Audit) -> Frames:
    """What an audit says as DataFrames of words and figures: `.devices`, `.tests`, `.readings`, `.findings`."""
    from rcdcheck.tidy import frames

    return frames(audit)
