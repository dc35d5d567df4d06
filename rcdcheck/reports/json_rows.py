"""Lists of like objects as JSON, written from columns: each distinct value is encoded once and put together by row.

Columns side by side that say few different things together are one piece of the row, encoded once too.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from json.encoder import encode_basestring
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

ONCE = 4  # rows for each distinct text of a piece, from which it is worth its making


@dataclass(frozen=True)
class Encoded:
    """A column of values as JSON: `texts[codes]`, shape (n,)."""

    codes: npt.NDArray[np.integer[Any]]
    texts: Sequence[str]

    def taken(self, at: npt.NDArray[np.int64]) -> Encoded:
        """The column made of the values at these positions."""
        return Encoded(self.codes[at], self.texts)

    def rows(self) -> list[str]:
        """The text of each value."""
        return np.array(self.texts or [""], dtype=object)[self.codes].tolist()


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


def _encode(value: Any) -> str:
    return encode_basestring(value) if type(value) is str else _encode_all(value)


_encode_all = json.JSONEncoder(ensure_ascii=False, allow_nan=False).encode


def encoded(values: Any) -> Encoded:
    """Texts, numbers, dates or yes and no as JSON, shape (n,); a number or date that is not known is null."""
    codes, distinct = pd.factorize(np.asarray(values), use_na_sentinel=False)
    return Encoded(codes, _distinct(np.asarray(distinct)))


def _distinct(values: npt.NDArray[Any]) -> list[str]:
    kind = values.dtype.kind
    if kind == "f":
        return _of_numbers(values)
    if kind == "M":
        return _of_dates(values)
    say: dict[str, Callable[[Any], str]] = {"i": str, "u": str, "b": text}
    return list(map(say.get(kind, _encode), values.tolist()))


def _of_numbers(values: npt.NDArray[np.float64]) -> list[str]:
    """Whole numbers without a point, others as short as they can be told apart."""
    known = np.isfinite(values)
    whole = known & (np.abs(values) < 1e15) & (values == np.floor(np.where(known, values, 0)))
    out = np.full(len(values), "null", dtype=object)
    out[whole] = list(map(str, values[whole].astype(np.int64).tolist()))
    out[known & ~whole] = list(map(repr, values[known & ~whole].tolist()))
    return out.tolist()


def _of_dates(values: npt.NDArray[np.datetime64]) -> list[str]:
    """ISO 8601, without a clock time where it is midnight."""
    texts = np.datetime_as_string(values, unit="s").astype(object)
    day = values == values.astype("datetime64[D]")
    texts[day] = np.datetime_as_string(values[day], unit="D")
    odd = values != values.astype("datetime64[s]")  # also where there is no date
    return [text(v) if o else f'"{t}"' for v, t, o in zip(values, texts, odd, strict=True)]


def each(texts: Iterable[str]) -> Encoded:
    """Values that are JSON already, each by itself."""
    held = list(texts)
    return Encoded(np.arange(len(held)), held)


def encoded_lists(values: Iterable[Any]) -> Encoded:
    """Lists and objects as JSON, each by itself, shape (n,)."""
    return each(map(text, values))


def encoded_tuples(values: Iterable[tuple[Any, ...] | None]) -> Encoded:
    """Tuples as lists of JSON, and None as null, shape (n,); each different one is encoded once."""
    held = list(values)
    number = {value: i for i, value in enumerate(dict.fromkeys(held))}
    return Encoded(np.fromiter(map(number.__getitem__, held), np.int64, len(held)), list(map(text, number)))


def of_codes(codes: Any, texts: Mapping[int, Any] | Sequence[Any] | npt.NDArray[Any]) -> Encoded:
    """The values that codes stand for as JSON, shape of codes; only those that are used are encoded."""
    numbers, used = pd.factorize(np.asarray(codes))
    return Encoded(numbers, [_encode(texts[code]) for code in used.tolist()])


def objects(columns: Mapping[str, Encoded]) -> Iterator[str]:
    """An object for each row of these columns."""
    pieces: list[Encoded] = []
    for name, column in columns.items():
        opening = f"{', ' if pieces else '{'}{json.dumps(name)}: "
        pieces.append(Encoded(column.codes, [opening + text for text in column.texts]))
        if len(pieces) > 1 and (together := _together(*pieces[-2:])):
            pieces[-2:] = [together]
    return (f"{''.join(row)}}}" for row in zip(*(piece.rows() for piece in pieces), strict=True))


def _together(first: Encoded, second: Encoded) -> Encoded | None:
    """Two pieces of a row as one, where few different ones stand in many rows."""
    few, width = len(first.codes) // ONCE, len(second.texts)
    if max(len(first.texts), width) > few:
        return None
    codes, pairs = pd.factorize(first.codes * np.int64(width) + second.codes)
    if len(pairs) > few:
        return None
    return Encoded(codes, [first.texts[pair // width] + second.texts[pair % width] for pair in pairs.tolist()])


def lists(items: Sequence[str], owner: npt.NDArray[np.int64], owners: npt.NDArray[np.int64]) -> Encoded:
    """For each of `owners` a list of its items in their order; `owner` (items,) says whose each item is."""
    order = np.argsort(owner, kind="stable")
    ends = np.searchsorted(owner[order], owners, side="right").tolist()
    starts = np.searchsorted(owner[order], owners, side="left").tolist()
    ordered = [items[i] for i in order.tolist()]
    return each(f"[{', '.join(ordered[a:b])}]" if b > a else "[]" for a, b in zip(starts, ends, strict=True))
