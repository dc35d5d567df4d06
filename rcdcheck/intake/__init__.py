"""From files that people typed to tests and readings, with nothing lost."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # the child process that opens workbooks passes through here, and must not wait for pandas
    from rcdcheck.findings import Findings
    from rcdcheck.records import Options, Tables


def read(paths: Sequence[str], options: Options, findings: Findings, *, jobs: int = 1) -> Tables:
    """Open and read all inputs; an input that cannot be read is listed with its reason and never stops the others."""
    from rcdcheck.intake.opened.files import open_inputs
    from rcdcheck.intake.taken_out.assemble import assemble

    opened = open_inputs(paths, findings, encoding=options.encoding, delimiter=options.delimiter, jobs=jobs)
    return assemble(opened, options, findings)
