"""Texts that differ in their numbers only, such as identifiers, so that what words say is asked of one of them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.numbering import first_places
from rcdcheck.tables import Codes, Mask, Texts

LEAD = 4  # letters before the number
_SEPARATORS = np.isin(np.arange(256), np.frombuffer(b"-/. ", dtype=np.uint8))
_INNER = np.isin(np.arange(256), np.frombuffer(b"0123456789-/:. ", dtype=np.uint8))
_DIGIT = np.isin(np.arange(256), np.frombuffer(b"0123456789", dtype=np.uint8))
_LETTER = np.zeros(256, dtype=bool)
_LETTER[ord("A") : ord("Z") + 1] = _LETTER[ord("a") : ord("z") + 1] = True


def alike(distinct: Texts) -> Codes:
    """For each text the place of the first that has the same letters and differs in its number only, shape (n,).

    Such a text is up to four letters, a sign, digits with `-/:.` and spaces among them, and a letter at the end:
    "RCD-0017", "A17b", "24.11.2026 09:40", "301". Every other text stands for itself.
    """
    out = np.arange(len(distinct), dtype=np.int32)
    at = np.flatnonzero(_plain_lines(distinct))
    if len(at) < 2:
        return out
    chars = np.frombuffer(("\n".join(distinct[at]) + "\n").encode(), dtype=np.uint8)
    fits, key = _numbered(chars)
    number, _ = pd.factorize(key[fits])
    same = at[fits]
    out[same] = same[first_places(number)][number]
    return out


def _plain_lines(distinct: Texts) -> Mask:
    """Which cells are texts of one line in ASCII; all of them at once, where they are all so."""
    if pd.api.types.infer_dtype(distinct, skipna=False) == "string":
        together = "\n".join(distinct)
        if together.isascii() and together.count("\n") == len(distinct) - 1:
            return np.ones(len(distinct), dtype=bool)
    return np.array([type(t) is str and t.isascii() and "\n" not in t for t in distinct], dtype=bool)


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
