"""Whether a value from a file of a stranger has the shape that a JSON Schema of `schemas/` asks of it.

Of JSON Schema 2020-12 only what those schemas need to tell a document from something else: type, required, properties,
additionalProperties as a schema, items, minItems, maxItems, enum and references within it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

Check = Callable[[Any], bool]
_TYPES: Mapping[str, tuple[type, ...]] = {
    "object": (dict,), "array": (list,), "string": (str,), "boolean": (bool,), "null": (type(None),),
    "number": (int, float), "integer": (int,),
}  # fmt: skip


def check_of(schema: Mapping[str, Any], *, whole: bool) -> Check:
    """A function that tells whether a value has the shape; where not `whole`, what is required may be missing."""
    named: dict[str, Check] = {}

    def of(part: Mapping[str, Any]) -> Check:
        if "$ref" in part:
            name = part["$ref"].rpartition("/")[2]
            if name not in named:
                named[name] = of(schema["$defs"][name])
            return named[name]
        types = part.get("type", [])
        allowed = tuple(t for name in ([types] if isinstance(types, str) else types) for t in _TYPES[name])
        choices = set(part["enum"]) if "enum" in part else None
        inside = {name: of(value) for name, value in part.get("properties", {}).items()}
        required = frozenset(part.get("required", ())) if whole else frozenset()
        rest = of(part["additionalProperties"]) if isinstance(part.get("additionalProperties"), dict) else None
        items = of(part["items"]) if "items" in part else None
        least, most = part.get("minItems", 0), part.get("maxItems", float("inf"))

        def check(value: Any) -> bool:
            if allowed and not (isinstance(value, allowed) and (bool in allowed or not isinstance(value, bool))):
                return False
            if choices is not None and (isinstance(value, dict | list) or value not in choices):
                return False
            if isinstance(value, dict):
                checks = ((inside.get(name, rest), one) for name, one in value.items())
                return required <= value.keys() and all(one is None or one(held) for one, held in checks)
            if isinstance(value, list):
                return least <= len(value) <= most and (items is None or all(map(items, value)))
            return True

        return check

    return of(schema)
