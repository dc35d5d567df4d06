"""The limits that judged something, numbered in order of first use."""

from __future__ import annotations

from typing import Any

import pandas as pd

from rcdcheck import models
from rcdcheck.rules import Limit


class LimitsUsed:
    """Numbers the limits that judged something, in order of first use."""

    def __init__(self) -> None:
        self._ids: dict[Limit, int] = {}

    def id(self, limit: Limit) -> int:
        """Number of a limit."""
        return self._ids.setdefault(limit, len(self._ids))

    def frame(self) -> pd.DataFrame:
        """The table of models.Limits."""
        rows: list[dict[str, Any]] = [
            {
                "quantity": x.quantity,
                "rcd_type": ", ".join(x.types),
                "waveform": x.waveform,
                "multiple": x.multiple,
                "minimum": x.minimum,
                "maximum": x.maximum,
                "unit": "ms" if x.quantity == "trip_time" else "mA",
                "text": x.text,
                "source": x.source,
                "standing": x.standing,
            }
            for x in self._ids
        ]
        columns = models.dtypes(models.Limits)
        return pd.DataFrame(rows, columns=list(columns)).astype(columns)
