"""The answer on a terminal: one screen at 80 columns, what to do first, the verdict of the whole in the last line."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import click
import numpy as np
import pandas as pd

from rcdcheck.records import Audit, Outcome
from rcdcheck.reports import act_now
from rcdcheck.reports.history_text import new_since, taken_for_the_same
from rcdcheck.reports.text import address, counted, cut, visible, width

COLUMNS = 80
SHOWN = 5  # of each list; the rest is in the report
EACH = 3  # cells of one column that are wrong in one way and get a line each


def summary(audit: Audit, written: Sequence[Path], *, colour: bool = False) -> str:
    """The whole text, without a final line break."""
    lines: list[str] = []
    for part in (
        _inputs(audit),
        _withdraw(audit),
        _go_back(audit),
        _mend(audit),
        new_since(audit.history.changes),
        taken_for_the_same(audit.history),
        _doubts(audit),
        _facts(audit, written),
    ):
        block = list(part)
        if block:
            lines += [*block, ""]
    lines.append(_closing(audit))
    return "\n".join(_styled(line) if colour else line for line in lines)


def _styled(line: str) -> str:
    return click.style(line, bold=True) if line and not line.startswith(" ") else line


def _inputs(audit: Audit) -> Iterator[str]:
    counts = audit.tables.sheets[["non_blank", "heading", "test", "passed_over"]].sum()
    for number, one in enumerate(audit.tables.inputs):
        if one.status != "audited":
            yield from _wrapped(f"NOT AUDITED  {visible(one.name)}: {visible(one.reason)}", "  ")
        elif len(audit.tables.inputs) <= SHOWN:
            sheets = audit.tables.sheets[audit.tables.sheets["input"] == number]
            read = sheets[sheets["reason"] == ""]
            rows = counted(int(read["test"].sum()), "row")
            yield cut(f"{visible(one.name)}: {counted(len(read), 'sheet')} read, {rows} of tests", COLUMNS)
    audited = sum(i.status == "audited" for i in audit.tables.inputs)
    if len(audit.tables.inputs) > SHOWN:
        yield f"{counted(audited, 'file')} audited of {len(audit.tables.inputs)}"
    yield from _wrapped(
        f"{counted(int(counts['non_blank']), 'row')} = {counts['heading']:,} heading + {counts['test']:,} test + "
        f"{counts['passed_over']:,} passed over; {counted(int(audit.test_outcomes['counted'].sum()), 'test')} of "
        f"{counted(len(audit.devices), 'device')}",
        "  ",
    )
    yield cut(f"Rules: {audit.rules.title} ({audit.rules.document})", COLUMNS)
    for field, value in audit.options.assume:
        yield f"Assumed by you: {field.replace('_', ' ')} = {value}"


def _listed(audit: Audit, title: str, outcomes: tuple[Outcome, ...]) -> Iterator[str]:
    devices = audit.devices[audit.devices["outcome"].isin(outcomes)]
    if devices.empty:
        return
    devices = devices.assign(rank=np.where(devices["danger"] > 0, devices["danger"], 99))
    devices = devices.sort_values(
        ["outcome", "rank", "sheet", "row"], ascending=[False, True, True, True], kind="stable"
    )
    yield f"{title} ({len(devices):,})"
    for number, device in zip(devices.index[:SHOWN], devices.head(SHOWN).itertuples(), strict=True):
        reasons = audit.reasons[(audit.reasons["device"] == number) & audit.reasons["standing"]]
        first = reasons.iloc[0] if len(reasons) else None
        site = visible(audit.tables.vocabulary[int(device.site)])
        name = cut(visible(device.name), 18)
        where = (
            address(audit, int(first["sheet"]), int(first["row"]), int(first["column"])) if first is not None else ""
        )
        head = f"  {name}{', ' + cut(site, 16) if site else ''}"
        yield _two_ends(head, visible(where))
        if first is not None:
            yield from _wrapped("    " + visible(first["message"]), "    ")
    if len(devices) > SHOWN:
        yield f"  and {len(devices) - SHOWN:,} more, in the report"


def _withdraw(audit: Audit) -> Iterator[str]:
    return _listed(audit, "WITHDRAW NOW", (Outcome.FAIL,))


def _go_back(audit: Audit) -> Iterator[str]:
    return _listed(audit, "GO BACK OR SETTLE; no pass tag until then", (Outcome.UNCLEAR, Outcome.INCOMPLETE))


def _mend(audit: Audit) -> Iterator[str]:
    """Cells that a person can correct in the sheet, those of one cause together, then columns that need a word."""
    causes = [group for _, group in act_now.mendable(audit).groupby(["sheet", "column", "code"], sort=False)]
    cells = [one for group in causes for one in _together(audit, group)]
    columns = act_now.also_wrong(audit)
    columns = columns[columns["severity"] == "error"]
    total = len(cells) + len(columns)
    if total == 0:
        return
    yield f"MEND IN THE SHEET ({total:,})"
    yield from (cut(line, COLUMNS) for line in cells[:SHOWN])
    for f in columns.head(SHOWN).itertuples():
        told = " ".join(filter(None, (str(f.message).strip(), act_now.settled_by(str(f.suggestion)))))
        yield from _wrapped(f"  {visible(told)}", "    ")
    left = total - len(cells[:SHOWN]) - len(columns.head(SHOWN))
    if left > 0:
        yield f"  and {left:,} more, in the report"


def _together(audit: Audit, group: pd.DataFrame) -> Iterator[str]:
    """A line a cell, or one line where many cells of a column are wrong in one way."""
    count = int(group["count"].sum())
    for f in group.head(1 if count > EACH else EACH).itertuples():
        where = visible(address(audit, int(f.sheet), int(f.row), int(f.column)))
        more = f" and {count - 1:,} more below it" if count > EACH else ""
        yield f"  {where}{more}  {visible(f.typed)}  {visible(f.suggestion or f.message)}"


def _doubts(audit: Audit) -> Iterator[str]:
    doubts = audit.findings[audit.findings["severity"] == "doubt"]
    if doubts.empty:
        return
    yield f"DOUBTS: reasons to look, not proof ({len(doubts)})"
    for f in doubts.head(SHOWN).itertuples():
        strength = (f.evidence or {}).get("strength", "")
        yield from _wrapped(f"  {strength + ': ' if strength else ''}{visible(f.message)}", "    ")
    if len(doubts) > SHOWN:
        yield f"  and {len(doubts) - SHOWN:,} more, in the report"


def _facts(audit: Audit, written: Sequence[Path]) -> Iterator[str]:
    if written:
        yield from _wrapped("Written: " + ", ".join(visible(str(p)) for p in written), "  ")
    yield from _wrapped(
        "Test only if competent and authorised, by the local standard and regulator, and isolate before work. "
        "A passed record is no proof that a device is safe today.",
        "",
    )
    yield from _wrapped(f"Record grade {audit.grade.grade}: {visible(audit.grade.decided_by)}.", "  ")


def _closing(audit: Audit) -> str:
    counts = audit.counts()["devices"]
    said = ", ".join(f"{counts[word]:,} {word}" for word in ("fail", "unclear", "incomplete", "pass"))
    return f"{said}. Grade of the record: {audit.grade.grade}."


def _two_ends(left: str, right: str) -> str:
    room = COLUMNS - width(left) - width(right)
    return left + " " * max(2, room) + right


def _wrapped(text: str, indent: str) -> Iterator[str]:
    """Lines of at most 80 columns; later lines begin with `indent`."""
    line = text[: len(text) - len(text.lstrip())]
    for word in text.split():
        joined = f"{line} {word}" if line.strip() else line + word
        if width(joined) > COLUMNS and line.strip():
            yield line
            line = indent + word
        else:
            line = joined
    yield line
