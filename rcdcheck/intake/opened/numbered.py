"""Texts that differ in their numbers only, such as identifiers, so that what words say is asked of one of them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.numbering import first_places
from rcdcheck.tables import Codes, Mask, Texts

LEAD = 4  # letters before the number
_ZEROS = str.maketrans("123456789", "0" * 9)
_SEPARATORS = np.isin(np.arange(256), np.frombuffer(b"-/. ", dtype=np.uint8))
_INNER = np.isin(np.arange(256), np.frombuffer(b"0123456789-/:. ", dtype=np.uint8))
_DIGIT = np.isin(np.arange(256), np.frombuffer(b"0123456789", dtype=np.uint8))
_LETTER = np.zeros(256, dtype=bool)
_LETTER[ord("A") : ord("Z") + 1] = _LETTER[ord("a") : ord("z") + 1] = True


def shapes(distinct: Texts) -> tuple[npt.NDArray[np.intp], Texts]:
    """For each text the number of its shape, shape (n,), and the shapes: the texts with every digit as 0."""
    texts = pd.api.types.infer_dtype(distinct, skipna=False) == "string"
    together = "\n".join(distinct) if texts else ""
    found = np.empty(len(distinct), dtype=object)
    if texts and together.count("\n") == len(distinct) - 1:
        found[:] = together.translate(_ZEROS).split("\n")
    else:
        found[:] = [cell.translate(_ZEROS) if type(cell) is str else cell for cell in distinct]
    return pd.factorize(found)


def alike(shape: npt.NDArray[np.intp], of_shape: Texts) -> Codes:
    """For each text the place of the first that has the same letters and differs in its number only, shape (n,).

    Such a text is up to four letters, a sign, digits with `-/:.` and spaces among them, and a letter at the end:
    "RCD-0017", "A17b", "24.11.2026 09:40", "301". Every other text stands for itself. `shape`, `of_shape`: as `shapes`
    gives them.
    """
    out = np.arange(len(shape), dtype=np.int32)
    lines = np.array([type(t) is str and t.isascii() and "\n" not in t for t in of_shape], dtype=bool)
    if not lines.any():
        return out
    fits, key = np.zeros(len(lines), dtype=bool), np.zeros(len(lines), dtype=np.int64)
    fits[lines], key[lines] = _numbered(np.frombuffer(("\n".join(of_shape[lines]) + "\n").encode(), dtype=np.uint8))
    same = np.flatnonzero(fits[shape])
    number, _ = pd.factorize(key[shape[same]])
    out[same] = same[first_places(number)][number]
    return out


def _numbered(chars: npt.NDArray[np.uint8]) -> tuple[Mask, npt.NDArray[np.int64]]:
    """Which lines are such texts, and their letters packed into one number; shapes (lines,)."""
    ends = np.flatnonzero(chars == ord("\n"))
    starts = np.concatenate([[0], ends[:-1] + 1])
    lead, letters = np.zeros(len(ends), dtype=np.int64), np.ones(len(ends), dtype=bool)
    for k in range(LEAD + 1):
        letters &= _LETTER[chars[np.minimum(starts + k, ends)]]
        lead += letters
    number = starts + lead
    sign = _SEPARATORS[chars[number]]
    begin = number + sign
    strange = np.flatnonzero(~_INNER[chars])  # each line ends with one
    stop = strange[np.searchsorted(strange, begin)]
    tail = (stop == ends - 1) & _LETTER[chars[stop]]
    fits: Mask = (lead <= LEAD) & _DIGIT[chars[begin]] & ((stop == ends) | tail)
    key = np.where(tail, chars[stop], 0).astype(np.int64)
    key = key * 256 + np.where(sign, chars[number], 0)
    for k in range(LEAD):
        key = key * 256 + np.where(lead > k, chars[np.minimum(starts + k, len(chars) - 1)], 0)
    return fits, key
