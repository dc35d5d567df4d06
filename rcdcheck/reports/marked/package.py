"""A workbook as the archive that it is: parts that lead to one another, changed one by one, the others kept."""

from __future__ import annotations

import functools
import io
import posixpath
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from typing import Any

from lxml import etree

from rcdcheck.reports import sheet_rows
from rcdcheck.reports.excel.archive import PIECE, entry

TYPES = "[Content_Types].xml"
PACKAGE = "http://schemas.openxmlformats.org/package/2006"
TRANSITIONAL = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
STRICT = "http://purl.oclc.org/ooxml/officeDocument/relationships"
LARGE = 1 << 30  # bytes of rows from which their archive is of the large kind, which not every program reads
_UNMARKED = etree.XMLParser(
    resolve_entities=False, no_network=True, huge_tree=True, remove_comments=True, remove_pis=True
)
_PARSER = etree.XMLParser(resolve_entities=False, no_network=True, huge_tree=True, remove_comments=False)


def parsed(data: bytes) -> Any:
    """Root of a part; entities are not resolved."""
    return etree.fromstring(data, _PARSER)


def written(root: Any) -> bytes:
    """A part as bytes."""
    return etree.tostring(root, xml_declaration=True, encoding="UTF-8", standalone=True)


def local(element: Any) -> str:
    """Name of an element without its namespace; empty for comments."""
    return etree.QName(element).localname if isinstance(element.tag, str) else ""


