"""What a mutant is: one line of a module changed, its name, and how it gets into functions that are already loaded.

A comparison is turned, a number raised by one, `and` becomes `or`, a mask's `&` becomes `|`, a statement is dropped.
Annotations are no code, and stay.
"""

from __future__ import annotations

import ast
import gc
import hashlib
import re
import sys
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, is_dataclass
from pathlib import Path
from types import CodeType, FunctionType
from typing import Any

ROOT = Path(__file__).parents[2]
TURNED = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq}
SWAPPED = {ast.And: ast.Or, ast.Or: ast.And, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd}
CONSTANTS = (int, float, str, tuple, dict, list, set, frozenset, re.Pattern)
TOLD = 16  # characters beside a number that tell which of a function's it is
MOST = 100  # characters of code in a name


@dataclass(frozen=True)
class Change:
    """A field of a node of a tree, and another value for it."""

    node: ast.AST
    field: str
    value: object

    @contextmanager
    def made(self) -> Iterator[None]:
        """The tree with the change in it."""
        before = getattr(self.node, self.field)
        setattr(self.node, self.field, self.value)
        yield
        setattr(self.node, self.field, before)


@dataclass(frozen=True)
class Mutant:
    """A change of a module."""

    path: str
    name: str  # function, code before and after: once in a module
    lines: frozenset[int]  # where its statement begins, or those that use its name
    loaded: bool  # run when the module is loaded, and by no test
    tree: ast.Module
    change: Change

    def put_in(self, functions: list[FunctionType]) -> None:
        """Give the module's functions, wherever they are referred to, the changed code."""
        with self.change.made():
            code = _put_in(self.path, self.tree, functions)
        if self.loaded:
            self._load(code)

    def _load(self, code: CodeType) -> None:
        """Give functions their changed defaults, and every module that has a changed constant its value."""
        module = sys.modules[module_name(self.path)]
        fresh: dict[str, Any] = {"__name__": module.__name__, "__package__": module.__package__}
        exec(code, fresh)
        for name, was in list(vars(module).items()):
            if isinstance(was, FunctionType) and was.__module__ == module.__name__:
                was.__defaults__, was.__kwdefaults__ = fresh[name].__defaults__, fresh[name].__kwdefaults__
            elif (type(was) in CONSTANTS or (is_dataclass(was) and type(fresh[name]) is type(was))) and (
                fresh[name] != was
            ):
                for other in list(sys.modules.values()):
                    if vars(other).get(name) is was:
                        setattr(other, name, fresh[name])


@contextmanager
def noting(paths: list[str], functions: list[FunctionType], met: set[tuple[str, int]]) -> Iterator[None]:
    """While functions of these modules run, each statement adds its path and line to `met`."""
    before = [one.__code__ for one in functions]
    for path in paths:
        tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
        vars(sys.modules[module_name(path)])["_met_here"] = met.add
        _Noting(path).visit(tree)
        _put_in(path, tree, functions)
    yield
    for function, code in zip(functions, before, strict=True):
        function.__code__ = code


class _Noting(ast.NodeTransformer):
    """Puts a call that notes the place before every statement of a function."""

    def __init__(self, path: str) -> None:
        self.path = path

    def visit(self, node: ast.AST) -> ast.AST:
        self.generic_visit(node)
        for name in ("body", "orelse", "finalbody") if not isinstance(node, ast.Module | ast.ClassDef) else ():
            statements = getattr(node, name, None)
            if isinstance(statements, list):
                setattr(node, name, [one for each in statements for one in (self._note(each), each)])
        return node

    def _note(self, statement: ast.stmt) -> ast.stmt:
        (note,) = ast.parse(f"_met_here(({self.path!r}, {statement.lineno}))").body
        for one in ast.walk(note):
            ast.copy_location(one, statement)
        return note


def _put_in(path: str, tree: ast.Module, functions: list[FunctionType]) -> CodeType:
    """Give the functions of a module the code that a tree has for them."""
    file = str(ROOT / path)
    code = compile(tree, file, "exec")
    bodies = {(one.co_qualname, one.co_firstlineno): one for one in _codes(code)}
    for function in functions:
        was = function.__code__
        if was.co_filename == file:
            function.__code__ = bodies[was.co_qualname, was.co_firstlineno]
    return code


def module_name(path: str) -> str:
    """Name of a module by its path."""
    return path.removesuffix(".py").replace("/", ".")


