"""A hash of the code and data that a measured result rests on: comments, docstrings and layout do not count."""

from __future__ import annotations

import ast
import hashlib
import json
import tomllib
from collections.abc import Collection, Iterable
from pathlib import Path


def made_of(paths: Iterable[Path], without: Collection[str] = ()) -> str:
    """SHA-256 of these Python and TOML files, as what they say and not how it is written; `without` are tables of TOML
    that do not count."""
    digest = hashlib.sha256()
    for path in sorted(paths, key=lambda p: p.name):
        text = path.read_text(encoding="utf-8")
        tables = {k: v for k, v in tomllib.loads(text).items() if k not in without} if path.suffix == ".toml" else {}
        said = tables or _code(ast.parse(text))
        digest.update(f"{path.name}\n{json.dumps(said, sort_keys=True, default=repr)}\n".encode())
    return digest.hexdigest()


def _code(node: object) -> object:
    """A tree of names and values; empty fields are left out, since versions of Python add such."""
    if isinstance(node, list):
        return [_code(one) for one in node]
    if not isinstance(node, ast.AST):
        return repr(node)
    fields = {name: value for name, value in ast.iter_fields(node) if value not in (None, [])}
    if isinstance(node, ast.Module | ast.FunctionDef | ast.ClassDef) and ast.get_docstring(node) is not None:
        fields["body"] = fields["body"][1:]
    return [type(node).__name__, {name: _code(value) for name, value in fields.items()}]