class Package:
    """The parts of a workbook by name."""

    def __init__(self, data: bytes) -> None:
        self._source = zipfile.ZipFile(io.BytesIO(data))
        self._changed: dict[str, bytes] = {}
        self._pieces: dict[str, Callable[[], Iterator[bytes]]] = {}
        self._late: set[str] = set()
        self._rows: dict[str, tuple[sheet_rows.Rows, int]] = {}
        self._dropped: set[str] = set()
        self._names = self._source.namelist()

    def names(self) -> list[str]:
        """Parts, in the order of the archive."""
        return [
            n for n in [*self._names, *(c for c in self._changed if c not in self._names)] if n not in self._dropped
        ]

    def read(self, name: str) -> bytes:
        """A part as it stands now, a sheet whose rows were taken without them."""
        if name in self._pieces:
            return b"".join(self._pieces[name]())
        return self._changed[name] if name in self._changed else self._source.read(name)

    def put(self, name: str, data: bytes) -> None:
        """Change or add a part."""
        self._changed[name] = data

    def put_pieces(self, name: str, pieces: Callable[[], Iterator[bytes]], *, late: bool = False) -> None:
        """Change a part that is there to one that is made when it is written, after all others if `late`."""
        self._pieces[name] = pieces
        self._late |= {name} if late else set()

    def take_rows(self, name: str) -> sheet_rows.Rows:
        """The rows of a sheet, whose part is left without them until it is written."""
        if name in self._rows:
            return self._rows[name][0]
        try:
            with self._source.open(name) as part:
                self.put(name, sheet_rows.without_rows(part))
        except sheet_rows.MarkupError:
            plain = etree.tostring(etree.fromstring(self._source.read(name), _UNMARKED), encoding="UTF-8")
            self.put(name, sheet_rows.without_rows(io.BytesIO(plain)))
            return lambda: sheet_rows.rows_in(io.BytesIO(plain))
        return lambda: sheet_rows.rows_in(self._source.open(name))

    def put_rows(self, name: str, rows: sheet_rows.Rows, most: int = 0) -> None:
        """Rows of a sheet, that are put into its part when it is written; at most so many bytes if that is known."""
        self._rows[name] = rows, most

    def most(self, name: str) -> int:
        """Bytes that the rows of a sheet can be."""
        return self._rows[name][1] if name in self._rows else self._source.getinfo(name).file_size

    def free_name(self, pattern: str) -> str:
        """First unused name of a pattern such as `xl/comments{}.xml`."""
        taken = {name.lower() for name in self.names()}
        return next(name for n in range(1, 100_000) if (name := pattern.format(n)).lower() not in taken)

    def relations(self, part: str) -> Any:
        """Root of the relations of a part (of the package itself for an empty name); empty where it has none."""
        name = _relations_name(part)
        if name in self._names or name in self._changed:
            return parsed(self.read(name))
        return etree.Element(f"{{{PACKAGE}/relationships}}Relationships", nsmap={None: f"{PACKAGE}/relationships"})

    def related(self, part: str, kind: str) -> dict[str, str]:
        """Parts of a kind (last word of the type of relation) that a part leads to, by relation id."""
        return {
            r.get("Id"): _resolved(part, r.get("Target"))
            for r in self.relations(part)
            if r.get("Type", "").endswith("/" + kind) and r.get("TargetMode") != "External"
        }

    def relate(self, part: str, kind: str, target: str, *, strict: bool = False) -> str:
        """Lead from a part to another; the new relation id."""
        root = self.relations(part)
        taken = {r.get("Id") for r in root}
        new = next(name for n in range(1, 100_000) if (name := f"rIdMark{n}") not in taken)
        base = STRICT if strict else TRANSITIONAL
        etree.SubElement(
            root, f"{{{PACKAGE}/relationships}}Relationship", Id=new, Type=f"{base}/{kind}", Target="/" + target
        )
        self.put(_relations_name(part), written(root))
        return new

    def declare(self, *, part: str = "", extension: str = "", content: str) -> None:
        """Say what a part, or every part with an extension, holds."""
        root = parsed(self.read(TYPES))
        tag, key, value = ("Override", "PartName", "/" + part) if part else ("Default", "Extension", extension)
        for element in root:
            if local(element) == tag and element.get(key, "").lower() == value.lower():
                element.set("ContentType", content)
                break
        else:
            new = etree.Element(f"{{{PACKAGE}/content-types}}{tag}", {key: value, "ContentType": content})
            root.insert(0 if tag == "Default" else len(root), new)
        self.put(TYPES, written(root))

    def drop(self, unwanted: Callable[[str], bool]) -> bool:
        """Leave out parts, what leads to them and what is said of them; whether there were any."""
        gone = {name for name in self.names() if unwanted(name)}
        self._dropped |= gone
        for name in [n for n in self.names() if n.endswith(".rels")]:
            owner = _owner(name)
            self._without(name, functools.partial(_leads_to, owner, gone))
        self._without(TYPES, lambda e: e.get("PartName", "").lstrip("/") in gone)
        return bool(gone)

    def _without(self, name: str, unwanted: Callable[[Any], bool]) -> None:
        root = parsed(self.read(name))
        found = [element for element in root if unwanted(element)]
        for element in found:
            root.remove(element)
        if found:
            self.put(name, written(root))

    def pieces(self) -> Iterator[bytes]:
        """The archive; equal parts give equal bytes."""
        with tempfile.SpooledTemporaryFile(max_size=32 << 20) as file:
            with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as target:
                for name in sorted(self.names(), key=lambda name: name in self._late):
                    with target.open(entry(name), "w", force_zip64=self._most(name) > LARGE) as part:
                        part.writelines(self._whole(name))
            file.seek(0)
            while piece := file.read(PIECE):
                yield piece

    def _whole(self, name: str) -> Iterator[bytes]:
        if name in self._rows:
            yield from sheet_rows.whole(self.read(name), self._rows[name][0])
        elif name in self._pieces:
            yield from self._pieces[name]()
        else:
            yield self.read(name)

    def _most(self, name: str) -> int:
        return self._rows[name][1] if name in self._rows else 0


def _leads_to(owner: str, gone: set[str], relation: Any) -> bool:
    return _resolved(owner, relation.get("Target", "")) in gone


def _relations_name(part: str) -> str:
    folder, name = posixpath.split(part)
    return posixpath.join(folder, "_rels", f"{name}.rels")


def _owner(relations: str) -> str:
    folder, name = posixpath.split(relations)
    return posixpath.join(posixpath.dirname(folder), name.removesuffix(".rels"))


def _resolved(part: str, target: str) -> str:
    if target.startswith("/"):
        return target.lstrip("/")
    return posixpath.normpath(posixpath.join(posixpath.dirname(part), target))
