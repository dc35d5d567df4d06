"""What can go wrong, and the one list of exit codes.

    RcdcheckError            everything below; its text is a sentence for the person at the keyboard
    ├── UsageError           the options contradict each other or name something unknown      exit 2
    ├── InputError           an input could not be audited; the others go on                  exit 3
    ├── SettingsError        a rule set, column file, option file or register is invalid      exit 4
    └── OutputError          an output or the register could not be written                   exit 5

Anything else that escapes is a fault of ours: exit 70.
"""

from __future__ import annotations

from enum import IntEnum


class ExitCode(IntEnum):
    """What the process answers; `meaning` is the text shown by --help."""

    CLEAN = 0
    ATTENTION = 1
    USAGE = 2
    INPUT = 3
    SETTINGS = 4
    OUTPUT = 5
    FAULT = 70
    INTERRUPTED = 130

    @property
    def meaning(self) -> str:
        """One line that explains the code."""
        return _MEANINGS[self]


_MEANINGS = {
    ExitCode.CLEAN: "everything was audited; nothing at or above the --fail-on level",
    ExitCode.ATTENTION: "everything was audited; something at or above the --fail-on level",
    ExitCode.USAGE: "the command line is wrong",
    ExitCode.INPUT: "at least one input could not be audited; the rest was audited and written",
    ExitCode.SETTINGS: "a rule set, a column file, an option file or the register is invalid; nothing was judged",
    ExitCode.OUTPUT: "an output or the register could not be written",
    ExitCode.FAULT: "a fault of this program; details were saved and nothing counts as passed",
    ExitCode.INTERRUPTED: "interrupted",
}


class RcdcheckError(Exception):
    """Root of all expected errors; `str(error)` is a sentence that says what to do."""

    exit_code = ExitCode.FAULT


class UsageError(RcdcheckError):
    """The options contradict each other or name something unknown."""

    exit_code = ExitCode.USAGE


class InputError(RcdcheckError):
    """One input could not be audited."""

    exit_code = ExitCode.INPUT


class SettingsError(RcdcheckError):
    """A rule set, column file, option file or register is invalid."""

    exit_code = ExitCode.SETTINGS


class OutputError(RcdcheckError):
    """An output or the register could not be written."""

    exit_code = ExitCode.OUTPUT


class TableError(Exception):
    """A table is not what its model says: a fault of ours. The text names no cell, and is saved with the fault."""


def cause(error: Exception) -> str:
    """Why a file could not be read, in a few words: of the system, of its encoding, or of what stands in it."""
    if isinstance(error, FileNotFoundError):
        return "there is no such file"
    if isinstance(error, UnicodeDecodeError):
        return "it is no text in UTF-8"
    return (error.strerror or str(error)) if isinstance(error, OSError) else str(error)
