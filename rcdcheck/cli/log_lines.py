"""What happened to each file of a run: a line of JSON each for machines, or sentences, on stderr."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

import click

from rcdcheck.errors import RcdcheckError
from rcdcheck.showing import visible, visible_json

if TYPE_CHECKING:
    from rcdcheck.audits import Audit

NAMED = 3  # files counted before that are named in sentences; more are counted
NOTHING_NEW = "nothing new."
PASSED_OVER = ("file-passed-over", "folder-passed-over", "report-passed-over", "file-given-twice")


def say(audit: Audit, visits: Mapping[int, int], as_json: bool) -> None:
    """Tell a run; `visits` are the numbers of its inputs in the register."""
    for line in lines(audit, visits) if as_json else sentences(audit):
        click.echo(line, err=True)


def error_line(error: RcdcheckError) -> str:
    """The line of a run that came to no audit."""
    return _line(event="error", exit_code=int(error.exit_code), message=str(error))


def lines(audit: Audit, visits: Mapping[int, int]) -> Iterator[str]:
    """One line for each file and one for the run; `event` says which, `status` what was done."""
    history, device = audit.history, audit.test_outcomes["device"].to_numpy()
    source = audit.tables.sheets["input"].to_numpy()[audit.tables.tests["sheet"].to_numpy()]
    for number, one in enumerate(audit.tables.inputs):
        mine = source == number
        outcomes = audit.devices["outcome"].iloc[sorted(set(device[mine].tolist()))]
        yield _line(
            event="file", file=one.name, status=one.status, reason=one.reason, sha256=one.sha256,
            visit=visits.get(number), tests=int(mine.sum()), devices=len(outcomes), failed=int((outcomes == 3).sum()),
        )  # fmt: skip
    for name, visit, day in history.counted:
        yield _line(event="file", file=name, status="counted_before", visit=visit, day=day)
    for name in history.waiting:
        yield _line(event="file", file=name, status="left_for_the_next_run")
    for message in audit.findings.loc[audit.findings["code"].isin(PASSED_OVER), "message"]:
        yield _line(event="passed_over", message=message)
    changes = [change.kind for change in history.changes]
    yield _line(
        event="run", exit_code=int(audit.exit_code), audited=sum(i.status == "audited" for i in audit.tables.inputs),
        not_audited=sum(i.status != "audited" for i in audit.tables.inputs), counted_before=len(history.counted),
        new={kind: changes.count(kind) for kind in dict.fromkeys(changes)}, fingerprint=audit.fingerprint,
        message=NOTHING_NEW if _nothing_new(audit) else "",
    )  # fmt: skip


def _line(**told: Any) -> str:
    return visible_json(json.dumps(told, ensure_ascii=False))


def sentences(audit: Audit) -> Iterator[str]:
    """What a run with a register left out, and why; nothing for a run without one."""
    history = audit.history
    if len(history.counted) > NAMED:
        yield f"rcdcheck: {len(history.counted):,} files were counted before and are not audited again; --again does."
    else:
        for name, visit, day in history.counted:
            seen = f"was counted on {day} as visit {visit} and is not audited again; --again does."
            yield f"rcdcheck: {visible(name)} {seen}"
    for name in history.waiting:
        yield f"rcdcheck: {visible(name)} was changed in the last minute and is left for the next run."
    if _nothing_new(audit):
        yield f"rcdcheck: {NOTHING_NEW}"


def _nothing_new(audit: Audit) -> bool:
    return audit.history.named and not audit.tables.inputs
