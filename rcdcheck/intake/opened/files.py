"""From the paths of a run to opened inputs: folders, standard input, the same file twice.

One bad file never stops the rest.
"""

from __future__ import annotations

import hashlib
import os
import sys
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from difflib import get_close_matches
from pathlib import Path

from rcdcheck import progress
from rcdcheck.errors import InputError
from rcdcheck.findings import Findings
from rcdcheck.intake.opened.children import Children
from rcdcheck.intake.opened.delimited import read_text
from rcdcheck.intake.opened.encodings import Notices
from rcdcheck.intake.opened.file_kinds import UNTOUCHED, OwnReportError, has_macros, kind_of
from rcdcheck.intake.opened.grids import Grid
from rcdcheck.intake.opened.workbooks import read_workbook
from rcdcheck.tables import Input

SHEETS = {
    ".xlsx": "xlsx", ".xlsm": "xlsx", ".xls": "xls", ".xlsb": "xlsb", ".ods": "ods",
    ".csv": "text", ".tsv": "text", ".txt": "text", ".tab": "text",
}  # fmt: skip
_MOST = "formulas, error texts, hidden rows, hidden columns, merged cells and comments"
LARGEST = 1 << 28  # bytes of one file: some five million tests
UNSEEN = {"xls": "formulas", "xlsb": _MOST, "ods": _MOST}  # what cannot be seen in a kind of workbook


@dataclass(frozen=True)
class Opened:
    """An input and its sheets; none where it could not be read."""

    input: Input
    grids: tuple[Grid, ...]
    notices: tuple[tuple[str, dict[str, object]], ...] = ()
    ours: bool = False  # a report that this program wrote


def open_inputs(
    paths: Sequence[str], findings: Findings, *, encoding: str = "", delimiter: str = "", jobs: int = 1
) -> list[Opened]:
    """Open files, folders and `-`, sorted by name; the answer depends neither on their order nor on `jobs`."""
    found, again = _distinct(_found(paths, findings))
    found.sort(key=lambda path: ("", "") if path is None else (path.name, str(path.absolute())))
    for path in again:
        findings.add("file-named-twice", file=path.name if path is not None else "standard input")
    names = _names(found)
    given = _standard_input() if None in found else b""
    with Children() as children, ThreadPoolExecutor(max_workers=jobs) as pool:
        opened: list[Opened] = []
        each = pool.map if jobs > 1 else map  # what a thread lets go of, no other thread can take
        for one in each(lambda path, name: _open(path, name, given, encoding, delimiter, children), found, names):
            opened.append(one)
            progress.say("opening files", len(opened), len(found))
    return _once(opened, {_real(Path(text)) for text in paths}, findings)


def _standard_input() -> bytes:
    """All of it that is no more than a file may be, in pieces and not in a thread, so that an interruption is heard
    between them."""
    pieces, left = [], LARGEST + 1
    while left > 0 and (piece := os.read(sys.stdin.fileno(), min(left, 1 << 16))):
        pieces.append(piece)
        left -= len(piece)
    return b"".join(pieces)


def _found(paths: Sequence[str], findings: Findings) -> list[Path | None]:
    """Files to open, in order; None is standard input. What else lies in a folder of sheets is named."""
    out: list[Path | None] = []
    for text in paths:
        path = Path(text)
        if text == "-":
            out.append(None)
        elif _is_folder(path):
            out += _sheets_in(path, findings) or [path]
        else:
            out.append(path)
    return out


def _is_folder(path: Path) -> bool:
    try:
        return path.is_dir()
    except OSError:  # said when it is opened
        return False


def _sheets_in(folder: Path, findings: Findings) -> list[Path]:
    try:
        inside = sorted(p for p in folder.iterdir() if not p.name.startswith(("~$", ".")))
    except OSError:  # said when the folder itself is opened
        return []
    sheets = []
    for one in inside:
        if _is_folder(one):
            held, shut = _sheets_within(one)
            sheets += shut  # nobody knows what they hold, which is said when they are opened
            if one not in shut:
                kind = "folder-with-sheets-passed-over" if held else "folder-passed-over"
                findings.add(kind, file=one.name, sheets=held)
        elif one.suffix.lower() in SHEETS:
            sheets.append(one)
        else:
            findings.add("file-passed-over", file=one.name)
    return sheets


def _sheets_within(folder: Path) -> tuple[int, list[Path]]:
    """How many sheets lie in a folder and its folders, and those that may not be entered; links are not followed."""
    shut: list[OSError] = []
    held = sum(
        Path(name).suffix.lower() in SHEETS for _, _, names in os.walk(folder, onerror=shut.append) for name in names
    )
    return held, [Path(error.filename) for error in shut]


def _distinct(found: Sequence[Path | None]) -> tuple[list[Path | None], list[Path | None]]:
    """Each file once, in order; and those that were named again, whatever the spelling."""
    first: dict[Path | None, Path | None] = {}
    again = [path for path in found if first.setdefault(_real(path), path) is not path]
    return list(first.values()), list(dict.fromkeys(again))


