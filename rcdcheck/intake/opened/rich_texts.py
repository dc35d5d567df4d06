"""Rich texts of a workbook: which part of a text is struck through (ISO/IEC 29500-1, 18.4)."""

from __future__ import annotations

from rcdcheck.intake.opened.cell_styles import is_on
from rcdcheck.intake.opened.raw_xml import parse


class RichText:
    """One text as it is read, run by run. A run without properties looks as its cell does."""

    def __init__(self) -> None:
        self.runs: list[tuple[bool | None, str]] = []  # struck or not, or as the cell; text
        self.phonetic = False

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """An element within the text."""
        if tag == "r":
            self.runs.append((None, ""))
        elif tag == "rPh":  # how it is spoken; comes after all runs
            self.phonetic = True
        elif tag in ("rPr", "strike") and self.runs:
            self.runs[-1] = (tag == "strike" and is_on(attributes), "")

    def text(self, text: str) -> None:
        """Characters of a `t` element."""
        if self.runs and not self.phonetic:
            struck, before = self.runs[-1]
            self.runs[-1] = (struck, before + text)

    def struck(self, cell: bool) -> str | None:
        """The part that is struck through, "" for all of it, None for nothing; `cell`: what the cell's font says."""
        runs = [(cell if struck is None else struck, text.strip()) for struck, text in self.runs if text.strip()]
        if not runs:
            return "" if cell else None
        if all(struck for struck, _ in runs):
            return ""
        return " ".join(text for struck, text in runs if struck) or None


def rich_texts(xml: bytes) -> dict[str, RichText]:
    """The shared strings that have runs, by the number that cells name them by."""
    found: dict[str, RichText] = {}
    count, now, inside = 0, RichText(), ""

    def start(tag: str, attributes: dict[str, str]) -> None:
        nonlocal count, now, inside
        inside = tag.rpartition(":")[2]
        if inside == "si":
            now, count = RichText(), count + 1
        elif inside == "r":
            found[str(count - 1)] = now
        now.start(inside, attributes)

    def text(text: str) -> None:
        if inside == "t":
            now.text(text)

    def end(_: str) -> None:
        nonlocal inside
        inside = ""

    parse(xml, start, text, end)
    return found
