"""Comments in the parts of a workbook: the words in one part, a box for each in another, in an old drawing language."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import partial
from itertools import chain
from typing import Any
from xml.sax.saxutils import escape

from lxml import etree

from rcdcheck.as_seen import cell_address
from rcdcheck.reports.marked.package import STRICT, TRANSITIONAL, Package, local, parsed, written
from rcdcheck.reports.marked.places import Mark, Place

AUTHOR = "rcdcheck"
LINE = 44  # characters of a line in a box
COMMENTS = "application/vnd.openxmlformats-officedocument.spreadsheetml.comments+xml"
DRAWING = "application/vnd.openxmlformats-officedocument.vmlDrawing"
AFTER = frozenset({"legacyDrawingHF", "drawingHF", "picture", "oleObjects", "controls", "webPublishItems", "tableParts",
                   "extLst", "AlternateContent"})  # fmt: skip  # of a sheet, behind the drawing of its comments
SCHEMAS = "urn:schemas-microsoft-com"
NAMES = f'xmlns:v="{SCHEMAS}:vml" xmlns:o="{SCHEMAS}:office:office" xmlns:x="{SCHEMAS}:office:excel"'
EMPTY = f'<xml {NAMES}><o:shapelayout v:ext="edit"><o:idmap v:ext="edit" data="1"/></o:shapelayout></xml>'
KIND = (
    f'<v:shapetype {NAMES} id="_x0000_t202" coordsize="21600,21600" o:spt="202" path="m,l,21600r21600,l21600,xe">'
    '<v:stroke joinstyle="miter"/><v:path gradientshapeok="t" o:connecttype="rect"/></v:shapetype>'
)
BOX = (
    '<v:shape {names} id="_x0000_s{number}" type="#_x0000_t202" style="position:absolute;visibility:hidden" '
    'fillcolor="#ffffe1" o:insetmode="auto"><v:fill color2="#ffffe1"/><v:shadow color="black" obscured="t"/>'
    '<v:path o:connecttype="none"/><v:textbox style="mso-direction-alt:auto"/><x:ClientData ObjectType="Note">'
    "<x:MoveWithCells/><x:SizeWithCells/><x:Anchor>{left}, 15, {top}, 10, {right}, 31, {bottom}, 4</x:Anchor>"
    "<x:AutoFill>False</x:AutoFill><x:Row>{row}</x:Row><x:Column>{column}</x:Column></x:ClientData></v:shape>"
)


def comment(package: Package, sheet: str, root: Any, marks: dict[Place, Mark], *, strict: bool = False) -> None:
    """Add a comment to every marked cell with words; one that is there already goes on with ours below it."""
    texts = {place: mark.text for place, mark in marks.items() if mark.text}
    if not texts:
        return
    part = next(iter(package.related(sheet, "comments").values()), "")
    if not part:
        part = package.free_name("xl/comments{}.xml")
        package.put(
            part, f'<comments xmlns="{etree.QName(root).namespace}"><authors/><commentList/></comments>'.encode()
        )
        package.relate(sheet, "comments", part, strict=strict)
        package.declare(part=part, content=COMMENTS)
    new = _write(package, part, texts)
    _draw(package, sheet, root, {place: texts[place] for place in new}, strict=strict)


def _write(package: Package, part: str, texts: dict[Place, str]) -> list[Place]:
    """Put the words into the part; the places that had no comment before."""
    root = parsed(package.read(part))
    namespace = etree.QName(root).namespace
    authors, comments = (next(e for e in root if local(e) == name) for name in ("authors", "commentList"))
    known = {c.get("ref"): c for c in comments if local(c) == "comment"}
    etree.SubElement(authors, f"{{{namespace}}}author").text = AUTHOR
    comments.text = comments.text or "\n"  # so that it has an end to put new ones before
    new = []
    for (row, column), text in texts.items():
        ref = cell_address(row, column)
        if ref in known:
            _say(next(e for e in known[ref] if local(e) == "text"), f"\n{AUTHOR}: {text}", namespace)
        else:
            new.append((row, column))
    prefix = f"{comments.prefix}:" if comments.prefix else ""
    head, end, tail = written(root).rpartition(f"</{prefix}commentList>".encode())
    added = partial(_comments, {place: texts[place] for place in new}, prefix, len(authors) - 1)
    package.put_pieces(part, lambda: chain([head], added(), [end + tail]))
    return new


def _comments(texts: dict[Place, str], p: str, author: int) -> Iterator[bytes]:
    for (row, column), text in texts.items():
        words = f'<{p}text><{p}r><{p}t xml:space="preserve">{escape(text)}</{p}t></{p}r></{p}text>'
        at = f'ref="{cell_address(row, column)}" authorId="{author}"'
        yield f"<{p}comment {at}>{words}</{p}comment>".encode()


def _say(parent: Any, text: str, namespace: str) -> None:
    plain = [e for e in parent if local(e) == "t"]
    for element in plain:  # words without a run may not stand beside runs
        run = etree.Element(f"{{{namespace}}}r")
        parent.replace(element, run)
        run.append(element)
    words = etree.SubElement(etree.SubElement(parent, f"{{{namespace}}}r"), f"{{{namespace}}}t")
    words.text = text
    words.set("{http://www.w3.org/XML/1998/namespace}space", "preserve")


def _draw(package: Package, sheet: str, root: Any, texts: dict[Place, str], *, strict: bool) -> None:
    """A box for each new comment, in the drawing that the sheet has or in a new one."""
    relation = f"{{{STRICT if strict else TRANSITIONAL}}}id"
    element = next((e for e in root if local(e) == "legacyDrawing"), None)
    drawings = package.related(sheet, "vmlDrawing")
    part = drawings.get(element.get(relation), "") if element is not None else ""
    if not part:
        part = package.free_name("xl/drawings/vmlDrawingMark{}.vml")
        package.put(part, EMPTY.encode())
        package.declare(extension="vml", content=DRAWING)
        _lead(root, relation, package.relate(sheet, "vmlDrawing", part, strict=strict))
    drawing = package.read(part)
    package.put_pieces(part, lambda: _with_boxes(drawing, texts))


def _lead(root: Any, relation: str, to: str) -> None:
    names = {"r": etree.QName(relation).namespace}
    element = etree.Element(f"{{{etree.QName(root).namespace}}}legacyDrawing", {relation: to}, nsmap=names)
    behind = next((e for e in root if local(e) in AFTER), None)
    if behind is None:
        root.append(element)
    else:
        behind.addprevious(element)


def _with_boxes(drawing: bytes, texts: dict[Place, str]) -> Iterator[bytes]:
    """Not parsed: what stands in such a drawing is not always well-formed."""
    first = 1 + max([1024, *(int(n) for n in re.findall(rb"_x0000_s(\d+)", drawing))])
    head, end, tail = drawing.rpartition(b"</xml>")
    yield head + (b"" if b'id="_x0000_t202"' in drawing else KIND.encode())
    yield from (_box(first + n, place, text).encode() for n, (place, text) in enumerate(texts.items()))
    yield end + tail


def _box(number: int, place: Place, text: str) -> str:
    row, column = place
    lines = sum(1 + len(line) // LINE for line in text.split("\n"))
    return BOX.format(
        names=NAMES, number=number, row=row - 1, column=column, left=column + 1, right=column + 5,
        top=max(0, row - 2), bottom=max(0, row - 2) + lines + 1,
    )  # fmt: skip
