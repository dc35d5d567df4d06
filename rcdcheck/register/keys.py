"""Texts as keys: equal where people would call two of them the same.

A name without case and surplus spaces; a plain name also without signs and leading zeros, so that `RCD-07`, `rcd 7` and
`R.C.D. 007` are alike and `1.12` and `11.2` are not. Intake has taken months and dates out of the names of sheets.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from rcdcheck.tables import Codes, Tables, Texts


_ZEROS = re.compile(r"(?<![\d.])0+(?=\d)")
_COUNTING = re.compile(r"\W*(?:no|nr)?\W*\d{1,3}\W*", re.IGNORECASE)
_BETWEEN = re.compile(r"(?<=\d)[\W_]+(?=\d)")
_SIGN = re.compile(r"[^\w\x1f]+|_+")


def name_key(text: str) -> str:
    """Without case and surplus spaces."""
    return " ".join(text.split()).casefold()


def plain_key(text: str) -> str:
    """Also without signs, but for those between two numbers, and without leading zeros."""
    return _SIGN.sub("", _BETWEEN.sub("\x1f", _ZEROS.sub("", text.casefold()))).replace("\x1f", ".")


def counting(text: str) -> bool:
    """Whether a name is a bare number of up to three digits, as any list may count its devices."""
    return _COUNTING.fullmatch(text) is not None


def of_codes(tables: Tables, codes: Codes | pd.Series[int], key: Callable[[str], object]) -> Texts:
    """The key of each code's text, each distinct text once, shape (n,)."""
    used, back = np.unique(np.asarray(codes), return_inverse=True)
    return np.array([key(t) for t in tables.texts(used)] or [""], dtype=object)[back]
