"""Standard streams that are closed, full, or read by somebody who has read enough; signals that end a run."""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path

import click


def begin() -> None:
    """Open streams that the caller closed onto nothing, and let a request to end the run clean up after itself."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, Path(os.devnull).open(mode, encoding="utf-8"))  # noqa: SIM115
    for wanted in ("SIGTERM", "SIGHUP"):
        number = getattr(signal, wanted, None)
        if number is not None and signal.getsignal(number) == signal.SIG_DFL:  # under nohup it stays ignored
            signal.signal(number, signal.default_int_handler)
    sys.unraisablehook = _ask_again


def _ask_again(unheard: sys.UnraisableHookArgs) -> None:
    """A request to end the run that came where nothing can be raised comes once more a little later."""
    if not isinstance(unheard.exc_value, KeyboardInterrupt):
        sys.__unraisablehook__(unheard)
    elif hasattr(signal, "setitimer"):
        signal.signal(signal.SIGALRM, signal.default_int_handler)
        signal.setitimer(signal.ITIMER_REAL, 0.01)


def tell(text: str) -> None:
    """Print; whoever reads may have read enough, which changes no answer."""
    try:
        click.echo(text)
    except BrokenPipeError:
        hush()


def hush() -> None:
    """Let what is still to be printed vanish."""
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
