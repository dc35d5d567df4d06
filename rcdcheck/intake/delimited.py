"""Delimited text: its encoding, its delimiter, its records with the line that each begins on."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.errors import InputError
from rcdcheck.intake.grids import Grid

Notices = list[tuple[str, dict[str, object]]]
DELIMITERS = (",", ";", "\t", "|")
WIDEST = 2_000  # columns; more is no sheet of readings
LOOKED_AT = 200  # lines from which the delimiter is told
_MARKS = ((b"\xff\xfe\0\0", "utf-32"), (b"\0\0\xfe\xff", "utf-32"), (b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"),
          (b"\xfe\xff", "utf-16"))  # fmt: skip


def read_text(content: bytes, encoding: str, delimiter: str) -> tuple[Grid, Notices]:
    """The grid of delimited text and what was noticed; raises InputError with a sentence."""
    text, notices = _decoded(content, encoding)
    sign = delimiter.replace("\\t", "\t") or delimiter_of(text)
    cells = _table(text, sign, notices)
    cells.index = pd.Index(_lines(text, cells))
    return Grid("", "text", cells), notices


def _decoded(content: bytes, encoding: str) -> tuple[str, Notices]:
    if encoding:
        return _strictly(content, encoding), []
    for mark, name in _MARKS:
        if content.startswith(mark):
            return _strictly(content, name), []
    if b"\0" in content:
        even, odd = content[0:4000:2].count(0), content[1:4000:2].count(0)
        half = len(content[:4000]) / 2
        if max(even, odd) > 0.4 * half and min(even, odd) < 0.1 * half:
            name = "utf-16-be" if even > odd else "utf-16-le"
            return _strictly(content, name), [("encoding-told-from-content", {"encoding": name.upper()})]
        raise InputError("it holds NUL bytes, so it is no text, or the copy went wrong. Save it again as CSV or .xlsx.")
    try:
        return content.decode("utf-8"), []
    except UnicodeDecodeError:
        text = _strictly(content, "windows-1252")
        if len(re.findall(r"[\x01-\x08\x0e-\x1f]", text[:4000])) > 0.02 * len(text[:4000]):
            raise InputError("it is neither text nor a workbook that can be recognised. Save it again as .xlsx.") from None
        return text, [("encoding-told-from-content", {"encoding": "Windows-1252"})]


def _strictly(content: bytes, encoding: str) -> str:
    try:
        return content.decode(encoding).removeprefix("\ufeff")
    except LookupError:
        raise InputError(f"“{encoding}” is no encoding that is known; utf-8, utf-16 and windows-1252 are usual.") from None
    except UnicodeDecodeError as error:
        raise InputError(
            f"byte {error.start + 1:,} of it is not {encoding}. Say which encoding it has with --encoding, or save it as UTF-8."
        ) from None


def delimiter_of(text: str) -> str:
    """The delimiter that gives the steadiest table: most lines of one width, then the widest."""
    head = text[:200_000]
    stated = re.match(r"sep=(.)\r?\n", head)
    if stated:
        return stated[1]
    best, chosen = (0, 0), ","
    for sign in DELIMITERS:
        widths = Counter(len(r) for r in _some_records(head, sign) if len(r) > 1)
        if widths:
            width, lines = widths.most_common(1)[0]
            best, chosen = max((best, chosen), ((lines, width), sign), key=lambda pair: pair[0])
    return chosen


def _some_records(head: str, sign: str) -> list[list[str]]:
    lines = head.splitlines(keepends=True)[:LOOKED_AT]
    try:
        return list(csv.reader(lines, delimiter=sign))
    except csv.Error:
        return [line.split(sign) for line in lines]


def _table(text: str, sign: str, notices: Notices) -> pd.DataFrame:
    width = max(map(lambda line: line.count(sign), text.splitlines()), default=0) + 1
    if width > WIDEST:
        raise InputError(f"one of its lines has {width:,} columns; a sheet of readings has a few dozen. Check the delimiter.")
    read = {"sep": sign, "header": None, "names": range(width), "dtype": object, "na_filter": False,
            "skip_blank_lines": False, "index_col": False, "engine": "c"}  # fmt: skip
    try:
        cells = pd.read_csv(io.StringIO(text), **read)
    except pd.errors.EmptyDataError:
        raise InputError("it is empty. Check that it was saved and copied whole.") from None
    except pd.errors.ParserError:
        notices.append(("quotation-mark-unbalanced", {}))
        cells = pd.read_csv(io.StringIO(text), quoting=csv.QUOTE_NONE, **read)
    used = int(np.flatnonzero([(cells[c] != "").any() for c in cells.columns]).max(initial=0)) + 1
    return cells.iloc[:, :used].set_axis(range(used), axis=1)


def _lines(text: str, cells: pd.DataFrame) -> npt.NDArray[np.int64]:
    """Line on which each record begins, counted from 1 as a text editor does."""
    inside = np.zeros(len(cells), dtype=np.int64)
    ends = text.count("\n") or text.count("\r")
    if not len(cells) <= ends + 1 <= len(cells) + 1:
        for c in cells.columns:
            codes, distinct = pd.factorize(cells[c].to_numpy())
            inside += np.array([len(re.findall(r"\r\n|\r|\n", t)) for t in distinct])[codes]
    return 1 + np.concatenate([[0], np.cumsum(1 + inside)[:-1]]) if len(cells) else inside
