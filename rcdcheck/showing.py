"""Texts of strangers made safe to show: what a terminal would obey is printed instead (ECMA-48; Unicode UAX #9)."""

from __future__ import annotations

import re

_BEYOND_ASCII = r"\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff\ud800-\udfff\ufffe\uffff"
_HIDDEN = re.compile(rf"[\x00-\x1f{_BEYOND_ASCII}]")
_NO_CHARACTER = re.compile(r"[\ud800-\udfff]")  # half of one
_IN_JSON = re.compile(rf"[{_BEYOND_ASCII}]")  # the others are written so by JSON itself


def visible(text: str) -> str:
    """Text with control, direction and escape characters shown as `\\x1b` instead of obeyed."""
    return _HIDDEN.sub(lambda m: m.group().encode("unicode_escape", "surrogatepass").decode(), text)


def visible_toml(text: str) -> str:
    """A text as TOML quotes it, with these characters by their numbers: who reads it has the text itself again."""
    quoted = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + _HIDDEN.sub(lambda m: f"\\u{ord(m.group()):04x}", _NO_CHARACTER.sub("\ufffd", quoted)) + '"'


def plain_name(stem: str) -> str:
    """The name of a file to write, after one that a stranger made up: such characters are `_`."""
    return _HIDDEN.sub("_", stem)


def visible_json(text: str) -> str:
    """The same JSON with these characters by their numbers."""
    return _IN_JSON.sub(lambda m: f"\\u{ord(m.group()):04x}", text)
