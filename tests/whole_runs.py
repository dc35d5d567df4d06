"""Names that whole runs of the command share: the day that counts as today, folders, and what a document must be."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema

ROOT = Path(__file__).parents[1]
DAY = "2026-11-25"  # the day that counts as today, unless a test names another

Run = Callable[..., subprocess.CompletedProcess[bytes]]
AuditJson = Callable[..., dict[str, Any]]


def valid(document: dict[str, Any]) -> None:
    """Hold an audit document to its published schema."""
    schema = json.loads((ROOT / "schemas" / "audit.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(schema).validate(document)
