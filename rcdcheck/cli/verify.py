"""`rcdcheck verify`: whether an audit document still gives the same answer."""

from __future__ import annotations

from pathlib import Path

import click

from rcdcheck.cli.grouped import PATH
from rcdcheck.cli.streams import tell


@click.command("verify", short_help="Say whether an audit document still gives the same answer.")
@click.argument("document", type=PATH)
@click.argument("files", nargs=-1, type=PATH)
@click.option("--jobs", type=click.IntRange(1, 64), default=1, show_default=True, help="Files to read at a time.")
def command(document: Path, files: tuple[Path, ...], jobs: int) -> int:
    """Check an audit document (--json of audit): its sums and its fingerprint, and with FILES the whole audit again.

    FILES are the sheets that were audited, as they were then. The exit code is 1 where anything differs.

    \b
    rcdcheck verify audits/monday.json monday.xlsx
    """
    from rcdcheck import verifying
    from rcdcheck.cli.difference import document_of
    from rcdcheck.errors import ExitCode, InputError
    from rcdcheck.pipeline import version
    from rcdcheck.reports.text import counted
    from rcdcheck.showing import visible
    from rcdcheck.writing import unfinished, unfinished_sentence

    read = document_of(document, whole=True)
    told = verifying.faults_within(read)
    if files:
        try:
            told += verifying.other_files(read, files)
        except OSError as error:
            raise InputError(f"{error.filename} could not be read: {error.strerror}.") from error
    again = bool(files) and not told and not read["history"]
    told += verifying.differences(read, files, jobs=jobs) if again else []
    left = unfinished(document.parent, age=0).values()
    told += [unfinished_sentence(names) for names in left if document.name in names]
    if told and read["run"]["tool_version"] != version():
        told.append(f"It was made by version {read['run']['tool_version']}, and this is {version()}.")
    for sentence in told:
        tell(visible(sentence))
    if not told:
        audited = f", and the audit of {counted(len(files), 'file')} gives the same answer" if again else (
            ". Name the files to have them audited again" if not files else
            ", and the files are those that were audited. It was judged with a register, which is not asked again"
        )  # fmt: skip
        tell(f"The document agrees with itself{audited}.")
    return ExitCode.ATTENTION if told else ExitCode.CLEAN
