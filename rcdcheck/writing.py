"""The only module that opens a file for writing: beside its final name, flushed, moved into place.

A killed run leaves the old file or the new one, never half of one. Where one of several cannot be put into place, those
before it are put back. While several are moved into place, a small file beside them names them; where a run is killed
then it stays, and tells later runs and `verify` that some of them are of that run and some are older. Documents are
moved last.
"""

from __future__ import annotations

import contextlib
import functools
import os
import signal
import tempfile
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path

from rcdcheck.errors import OutputError

STALE = 3600  # seconds after which what a killed run left behind is no file of a run that is still writing
Check = Callable[[Path], bool]


class Together:
    """Files that are put into place one after another when all of them are written, or none of them.

    Raises OutputError where a path is one of `inputs`, is a symbolic link, or cannot be written.
    """

    def __init__(self, inputs: Iterable[Path] = ()) -> None:
        self._inputs, self._beside = list(inputs), list[tuple[Path, Path]]()

    @property
    def written(self) -> list[Path]:
        """The files, in the order in which they were added."""
        return [path for _, path in self._beside]

    def add(self, path: Path, chunks: Iterable[bytes], *, only_over: Check | None = None) -> None:
        """Write `chunks` beside `path`, making its folder where there is none.

        A file that is there already is overwritten only where `only_over` says so of it.
        """
        try:
            if path.is_symlink():
                raise OutputError(f"{path} is a symbolic link, which is not followed for output. Name another file.")
            if any(_same_file(path, source) for source in self._inputs):
                raise OutputError(f"{path} is one of the inputs and is never overwritten. Use --out or --name.")
            if only_over is not None and path.exists() and not only_over(path):
                raise OutputError(
                    f"{path} was not written by this program, and is not overwritten. Use --out or --name, or move it."
                )
            path.parent.mkdir(parents=True, exist_ok=True)
            _sweep(path.parent)
            self._beside.append((_written_beside(path, chunks), path))
        except OSError as error:
            raise _refused(path, error) from error

    def __enter__(self) -> Together:
        """Nothing is written yet."""
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        """Put all files into place, or remove all of them where something went wrong."""
        waiting = sorted(self._beside, key=lambda pair: pair[1].suffix == ".json")
        try:
            if kind is None:
                with _undisturbed():
                    self._move(waiting)
        finally:
            for beside, _path in waiting:
                beside.unlink(missing_ok=True)

    def _move(self, waiting: list[tuple[Path, Path]]) -> None:
        """Take files from the list and put each into place, or put all back where one cannot be."""
        moved: list[Path] = []
        markers, old = (_marked(self.written), _kept(waiting)) if len(waiting) > 1 else ([], {})
        try:
            while waiting:
                beside, path = waiting[0]
                beside.replace(path)
                moved.append(waiting.pop(0)[1])
        except OSError as error:
            new = [path for path in moved if not (path in old and _put_back(path, old[path]))]
            if not new:
                _unmark(markers, [])
            raise _refused(path, error, new) from error
        finally:
            for kept in filter(None, old.values()):
                kept.unlink(missing_ok=True)
        _unmark(markers, moved)


@contextlib.contextmanager
def _undisturbed() -> Iterator[None]:
    """Requests to end the run wait for what is done meanwhile, and are heard after it."""
    heard: list[int] = []
    own = {}
    if threading.current_thread() is threading.main_thread():
        numbers = (getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))
        own = {number: signal.getsignal(number) for number in numbers}
    own = {number: before for number, before in own.items() if callable(before)}
    for number in own:
        signal.signal(number, lambda number, _frame: heard.append(number))
    try:
        yield
    finally:
        for number, before in own.items():
            signal.signal(number, before)
        for number in heard[:1]:
            signal.raise_signal(number)


