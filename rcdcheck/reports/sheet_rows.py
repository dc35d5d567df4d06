"""The rows of a sheet within its part: they pass in pieces, so that memory does not grow with them.

A part is taken apart into all but its rows, which is small, and the rows as bytes. Only rows that are changed are
parsed.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from typing import IO, Any, Generic, TypeVar

from lxml import etree

PIECE = 1 << 20
_BEGIN = re.compile(rb"<((?:[\w.-]+:)?)sheetData\b[^>]*?(/?)>")
_NUMBER = re.compile(rb"""\sr\s*=\s*["'](\d+)["']""")
Rows = Callable[[], Iterator[bytes]]  # pieces of the rows of a sheet
T = TypeVar("T")


class MarkupError(ValueError):
    """A part with comments or other markup between its cells, where rows cannot be told from what looks like them."""


def begins(part: bytes) -> tuple[int, int, bytes, bool]:
    """Where the element of the rows begins and ends its first tag, its prefix, and whether it holds no rows."""
    found = _BEGIN.search(part)
    if found is None:
        raise ValueError("a sheet without cells")
    return found.start(), found.end(), found[1], bool(found[2])


def without_rows(part: IO[bytes]) -> bytes:
    """All of a part but its rows. Raises MarkupError."""
    head = _until(part, _BEGIN)
    _, end, prefix, empty = begins(head)
    if b"<!" in head[:end] or b"<?" in head[5:end]:
        raise MarkupError
    if empty:
        return head + part.read()
    closing = b"</" + prefix + b"sheetData"
    held = head[end:]
    while (at := held.find(closing)) < 0:
        _refuse_markup(held)
        more = part.read(PIECE)
        if not more:
            raise ValueError("a sheet that is cut off")
        held = held[-len(closing) :] + more
    _refuse_markup(held[:at])
    return head[:end] + held[at:] + part.read()


def rows_in(part: IO[bytes]) -> Iterator[bytes]:
    """The rows of a part of which `without_rows` is known."""
    head = _until(part, _BEGIN)
    _, end, prefix, empty = begins(head)
    closing = b"</" + prefix + b"sheetData"
    held = b"" if empty else head[end:]
    while not empty and (at := held.find(closing)) < 0:
        yield held[: -len(closing)]
        held = held[-len(closing) :] + part.read(PIECE)
    yield b"" if empty else held[:at]


def _until(part: IO[bytes], form: re.Pattern[bytes]) -> bytes:
    head = b""
    while form.search(head) is None and (more := part.read(PIECE)):
        head += more
    return head


def _refuse_markup(held: bytes) -> None:
    if b"<!" in held or b"<?" in held:
        raise MarkupError


def whole(part: bytes, rows: Rows) -> Iterator[bytes]:
    """A part with its rows put in."""
    start, end, prefix, empty = begins(part)
    yield part[:start] + (part[start:end].removesuffix(b"/>") + b">" if empty else part[start:end])
    yield from rows()
    yield (b"</" + prefix + b"sheetData>" if empty else b"") + part[end:]


class Changing(Generic[T]):
    """The rows of a sheet with those that are `wanted`, by number, parsed and changed; missing ones are put in.

    `root` is that of the part without its rows, whose names of spaces hold within them. What is put out is raised as
    MarkupError where the rows are not called as the sheet is.
    """

    def __init__(self, root: Any, wanted: Mapping[int, T], change: Callable[[Any, int, T], None]) -> None:
        prefix = f"{root.prefix}:" if root.prefix else ""
        self._row = f"{prefix}row".encode()
        self._begin = re.compile(rb"<%b(?=[\s/>])(?:[^>\"']|\"[^\"]*\"|'[^']*')*>" % self._row)
        self._open = etree.tostring(etree.Element(root.tag, nsmap=root.nsmap))[:-2] + b">"
        self._close = f"</{prefix}{etree.QName(root).localname}>".encode()
        self._wanted, self._change = wanted, change
        self._waiting, self._last = deque(sorted(wanted)), 0

    def pieces(self, rows: Iterator[bytes]) -> Iterator[bytes]:
        """The rows as they are to stand."""
        held = b""
        for piece in rows:
            held += piece
            starts = [(m.start(), m[0]) for m in self._begin.finditer(held)]
            if len(starts) > 1:  # the last may go on
                yield from self._passed(held, starts[:-1], starts[-1][0])
                held = held[starts[-1][0] :]
        starts = [(m.start(), m[0]) for m in self._begin.finditer(held)]
        if held.strip() and not starts:
            raise MarkupError
        yield from self._passed(held, starts, len(held))
        yield from self._missing(float("inf"))

    def _passed(self, held: bytes, starts: list[tuple[int, bytes]], end: int) -> Iterator[bytes]:
        done = 0
        for (at, tag), (after, _) in zip(starts, [*starts[1:], (end, b"")], strict=False):  # one more where none is
            told = _NUMBER.search(tag)
            self._last = int(told[1]) if told else self._last + 1
            if self._waiting and self._waiting[0] <= self._last:
                yield held[done:at]
                yield from self._missing(self._last)
                done = at
                if self._waiting and self._waiting[0] == self._last:
                    yield self._changed(self._waiting.popleft(), held[at:after])
                    done = after
        yield held[done:end]

    def _missing(self, before: float) -> Iterator[bytes]:
        while self._waiting and self._waiting[0] < before:
            number = self._waiting.popleft()
            yield self._changed(number, b'<%b r="%d"></%b>' % (self._row, number, self._row))

    def _changed(self, number: int, row: bytes) -> bytes:
        holder = etree.fromstring(self._open + row + self._close)
        self._change(holder[0], number, self._wanted[number])
        out: bytes = etree.tostring(holder, encoding="UTF-8")
        return out[out.index(b"<" + self._row) : -len(self._close)]
