"""From files that people typed to tests and readings, with nothing lost."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # the child process that opens workbooks passes through here, and must not wait for pandas
    from rcdcheck.findings import Findings
    from rcdcheck.intake.opened.files import Opened
    from rcdcheck.intake.taken_out.assemble import World
    from rcdcheck.options import Options
    from rcdcheck.tables import Tables


def open_all(paths: Sequence[str], options: Options, findings: Findings, *, jobs: int = 1) -> list[Opened]:
    """Open all inputs; an input that cannot be opened is listed with its reason and never stops the others."""
    from rcdcheck.intake.opened.files import open_inputs

    return open_inputs(paths, findings, encoding=options.encoding, delimiter=options.delimiter, jobs=jobs)


def take_out(inputs: Sequence[Opened], options: Options, findings: Findings, world: World | None = None) -> Tables:
    """Understand the sheets of opened inputs, and take tests and readings out of them."""
    from rcdcheck.intake.taken_out.assemble import assemble

    return assemble(inputs, options, findings, world)


def read(paths: Sequence[str], options: Options, findings: Findings, *, jobs: int = 1) -> Tables:
    """Open, understand and take out all inputs."""
    return take_out(open_all(paths, options, findings, jobs=jobs), options, findings)
