"""The fields of a sheet that schemas/test-sheet.json declares, by how the tests table holds them."""

from __future__ import annotations

from typing import Any

from rcdcheck import data
from rcdcheck.terms import slot_named

RATED = "rated_residual_current"
FIELDS: dict[str, dict[str, Any]] = {  # all but the readings, by name
    f["name"]: f for f in data.document("test-sheet.json")["fields"] if slot_named(f["name"]) is None
}
_CHECK = ["pass", "fail"]


def _fields(*types: str, checks: bool = False) -> tuple[str, ...]:
    return tuple(
        name for name, f in FIELDS.items()
        if f["type"] in types and name != RATED and (f.get("constraints", {}).get("enum") == _CHECK) == checks
    )  # fmt: skip


for _name, _field in FIELDS.items():
    if _field["type"] not in ("string", "number", "date", "datetime"):
        raise ValueError(f"test-sheet.json, field {_name}: fields of type {_field['type']} are not known")

FLAG_FIELDS = _fields("string", checks=True)  # int8 of Flag
TEXT_FIELDS = _fields("string")  # int32 codes into the vocabulary
DATE_FIELDS = _fields("date", "datetime")  # datetime64[us], NaT: not known
NUMBER_FIELDS = _fields("number")  # float64 in the field's unit, NaN: not known
CHECKED_FIELDS = tuple(name for name in FLAG_FIELDS if name != "declared")  # what was looked at, and no conclusion
WORDS_OF = {name: f"{name}_words" for name in CHECKED_FIELDS}  # codes: what it says beside pass or fail