def code_hash(path: str) -> str:
    """SHA-256 of what a module says: comments, layout and where it imports from do not count."""
    tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
    tree.body = [one for one in tree.body if not isinstance(one, ast.Import | ast.ImportFrom)]
    return hashlib.sha256(ast.unparse(tree).encode()).hexdigest()


def functions_of(paths: list[str]) -> list[FunctionType]:
    """All functions of these modules that this process has loaded."""
    files = {str(ROOT / path) for path in paths}
    return [one for one in gc.get_objects() if isinstance(one, FunctionType) and one.__code__.co_filename in files]


def mutants_of(path: str) -> list[Mutant]:
    """Every mutant of a module."""
    tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
    seen: Counter[str] = Counter()
    found = []
    for *above, node in _walked([tree]):
        statement = next((one for one in [node, *reversed(above)] if isinstance(one, ast.stmt)), None)
        inside = ".".join(one.name for one in above if isinstance(one, ast.FunctionDef | ast.ClassDef))
        loaded = not any(isinstance(one, ast.FunctionDef) for one in above) or isinstance(above[-1], ast.arguments)
        for change in _changes(node, above):
            assert statement is not None
            told = _told(node, above)
            name = f"{inside}: {_text(told)[:MOST]}"
            with change.made():
                name += f" → {_text(told)[:MOST]}" if change.node is node else " dropped"
            seen[name] += 1
            name += f" #{seen[name]}" if seen[name] > 1 else ""
            lines = frozenset([statement.lineno]) if not loaded else _users(tree, statement)
            found.append(Mutant(path, name, lines, loaded, tree, change))
    return found


def _walked(way: list[ast.AST]) -> Iterator[list[ast.AST]]:
    """Every node that a run comes to, behind those above it."""
    yield way
    for name, value in ast.iter_fields(way[-1]):
        if name not in ("annotation", "returns"):
            for child in value if isinstance(value, list) else [value]:
                if isinstance(child, ast.AST):
                    yield from _walked([*way, child])


def _changes(node: ast.AST, above: list[ast.AST]) -> Iterator[Change]:
    if isinstance(node, ast.Compare):
        for i, op in enumerate(node.ops):
            if type(op) in TURNED:
                yield Change(node, "ops", [*node.ops[:i], TURNED[type(op)](), *node.ops[i + 1 :]])
    if isinstance(node, ast.BoolOp | ast.BinOp) and type(node.op) in SWAPPED:
        yield Change(node, "op", SWAPPED[type(node.op)]())
    if isinstance(node, ast.Constant) and isinstance(node.value, int | float) and not isinstance(node.value, bool):
        yield Change(node, "value", node.value + 1)
    if isinstance(node, ast.Expr | ast.AugAssign) and not isinstance(node.value, ast.Constant):
        body = getattr(above[-1], "body", [])
        if node in body:
            nothing = ast.copy_location(ast.Pass(), node)
            yield Change(above[-1], "body", [nothing if one is node else one for one in body])


def _users(tree: ast.Module, statement: ast.stmt) -> frozenset[int]:
    """Where the statements begin that use what a statement outside of functions makes."""
    made = {one.id for one in ast.walk(statement) if isinstance(one, ast.Name) and isinstance(one.ctx, ast.Store)}
    inside = [one for one in ast.walk(statement) if isinstance(one, ast.stmt) and one is not statement]
    lines = {one.lineno for one in inside}
    for *above, node in _walked([tree]):
        if isinstance(node, ast.Name) and node.id in made and isinstance(node.ctx, ast.Load):
            lines.add(next(one.lineno for one in reversed(above) if isinstance(one, ast.stmt)))
    return frozenset(lines)


def _told(node: ast.AST, above: list[ast.AST]) -> ast.AST:
    """The node itself; around a number so much that it can be recognised."""
    if not isinstance(node, ast.Constant):
        return node
    around = [one for one in reversed(above) if isinstance(one, ast.expr | ast.Assign | ast.Return)]
    return next((one for one in around if len(_text(one)) > len(_text(node)) + TOLD), (around or [node])[-1])


def _text(node: ast.AST) -> str:
    return " ".join(ast.unparse(node).split())


def _codes(code: CodeType) -> Iterator[CodeType]:
    yield code
    for one in code.co_consts:
        if isinstance(one, CodeType):
            yield from _codes(one)
