"""The SQLite file of a register: made on first use, locked for a whole run, refused where it is damaged or foreign.

A run takes the write lock before it reads what stands, and keeps it until its visits are in: two runs wait for each
other, and neither judges by what the other is about to change. Everything that a run adds is one transaction, after its
reports are written; a run that is killed before leaves nothing, and its files are new to the next run.
"""

from __future__ import annotations

import functools
import os
import sqlite3
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rcdcheck.errors import OutputError, RcdcheckError, SettingsError
from rcdcheck.register.migrations import APPLICATION, MIGRATIONS
from rcdcheck.register.soundness import is_sound

WAIT = 600.0  # seconds that a run waits for another one
STEP = 0.2  # seconds between two tries, in which an interruption is heard
CHECKED = 4 << 20  # bytes up to which every page is checked at once; a larger file is checked where it is read
MAGIC = b"SQLite format 3\0"


@dataclass(frozen=True)
class Register:
    """An open register; inside `opened` it is one transaction."""

    path: Path
    connection: sqlite3.Connection

    def rows(self, sql: str, *values: object) -> list[tuple[Any, ...]]:
        """All rows of a question."""
        return self.connection.execute(sql, values).fetchall()

    def one(self, sql: str, *values: object) -> Any:
        """The first column of the first row, None where there is none."""
        row = self.connection.execute(sql, values).fetchone()
        return row[0] if row else None

    def commit(self) -> None:
        """Make everything that was added since the opening stand."""
        _patiently(lambda: self.connection.execute("COMMIT"))


@contextmanager
def opened(path: Path, *, writing: bool) -> Iterator[Register]:
    """A register, to add to it (made where there is none) or to read it; what was not committed is undone.

    Raises SettingsError where the file is no register or is damaged, OutputError where it cannot be opened or written.
    """
    connection, within = None, False
    try:
        if writing and not os.path.lexists(path):
            _make(path)
        _look(path)
        connection = sqlite3.connect(
            f"{path.absolute().as_uri()}?mode=rw", uri=True, timeout=STEP, isolation_level=None
        )
        connection.execute("PRAGMA trusted_schema = OFF")
        begin = "BEGIN IMMEDIATE" if writing else "BEGIN"
        _patiently(lambda: _begun(connection, begin))
        _checked(path, connection, writing)
        within = True
        yield Register(path, connection)
    except (sqlite3.Error, OSError, UnicodeDecodeError) as error:  # the last: of a name or a message of its own
        if within and not isinstance(error, sqlite3.Error):
            raise  # of another file
        raise _sentence(path, error) from error
    except (TypeError, ValueError, LookupError, ArithmeticError) as error:
        if connection is None or not within or is_sound(connection):
            raise
        raise _damaged(path) from error
    finally:
        if connection is not None:
            with suppress(sqlite3.Error):
                connection.rollback()
            connection.close()


