"""From the paths of a run to opened inputs: folders, standard input, the same file twice; one bad file never stops the rest."""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

from rcdcheck.errors import InputError
from rcdcheck.findings import Findings
from rcdcheck.intake.delimited import Notices, read_text
from rcdcheck.intake.grids import Grid
from rcdcheck.intake.kinds import kind_of
from rcdcheck.intake.workbooks import read_workbook
from rcdcheck.records import Input

SHEETS = {".xlsx", ".xlsm", ".xls", ".xlsb", ".ods", ".csv", ".tsv", ".txt", ".tab"}
BLIND = {"xlsb", "ods"}  # kinds in which formulas, errors and hidden rows cannot be seen


@dataclass(frozen=True)
class Opened:
    """An input and its sheets; none where it could not be read."""

    input: Input
    grids: tuple[Grid, ...]
    notices: tuple[tuple[str, dict[str, object]], ...] = ()


def open_inputs(
    paths: Sequence[str], findings: Findings, *, encoding: str = "", delimiter: str = "", jobs: int = 1
) -> list[Opened]:
    """Open files, folders (sorted by name) and `-`; the answer does not depend on `jobs`."""
    found = _found(paths, findings)
    names = _names(found)
    with ThreadPoolExecutor(max_workers=jobs) as pool:
        opened = list(pool.map(lambda pair: _open(*pair, encoding, delimiter), zip(found, names, strict=True)))
    return _once(opened, findings)


def _found(paths: Sequence[str], findings: Findings) -> list[Path | None]:
    """Files to open, in order; None is standard input. Folders are read for sheets, and what else lies in them is named."""
    out: list[Path | None] = []
    for text in dict.fromkeys(paths):
        path = Path(text)
        if text == "-":
            out.append(None)
        elif path.is_dir():
            inside = sorted(p for p in path.iterdir() if p.is_file() and not p.name.startswith(("~$", ".")))
            out += [p for p in inside if p.suffix.lower() in SHEETS]
            for other in inside:
                if other.suffix.lower() not in SHEETS:
                    findings.add("file-passed-over", file=other.name)
            if not any(p.suffix.lower() in SHEETS for p in inside):
                out.append(path)
        else:
            out.append(path)
    return out


def _names(found: Sequence[Path | None]) -> list[str]:
    """What reports call each file: its name, with as much of its folder as tells it from its namesakes."""
    plain = [p.name if p is not None else "standard input" for p in found]
    out = []
    for path, name in zip(found, plain, strict=True):
        twice = path is not None and plain.count(name) > 1
        out.append(f"{path.absolute().parent.name}/{name}" if twice and path is not None else name)
    return [f"{n} ({out[: i + 1].count(n)})" if out[:i].count(n) else n for i, n in enumerate(out)]


def _open(path: Path | None, name: str, encoding: str, delimiter: str) -> Opened:
    content = b""
    try:
        content = _content(path)
        grids, notices = _grids(content, encoding, delimiter)
        status, reason = "audited", ""
    except InputError as error:
        grids, notices, status, reason = (), [], "not_audited", str(error)
    one = Input(name, path, hashlib.sha256(content).hexdigest(), len(content), status, reason)
    return Opened(one, tuple(grids), tuple((code, {"file": name, **words}) for code, words in notices))


def _content(path: Path | None) -> bytes:
    if path is None:
        return sys.stdin.buffer.read()
    if path.is_dir():
        raise InputError(f"the folder holds no sheet of readings ({', '.join(sorted(SHEETS))}).")
    try:
        return path.read_bytes()
    except FileNotFoundError:
        raise InputError("there is no such file. Check the name and the folder.") from None
    except OSError as error:
        raise InputError(f"it could not be opened: {error.strerror}. Close it elsewhere, and check who may read it.") from None


def _grids(content: bytes, encoding: str, delimiter: str) -> tuple[tuple[Grid, ...], Notices]:
    kind = kind_of(content)
    if kind == "text":
        grid, notices = read_text(content, encoding, delimiter)
        return (grid,), notices
    grids = tuple(read_workbook(content, kind))
    notices = [("macros-not-run", {})] if kind == "xlsm" else []
    notices += [("workbook-seen-in-part", {"kind": f".{kind}"})] if kind in BLIND else []
    notices += [("sheet-hidden", {"sheet_name": g.sheet}) for g in grids if g.hidden]
    return grids, notices


def _once(opened: Sequence[Opened], findings: Findings) -> list[Opened]:
    """The same bytes under two names are read once, and said."""
    out: list[Opened] = []
    first: dict[str, str] = {}
    for one in opened:
        known = first.setdefault(one.input.sha256, one.input.name)
        if known != one.input.name and one.input.status == "audited":
            findings.add("file-given-twice", file=one.input.name, first=known)
            continue
        for code, words in one.notices:
            findings.add(code, **words)  # type: ignore[arg-type]
        out.append(replace(one, notices=()))
    return out
