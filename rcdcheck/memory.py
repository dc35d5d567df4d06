"""Memory of a large audit."""

from __future__ import annotations

import sys


def give_back() -> None:
    """Let the system have what is free again: the C library keeps it, in pieces that the next columns do not fit."""
    if sys.platform == "linux":
        import ctypes

        trim = getattr(ctypes.CDLL(None), "malloc_trim", None)  # not every C library has it
        if trim is not None:
            trim(0)
