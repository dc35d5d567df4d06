"""What is done in a second process answers as if it were done here, also where that process fails or is lost."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
from pathlib import Path
from typing import Any

import generate
import pytest

from rcdcheck.beside import beside


def test_the_answer_is_of_another_process() -> None:
    if sys.platform != "linux":
        pytest.skip("there is no second process here")
    with beside(os.getpid, apart=True) as answer:
        assert answer() != os.getpid()
    with beside(os.getpid, apart=False) as answer:
        assert answer() == os.getpid()


def test_a_process_that_is_lost_is_done_without() -> None:
    here = os.getpid()

    def work() -> int:
        if os.getpid() != here:
            os.kill(os.getpid(), signal.SIGKILL)
        return 7

    with beside(work, apart=True) as answer:
        assert answer() == 7


def test_what_fails_there_fails_here() -> None:
    with beside(lambda: 1 // 0, apart=True) as answer, pytest.raises(ZeroDivisionError):
        answer()


def test_nothing_goes_on_after_a_fault_in_the_work_beside() -> None:
    with pytest.raises(KeyError), beside(signal.pause, apart=True):
        raise KeyError
    assert not multiprocessing.active_children()


def test_no_byte_depends_on_it(run_rcdcheck: Any, tmp_path: Path) -> None:
    """Of a file that is large enough for a second process."""
    sheet = generate.write_typed(tmp_path / "large.csv", 25_000)
    plain = ("audit", sheet, "--as-of", "2026-11-25", "--write", "none", "--json", "-", "--jobs")
    said = [run_rcdcheck(*plain, jobs).stdout for jobs in "12"]
    assert said[0] and said[0] == said[1]