def _real(path: Path | None) -> Path | None:
    try:
        return path.resolve() if path is not None else None
    except (OSError, ValueError, RuntimeError):  # a name that cannot be, or links in a circle: said when it is opened
        return path


def _names(found: Sequence[Path | None]) -> list[str]:
    """What reports call each file: its name, with as many of its folders as tell it from its namesakes."""
    parts = [path.absolute().parts if path is not None else ("standard input",) for path in found]
    depth = [1] * len(parts)
    while True:
        names = ["/".join(part[-n:]) for part, n in zip(parts, depth, strict=True)]
        count = Counter(names)
        alike = [i for i, name in enumerate(names) if count[name] > 1 and depth[i] < len(parts[i])]
        if not alike:
            return [name.encode("utf-8", "backslashreplace").decode() for name in names]  # bytes that are no text
        for i in alike:
            depth[i] += 1


def _near(path: Path) -> str:
    """A file of the same folder that is called nearly so, for whoever mistyped it."""
    try:
        inside = [p.name for p in path.parent.iterdir()]
    except OSError:
        return ""
    found = get_close_matches(path.name, inside, n=1)
    return f" Did you mean “{found[0]}”?" if found else ""


def _open(path: Path | None, name: str, given: bytes, encoding: str, delimiter: str, children: Children) -> Opened:
    content = given if path is None else b""
    grids: tuple[Grid, ...] = ()
    notices: Notices = []
    status, reason, own = "audited", "", False
    try:
        content = _no_larger(len(content), content) if path is None else _content(path)
        own = content.endswith(UNTOUCHED)
        grids, notices = _grids(content, encoding, delimiter, children)
        notices += _other_than_its_name(path, grids[0].kind if grids else "")
    except MemoryError:
        status, reason = "not_audited", "it is larger than the memory of this machine. Split it."
    except InputError as error:
        status, reason, own = "not_audited", str(error), isinstance(error, OwnReportError)
    one = Input(name, path, hashlib.sha256(content).hexdigest(), len(content), status, reason)
    return Opened(one, grids, tuple((code, {"file": name, **words}) for code, words in notices), own)


def _other_than_its_name(path: Path | None, kind: str) -> Notices:
    told = SHEETS.get(path.suffix.lower()) if path is not None else None
    if not kind or told in (None, "xlsx" if kind == "xlsm" else kind):
        return []
    what = "delimited text" if kind == "text" else f"a workbook of the kind .{kind}"
    return [("kind-other-than-name", {"what": what})]


def _content(path: Path) -> bytes:
    try:
        if path.is_dir():
            next(path.iterdir(), None)  # says whether it may be read
            raise InputError(f"the folder holds no sheet of readings ({', '.join(sorted(SHEETS))}).")
        if path.exists() and not path.is_file():
            raise InputError("it is neither a file nor a folder. Save the readings as a file.")
        return _no_larger(path.stat().st_size, b"") or path.read_bytes()
    except FileNotFoundError:
        if path.is_symlink():
            raise InputError("it is a link to a file that is not there. Copy the file itself to its place.") from None
        raise InputError(f"there is no such file.{_near(path)} Check the name and the folder.") from None
    except ValueError:
        raise InputError("its name holds characters that no file name can hold.") from None
    except OSError as error:
        raise InputError(
            f"it could not be opened: {error.strerror}. Close it elsewhere, and check who may read it."
        ) from None


def _no_larger(size: int, content: bytes) -> bytes:
    """The content; refused where it is larger than what is read, before anybody reads it."""
    if size > LARGEST:
        raise InputError(f"it is larger than {LARGEST >> 20} MB, which no sheet of readings is. Split it.")
    return content


def _grids(content: bytes, encoding: str, delimiter: str, children: Children) -> tuple[tuple[Grid, ...], Notices]:
    kind = kind_of(content)
    if kind == "text":
        grid, said = read_text(content, encoding, delimiter)
        return (grid,), said
    grids = tuple(read_workbook(content, kind, children))
    notices: Notices = [("macros-not-run", {})] if has_macros(content, kind) else []
    if kind in UNSEEN:
        notices.append(("workbook-seen-in-part", {"kind": f".{kind}", "unseen": UNSEEN[kind]}))
    notices += [("sheet-hidden", {"sheet_name": g.sheet}) for g in grids if g.hidden]
    return grids, notices


def _once(opened: Sequence[Opened], named: set[Path | None], findings: Findings) -> list[Opened]:
    """The same bytes under two names are read once, and said; our own reports in a folder of sheets are passed over."""
    out: list[Opened] = []
    first: dict[str, str] = {}
    for one in opened:
        if one.ours and _real(one.input.path) not in named:
            findings.add("report-passed-over", file=one.input.name)
            continue
        known = first.setdefault(one.input.sha256, one.input.name)
        if known != one.input.name and one.input.status == "audited":
            findings.add("file-given-twice", file=one.input.name, first=known)
            continue
        for code, words in one.notices:
            findings.add(code, **words)  # type: ignore[arg-type]
        out.append(replace(one, notices=()))
    return out
