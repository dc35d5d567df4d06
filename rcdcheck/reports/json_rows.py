"""Lists of like objects as JSON, written from columns: each distinct value is encoded once and put together by row."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

Encoded = npt.NDArray[np.object_]


def plain(value: Any) -> Any:
    """A numpy or pandas value as JSON knows it; what is not a number or a date is null."""
    if isinstance(value, dict):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple | np.ndarray):
        return [plain(v) for v in value]
    if isinstance(value, np.bool_):
        return bool(value)
    if isinstance(value, pd.Timestamp | np.datetime64):
        return None if pd.isna(value) else pd.Timestamp(value).isoformat().removesuffix("T00:00:00")
    if value is pd.NaT or value is None:
        return None
    if isinstance(value, int | np.integer) and not isinstance(value, bool):
        return int(value)
    if isinstance(value, float | np.floating):
        number = float(value)
        if not np.isfinite(number):
            return None
        return int(number) if number.is_integer() and abs(number) < 1e15 else number
    return value


def text(value: Any) -> str:
    """One value as JSON on one line."""
    return json.dumps(plain(value), ensure_ascii=False, allow_nan=False)


def encoded(values: Iterable[Any]) -> Encoded:
    """Values of one kind as JSON, shape (n,)."""
    codes, distinct = pd.factorize(np.asarray(values), use_na_sentinel=False)
    return of_codes(codes, distinct)


def encoded_lists(values: Iterable[Any]) -> Encoded:
    """Lists and objects as JSON, each by itself, shape (n,)."""
    texts = [text(value) for value in values]
    out = np.empty(len(texts), dtype=object)
    out[:] = texts
    return out


def of_codes(codes: Any, texts: Mapping[int, Any] | Sequence[Any] | npt.NDArray[Any]) -> Encoded:
    """The values that codes stand for as JSON, shape of codes; only those that are used are encoded."""
    used, back = np.unique(np.asarray(codes), return_inverse=True)
    out = np.empty(len(used), dtype=object)
    out[:] = [text(texts[code]) for code in used.tolist()]
    result: Encoded = out[back]
    return result


def objects(columns: Mapping[str, Encoded]) -> Iterator[str]:
    """An object for each row of these columns."""
    line = "{" + ", ".join(f"{json.dumps(name)}: %s" for name in columns) + "}"
    return (line % row for row in zip(*(c.tolist() for c in columns.values()), strict=True))


def lists(items: Sequence[str], owner: npt.NDArray[np.int64], owners: npt.NDArray[np.int64]) -> Encoded:
    """For each of `owners` a list of its items in their order; `owner` (items,) says whose each item is."""
    order = np.argsort(owner, kind="stable")
    ends = np.searchsorted(owner[order], owners, side="right").tolist()
    starts = np.searchsorted(owner[order], owners, side="left").tolist()
    ordered = [items[i] for i in order.tolist()]
    out = np.empty(len(owners), dtype=object)
    out[:] = [f"[{', '.join(ordered[a:b])}]" if b > a else "[]" for a, b in zip(starts, ends, strict=True)]
    return out
