"""Delimited text: its encoding, its delimiter, its records with the line that each begins on."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import Counter

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.errors import InputError, UsageError
from rcdcheck.intake.grids import Grid

Notices = list[tuple[str, dict[str, object]]]
DELIMITERS = (",", ";", "\t", "|")
WIDEST = 2_000  # columns; more is no sheet of readings
CELLS = 100_000_000  # more than fits in the memory of a small machine
LOOKED_AT = 200  # lines from which the delimiter is told
_MARKS = (
    (b"\xff\xfe\0\0", "utf-32"), (b"\0\0\xfe\xff", "utf-32"), (b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"),
    (b"\xfe\xff", "utf-16"),
)  # fmt: skip
_BREAK = re.compile(r"\r\n|\r|\n")


def read_text(content: bytes, encoding: str, delimiter: str) -> tuple[Grid, Notices]:
    """The grid of delimited text and what was noticed; raises InputError with a sentence."""
    data, notices = _as_utf8(content, encoding)
    sign = _stated(delimiter) or delimiter_of(data[:200_000].decode("utf-8", "ignore"))
    cells = _table(data, sign)
    if cells is not None:
        lines, swallowed = _lines(data, cells, sign)
    if cells is None or swallowed:
        notices.append(("quotation-mark-unbalanced", {}))
        cells = _read(data, sign, csv.QUOTE_NONE)
        lines, _ = _lines(data, cells, sign)
    cells.index = pd.Index(lines)
    return Grid("", "text", cells), notices


# ── encoding ──
def _as_utf8(content: bytes, encoding: str) -> tuple[bytes, Notices]:
    """The text as UTF-8 without a byte-order mark."""
    name, notices = _encoding(content, encoding)
    data = content if name == "utf-8" and not encoding else _recoded(content, name)
    if b"\0" in data:
        raise InputError("it holds NUL bytes, so it is no text, or the copy went wrong. Save it again as CSV or .xlsx.")
    if notices and len(re.findall(rb"[\x01-\x08\x0e-\x1f]", data[:4000])) > 0.02 * len(data[:4000]):
        raise InputError("it is neither text nor a workbook that can be recognised. Save it again as .xlsx.")
    return data.removeprefix(b"\xef\xbb\xbf"), notices


def _encoding(content: bytes, stated: str) -> tuple[str, Notices]:
    """As stated, as marked, UTF-8, UTF-16 without a mark where it looks so, else Windows-1252."""
    marked = next((name for mark, name in _MARKS if content.startswith(mark)), "")
    if stated or marked:
        return stated or marked, []
    if b"\0" in content:
        zeros = [content[i:4000:2].count(0) / 2000 for i in (0, 1)]
        share = max(zeros) * 4000 / min(len(content), 4000)
        if share > 0.4 and min(zeros) < 0.1 * share:
            name = "utf-16-be" if zeros[0] > zeros[1] else "utf-16-le"
            return name, [("encoding-told-from-content", {"encoding": name.upper()})]
        return "latin-1", []  # it is refused next
    if _is_utf8(content):
        return "utf-8", []
    return "windows-1252", [("encoding-told-from-content", {"encoding": "Windows-1252"})]


def _is_utf8(content: bytes) -> bool:
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        for start in range(0, len(content), 1 << 20):
            decoder.decode(content[start : start + (1 << 20)])
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return False
    return True


def _recoded(content: bytes, name: str) -> bytes:
    try:
        return content.decode(name).encode()
    except LookupError:
        raise InputError(f"“{name}” is no encoding that is known; utf-8, utf-16 and windows-1252 are usual.") from None
    except ValueError as error:
        where = f"byte {error.start + 1:,} of it" if isinstance(error, UnicodeDecodeError) else "it"
        raise InputError(
            f"{where} is not {name}. Say which encoding it has with --encoding, or save it as UTF-8."
        ) from None


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
    best, chosen = (0, 0), ","
    for sign in DELIMITERS:
        widths = Counter(len(r) for r in _some_records(text, sign) if len(r) > 1)
        if widths:
            width, lines = widths.most_common(1)[0]
            best, chosen = max((best, chosen), ((lines, width), sign), key=lambda pair: pair[0])
    return chosen


def _some_records(text: str, sign: str) -> list[list[str]]:
    lines = text.splitlines(keepends=True)[:LOOKED_AT]
    try:
        return list(csv.reader(lines, delimiter=sign))
    except csv.Error:
        return [line.split(sign) for line in lines]


# ── records ──
def _table(data: bytes, sign: str) -> pd.DataFrame | None:
    """The cells, or None where a quotation mark has no partner."""
    try:
        return _read(data, sign, csv.QUOTE_MINIMAL)
    except pd.errors.ParserError:
        return None


def _read(data: bytes, sign: str, quoting: int) -> pd.DataFrame:
    width = _width(data, sign, quoting)
    while True:
        _refuse_giants(data, width)
        try:
            cells = pd.read_csv(
                io.BytesIO(data), sep=sign, header=None, names=range(width), dtype=object, na_filter=False,
                skip_blank_lines=False, index_col=False, engine="c", quoting=quoting, encoding="utf-8",
            )  # fmt: skip
            break
        except pd.errors.ParserError as error:
            wider = re.search(r"saw (\d+)", str(error))
            if wider is None:
                raise
            width = max(2 * width, int(wider[1]))
    used = width
    while used > 1 and not (cells[used - 1] != "").any():
        used -= 1
    return cells.iloc[:, :used]


def _width(data: bytes, sign: str, quoting: int) -> int:
    """Cells of the widest record: separators between line breaks that are outside quotation marks, counted by column.

    Marks in the middle of a cell can make it too small; then the parser says so, but not for the first record.
    """
    at = np.frombuffer(data, dtype=np.uint8)
    ends = np.flatnonzero((at == 10) | (at == 13) if b"\r" in data else at == 10)
    first = 0
    if quoting != csv.QUOTE_NONE and b'"' in data:
        ends = ends[np.searchsorted(np.flatnonzero(at == ord('"')), ends) % 2 == 0]
        first = _first_width(data, sign)
    before = np.concatenate([[0], np.searchsorted(np.flatnonzero(at == ord(sign)), np.append(ends, len(at)))])
    return max(first, 1 + int(np.diff(before).max()))


def _first_width(data: bytes, sign: str) -> int:
    try:
        return len(next(csv.reader(io.StringIO(data.decode(), newline=""), delimiter=sign)))
    except csv.Error:  # a cell of more than 131,072 characters
        return WIDEST


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


def _lines(data: bytes, cells: pd.DataFrame, sign: str) -> tuple[npt.NDArray[np.int64], bool]:
    """Line on which each record begins, counted from 1 as a text editor does; whether a cell has swallowed records.

    Two lone quotation marks make one cell of all that stands between them. Such a cell holds as many separators as
    the records that it swallowed.
    """
    inside = np.zeros(len(cells), dtype=np.int64)
    swallowed = False
    if len(cells) != _breaks(data) + (data[-1:] not in (b"\n", b"\r")):
        for c in cells.columns:
            codes, distinct = pd.factorize(cells[c].to_numpy())
            count = np.array([len(_BREAK.findall(t)) for t in distinct])
            full = [distinct[i].count(sign) >= count[i] * max(cells.shape[1] - 1, 3) for i in np.flatnonzero(count)]
            inside, swallowed = inside + count[codes], swallowed or any(full)
    return 1 + np.concatenate([[0], np.cumsum(1 + inside)[:-1]]), swallowed
