"""A word on long work, with a count: on a terminal's stderr, after two seconds, and wiped when the work is done."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager

import click

from rcdcheck import progress

SECONDS, AGAIN = 2.0, 0.2  # before the first word, and between two


class _Line:
    """One line that is written over again and again."""

    def __init__(self) -> None:
        self.next = time.monotonic() + SECONDS
        self.width = 0

    def show(self, what: str) -> None:
        """Show a text, unless it is too early or the last one is hardly there."""
        now = time.monotonic()
        if now < self.next:
            return
        self.next = now + AGAIN
        text = f"rcdcheck: {what} …"
        click.echo("\r" + text.ljust(self.width), nl=False, err=True)
        self.width = len(text)

    def wipe(self) -> None:
        """Leave nothing behind."""
        if self.width:
            click.echo("\r" + " " * self.width + "\r", nl=False, err=True)


@contextmanager
def patience(*, wanted: bool) -> Iterator[None]:
    """Show how far the work inside has come if it takes long; show nothing where stderr is no terminal."""
    if not wanted or not sys.stderr.isatty():
        yield
        return
    line = _Line()
    try:
        with progress.heard_by(line.show):
            yield
    finally:
        line.wipe()
