"""The only module that opens a file for writing: beside its final name, flushed, moved into place.

A killed run leaves the old file or the new one, never half of one.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterable
from pathlib import Path

from rcdcheck.errors import OutputError


def write(path: Path, chunks: Iterable[bytes], *, inputs: Iterable[Path] = ()) -> None:
    """Write `chunks` to `path` all at once or not at all, making its folder where there is none.

    Raises OutputError where `path` is one of `inputs`, is a symbolic link, or cannot be written.
    """
    if path.is_symlink():
        raise OutputError(f"{path} is a symbolic link, which is not followed for output. Name another file.")
    if any(_same_file(path, source) for source in inputs):
        raise OutputError(f"{path} is one of the inputs and is never overwritten. Use --out or --name.")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _write_beside(path, chunks)
    except OSError as error:
        reason = error.strerror or "the system gave no reason"
        raise OutputError(
            f"{path} could not be written: {reason}. Close it if it is open elsewhere, "
            "check who may write there and that there is room, or name another folder with --out."
        ) from error


def _write_beside(path: Path, chunks: Iterable[bytes]) -> None:
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".rcdcheck-", suffix=".part")
    beside = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            for chunk in chunks:
                stream.write(chunk)
            stream.flush()
            os.fsync(stream.fileno())
        beside.chmod(0o666 & ~_umask())
        beside.replace(path)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _same_file(path: Path, source: Path) -> bool:
    return path.exists() and source.exists() and path.samefile(source)
