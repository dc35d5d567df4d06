"""Plain numbers of a column, stored or typed as bare digits, read in one go without a pattern for each cell."""

from __future__ import annotations

import numpy as np

from rcdcheck.tables import Mask, Numbers, Texts


def plain_values(cells: Texts, text: Mask, sign: str) -> Numbers:
    """Stored numbers, and texts that are digits with at most one decimal sign; NaN for all others, shape (n,).

    `text` says which cells are texts; `sign` is the decimal sign of the column, empty where a sign cannot be read.
    """
    value = np.full(len(cells), np.nan)
    number = np.fromiter((type(c) is float for c in cells), bool, len(cells))
    value[number] = cells[number].astype(np.float64)
    at = np.flatnonzero(text)
    plain = at[_plain_texts(cells[at], sign)]
    numbers = cells[plain]
    value[plain] = [float(t.replace(",", ".")) for t in numbers] if sign == "," else numbers.astype(np.float64)
    return value


def _plain_texts(texts: Texts, sign: str) -> Mask:
    """Which texts are ASCII digits with at most one `sign` among them and no padding zero, shape (n,)."""
    joined = "\n".join(texts) + "\n"
    if joined.count("\n") != len(texts) or not joined.isascii():
        simple = np.fromiter((t.isascii() and "\n" not in t for t in texts), bool, len(texts))
        if simple.any():
            simple[simple] = _plain_texts(texts[simple], sign)
        return simple
    chars = np.frombuffer(joined.encode(), dtype=np.uint8)
    ends = np.flatnonzero(chars == ord("\n"))
    starts = np.concatenate([[0], ends + 1])[:-1]
    digit = (chars >= ord("0")) & (chars <= ord("9"))
    point = chars == ord(sign or "\n")
    digits, points = np.add.reduceat(digit, starts, dtype=int), np.add.reduceat(point, starts, dtype=int)
    allowed = 1 if sign else 0
    between = digit[starts] & digit[ends - 1] & (digits + np.minimum(points, allowed) == ends - starts)
    padded = (chars[starts] == ord("0")) & digit[np.minimum(starts + 1, len(chars) - 1)]
    result: Mask = between & ~padded
    return result
