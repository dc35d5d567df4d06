"""A word on long work: on a terminal's stderr, after two seconds, and wiped when the work is done."""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import click

SECONDS = 2.0


@contextmanager
def patience(what: str) -> Iterator[None]:
    """Say `what` if the work inside takes long; say nothing where stderr is no terminal."""
    if not sys.stderr.isatty():
        yield
        return
    said = threading.Event()

    def say() -> None:
        said.set()
        click.echo(what, nl=False, err=True)

    timer = threading.Timer(SECONDS, say)
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()
        if said.is_set():
            click.echo("\r" + " " * len(what) + "\r", nl=False, err=True)
