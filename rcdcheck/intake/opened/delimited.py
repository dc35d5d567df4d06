"""Delimited text: its delimiter, and its records with the line that each begins on."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Iterator, Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.errors import InputError, UsageError
from rcdcheck.intake.opened.encodings import Notices, as_utf8
from rcdcheck.intake.opened.grids import Coded, Grid, coded, no_special
from rcdcheck.tables import Mask, Texts

DELIMITERS = ("\t", ";", "|", ",")  # of equally steady ones the first: a comma may stand in a number
WIDEST = 2_000  # columns; more is no sheet of readings
LONGEST = 1_000_000  # bytes of a line; nobody types more
CELLS = 100_000_000  # more than fits in the memory of a small machine
STEADY = 0.8  # share of lines of one width from which a shorter line is no habit
PIECES = 4  # into which a line may be torn
BLOCK = 1 << 19  # bytes looked at together
LOOKED_AT = 200  # lines from which the delimiter is told
_NUMBER = re.compile(r"[\d.,]+")  # or a piece of one
_BREAK = re.compile(r"\r\n|\r|\n")


def read_text(content: bytes, encoding: str, delimiter: str) -> tuple[Grid, Notices]:
    """The grid of delimited text and what was noticed; raises InputError with a sentence."""
    data, notices = as_utf8(content, encoding)
    sign = _stated(delimiter) or delimiter_of(data[:200_000].decode("utf-8", "ignore"))
    separators = _separators(data, sign)
    columns = _table(data, sign, separators)
    if columns is not None:
        lines, swallowed = _lines(data, columns, sign)
    if columns is None or swallowed or _ditto_marks(data, columns, sign):
        notices.append(("quotation-mark-unbalanced", {}))
        columns = _read(data, sign, separators, csv.QUOTE_NONE)
        lines, _ = _lines(data, columns, sign)
    parted = _parting(separators, sign, columns if b'"' in data else (), lines)
    return Grid("", "text", columns, lines, special=_broken(data, parted, columns, lines)), notices


def _ditto_marks(data: bytes, columns: tuple[Coded, ...], sign: str) -> bool:
    """Whether quotation marks between delimiters are ditto marks: read as quotes they leave a cell of a delimiter, and
    as marks their lines are as wide as the lines without any."""
    if not any((column.distinct == sign).any() for column in columns):
        return False
    lines = data.splitlines()
    widths = [(b'"' in line, line.count(sign.encode())) for line in lines if line.strip()]
    plain = Counter(width for marked, width in widths if not marked and width)
    usual = plain.most_common(1)[0][0] if plain else 0
    marked = [width for is_marked, width in widths if is_marked]
    return usual > 0 and all(width == usual for width in marked)


def _broken(
    data: bytes, separators: npt.NDArray[np.int64], columns: tuple[Coded, ...], lines: npt.NDArray[np.int64]
) -> pd.DataFrame:
    """Special cells at which a record is broken: by a stray line break, or by the end of a file that was cut off.

    separators: between the cells of each record; lines: number of the line that each begins on.
    """
    if len(lines) < 2:
        return no_special()
    found = [(i, "torn") for i in np.flatnonzero(torn_lines(separators, columns[0].cells())).tolist()]
    if not data.endswith((b"\n", b"\r")) and (separators[-1] or not separators.any()):
        found.append((len(lines) - 1, "cut_off"))
    ends = [(i, min(int(separators[i]), len(columns) - 1), kind) for i, kind in found]  # the last cell of each line
    rows = [(int(lines[i]), at, kind, columns[at].distinct[columns[at].codes[i]]) for i, at, kind in ends]
    return pd.DataFrame(rows, columns=["row", "column", "kind", "text"]) if rows else no_special()


def _parting(
    separators: npt.NDArray[np.int64], sign: str, quoted: Sequence[Coded], lines: npt.NDArray[np.int64]
) -> npt.NDArray[np.int64]:
    """How many separators part the cells of each record, of those in each line: not those in cells that are quoted."""
    count = np.add.reduceat(separators, lines - 1)
    for column in quoted:
        if sign in "".join(column.distinct):
            count -= np.array([text.count(sign) for text in column.distinct])[column.codes]
    return count


def torn_lines(separators: npt.NDArray[np.int64], first: Texts) -> Mask:
    """Short lines that are whole together, two to four of them, in a file whose lines are of one width.

    `first`: first cell of each line. Below a line that is whole already only the rest of a number is such a line.
    """
    filled = separators[separators > 0]
    usual = int(np.bincount(filled).argmax()) if len(filled) else 0
    if (separators == usual).all():
        return np.zeros(len(separators), dtype=bool)
    torn, numbers, begun = np.zeros((3, len(separators)), dtype=bool)
    short = np.flatnonzero(separators < usual)
    numbers[short] = [_NUMBER.fullmatch(text) is not None for text in first[short]]
    begun[short] = numbers[short] | ((first[short] == "") & (separators[short] > 0))  # with no name, in the middle
    lone = np.flatnonzero((separators[:-1] == usual) & (separators[1:] == 0) & numbers[1:])
    torn[lone] = torn[lone + 1] = True
    said = (separators > 0) | (first != "")
    for span in range(2, min(PIECES, len(separators)) + 1):
        lines = np.lib.stride_tricks.sliding_window_view(separators, span)
        off = np.abs(lines.sum(axis=1) - usual)  # a separator was lost or added too
        here = (off == 0) | ((off == 1) & begun[1 : len(off) + 1])
        here &= (lines.max(axis=1) < usual) & (lines[:, 0] > 0) & (lines[:, -1] > 0)
        here &= np.lib.stride_tricks.sliding_window_view(said, span).all(axis=1)
        for line in range(span):
            torn[line : line + len(here)] |= here
    steady = (filled == usual).sum() >= STEADY * (len(filled) - (torn & (separators > 0)).sum())
    return torn if usual > 1 and steady else np.zeros(len(separators), dtype=bool)


# ── delimiter ──
def _stated(delimiter: str) -> str:
    sign = delimiter.replace("\\t", "\t")
    if sign and not _fit(sign):
        raise UsageError(f"“{delimiter}” cannot be a delimiter; one of , ; \\t | is usual.")
    return sign


def _fit(sign: str) -> bool:
    return sign == "\t" or (
        len(sign) == 1 and sign.isascii() and sign.isprintable() and not sign.isalnum() and sign != '"'
    )


def delimiter_of(text: str) -> str:
    """The delimiter that gives the steadiest table: most lines of one width, then the widest."""
    stated = re.match(r"sep=(.)\r?\n", text)
    if stated and _fit(stated[1]):
        return stated[1]
    lines = text.splitlines(keepends=True)[:LOOKED_AT]
    signs = [sign for sign in DELIMITERS if sign != "," or not _commas_are_decimal(lines)]
    return max(signs, key=lambda sign: _steadiness(lines, sign))


def _commas_are_decimal(lines: list[str]) -> bool:
    """Whether most commas stand between digits while another delimiter parts nearly every line."""
    commas = sum(line.count(",") for line in lines)
    inside = sum(len(re.findall(r"(?<=\d),(?=\d)", line)) for line in lines)
    some = [line for line in lines if line.strip()]
    parted = max((sum(line.count(sign) >= 2 for line in some) for sign in "\t;|"), default=0)
    return commas > 0 and inside > 0.7 * commas and parted >= 0.8 * len(some)


def _steadiness(lines: list[str], sign: str) -> tuple[int, int]:
    """How many records have the commonest width, and that width; quotation marks heard or not, since some are lone."""
    try:
        quoted = Counter(map(len, csv.reader(lines, delimiter=sign)))
    except csv.Error:
        quoted = Counter()
    plain = Counter(line.count(sign) + 1 for line in lines)
    steady = [(count, width) for widths in (quoted, plain) for width, count in widths.items() if width > 1]
    return max(steady, default=(0, 0))


# ── records ──
def _table(data: bytes, sign: str, separators: npt.NDArray[np.int64]) -> tuple[Coded, ...] | None:
    """The columns, or None where a quotation mark has no partner."""
    try:
        return _read(data, sign, separators, csv.QUOTE_MINIMAL)
    except pd.errors.ParserError:
        return None


def _read(data: bytes, sign: str, separators: npt.NDArray[np.int64], quoting: int) -> tuple[Coded, ...]:
    width = max(1 + int(separators.max()), _first_record(data, sign) if quoting != csv.QUOTE_NONE else 0)
    ended = data if data.endswith((b"\n", b"\r")) else data + b"\n"  # pandas has no room for the cells of "\r;" alone
    while True:
        _refuse_giants(data, width)
        try:
            cells = pd.read_csv(
                io.BytesIO(ended), sep=sign, header=None, names=range(width), dtype=object, na_filter=False,
                skip_blank_lines=False, index_col=False, engine="c", quoting=quoting, encoding="utf-8",
            )  # fmt: skip
            break
        except pd.errors.ParserError as error:
            wider = re.search(r"saw (\d+)", str(error))  # a record of several lines; of the first it would not say so
            if wider is None:
                raise
            width = max(2 * width, int(wider[1]))
    columns = tuple(coded(cells[c].to_numpy()) for c in cells.columns)
    return columns[: max((i + 1 for i, column in enumerate(columns) if len(column.distinct) > 1), default=1)]


def _blocks(data: bytes) -> Iterator[bytes]:
    """The lines of a text in blocks that the caches of a processor hold."""
    start = 0
    while start < len(data):
        stop = data.rfind(b"\n", start, start + BLOCK) + 1 or data.find(b"\n", start + BLOCK) + 1 or len(data)
        yield data[start:stop]
        start = stop


def _separators(data: bytes, sign: str) -> npt.NDArray[np.int64]:
    """How many separators each line holds; a line beyond all measure is refused."""
    lone = b"\r" in data and data.count(b"\r") > data.count(b"\r\n")  # each of the others breaks a line too
    count, length = [], []
    for block in _blocks(data):
        at = np.frombuffer(block, dtype=np.uint8)
        breaks = at == ord("\n")
        if lone:
            breaks |= (at == ord("\r")) & np.append(at[1:] != ord("\n"), True)
        marks = np.flatnonzero(breaks | (at == ord(sign)))
        last = np.flatnonzero(breaks[marks])
        ends = marks[last]
        if not breaks[-1]:  # the last line is not ended
            last, ends = np.append(last, len(marks)), np.append(ends, len(at))
        count.append(np.diff(last, prepend=-1) - 1)
        length.append(np.diff(ends, prepend=-1) - 1)
    lengths = np.concatenate(length) if data else np.zeros(1, dtype=np.int64)
    if lengths.max() > LONGEST:
        raise InputError(
            f"its line {int(lengths.argmax()) + 1:,} holds more than {LONGEST:,} characters, which nobody typed. "
            "Check how it was made, and save the readings alone as .xlsx."
        )
    return np.concatenate(count) if data else np.zeros(1, dtype=np.int64)


def _first_record(data: bytes, sign: str) -> int:
    text = io.TextIOWrapper(io.BytesIO(data), encoding="utf-8", newline="")
    try:
        return len(next(csv.reader(text, delimiter=sign), []))
    except csv.Error:  # a quotation mark without a partner, and more after it than a cell can hold
        return 0


def _refuse_giants(data: bytes, width: int) -> None:
    if width > WIDEST:
        raise InputError(
            f"one of its lines has {width:,} columns; a sheet of readings has a few dozen. Check the delimiter."
        )
    rows = 1 + _breaks(data) if width * len(data) > CELLS else 0
    if rows * width > CELLS:
        raise InputError(
            f"it has {rows:,} lines and one of them {width:,} columns, more than can be held. "
            "Check the delimiter, or split it."
        )


def _breaks(data: bytes) -> int:
    return data.count(b"\n") + (data.count(b"\r") - data.count(b"\r\n") if b"\r" in data else 0)


def _lines(data: bytes, columns: tuple[Coded, ...], sign: str) -> tuple[npt.NDArray[np.int64], bool]:
    """Line on which each record begins, counted from 1 as a text editor does; whether a cell has swallowed records."""
    inside = np.zeros(len(columns[0].codes), dtype=np.int64)
    swallowed = False
    if len(inside) != _breaks(data) + (data[-1:] not in (b"\n", b"\r")):
        for i, column in enumerate(columns):
            count = np.array([len(_BREAK.findall(t)) for t in column.distinct])
            broken = column.distinct[count > 0]
            swallowed |= any(_swallowed(cell, sign, len(columns) - 1, len(columns) - 1 - i) for cell in broken)
            inside += count[column.codes]
    return 1 + np.concatenate([[0], np.cumsum(1 + inside)[:-1]]), swallowed


def _swallowed(cell: str, sign: str, each: int, after: int) -> bool:
    """Whether two lone quotation marks have made one cell of all that stands between them.

    Such a cell holds `each` separators, or more, for each of its line breaks, and on its first line no more than the
    columns `after` it. In doubt it is taken apart, since rows inside a cell would be lost without a word.
    """
    pieces = _BREAK.split(cell)
    return cell.count(sign) >= max(each, 1) * (len(pieces) - 1) and pieces[0].count(sign) <= after
