"""Strict reading of a rule set: TOML → frozen dataclasses; a file may extend a shipped set.

An unknown key, a missing source, a standing that is not one of the three, or figures that contradict each
other is a SettingsError whose sentence names the file, the entry and the key.
"""

from __future__ import annotations

import hashlib
import math
import os
import tomllib
from collections.abc import Collection, Mapping
from dataclasses import MISSING, fields, is_dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any, Literal, TypeVar, get_args, get_origin, get_type_hints

from rcdcheck import data
from rcdcheck.errors import SettingsError
from rcdcheck.rules import checks
from rcdcheck.rules.checks import guess, refuse
from rcdcheck.rules.model import Limit, RuleSet

T = TypeVar("T")


def shipped() -> tuple[str, ...]:
    """Names of the rule sets that come with rcdcheck."""
    return tuple(sorted(path.stem for path in (data.schemas() / "rules").glob("*.toml")))


def load(name_or_path: str) -> RuleSet:
    """The shipped set of that name, else the one in the file at that path; SettingsError where unsound."""
    if name_or_path in shipped():
        return _load(data.schemas() / "rules" / f"{name_or_path}.toml")
    if not os.path.isfile(name_or_path):  # noqa: PTH113  # False for a name that no file can have
        raise SettingsError(f"`{name_or_path}` is neither a rule set nor a file{guess(name_or_path, shipped())}")
    return _load(Path(name_or_path))


def _load(path: Path) -> RuleSet:
    table, raw = read(path)
    extends = table.pop("extends", None)
    given = parsed(RuleSet, table, str(path), hidden=("name", "sha256"))
    if extends is None:
        complete(RuleSet, given, str(path))
        rules = RuleSet(**given)
    elif extends in shipped():
        rules = _extended(load(extends), given)
    else:
        refuse(str(path), f"`extends` names no shipped set{guess(str(extends), shipped())}")
    digest = hashlib.sha256(rules.sha256.encode() + raw).hexdigest()
    rules = replace(rules, name=path.stem, sha256=digest)
    checks.check(rules, str(path))
    return rules


def _extended(base: RuleSet, given: dict[str, Any]) -> RuleSet:
    """`base` with what a file gives: entries with the same key and single values replaced, others added."""
    new = dict(given)
    if "limits" in given:
        kept = (_without(limit, given["limits"]) for limit in base.limits)
        new["limits"] = (*(limit for limit in kept if limit.types), *given["limits"])
    for name, key in _KEYS.items():
        if name in given:
            replaced = {key(entry) for entry in given[name]}
            new[name] = (*(e for e in getattr(base, name) if key(e) not in replaced), *given[name])
    for name in ("class_names", "environment_words"):
        old = getattr(base, name)
        new[name] = old | {word: (*old.get(word, ()), *more) for word, more in given.get(name, {}).items()}
    return replace(base, **new)


_KEYS: dict[str, Any] = {
    "types": lambda t: t.name,
    "needs": lambda n: (n.quantity, n.waveform, str(n.multiple)),
    "intervals": lambda i: (i.kind, i.environment),
    "must_pass": lambda word: word,
}


def _without(limit: Limit, given: tuple[Limit, ...]) -> Limit:
    """`limit` without the types for which a limit of the same quantity, waveform and multiple is given."""
    same = [g for g in given if _limit_key(g) == _limit_key(limit)]
    return replace(limit, types=tuple(name for name in limit.types if not any(name in g.types for g in same)))


def _limit_key(limit: Limit) -> tuple[str, ...]:
    return limit.quantity, limit.waveform, str(limit.multiple), str(limit.current)


# ── one table of TOML → one dataclass ──


def read(path: Path) -> tuple[dict[str, Any], bytes]:
    """The TOML table in a file, and the bytes that it was read from."""
    try:
        raw = path.read_bytes()
        return data.toml_of(raw.decode("utf-8")), raw
    except OSError as error:
        refuse(str(path), f"the rule set could not be read: {error.strerror or 'the system gave no reason'}.")
    except UnicodeDecodeError:
        refuse(str(path), "the rule set is not UTF-8 text; save it again as UTF-8.")
    except tomllib.TOMLDecodeError as error:
        refuse(str(path), f"the rule set is not valid TOML: {error}.")


_hints = cache(get_type_hints)


def parsed(cls: type, table: Mapping[str, Any], where: str, hidden: Collection[str] = ()) -> dict[str, Any]:
    """The values of `table` by field of the dataclass `cls`; fields in `hidden` may not be given."""
    hints = {name: hint for name, hint in _hints(cls).items() if name not in hidden}
    for key in table:
        if key not in hints:
            refuse(where, f"`{key}` is not a key here{guess(key, hints)}")
    return {key: _converted(value, hints[key], where, key) for key, value in table.items()}


def complete(cls: type, values: Mapping[str, Any], where: str) -> None:
    """Refuse where a field without a default is missing from `values`."""
    for f in fields(cls):
        if f.name not in values and f.default is MISSING and f.default_factory is MISSING:
            refuse(where, f"`{f.name}` is missing.")


def build(cls: type[T], table: object, where: str) -> T:
    """An instance of the dataclass `cls` from a TOML table."""
    if not isinstance(table, Mapping):
        refuse(where, "a table of keys and values was expected.")
    values = parsed(cls, table, where)
    complete(cls, values, where)
    return cls(**values)


def _converted(value: Any, hint: Any, where: str, key: str) -> Any:
    origin = get_origin(hint)
    if is_dataclass(hint):
        return build(hint, value, f"{where}, `{key}`")  # type: ignore[arg-type]
    if origin is tuple:
        if not isinstance(value, list):
            refuse(where, f"`{key}` must be a list.")
        item = get_args(hint)[0]
        if is_dataclass(item):
            return tuple(build(item, v, f"{where}: `{key}`, entry {i}") for i, v in enumerate(value, 1))  # type: ignore[arg-type]
        return tuple(_converted(v, item, where, key) for v in value)
    if origin is dict:
        if not isinstance(value, dict):
            refuse(where, f"`{key}` must be a table of words.")
        return {k: _converted(v, get_args(hint)[1], where, f"{key}.{k}") for k, v in value.items()}
    if origin is Literal:
        if value not in get_args(hint):
            refuse(where, f"`{key}` is {value!r}, and must be one of: {', '.join(get_args(hint))}.")
        return value
    if hint in (int, float):
        return _number(value, hint, where, key)
    if hint is str:
        if not isinstance(value, str) or not value.strip():
            refuse(where, f"`{key}` must be a text that is not empty.")
        return value
    return _converted(value, get_args(hint)[0], where, key)  # `Curve | None`


def _number(value: object, hint: type[int] | type[float], where: str, key: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | hint) or not 0 <= value < math.inf:
        whole = "whole " if hint is int else ""
        refuse(where, f"`{key}` must be a {whole}number that is not negative, without its unit.")
    return hint(value)
