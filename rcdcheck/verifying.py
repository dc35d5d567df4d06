"""Does an audit document still give the same answer: its sums, its inputs by their hashes, the whole audit again."""

from __future__ import annotations

import dataclasses
import datetime as dt
import hashlib
import json
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from rcdcheck import pipeline
from rcdcheck.options import Options

LISTS = ("devices", "tests", "readings")
SHOWN = 200  # characters of what differs


def faults_within(document: Mapping[str, Any]) -> list[str]:
    """What in a document contradicts itself: counts that do not add up, a fingerprint that is not of what it says."""
    told = []
    counts, outcomes = document["counts"]["devices"], Counter(d["outcome"] for d in document["devices"])
    if counts["all"] != sum(n for name, n in counts.items() if name != "all"):
        told.append("Its counts of devices do not add up to their sum.")
    listed = {name: outcomes[name] for name in counts if name != "all"}
    wrong = [n for n, count in listed.items() if count != counts[n] and (n != "pass" or listed["pass"])]
    if wrong:
        told.append(f"It counts {counts[wrong[0]]:,} devices as {wrong[0]} and lists {listed[wrong[0]]:,}.")
    try:
        dt.date.fromisoformat(document["run"]["options"]["as_of"])
    except ValueError:
        told.append("The day that counted as today is none.")
    if not document["history"] and document["run"]["fingerprint"] != _fingerprint(document):
        told.append("Its fingerprint is not that of the inputs, rules, options and version that it names.")
    return told


def _fingerprint(document: Mapping[str, Any]) -> str:
    """See `pipeline.fingerprint`; of a document that no register spoke in."""
    run = document["run"]
    whole = {
        "inputs": [one["sha256"] for one in document["inputs"]],
        "rules": run["rule_set"]["sha256"],
        "options": run["options"],
        "version": run["tool_version"],
        "register": "",
    }
    return hashlib.sha256(json.dumps(whole, sort_keys=True).encode()).hexdigest()


def other_files(document: Mapping[str, Any], paths: Sequence[Path]) -> list[str]:
    """Inputs of the document that none of these files is, and files that are none of its inputs. Raises OSError."""
    known = {one["sha256"]: one["name"] for one in document["inputs"]}
    given = {hashlib.sha256(path.read_bytes()).hexdigest(): path.name for path in paths}
    lacking = [name for sha, name in known.items() if sha not in given]
    others = [name for sha, name in given.items() if sha not in known]
    return [f"{name} is not among the files, or has changed since the audit." for name in lacking] + [
        f"{name} was not part of the audit as it is now." for name in others
    ]


def differences(document: Mapping[str, Any], paths: Sequence[Path], *, jobs: int = 1) -> list[str]:
    """Audit the files again with the options of the document, and say what comes out differently."""
    from rcdcheck.reports.json_document import document as made

    audit = pipeline.run([str(path) for path in paths], _options(document["run"]["options"]), jobs=jobs)
    counts = document["counts"]
    whole = {name: "all" if len(document[name]) == counts[name].get("all") else "" for name in LISTS}
    again = made(audit, **whole)
    return [
        f"“{part}” comes out differently: {_first(document.get(part), again.get(part))}"
        for part in dict.fromkeys([*again, *document])
        if document.get(part, ...) != again.get(part, ...)
    ]


def _options(told: Mapping[str, Any]) -> Options:
    """The options as the document tells them; what it does not tell is as by default."""
    names = {field.name for field in dataclasses.fields(Options)}
    values = {name: _frozen(value) for name, value in told.items() if name in names}
    return Options(**values | {"as_of": dt.date.fromisoformat(told["as_of"])})


def _frozen(value: Any) -> Any:
    return tuple(map(_frozen, value)) if isinstance(value, list) else value


def _first(old: Any, new: Any) -> str:
    """Where two values first differ, and how."""
    if isinstance(old, dict) and isinstance(new, dict):
        key = next((k for k in old if old[k] != new.get(k, ...)), None) or next(k for k in new if k not in old)
        return f"{key}, {_first(old.get(key), new.get(key))}"
    if isinstance(old, list) and isinstance(new, list):
        if len(old) != len(new):
            return f"{len(old):,} entries, now {len(new):,}"
        at = next(i for i, pair in enumerate(zip(old, new, strict=True)) if pair[0] != pair[1])
        return f"entry {at + 1:,}, {_first(old[at], new[at])}"
    return f"{_short(old)}, now {_short(new)}."


def _short(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)[:SHOWN]
