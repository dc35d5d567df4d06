"""The command line within processes that are forked from one that has everything loaded: a run costs what it computes.

`python tests/bench/forked.py FOLDER SHEET` runs each line of standard input, a JSON list of arguments, in the folder,
and answers with a line of JSON: exit code, standard output, standard error.

Children that open workbooks are forked in the same way. Each run has a clock on its computing, in all of which it and
its children are told apart from busy neighbours, and says how much memory it or a child of it took.
"""

from __future__ import annotations

import faulthandler
import gc
import json
import os
import resource
import signal
import sys
import tempfile
import traceback
from dataclasses import dataclass
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))
from rcdcheck import cli
from rcdcheck.intake.opened import children, workbook_child

SPACE = 6 << 30  # bytes of addresses of a run
SECONDS = 120  # of computing of a run that is asked for by a line


@dataclass(frozen=True)
class Ran:
    """How a run ended: its code (below 0: the signal that ended it), CPU seconds, bytes of memory, and what it said."""

    code: int
    seconds: float
    memory: int
    stdout: bytes
    stderr: str


class ForkedChild(children._Child):
    """`children._Child`, forked."""

    def __init__(self) -> None:
        (out_of_parent, to_child), (out_of_child, to_parent) = os.pipe(), os.pipe()
        process = os.fork()
        if not process:
            os.dup2(out_of_parent, 0)
            os.dup2(to_parent, 1)
            os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
            os.closerange(3, 256)
            _begin(["", str(children.SECONDS)])
            try:
                workbook_child.main()
            finally:
                os._exit(0)
        os.close(out_of_parent)
        os.close(to_parent)
        self._process: Any = _Process(process)
        self._to, self._from = os.fdopen(to_child, "wb"), os.fdopen(out_of_child, "rb")


class _Process:
    """What `children._Child` asks of a process."""

    def __init__(self, number: int) -> None:
        self.number = number
        self.returncode: int | None = None

    def kill(self) -> None:
        os.kill(self.number, signal.SIGKILL)

    def wait(self) -> None:
        if self.returncode is None:
            self.returncode = os.waitstatus_to_exitcode(os.waitpid(self.number, 0)[1])


def load(sheet: str) -> None:
    """Load all that a run may need, and what is kept from run to run, with the text of a sheet."""
    import importlib

    for module in (
        "openpyxl", "xlrd", "python_calamine", "pandera", "jinja2", "lxml.etree", "sqlite3",
        *(f"rcdcheck.reports.{name}" for name in
          ("html.page", "excel.workbook", "marked.copy", "marked.plain", "tags")),
        "rcdcheck.reports.json_document", "rcdcheck.reports.console", "rcdcheck.register.taking_in",
        *(f"rcdcheck.cli.{name}" for name in cli.COMMANDS),
    ):  # fmt: skip
        importlib.import_module(module)
    children._Child = ForkedChild  # type: ignore[misc]
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "day.csv").write_text(sheet, encoding="utf-8")
        asked = ["audit", f"{folder}/day.csv", "--write", "html,xlsx,json", "--mark", "--quiet", "--out", folder]
        cli.group.main(asked, standalone_mode=False)
    gc.collect()
    gc.freeze()


SAID = (".stdout", ".stderr")  # files in the folder of a run


def start(folder: Path, arguments: list[str], seconds: int) -> int:
    """Begin the command line in a folder, for at most so many seconds of computing; the number of the process."""
    process = os.fork()
    if not process:
        _run(folder, arguments, seconds)
    return process


def run(folder: Path, arguments: list[str], seconds: int) -> Ran:
    """The command line in a folder, to its end."""
    said = [folder / name for name in SAID]
    _, status, used = os.wait4(start(folder, arguments, seconds), 0)
    out, err = (path.read_bytes() for path in said)
    for path in said:
        path.unlink()
    code = os.waitstatus_to_exitcode(status)
    return Ran(code, used.ru_utime + used.ru_stime, used.ru_maxrss << 10, out, err.decode("utf-8", "surrogateescape"))


def _run(folder: Path, arguments: list[str], seconds: int) -> None:
    code = 99
    try:
        gc.disable()  # it would copy what is shared
        os.chdir(folder)
        for number, name in enumerate(SAID, 1):
            os.dup2(os.open(name, os.O_WRONLY | os.O_CREAT), number)
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        tempfile.tempdir = str(folder)
        resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds + 5))
        resource.setrlimit(resource.RLIMIT_AS, (SPACE, SPACE))
        _begin(["rcdcheck", *arguments])
        faulthandler.register(signal.SIGXCPU, chain=True)
        cli.main()
    except SystemExit as end:
        code = int(end.code or 0)
    except BaseException:
        traceback.print_exc()
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)


def _begin(arguments: list[str]) -> None:
    sys.argv = arguments
    # those before them, of which a workbook child has some, would close what they read when they go
    sys.stdin, sys.stdout, sys.stderr = (
        os.fdopen(n, mode, encoding="utf-8", closefd=False) for n, mode in enumerate("rww")
    )


def main() -> None:
    """Answer line after line until no more comes."""
    folder, sheet = map(Path, sys.argv[1:])
    load(sheet.read_text(encoding="utf-8"))
    for line in sys.stdin:
        ran = run(folder, json.loads(line), SECONDS)
        print(json.dumps([ran.code, ran.stdout.decode("utf-8", "surrogateescape"), ran.stderr]), flush=True)


if __name__ == "__main__":
    main()
