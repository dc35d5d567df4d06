"""How far long work has come: whoever works says so, whoever listens may show it. Nobody listening, nothing happens."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

Listener = Callable[[str], None]
_listeners: list[Listener] = []


def say(what: str, done: int = 0, of: int = 0) -> None:
    """Say what is being done, with a count where there is one: `reading files, 3 of 21`, `writing rows, 5,000`."""
    if _listeners:
        count = f", {done:,} of {of:,}" if of else f", {done:,}" if done else ""
        _listeners[-1](f"{what}{count}")


@contextmanager
def heard_by(listener: Listener) -> Iterator[None]:
    """Let a listener hear what the work inside says."""
    _listeners.append(listener)
    try:
        yield
    finally:
        _listeners.remove(listener)
