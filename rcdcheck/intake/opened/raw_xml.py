"""XML of a workbook's parts, read by expat without entities, and written so that the fast reader reads it right.

The fast reader takes the first stretch of text of a cell's value for all of it: it reads `<v>30&#49;</v>` and
`<v>30<!-- -->1</v>` as 30, where XML says 301. Such a sheet is written anew with its characters in place of their
numbers and without comments, which is the same XML to whoever reads it all. Shared strings it reads right.
"""

from __future__ import annotations

import io
import re
import zipfile
from typing import Any
from xml.parsers import expat

_ENCODINGS = ("utf-8", "us-ascii")  # that the fast reader knows, and ISO/IEC 29500-2 with UTF-16 allows
_NO_ENTITIES = "XML entities are not allowed in a workbook"
_ROUNDABOUT = re.compile(
    rb"<!--.*?-->|<!\[CDATA\[(?P<verbatim>.*?)\]\]>|<\?.*?\?>|(?P<declared><!)"
    rb"|&#(?:x(?P<hexadecimal>[0-9A-Fa-f]{1,6})|(?P<decimal>[0-9]{1,7}));",
    re.DOTALL,
)


class RefusedError(Exception):
    """A workbook that is whole and is not read; the text is a sentence."""


def parse(xml: bytes, start: Any, text: Any = None, end: Any = None) -> None:
    """Read all of a part."""
    parser = parser_of(start, text, end)
    parser.Parse(xml, True)


def parser_of(start: Any, text: Any = None, end: Any = None, separator: str | None = None) -> expat.XMLParserType:
    """A parser with these handlers; any of them may be changed on the way.

    separator: what stands between namespace and name; None for names as they are written.
    """

    def refuse(*_: object) -> None:
        raise ValueError(_NO_ENTITIES)

    def declared(_: str, encoding: str | None, __: int) -> None:
        if encoding and encoding.lower() not in _ENCODINGS:
            raise ValueError(f"its XML is in {encoding} and not in UTF-8")

    parser = expat.ParserCreate(namespace_separator=separator)
    parser.buffer_text = True
    parser.StartElementHandler, parser.CharacterDataHandler, parser.EndElementHandler = start, text, end
    parser.EntityDeclHandler = refuse
    parser.XmlDeclHandler = declared
    return parser


def straight(xml: bytes) -> bytes:
    """The same XML without numbers of characters, comments, verbatim sections; itself where nothing is to change."""
    head = xml.find(b"?>", 0, 200) + 2 if xml[:8].lstrip(b"\xef\xbb\xbf").startswith(b"<?xml") else 0
    # a single byte is looked for ten times faster than two
    if not any(xml.find(mark[1:], head) >= 0 and xml.find(mark, head) >= 0 for mark in (b"<!", b"<?")) and not (
        b"&" in xml and b"&#" in xml
    ):
        return xml
    changed = xml[:head] + _ROUNDABOUT.sub(_straight, xml[head:])
    return xml if changed == xml else changed


def _straight(found: re.Match[bytes]) -> bytes:
    if found["declared"]:
        raise ValueError(_NO_ENTITIES)
    if found["verbatim"] is not None:
        return _escaped(found["verbatim"])
    digits = found["hexadecimal"] or found["decimal"]
    if digits is None:
        return b""
    number = int(digits, 16 if found["hexadecimal"] else 10)
    # others are no part of a number, and are read right: white space would change its meaning within attributes
    return _escaped(bytes([number])) if 32 < number < 127 else found[0]


def _escaped(text: bytes) -> bytes:
    for mark, written in _WRITTEN:
        text = text.replace(mark, written)
    return text


_WRITTEN = ((b"&", b"&amp;"), (b"<", b"&lt;"), (b">", b"&gt;"), (b'"', b"&quot;"), (b"'", b"&apos;"))


def repacked(content: bytes, changed: dict[str, bytes]) -> bytes:
    """The same archive with these parts in place of its own."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(out, "w") as new:
        for name in dict.fromkeys(old.namelist()):
            new.writestr(name, changed[name] if name in changed else old.read(name))
    return out.getvalue()
