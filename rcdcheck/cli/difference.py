"""`rcdcheck difference`: what changed from one audit document to a later one."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from rcdcheck.cli.grouped import PATH
from rcdcheck.cli.streams import tell

NEEDED = {"site", "device", "outcome", "reasons", "tested_at"}  # of a device


@click.command("difference", short_help="Say what changed between two audit documents.")
@click.argument("old", type=PATH)
@click.argument("new", type=PATH)
@click.option("--json", "as_json", is_flag=True, help="Print the changes as JSON.")
def command(old: Path, new: Path, as_json: bool) -> int:
    """Say what failed, was settled, appeared or went missing from one audit document (--json of audit) to a later one.

    The exit code is 1 where a device failed or became unclear or incomplete that did not stand so before.

    \b
    rcdcheck difference audits/monday.json audits/tuesday.json
    """
    import dataclasses
    import json

    from rcdcheck.errors import ExitCode
    from rcdcheck.history import NEW_TROUBLE
    from rcdcheck.register.changes import between
    from rcdcheck.reports.history_text import new_since
    from rcdcheck.showing import visible_json

    changes = between(document_of(old), document_of(new))
    if as_json:
        told = [dataclasses.asdict(change) for change in changes]
        tell(visible_json(json.dumps(told, ensure_ascii=False, indent=1)))
    else:
        tell("\n".join(new_since(changes, shown=len(changes))) or "Nothing changed.")
    return ExitCode.ATTENTION if any(change.kind in NEW_TROUBLE for change in changes) else ExitCode.CLEAN


def document_of(path: Path, *, whole: bool = False) -> dict[str, Any]:
    """An audit document; of another version it may lack what is new, unless asked for `whole`.

    Raises InputError where the file is none.
    """
    import json

    from rcdcheck import data, shape
    from rcdcheck.errors import InputError

    try:
        read = json.loads(path.read_text(encoding="utf-8"))
        if shape.check_of(data.document("audit.json"), whole=whole)(read) and _told(read):
            return dict(read)
    except OSError as error:
        raise InputError(f"{path} could not be read: {error.strerror}.") from error
    except (ValueError, RecursionError):
        pass
    raise InputError(f"{path} is no audit document. `rcdcheck audit FILES --json {path}` writes one.")


def _told(read: dict[str, Any]) -> bool:
    """Whether a document holds what a comparison reads."""
    counted = "all" in read.get("counts", {}).get("devices", {}) and "devices" in read
    return counted and all(
        device.keys() >= NEEDED and all(reason.keys() >= {"message", "standing"} for reason in device["reasons"])
        for device in read["devices"]
    )
