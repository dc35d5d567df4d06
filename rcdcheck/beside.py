"""Work beside our own, in a second process that begins with all that this one knows.

It answers what this process would have answered: where there is no second one, or it is lost, the work is done here.
"""

from __future__ import annotations

import signal
import sys
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

Answer = TypeVar("Answer")


@contextmanager
def beside(work: Callable[[], Answer], *, apart: bool) -> Iterator[Callable[[], Answer]]:
    """Begin `work`; what is yielded waits for its answer. Where it is not `apart`, it is done at once."""
    if not apart or sys.platform != "linux":  # elsewhere libraries of the system do not bear a fork
        done = work()
        yield lambda: done
        return
    import multiprocessing

    fork = multiprocessing.get_context("fork")
    ours, theirs = fork.Pipe(duplex=False)
    process = fork.Process(target=_send, args=(work, theirs), daemon=True)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # of threads: those are of numpy, which bears it
        process.start()
    theirs.close()

    def answer() -> Answer:
        try:
            return ours.recv()
        except (EOFError, OSError):  # it failed, or was ended for want of memory
            return work()

    try:
        yield answer
    finally:
        process.kill()
        process.join()
        ours.close()


def _send(work: Callable[[], object], to: Connection) -> None:
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, signal.SIG_DFL)  # who began it cleans up
    with suppress(Exception):  # it fails where it is done again, and is heard there
        to.send(work())
