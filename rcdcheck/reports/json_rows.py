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
    return _encode(plain(value))


_encode = json.JSONEncoder(ensure_ascii=False, allow_nan=False).encode


def encoded(values: Any) -> Encoded:
    """Texts, numbers, dates or yes and no as JSON, shape (n,); a number or date that is not known is null."""
    values = np.asarray(values)
    if values.dtype.kind in "iu":
        return _objects(map(str, values.tolist()))
    if values.dtype.kind == "f":
        return _of_numbers(values)
    codes, distinct = pd.factorize(values, use_na_sentinel=False)
    if values.dtype.kind == "M":
        return _of_dates(np.asarray(distinct))[codes]
    return _objects(map(text if values.dtype.kind == "b" else _encode, distinct.tolist()))[codes]


def _of_numbers(values: npt.NDArray[np.float64]) -> Encoded:
    """Whole numbers without a point, others as short as they can be told apart."""
    known = np.isfinite(values)
    whole = known & (np.abs(values) < 1e15) & (values == np.floor(np.where(known, values, 0)))
    out = np.full(len(values), "null", dtype=object)
    out[whole] = list(map(str, values[whole].astype(np.int64).tolist()))
    out[known & ~whole] = list(map(repr, values[known & ~whole].tolist()))
    return out


def _of_dates(values: npt.NDArray[np.datetime64]) -> Encoded:
    """ISO 8601, without a clock time where it is midnight."""
    texts = np.datetime_as_string(values, unit="s").astype(object)
    day = values == values.astype("datetime64[D]")
    texts[day] = np.datetime_as_string(values[day], unit="D")
    odd = values != values.astype("datetime64[s]")  # also where there is no date
    return _objects(text(v) if o else f'"{t}"' for v, t, o in zip(values, texts, odd, strict=True))


def _objects(texts: Iterable[str]) -> Encoded:
    held = list(texts)
    out = np.empty(len(held), dtype=object)
    out[:] = held
    return out


def encoded_lists(values: Iterable[Any]) -> Encoded:
    """Lists and objects as JSON, each by itself, shape (n,)."""
    return _objects(map(text, values))


def of_codes(codes: Any, texts: Mapping[int, Any] | Sequence[Any] | npt.NDArray[Any]) -> Encoded:
    """The values that codes stand for as JSON, shape of codes; only those that are used are encoded."""
    used, back = np.unique(np.asarray(codes), return_inverse=True)
    result: Encoded = _objects(_encode(texts[code]) for code in used.tolist())[back]
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
    return _objects(f"[{', '.join(ordered[a:b])}]" if b > a else "[]" for a, b in zip(starts, ends, strict=True))
