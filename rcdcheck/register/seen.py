"""Which files of a run are new to the register: the same bytes are counted once, and a file still being written waits.

A corrected sheet (`--replaces`) and a file that is to be audited again (`--again`) take the place of the visit that was
counted before; from here on the register answers as if that one had never been.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from rcdcheck.errors import UsageError
from rcdcheck.intake.opened.files import Opened
from rcdcheck.options import Options
from rcdcheck.register.states import renew
from rcdcheck.register.store import Register
from rcdcheck.rules import RuleSet

RESTING = 60.0  # seconds since its last change after which a file of a folder counts as finished
PENDING = -1  # `replaced_by` of a visit whose successor is being audited


@dataclass(frozen=True)
class Fresh:
    """What is to be audited, and what is not; see history.History."""

    inputs: list[Opened]
    counted: tuple[tuple[str, int, str], ...] = ()
    waiting: tuple[str, ...] = ()
    replaced: tuple[int, ...] = ()


def fresh(
    register: Register, inputs: Sequence[Opened], paths: Sequence[str], options: Options, rules: RuleSet
) -> Fresh:
    """Part the inputs of a run. Raises UsageError where `--replaces` names no one visit or no one file."""
    finished, waiting = _finished(inputs, {Path(p) for p in paths})
    finished = [one for one in finished if not _empty_folder(one)]
    known = {
        sha: (int(visit), int(replaced or visit), str(day))
        for sha, visit, replaced, day in _visits(register, [one.input.sha256 for one in finished])
    }
    again = [known[one.input.sha256][0] for one in finished if one.input.sha256 in known] if options.again else []
    new = [one for one in finished if options.again or one.input.sha256 not in known]
    counted = [
        (one.input.name, *known[one.input.sha256][1:])
        for one in finished
        if one not in new and one.input.sha256 in known
    ]
    replaced = [*again, *_named(register, options.replaces, new)]
    _set_aside(register, replaced, rules)
    return Fresh(new, tuple(counted), waiting, tuple(dict.fromkeys(replaced)))


def _finished(inputs: Sequence[Opened], named: set[Path]) -> tuple[list[Opened], tuple[str, ...]]:
    """Files that somebody named, and those of folders that nobody has touched for a minute."""
    out, waiting = [], []
    for one in inputs:
        path = one.input.path
        young = path is not None and path not in named and _age(path) < RESTING
        if young:
            waiting.append(one.input.name)
        else:
            out.append(one)
    return out, tuple(waiting)


def _age(path: Path) -> float:
    try:
        return time.time() - path.stat().st_mtime
    except OSError:  # taken away since: said by what intake found
        return RESTING


def _empty_folder(one: Opened) -> bool:
    """An inbox with nothing in it is no error for a nightly run."""
    path = one.input.path
    return path is not None and path.is_dir() and _readable(path)


def _readable(folder: Path) -> bool:
    try:
        next(folder.iterdir(), None)
    except OSError:
        return False
    return True


def _visits(register: Register, hashes: Iterable[str]) -> list[tuple[str, int, int | None, str]]:
    """Latest visit of each of these contents: hash, number, what replaced it, day."""
    found: dict[str, tuple[str, int, int | None, str]] = {}
    for sha in hashes:
        for row in register.rows(
            "SELECT sha256, id, replaced_by, as_of FROM visits WHERE sha256 = ?"
            " ORDER BY replaced_by IS NOT NULL, id DESC",
            sha,
        ):
            found.setdefault(sha, (row[0], row[1], row[2], row[3]))
    return list(found.values())


def _named(register: Register, wanted: str, new: Sequence[Opened]) -> list[int]:
    """The visit that `--replaces` names, by number, by file name, or by the file itself."""
    if not wanted:
        return []
    if len(new) != 1:
        raise UsageError(
            f"--replaces {wanted} needs exactly one file that is new to {register.path.name}; there are {len(new)}."
        )
    rows = register.rows("SELECT id, file FROM visits WHERE replaced_by IS NULL")
    visits = [visit for visit, file in rows if wanted in (str(visit), file) or Path(wanted).name == file]
    if len(visits) != 1:
        many = (
            f"{len(visits)} visits are called that: {', '.join(map(str, visits))}"
            if visits
            else "no visit is called that"
        )
        raise UsageError(f"--replaces {wanted}: {many}. `rcdcheck visits --register {register.path}` lists them.")
    return visits if new[0].input.status == "audited" else []


def _set_aside(register: Register, visits: Sequence[int], rules: RuleSet) -> None:
    """Take visits out of what stands, until `taking_in` names their successor."""
    for visit in visits:
        register.connection.execute("UPDATE visits SET replaced_by = ? WHERE id = ?", (PENDING, visit))
        devices = [d for (d,) in register.rows("SELECT DISTINCT device FROM sightings WHERE visit = ?", visit)]
        renew(register, devices, rules)
