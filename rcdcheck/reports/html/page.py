"""The page: one file that opens anywhere, asks nothing of a network, and is whole without its script.

For the office it says what to do, how far the record can be trusted, the detail, and how it was worked out. For
the client it says what was tested and what is wrong, and nothing about credibility.
"""

from __future__ import annotations

import base64
import functools
import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import replace
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from rcdcheck.audits import Audit
from rcdcheck.reports import facts, hidden_names, to_do, wording
from rcdcheck.reports.heading import Heading
from rcdcheck.reports.html import client, office, people, record
from rcdcheck.reports.html import devices as html_devices
from rcdcheck.reports.text import counted, with_units
from rcdcheck.reports.wording import CAUTIONS
from rcdcheck.showing import visible

if TYPE_CHECKING:
    from jinja2 import Environment

ALL_DEVICES = 2_000  # up to this many devices all stand in the table
LONGEST_HEAD = 60  # letters of a text in the running head
LONGEST = 2_000  # letters of one text; a cell may hold 32,767
ATTENTION = 1_000  # past it so many of those that need attention; every failed one stands under Withdraw


def page(
    audit: Audit, heading: Heading, *, audience: str = "office", hide_names: bool = False, devices: str = ""
) -> Iterable[bytes]:
    """The page as UTF-8, for the `office` or the `client`; with `hide_names` people are letters.

    With `devices` "attention" only devices without a pass are listed.
    """
    if hide_names:
        audit = hidden_names.hidden(audit)
    heading = replace(heading, audience=audience)
    shared = _shared(audit, heading, only_attention=devices == "attention")
    own = client.words(audit) if audience == "client" else office.words(audit)
    yield environment().get_template(f"{audience}.html.j2").render(**shared, **own).encode()


@functools.cache
def environment() -> Environment:
    """Templates that escape everything and fail on a name they do not know.

    Every text they print has its hidden characters shown, and is cut where it is endless.
    """
    from jinja2 import Environment, FunctionLoader, StrictUndefined
    from markupsafe import Markup

    def shown(value: Any) -> Any:
        if not isinstance(value, str) or isinstance(value, Markup):
            return value
        return visible(value if len(value) <= LONGEST else value[:LONGEST] + "…")

    made = Environment(
        autoescape=True, undefined=StrictUndefined, loader=FunctionLoader(_file), finalize=shown, trim_blocks=True
    )
    made.filters["capitalize_first"] = lambda text: text[:1].upper() + text[1:]
    made.filters["units"] = with_units
    made.globals["symbols"] = html_devices.SYMBOLS
    made.globals["words"] = wording
    made.globals["numeric"] = _numeric
    return made


def _numeric(rows: Sequence[Sequence[object]], columns: int) -> list[bool]:
    """Which columns of a table hold whole numbers alone and stand at the right; the first names its rows."""
    return [
        bool(rows) and n > 0 and all(str(row[n]).replace(",", "").isdecimal() for row in rows) for n in range(columns)
    ]


@functools.cache
def _file(name: str) -> str:
    return (files("rcdcheck.reports") / "templates" / name).read_text(encoding="utf-8")


def _policy(style: str, script: str) -> str:
    """Content policy that lets in this style and this script, and nothing else."""
    style_hash, script_hash = (
        "'sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() + "'" for text in (style, script)
    )
    return (
        f"default-src 'none'; style-src {style_hash}; script-src {script_hash}; img-src data:; base-uri 'none'; "
        "form-action 'none'"
    )


def _shared(audit: Audit, heading: Heading, *, only_attention: bool) -> dict[str, Any]:
    from markupsafe import Markup

    title = heading.title or _title(audit, heading.audience)
    style, script = _file("style.css") + _running_head(heading, title), _file("table.js")
    told = facts.of(audit)
    head = (
        ("Report", heading.number),
        ("Client", heading.client),
        ("Prepared by", heading.prepared_by),
        ("As of", audit.options.as_of.isoformat()),
        ("Tested", _days(audit)),
        ("Rules", audit.rules.title),
    )
    return {
        "audit": audit,
        "title": title,
        "firm": heading.firm,
        "prepared_by": heading.prepared_by,
        "facts": [fact for fact in head if fact[1]],
        "notices": told.notices,
        "counts": told.counts,
        "bar": _bar(told.counts),
        "lead": told.lead,
        "rules": audit.rules,
        "limits": record.limits(audit),
        "instruments": people.instruments(audit),
        "policy": Markup(_policy(style, script)),
        "style": Markup(style),
        "script": Markup(script),
        "cautions": CAUTIONS,
        "elsewhere": "All of them stand in the workbook and in the JSON document.",
        **_devices(audit, only_attention),
    }


def _running_head(heading: Heading, title: str) -> str:
    """What stands at the head of each printed page: firm, client, job and number, as a style that prints it."""
    firm = heading.firm.name if heading.firm else ""
    left, right = (" · ".join(filter(None, parts)) for parts in ((firm, heading.client or title), (heading.number,)))
    job = title if heading.client else ""
    boxes = {"top-left": left, "top-right": " · ".join(filter(None, (job, right)))}
    said = " ".join(f'@{box} {{ content: "{_in_style(text)}"; }}' for box, text in boxes.items() if text)
    return f"\n@page {{ {said} }}\n"


def _in_style(text: str) -> str:
    """A text as it may stand between quotation marks in a style: all but letters, digits and spaces by their code."""
    shown = visible(text[:LONGEST_HEAD])
    return "".join(c if c.isalnum() or c in " ·,.()-" else f"\\{ord(c):x} " for c in shown)


def _title(audit: Audit, audience: str) -> str:
    """For the client what was tested and when, for the office which files."""
    inputs = audit.tables.inputs
    if audience == "client":
        return " ".join(filter(None, ("Tests of residual current devices", _days(audit))))
    return f"Audit of {inputs[0].name}" if len(inputs) == 1 else f"Audit of {len(inputs):,} files"


def _days(audit: Audit) -> str:
    days = audit.tables.tests["tested_at"].dropna()
    if days.empty:
        return ""
    first, last = days.min().date(), days.max().date()
    return str(first) if first == last else f"{first} to {last}"


def _bar(counts: dict[str, int]) -> list[tuple[str, float, float]]:
    """Pieces of the bar of outcomes: word, start and width in per cent."""
    wording = ("pass", "incomplete", "unclear", "fail")
    shares = [100 * counts[f"devices.{w}"] / max(1, counts["devices.all"]) for w in wording]
    starts = [sum(shares[:i]) for i in range(4)]
    return [(w, round(at, 2), round(share, 2)) for w, at, share in zip(wording, starts, shares, strict=True) if share]


def _devices(audit: Audit, only_attention: bool) -> dict[str, Any]:
    numbers, everything = _listed(audit, only_attention), len(audit.devices)
    table = html_devices.device_table(audit, numbers)
    left = everything - len(numbers)
    said = (
        f"{counted(len(numbers), 'device')} of {everything:,} listed, the failed ones first; {left:,} others are "
        "counted above. All stand in the workbook, and in the JSON document with --devices all."
    )
    sites = sorted({line.site for line in table.lines if line.site})
    return {"devices": table, "devices_left": said if left else "", "sites": sites}


def _listed(audit: Audit, only_attention: bool) -> npt.NDArray[np.int64]:
    if len(audit.devices) <= ALL_DEVICES and not only_attention:
        return np.arange(len(audit.devices))
    listed = np.concatenate([to_do.failed(audit), to_do.unsettled(audit)])
    return listed if len(audit.devices) <= ALL_DEVICES else listed[:ATTENTION]
