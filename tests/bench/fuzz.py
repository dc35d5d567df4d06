"""Files that nobody meant to make: bytes, text and parts of workbooks changed by chance; see `fuzz_runs.py`."""

from __future__ import annotations

import io
import random
import sqlite3
import sys
import zipfile
from collections.abc import Iterable, Iterator
from contextlib import closing
from functools import cache
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests" / "intake"))
import files_made  # noqa: E402

KINDS = (".csv", ".txt", ".tsv", ".xlsx", ".xlsm", ".xls", ".xlsb", ".ods")
LINES = 9  # of a sheet that is mutated
ODD = [",", ";", "\t", '"', "'", "\n", "\r", "\r\n", " ", "\u00a0", "\x00", "\x1b[31m", "\uffff", "\u202e", "=1+1", "-",
       "<b>", "{{", "é", "ﬁ", "°", "×", "no trip", ">", "F", "/", "()"]  # fmt: skip
TOKENS = [b"<", b"&#49;", b"&amp;", b"<!-- -->", b'"', b"999999999", b"-1", b"", b"\x00", b"\xff", b"<v>", b"</c>",
          b't="s"', b't="e"', b'r="A1"', b'r="XFD1048576"', b"<f>A1</f>", b"<row>", b"&x;", b"<t>F</t>"]  # fmt: skip


class Case(NamedTuple):
    """A file; no device of the name `never` may pass in it."""

    name: str
    content: bytes
    never: str = ""


def mutated(content: bytes, suffix: str, chance: random.Random) -> bytes:
    """The bytes of a file with one to five mutations."""
    for _ in range(chance.choice((1, 1, 1, 2, 5))):
        ways = [_bytes_changed]
        if content[:2] == b"PK":
            ways += [_part_changed] * 4
        elif suffix == ".db":
            ways += [_record_changed] * 3
        elif suffix != ".xls":
            ways += [_text_changed] * 3
        content = chance.choice(ways)(content, chance)
    return content


def _bytes_changed(content: bytes, chance: random.Random) -> bytes:
    if not content:
        return content
    at, length = chance.randrange(len(content)), chance.choice((1, 1, 4, 100, 5000))
    way = chance.choice(("flip", "cut", "double", "end", "set"))
    if way == "flip":
        return content[:at] + bytes([content[at] ^ (1 << chance.randrange(8))]) + content[at + 1 :]
    if way == "cut":
        return content[:at] + content[at + length :]
    if way == "double":
        return content[: at + length] + content[at:]
    if way == "end":
        return content[:at]
    return content[:at] + bytes(chance.randrange(256) for _ in range(min(length, 4))) + content[at + min(length, 4) :]


def _text_changed(content: bytes, chance: random.Random) -> bytes:
    text = content.decode("utf-8", "surrogateescape")
    at = chance.randrange(len(text) + 1)
    if chance.random() < 0.3:
        lines = text.split("\n")
        chance.shuffle(lines)
        return "\n".join(lines).encode("utf-8", "surrogateescape")
    put = chance.choice(ODD) * chance.choice((1, 1, 1, 3, 200))
    return (text[:at] + put + text[at + chance.choice((0, 0, 1, 5)) :]).encode("utf-8", "surrogatepass")