def unfinished(folder: Path, *, age: float = 60) -> dict[Path, set[str]]:
    """Names of files that a run was moving into place in a folder when it was ended, by the file that says so.

    `age`: seconds up to which that run may still be at it.
    """
    found = dict[Path, set[str]]()
    for marker in sorted(folder.glob(f"{PREFIX}*{UNFINISHED}")):
        with contextlib.suppress(OSError, UnicodeDecodeError):
            if time.time() - marker.stat().st_mtime >= age:
                found[marker] = set(marker.read_text(encoding="utf-8").split("\n")) - {""}
    return found


def unfinished_sentence(names: Iterable[str]) -> str:
    """What such names say to a person."""
    return (
        f"A run was ended while it put {', '.join(sorted(names))} into place: some of them are of that run, and some "
        "are older or missing."
    )


def _marked(paths: Sequence[Path]) -> list[Path]:
    """A file in each folder that names the files to be moved into place there."""
    markers = []
    for folder in dict.fromkeys(path.parent for path in paths):
        names = "".join(f"{path.name}\n" for path in paths if path.parent == folder)
        try:
            handle, marker = tempfile.mkstemp(dir=folder, prefix=PREFIX, suffix=UNFINISHED)
            with os.fdopen(handle, "wb") as stream:
                stream.write(names.encode("utf-8", "replace"))
                stream.flush()
                os.fsync(stream.fileno())
        except OSError as error:
            raise _refused(folder, error) from error
        markers.append(Path(marker))
    return markers


def _kept(waiting: Iterable[tuple[Path, Path]]) -> dict[Path, Path | None]:
    """Old files by a second name, None where there are none; those to which the system gives no second name lack."""
    old: dict[Path, Path | None] = {}
    for beside, path in waiting:
        kept = beside.with_suffix(f".old{SUFFIX}")
        with contextlib.suppress(OSError):
            try:
                os.link(path, kept)
                old[path] = kept
            except FileNotFoundError:
                old[path] = None
    return old


def _put_back(path: Path, kept: Path | None) -> bool:
    try:
        kept.replace(path) if kept else path.unlink()
    except OSError:
        return False
    return True


def _unmark(markers: Iterable[Path], moved: Sequence[Path]) -> None:
    """All stands: remove what said that it did not, also what an earlier run left of the same files."""
    for marker in markers:
        marker.unlink(missing_ok=True)
    for folder in dict.fromkeys(path.parent for path in moved):
        names = {path.name for path in moved if path.parent == folder}
        for marker, named in unfinished(folder, age=0).items():
            if named <= names:
                marker.unlink(missing_ok=True)


def write(path: Path, chunks: Iterable[bytes], *, inputs: Iterable[Path] = ()) -> None:
    """Write `chunks` to `path` all at once or not at all; see `Together`."""
    with Together(inputs) as together:
        together.add(path, chunks)


def _refused(path: Path, error: OSError, moved: Sequence[Path] = ()) -> OutputError:
    reason = error.strerror or "the system gave no reason"
    new = f" Written before it, and newer than it: {', '.join(one.name for one in moved)}." if moved else ""
    return OutputError(
        f"{path} could not be written: {reason}. Close it if it is open elsewhere, "
        f"check who may write there and that there is room, or name another folder with --out.{new}"
    )


def _written_beside(path: Path, chunks: Iterable[bytes]) -> Path:
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=PREFIX, suffix=SUFFIX)
    beside = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            for chunk in chunks:
                stream.write(chunk)
            stream.flush()
            os.fsync(stream.fileno())
        beside.chmod(0o666 & ~_umask())
    except BaseException:
        beside.unlink(missing_ok=True)
        raise
    return beside


PREFIX, SUFFIX, UNFINISHED = ".rcdcheck-", ".part", ".unfinished"


@functools.cache
def _sweep(folder: Path) -> None:
    """Remove what a run that was killed has left behind."""
    for left in folder.glob(f"{PREFIX}*{SUFFIX}"):
        with contextlib.suppress(OSError):
            if time.time() - left.stat().st_mtime > STALE:
                left.unlink()


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _same_file(path: Path, source: Path) -> bool:
    """Whether both are one file; an input that has vanished meanwhile still keeps its place."""
    try:
        return path.samefile(source)
    except OSError:
        return path.resolve() == source.resolve()
