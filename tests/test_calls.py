"""Work grows with what differs and not with rows: no function of ours is called once for each device of a sheet."""

from __future__ import annotations

import datetime as dt
import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from types import FrameType

import generate
import pytest

from rcdcheck import pipeline
from rcdcheck.options import Options

FEW, MANY = 22_000, 32_000  # devices: more than a sheet of cards has


def calls(path: Path) -> Counter[str]:
    """How often each function of rcdcheck is called in an audit."""
    counted: Counter[str] = Counter()

    def count(frame: FrameType, event: str, _: object) -> None:
        if event == "call" and str(frame.f_globals.get("__name__")).startswith("rcdcheck"):
            counted[f"{frame.f_globals['__name__']}.{frame.f_code.co_qualname}"] += 1

    sys.setprofile(count)
    try:
        pipeline.run([str(path)], Options(as_of=dt.date(2026, 11, 25)))
    finally:
        sys.setprofile(None)
    return counted


@pytest.mark.parametrize("write", [generate.write, generate.write_typed])
def test_no_function_is_called_once_for_each_device(write: Callable[[Path, int], Path], tmp_path: Path) -> None:
    """Half a call for each device more would be one for every second of them."""
    few, many = (write(tmp_path / f"{n}.csv", n) for n in (FEW, MANY))
    calls(many)  # what is kept of distinct cells is kept now
    before, after = calls(few), calls(many)
    grown = {name: n - before[name] for name, n in after.items() if n - before[name] > (MANY - FEW) / 2}
    assert after and not grown
