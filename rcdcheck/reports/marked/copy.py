"""The marked copy: the person's own workbook with every cell that has a finding filled and commented.

Only the looks of those cells and their comments are touched, in the parts of the file itself: values, formulas with
their stored results, formats, widths, merges, checks, charts and hidden rows stay as they are. From other formats a
plain workbook with the same cells in the same places is made first.
"""

from __future__ import annotations

import contextlib
import hashlib
import re
from collections.abc import Iterable

import numpy as np

from rcdcheck.audits import Audit
from rcdcheck.errors import OutputError
from rcdcheck.reports.marked.cells import Styles, anchored, fill
from rcdcheck.reports.marked.comments import comment
from rcdcheck.reports.marked.package import Package, parsed, written
from rcdcheck.reports.marked.places import Mark, Place, marks, worth_a_copy

UNTOUCHED = b"rcdcheck marked copy"  # at its end, by which intake knows a copy that nobody has saved since
OPEN = ("xlsx", "xlsm")  # kinds whose parts are changed in place
WORKBOOK = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"
MARKED = 1_000  # bytes by which a mark can make a row longer
MACROS = re.compile(r"(^|/)vba(Project(Signature\w*)?\.bin|Data\.xml)$")


def marked_copy(audit: Audit, input_number: int) -> tuple[bytes, tuple[str, ...]]:
    """The marked copy of an input, and what it leaves out, in words.

    Raises OutputError where the input is gone, has changed since the audit, or came from standard input.
    """
    source, kind = _source(audit, input_number), _kind(audit, input_number)
    if kind in OPEN:
        with contextlib.suppress(Exception):  # parts that only its reader forgives: what it read is written anew
            package = Package(source)
            return _signed(mark(package, _wanted(audit, _names(audit, input_number)))), _lost(source)
    from rcdcheck.reports.marked.plain import plain_workbook

    names = _names(audit, input_number)
    plain, new = plain_workbook(audit, input_number)
    copy = _signed(mark(plain, _wanted(audit, dict(zip(names, new, strict=True)))))
    return copy, () if kind == "text" else (REWRITTEN,)


REWRITTEN = "formulas, formats, widths and pictures: a plain workbook with the same cells in the same places"


def _wanted(audit: Audit, names: dict[int, str]) -> dict[str, dict[Place, Mark]]:
    return {name: marks(audit, sheet) for sheet, name in names.items()}


def _signed(pieces: Iterable[bytes]) -> bytes:
    """The archive with a comment at its end, which every program that saves it leaves out."""
    whole = b"".join(pieces)
    return whole[:-2] + len(UNTOUCHED).to_bytes(2, "little") + UNTOUCHED if whole[-22:-18] == b"PK\5\6" else whole


def _lost(source: bytes) -> tuple[str, ...]:
    names = Package(source).names()
    lost = {"macros": any(map(_is_macro, names)), "the digital signature": any(map(_is_signature, names))}
    return tuple(what for what, there in lost.items() if there)


def nothing_to_mark(audit: Audit, input_number: int) -> bool:
    """Whether an input holds nothing graver than notes, so that a marked copy would say nothing."""
    return not worth_a_copy(marks(audit, sheet) for sheet in _names(audit, input_number))


def mark(package: Package, wanted: dict[str, dict[Place, Mark]]) -> Iterable[bytes]:
    """A workbook with cells marked, by name of the sheet."""
    _drop(package)
    workbook = next(iter(package.related("", "officeDocument").values()))
    root = parsed(package.read(workbook))
    strict = "purl.oclc.org" in str(root.nsmap.get(root.prefix))
    parts = package.related(workbook, "worksheet")
    styles = Styles(package, workbook, strict=strict)
    for sheet in root.iter("{*}sheet"):
        relation = next((value for key, value in sheet.attrib.items() if key.endswith("}id")), "")
        own = wanted.get(sheet.get("name"), {})
        if own and relation in parts:
            part = parts[relation]
            rows = package.take_rows(part)
            tree = parsed(package.read(part))
            own = anchored(tree, own)
            package.put_rows(part, fill(tree, rows, own, styles), package.most(part) + MARKED * len(own))
            comment(package, part, tree, own, strict=strict)
            package.put(part, written(tree))
    styles.save()
    return package.pieces()


def _drop(package: Package) -> None:
    """Macros, which a file of this ending may not hold, and a signature, which would no longer be true."""
    workbook = next(iter(package.related("", "officeDocument").values()))
    package.drop(lambda name: _is_macro(name) or _is_signature(name))
    package.declare(part=workbook, content=WORKBOOK)


def _is_macro(name: str) -> bool:
    return bool(MACROS.search(name))


def _is_signature(name: str) -> bool:
    return name.startswith("_xmlsignatures/")


def _names(audit: Audit, input_number: int) -> dict[int, str]:
    """Names of the sheets of an input by number of the sheet."""
    sheets = audit.tables.sheets
    return {int(n): sheets["sheet"].iloc[n] for n in np.flatnonzero(sheets["input"].to_numpy() == input_number)}


def _kind(audit: Audit, input_number: int) -> str:
    sheets = audit.tables.sheets
    kinds = sheets.loc[sheets["input"] == input_number, "kind"]
    return str(kinds.iloc[0]) if len(kinds) else ""


def _source(audit: Audit, input_number: int) -> bytes:
    one = audit.tables.inputs[input_number]
    if one.path is None:
        raise OutputError("What came from standard input cannot be marked: save it as a file and audit that.")
    try:
        source = one.path.read_bytes()
    except OSError as error:
        raise OutputError(
            f"{one.name} vanished or changed while it was read and was not marked: {error.strerror}. Audit it again."
        ) from error
    if hashlib.sha256(source).hexdigest() != one.sha256:
        from rcdcheck.reports.marked.plain import CHANGED

        raise OutputError(CHANGED.format(name=one.name))
    return source
