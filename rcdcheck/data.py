"""Finds the files of schemas/, whether rcdcheck is installed or run from a clone."""

from __future__ import annotations

import functools
import json
import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any


def schemas() -> Path:
    """Folder that holds the data files: inside the installed package, else beside it in a clone."""
    package = Path(str(files("rcdcheck")))
    installed = package / "schemas"
    return installed if installed.is_dir() else package.parent / "schemas"


@functools.cache
def toml(name: str) -> dict[str, Any]:
    """Read `schemas/NAME` as TOML; a caller must not change what it gets."""
    return tomllib.loads((schemas() / name).read_text(encoding="utf-8"))


@functools.cache
def document(name: str) -> dict[str, Any]:
    """Read `schemas/NAME` as JSON; a caller must not change what it gets."""
    loaded: dict[str, Any] = json.loads((schemas() / name).read_text(encoding="utf-8"))
    return loaded