def _record_changed(content: bytes, chance: random.Random) -> bytes:
    """A cell of a database changed, where its constraints let it."""
    with closing(sqlite3.connect(":memory:")) as register:
        try:
            register.deserialize(content)
            tables = [name for (name,) in register.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
            table = chance.choice(sorted(tables))
            column = chance.choice([one[1] for one in register.execute(f"PRAGMA table_info({table})")])
            put = chance.choice([*ODD, "", None, -1, 0.5, 10**18, b"\xff", "9999-12-31", "x" * 5000])
            some = f"SELECT rowid FROM {table} ORDER BY rowid LIMIT {chance.choice((1, 1, 99))}"
            register.execute(f"UPDATE {table} SET {column} = ? WHERE rowid IN ({some})", (put,))
            register.commit()
            return bytes(register.serialize())
        except (sqlite3.Error, IndexError, UnicodeError):
            return _bytes_changed(content, chance)


def _part_changed(content: bytes, chance: random.Random) -> bytes:
    """One part of an archive changed, and the archive made anew."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as old:
            parts = {name: old.read(name) for name in old.namelist()}
    except Exception:
        return _bytes_changed(content, chance)
    if not parts:
        return content
    name = chance.choice(sorted(parts))
    part = parts[name]
    at = chance.randrange(len(part) + 1)
    way = chance.choice(("token", "token", "bytes", "drop", "swap"))
    if way == "token":
        parts[name] = part[:at] + chance.choice(TOKENS) + part[at + chance.choice((0, 1, 8)) :]
    elif way == "bytes":
        parts[name] = _bytes_changed(part, chance)
    elif way == "drop":
        del parts[name]
    else:
        parts[name] = chance.choice(list(parts.values()))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as new:
        for path, data in parts.items():
            new.writestr(path, data)
    return out.getvalue()


HEADINGS = "Device,Rated IΔn (mA),Visual,1× 0° (ms),1× 180° (ms),Ramp (mA),Tested by,Date,Remarks"
FAILED = "K4,30,pass,24.4,301.5,22.4,A. Snowfield,2026-11-20,in the hall"
OTHERS = [f"K{i},30,pass,2{i}.4,2{i}.9,22.{i},A. Snowfield,2026-11-20," for i in (1, 2, 3, 5, 6, 7, 8)]
NEVER = "Z4,30,fail,no trip,911.5,45.4,A. Snowfield,2026-11-20,no trip"  # failed in every way, so that one is left
AFTER_READINGS = FAILED.index(",22.4")


def spoilt(count: int, seed: int) -> Iterator[str]:
    """Sheets of which device K4 failed, with anything but digits typed into its line or lost from its readings."""
    chance = random.Random(seed)
    for _ in range(count):
        yield _spoilt(chance)


def _spoilt(chance: random.Random) -> str:
    line = FAILED
    for _ in range(chance.choice((1, 1, 2))):
        at = chance.randrange(len("K4,"), AFTER_READINGS + 1)
        if chance.random() < 0.3 and not line[at].isdigit():
            line = line[:at] + line[at + 1 :]
        else:
            put = chance.choice([c for c in ODD if not any(x.isdigit() for x in c)])
            line = line[:at] + put + line[at:]
    return "\n".join([HEADINGS, *OTHERS[:3], line, *OTHERS[3:], ""])


@cache
def sources() -> list[Case]:
    """All small sheets of the cases and the samples, the texts cut to their first lines, and some in other formats."""
    paths = [p for folder in ("tests/cases", "samples") for p in (ROOT / folder).rglob("*") if p.suffix in KINDS]
    out = [Case(p.suffix, _first(p)) for p in sorted(paths) if p.stat().st_size < 20_000]
    return out + [
        Case(suffix, made)
        for case in [*out[:12], Case(".csv", "\n".join([HEADINGS, *OTHERS[:2], NEVER]).encode())]
        if case.name == ".csv"
        for suffix, made in in_other_formats(case.content.decode("utf-8", "replace"))
    ]


def _first(path: Path) -> bytes:
    content = path.read_bytes()
    return b"\n".join(content.split(b"\n")[:LINES]) if path.suffix in (".csv", ".txt", ".tsv") else content


@cache
def in_other_formats(text: str) -> list[tuple[str, bytes]]:
    """The cells of a text in workbooks of each kind."""
    import openpyxl
    import xlwt

    rows = [[_cell(cell) for cell in line.split(",")][:40] for line in text.split("\n") if line]
    book, old = openpyxl.Workbook(), xlwt.Workbook()
    sheet = old.add_sheet("Hall")
    for at, row in enumerate(rows):
        book.worksheets[0].append(row)
        for column, cell in enumerate(row):
            sheet.write(at, column, cell)
    return [
        (".xlsx", files_made.saved(book)),
        (".xls", files_made.xls(old)),
        (".xlsb", files_made.xlsb([[c if isinstance(c, float) else c[:50] for c in row] for row in rows])),
        (
            ".ods",
            files_made.ods("".join(f"<table:table-row>{''.join(map(_ods, row))}</table:table-row>" for row in rows)),
        ),
    ]


def _cell(text: str) -> str | float:
    try:
        return float(text)
    except ValueError:
        return text


def _ods(cell: str | float) -> str:
    from xml.sax.saxutils import escape

    kind = f'"float" office:value="{cell}"' if isinstance(cell, float) else '"string"'
    return f"<table:table-cell office:value-type={kind}><text:p>{escape(str(cell))}</text:p></table:table-cell>"


def sheets(count: int, seed: int) -> Iterator[Case]:
    """Mutated sheets of every kind, spoilt lines, and bytes of no meaning; equal arguments give equal files."""
    chance = random.Random(seed)
    known = [[c for c in sources() if c.name == kind] for kind in (".csv", ".csv", ".xlsx", ".xls", ".xlsb", ".ods")]
    for number in range(count):
        draw = chance.random()
        if draw < 0.35:
            text = _spoilt(chance).replace("K", f"K{number}x")
            yield Case(f"{number}.csv", text.encode("utf-8", "surrogatepass"), f"K{number}x4")
        elif draw < 0.6:
            yield _never(number, chance)
        elif draw < 0.97:
            source = chance.choice(chance.choice(known))
            yield Case(f"{number}{source.name}", mutated(source.content, source.name, chance))
        else:
            pieces: Iterable[str] = (chance.choice([*ODD, *"0123456789\n,;ABC"]) for _ in range(chance.randrange(300)))
            meant = "".join(pieces).encode("utf-8", "surrogatepass")
            content = meant if chance.random() < 0.5 else chance.randbytes(chance.randrange(3000))
            yield Case(f"{number}{chance.choice(KINDS)}", content)


def _never(number: int, chance: random.Random) -> Case:
    """A mutated sheet with a device that failed in every way."""
    name = f"Z{number % 50}y4"  # few, so that workbooks are made once
    text = "\n".join([HEADINGS, *OTHERS[:2], NEVER.replace("Z4", name), OTHERS[3]])
    suffix, content = chance.choice([(".csv", text.encode()), (".csv", text.encode()), *in_other_formats(text)])
    return Case(f"{number}{suffix}", mutated(content, suffix, chance), name)
