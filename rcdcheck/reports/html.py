"""The page: one file that opens anywhere, asks nothing of a network, and is whole without its script.

For the office it says what to do, how far the record can be trusted, the detail, and how it was worked out. For
the client it says what was tested and what is wrong, and nothing about credibility.
"""

from __future__ import annotations

import base64
import functools
import hashlib
from collections.abc import Iterable
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from rcdcheck.records import Audit, Outcome
from rcdcheck.reports import Heading, act_now, html_client, html_devices, html_office, html_people, html_record, names
from rcdcheck.reports.text import counted, visible
from rcdcheck.reports.words import CAUTIONS

if TYPE_CHECKING:
    from jinja2 import Environment

ALL_DEVICES = 2_000  # up to this many devices all stand in the table
LONGEST = 2_000  # letters of one text; a cell may hold 32,767
ATTENTION = 1_000  # past it, so many of those that need attention


def page(audit: Audit, heading: Heading, *, audience: str = "office", hide_names: bool = False) -> Iterable[bytes]:
    """The page as UTF-8, for the `office` or the `client`; with `hide_names` people are letters."""
    if hide_names:
        audit = names.hidden(audit)
    shared = _shared(audit, heading)
    own = html_client.words(audit) if audience == "client" else html_office.words(audit, shared["counts"])
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
    made.globals["symbols"] = html_devices.SYMBOLS
    return made


@functools.cache
def _file(name: str) -> str:
    return (files("rcdcheck.reports") / "templates" / name).read_text(encoding="utf-8")


def _policy(style: str, script: str) -> str:
    """Content policy that lets in this style and this script, and nothing else."""
    style_hash, script_hash = (
        "'sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() + "'" for text in (style, script)
    )
    return f"default-src 'none'; style-src {style_hash}; script-src {script_hash}; base-uri 'none'; form-action 'none'"


def _shared(audit: Audit, heading: Heading) -> dict[str, Any]:
    from markupsafe import Markup

    style, script = _file("style.css"), _file("table.js")
    counts = flat_counts(audit)
    facts = (
        ("Client", heading.client),
        ("Prepared by", heading.prepared_by),
        ("As of", audit.options.as_of.isoformat()),
        ("Tested", _days(audit)),
        ("Rules", audit.rules.title),
    )
    return {
        "audit": audit,
        "title": heading.title or _title(audit),
        "facts": [fact for fact in facts if fact[1]],
        "notices": html_record.notices(audit),
        "counts": counts,
        "bar": _bar(counts),
        "lead": _lead(counts),
        "rules": audit.rules,
        "limits": html_record.limits(audit),
        "instruments": html_people.instruments(audit),
        "policy": Markup(_policy(style, script)),
        "style": Markup(style),
        "script": Markup(script),
        "cautions": CAUTIONS,
        "elsewhere": "All of them stand in the workbook and in the JSON document.",
        **_devices(audit),
    }


def flat_counts(audit: Audit) -> dict[str, int]:
    """Counts under the names that the JSON document gives them, joined by dots."""
    sheets, inputs = audit.tables.sheets, audit.tables.inputs
    flat = {f"{kind}.{word}": n for kind, words in audit.counts().items() for word, n in words.items()}
    flat |= {"devices.all": len(audit.devices), "readings.all": len(audit.verdicts)}
    flat["tests.all"] = len(audit.test_outcomes)
    flat["tests.counted"] = int(audit.test_outcomes["counted"].sum())
    flat |= {f"rows.{name}": int(sheets[name].sum()) for name in ("non_blank", "heading", "test", "passed_over")}
    return flat | {"inputs.all": len(inputs), "inputs.not_audited": sum(i.status != "audited" for i in inputs)}


def _title(audit: Audit) -> str:
    inputs = audit.tables.inputs
    return f"Audit of {inputs[0].name}" if len(inputs) == 1 else f"Audit of {len(inputs):,} files"


def _days(audit: Audit) -> str:
    days = audit.tables.tests["tested_at"].dropna()
    if days.empty:
        return ""
    first, last = days.min().date(), days.max().date()
    return str(first) if first == last else f"{first} to {last}"


def _lead(counts: dict[str, int]) -> tuple[str, str]:
    """The answer in words: what cannot wait, and the rest."""
    failed, passed, everything = (counts[f"devices.{w}"] for w in ("fail", "pass", "all"))
    unsettled = counts["devices.unclear"] + counts["devices.incomplete"]
    if not everything:
        return "No device could be read.", ""
    first = f"{counted(failed, 'device comes', 'devices come')} out of service now." if failed else "No device failed."
    settle = f"{counted(unsettled, 'device gets', 'devices get')} no pass tag until settled. " if unsettled else ""
    return first, f"{settle}{passed:,} of {counted(everything, 'device')} passed."


def _bar(counts: dict[str, int]) -> list[tuple[str, float, float]]:
    """Pieces of the bar of outcomes: word, start and width in per cent."""
    words = ("pass", "incomplete", "unclear", "fail")
    shares = [100 * counts[f"devices.{w}"] / max(1, counts["devices.all"]) for w in words]
    starts = [sum(shares[:i]) for i in range(4)]
    return [(w, round(at, 2), round(share, 2)) for w, at, share in zip(words, starts, shares, strict=True) if share]


def _devices(audit: Audit) -> dict[str, Any]:
    numbers, everything = _listed(audit), len(audit.devices)
    table = html_devices.device_table(audit, numbers)
    left = everything - len(numbers)
    said = (
        f"{everything:,} devices are too many for a page: the first {len(numbers):,} of those that need attention are "
        f"listed here, {left:,} others are counted above. All of them stand in the workbook, and in the JSON "
        "document with --devices all."
    )
    sites = sorted({line.site for line in table.lines if line.site})
    return {"devices": table, "devices_left": said if left else "", "sites": sites}


def _listed(audit: Audit) -> npt.NDArray[np.int64]:
    if len(audit.devices) <= ALL_DEVICES:
        return np.arange(len(audit.devices))
    return act_now.order(audit, [Outcome.FAIL, Outcome.UNCLEAR, Outcome.INCOMPLETE])[:ATTENTION]