def _make(path: Path) -> None:
    """An empty register, made beside and moved into place, so that a killed run leaves no half of one."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".rcdcheck-", suffix=".part")
    os.close(handle)
    beside = Path(name)
    try:
        connection = sqlite3.connect(beside, isolation_level=None)
        try:
            connection.execute("BEGIN IMMEDIATE")
            _migrate(connection, 0, len(MIGRATIONS))
            connection.execute(f"PRAGMA application_id = {APPLICATION}")
            connection.execute("COMMIT")
        finally:
            connection.close()
        beside.chmod(0o666 & ~_umask())
        with suppress(FileExistsError):  # another run was quicker
            os.link(beside, path)
    finally:
        beside.unlink(missing_ok=True)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _look(path: Path) -> None:
    if not path.exists():
        raise SettingsError(f"{path}: there is no such register. `rcdcheck audit FILES --register {path}` makes one.")
    if path.is_dir():
        raise SettingsError(f"{path} is a folder. Name the file of the register, for instance {path / 'fleet.db'}.")
    with path.open("rb") as stream:
        start = stream.read(len(MAGIC))
    if not start:
        raise SettingsError(f"{path} is empty and holds no register. Put its last copy back, or name another file.")
    if start != MAGIC:
        raise SettingsError(f"{path} is no register of visits. Name the file that earlier runs were given.")


def _begun(connection: sqlite3.Connection, begin: str) -> None:
    try:
        connection.execute(begin)
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()  # undoes what a killed run left half done
    except sqlite3.OperationalError:
        with suppress(sqlite3.Error):
            connection.rollback()
        raise


def _patiently(step: Callable[[], object]) -> None:
    """Try again while another run holds the register."""
    until = time.monotonic() + WAIT
    while True:
        try:
            step()
            return
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() > until:
                raise


def _checked(path: Path, connection: sqlite3.Connection, writing: bool) -> None:
    """Refuse what is foreign or damaged, and bring an older register up to date."""
    if connection.execute("PRAGMA application_id").fetchone()[0] != APPLICATION:
        raise SettingsError(f"{path} is a database of another program. Name the file that earlier runs were given.")
    size = connection.execute("PRAGMA page_size").fetchone()[0] * connection.execute("PRAGMA page_count").fetchone()[0]
    whole = path.stat().st_size >= size
    if whole and size <= CHECKED:
        whole = connection.execute("PRAGMA quick_check(1)").fetchone()[0] == "ok"
    if not whole:
        raise _damaged(path)
    try:
        version = connection.execute("SELECT version FROM schema_version").fetchone()[0]
    except (sqlite3.OperationalError, TypeError) as error:
        raise _damaged(path) from error
    if not isinstance(version, int):
        raise _damaged(path)
    if version > len(MIGRATIONS):
        raise SettingsError(f"{path} was written by a newer rcdcheck. Install that one to use this register.")
    if _tables(connection) != _own_tables(version):  # or a view or trigger of somebody else would be asked
        raise _damaged(path)
    if version < len(MIGRATIONS):
        if not writing:
            connection.rollback()
            _patiently(lambda: _begun(connection, "BEGIN IMMEDIATE"))
        _migrate(connection, version, len(MIGRATIONS))
        if not writing:
            _patiently(lambda: connection.execute("COMMIT"))
            _patiently(lambda: _begun(connection, "BEGIN"))


def _tables(connection: sqlite3.Connection) -> set[tuple[str, ...]]:
    return set(connection.execute("SELECT type, name, tbl_name, sql FROM sqlite_master"))


@functools.cache
def _own_tables(version: int) -> set[tuple[str, ...]]:
    """The tables as steps up to this version make them."""
    with closing(sqlite3.connect(":memory:")) as connection:
        _migrate(connection, 0, version)
        return _tables(connection)


def _migrate(connection: sqlite3.Connection, version: int, to: int) -> None:
    for step in MIGRATIONS[version:to]:
        for statement in filter(str.strip, step.split(";")):
            connection.execute(statement)
    connection.execute("UPDATE schema_version SET version = ?", (to,))


def _damaged(path: Path) -> RcdcheckError:
    return SettingsError(
        f"{path} is damaged and was left as it is; nothing was judged. Put its last copy back; the sheets that came "
        "after that copy are new to it and will be taken in again."
    )


def _sentence(path: Path, error: Exception) -> RcdcheckError:
    if isinstance(error, OSError):
        return OutputError(f"{path} could not be opened: {error.strerror}. Check the folder and who may write there.")
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    if isinstance(error, UnicodeDecodeError) or (isinstance(error, sqlite3.OperationalError) and not code):
        return _damaged(path)  # texts that are none
    if code == sqlite3.SQLITE_BUSY:
        return OutputError(f"{path} was in use by another run for {WAIT / 60:g} minutes. Run this again later.")
    if code in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR):
        return OutputError(
            f"{path} could not be written: no room, or the disk failed. What it held before still stands."
        )
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
        return OutputError(f"{path} could not be written. Check who may write to it and to its folder.")
    if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return _damaged(path)
    raise error
