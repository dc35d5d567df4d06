"""Which sign parts the decimals of a column: decided once for the whole column, from the cells that leave no choice.

"28,4" can only be a decimal comma; "1,234" may be 1.234 or 1234. One cell of the first kind settles all of the second.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from rcdcheck.tables import Texts

MIXED = "mixed"
# a sign that cannot part thousands: not exactly three digits behind it, more than three before it, or a leading zero
_CERTAIN = re.compile(r"(?<![\d.,])(?:0([.,])\d+|\d*([.,])(?:\d{1,2}|\d{4,})|\d{4,}([.,])\d+)(?![\d.,])")
_EITHER = re.compile(r"(?<![\d.,])([1-9]\d{0,2})([.,])(\d{3})(?![\d.,])")


def decimal_sign(texts: Sequence[str] | Texts, highest: float) -> str:
    """`.` or `,`; `mixed` where cells certainly use both; empty where no cell tells.

    `highest`: a number above it is impossible in the column, so that "28,412" tells where 28,412 is. Of each sign only
    the cells up to the first that tells are looked at.
    """
    seen = [sign for sign in ".," if any(_told(t, highest) == sign for t in texts if sign in t)]
    return MIXED if len(seen) == 2 else "".join(seen)


def _told(text: str, highest: float) -> str:
    certain = _CERTAIN.search(text)
    if certain:
        return next(filter(None, certain.groups()))
    either = _EITHER.search(text)
    return either[2] if either and int(either[1] + either[3]) > highest else ""
