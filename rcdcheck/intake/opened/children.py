"""Child processes that open workbooks, each with a cap on memory and a clock for every workbook.

A child stays for the small workbooks of a run, since starting it takes longer than they do. A large one gets a child of
its own, and so does one that the staying child could not open: what a workbook answers never depends on those before.
"""

from __future__ import annotations

import contextlib
import json
import queue
import signal
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any, BinaryIO, cast

SECONDS = 60  # of computing, so that busy neighbours change no answer; by the clock it may take ten times as long
SMALL = 1 << 18  # bytes of a workbook for which a child stays
MUCH = 1 << 22  # bytes of an answer after which it does not
_OVER = -int(getattr(signal, "SIGXCPU", 999))  # how a child ends that computed longer
_ROOT = Path(__file__).parents[3]  # where the child finds this package when it is run from a clone


class TooLongError(Exception):
    """A workbook that took longer than its clock allows."""


class Children:
    """The children of one run, one for each thread that opens workbooks; they end with the `with` block."""

    def __init__(self) -> None:
        self._free: queue.SimpleQueue[_Child] = queue.SimpleQueue()

    def __enter__(self) -> Children:
        """None is started before the first workbook."""
        return self

    def __exit__(self, *_: object) -> None:
        """End those that stayed."""
        with contextlib.suppress(queue.Empty):
            while True:
                self._free.get_nowait().end()

    def ask(self, content: bytes, kind: str) -> dict[str, Any] | None:
        """What `workbook_child` tells of a workbook, None where it is beyond opening. Raises TooLongError."""
        if len(content) > SMALL:
            return self._alone(content, kind)
        try:
            child = self._free.get_nowait()
        except queue.Empty:
            child = _Child()
        answer = child.ask(content, kind)
        if answer is None or len(answer) > MUCH:
            child.end()
        else:
            self._free.put(child)
        told = _told(answer)
        return self._alone(content, kind) if told is None or "error" in told else told

    def _alone(self, content: bytes, kind: str) -> dict[str, Any] | None:
        child = _Child()
        try:
            return _told(child.ask(content, kind))
        finally:
            child.end()


def _told(answer: bytes | None) -> dict[str, Any] | None:
    return None if answer is None else cast(dict[str, Any], json.loads(answer))


class _Child:
    """One process that answers workbook after workbook."""

    def __init__(self) -> None:
        start = (
            f"import sys; sys.path.append({str(_ROOT)!r}); "
            "from rcdcheck.intake.opened.workbook_child import main; main()"
        )
        # -P: nothing is imported from the folder of the sheets
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-c", start, str(SECONDS)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
        self._to, self._from = cast(BinaryIO, self._process.stdin), cast(BinaryIO, self._process.stdout)

    def ask(self, content: bytes, kind: str) -> bytes | None:
        """Its answer, None where it died of the workbook. Raises TooLongError."""
        clock = threading.Timer(10 * SECONDS, self._process.kill)
        clock.start()
        try:
            self._to.write(f"{kind} {len(content)}\n".encode() + content)
            self._to.flush()
            size = self._from.readline()
            answer = self._from.read(int(size or 0))
        except BrokenPipeError:
            size, answer = b"", b""
        finally:
            late = clock.finished.is_set()
            clock.cancel()
        if size and len(answer) == int(size):
            return answer
        self.end()
        if late or self._process.returncode == _OVER:
            raise TooLongError
        return None

    def end(self) -> None:
        """Wait for it to end, which it does when nothing more is asked."""
        with contextlib.suppress(BrokenPipeError):
            self._to.close()
        self._from.close()
        self._process.wait()
