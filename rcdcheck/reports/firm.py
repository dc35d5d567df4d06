"""The firm that hands a report over, from a TOML file: name, address, licence, contact, and a picture."""

from __future__ import annotations

import base64
import tomllib
from pathlib import Path
from typing import Any

from rcdcheck import data
from rcdcheck.errors import SettingsError, cause
from rcdcheck.reports.heading import Firm

KEYS = ("name", "address", "licence", "contact", "picture")
KINDS = {b"\x89PNG\r\n\x1a\n": "image/png", b"\xff\xd8\xff": "image/jpeg", b"GIF8": "image/gif"}
LARGEST = 500_000  # bytes of a picture


def firm(path: Path) -> Firm:
    """The firm that a file describes. Raises SettingsError naming file and key."""
    try:
        read = data.toml_of(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise SettingsError(f"{path} could not be read as the description of a firm: {cause(error)}.") from error
    unknown = [key for key in read if key not in KEYS]
    if unknown or not isinstance(read.get("name"), str):
        what = f"“{unknown[0]}” is not known there" if unknown else "it needs a name"
        raise SettingsError(f"{path}: {what}; a firm has {', '.join(KEYS)}.")
    return Firm(
        name=read["name"],
        address=_lines(read.get("address", "")),
        licence=str(read.get("licence", "")),
        contact=_lines(read.get("contact", "")),
        picture=_picture(path.parent / str(read["picture"])) if read.get("picture") else "",
    )


def _lines(value: Any) -> tuple[str, ...]:
    lines = value if isinstance(value, list) else str(value).splitlines()
    return tuple(str(line).strip() for line in lines if str(line).strip())


def _picture(path: Path) -> str:
    """The picture as a data URL, told by its first bytes."""
    try:
        content = path.read_bytes()
    except OSError as error:
        raise SettingsError(f"{path} could not be read as the picture of a firm: {cause(error)}.") from error
    kind = next((name for mark, name in KINDS.items() if content.startswith(mark)), "")
    if not kind or len(content) > LARGEST:
        raise SettingsError(f"{path} is no picture for a report: it must be a PNG, JPEG or GIF of at most 500 kB.")
    return f"data:{kind};base64,{base64.b64encode(content).decode()}"
