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


def toml_of(text: str) -> dict[str, Any]:
    """A TOML text that a user wrote. Raises TOMLDecodeError for anything that is none."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        raise
    except (RecursionError, ValueError) as error:  # brackets within brackets, a number of thousands of digits
        raise tomllib.TOMLDecodeError("its values are nested too deeply, or too long") from error


@functools.cache
def document(name: str) -> dict[str, Any]:
    """Read `schemas/NAME` as JSON; a caller must not change what it gets."""
    loaded: dict[str, Any] = json.loads((schemas() / name).read_text(encoding="utf-8"))
    return loaded
