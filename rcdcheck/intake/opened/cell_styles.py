"""Looks of cells that a person gives a meaning to: text struck through, and a fill of the cell's own.

ISO/IEC 29500-1, 18.8: a cell names a format, the format names a font and a fill, and a colour is written out, or is a
place in a palette, or a place in the theme with a tint. Whether a format says that it applies its font and fill
(applyFont, applyFill) is not looked at, as spreadsheet programs show them either way. Fills that come from the style of
a whole column or row, from a table style or from a conditional format are not those of a cell.
"""

from __future__ import annotations

import colorsys
import re
import zipfile
from collections.abc import Iterable
from typing import NamedTuple, TypeVar

from rcdcheck.intake.opened.raw_xml import parse

WHITE = "FFFFFF"
_THEME_PART = "xl/theme/theme1.xml"
_RGB = re.compile("[0-9A-F]{6}")
T = TypeVar("T")
Colour = tuple[tuple[str, str], ...]  # as styles tell it: its attributes


class Look(NamedTuple):
    """What a format adds to a plain cell: a strike, and a colour as RRGGBB or "" for none."""

    struck: bool
    colour: str


PLAIN = Look(False, "")


def looks_of(archive: zipfile.ZipFile) -> dict[str, Look]:
    """The formats of cells that are more than plain, by the number that cells name them by."""
    names = set(archive.namelist())
    if "xl/styles.xml" not in names:
        return {}
    styles = _Styles(archive.read("xl/styles.xml"))
    themed = any("theme" in dict(colour) for fill in styles.fills for colour in fill)
    theme = _theme(archive.read(_THEME_PART)) if themed and _THEME_PART in names else []
    colours = [fill_colour(_resolved(colour, styles.palette, theme) for colour in fill) for fill in styles.fills]
    found = (Look(_at(styles.fonts, font, False), _at(colours, fill, "")) for font, fill in styles.formats)
    return {str(i): look for i, look in enumerate(found) if look != PLAIN}


def fill_colour(colours: Iterable[str]) -> str:
    """The first of a fill's colours (pattern, then background; or the stops of a gradient) that shows on white."""
    return next((colour for colour in colours if colour not in ("", WHITE)), "")


def is_on(attributes: dict[str, str]) -> bool:
    """A switch such as `<strike/>`, which is on where it says nothing."""
    return attributes.get("val", "1") not in ("0", "false", "off")


class _Styles:
    """One pass over the part of styles. The formats that cells name are those of cellXfs, not of named styles."""

    def __init__(self, xml: bytes) -> None:
        self.fonts: list[bool] = []  # struck or not
        self.fills: list[tuple[Colour, ...]] = []
        self.formats: list[tuple[str, str]] = []  # number of the font, number of the fill
        self.palette: list[str] = []
        self.within: list[str] = []
        self.pattern = ""
        parse(xml, self.start, end=self.end)
        self.palette = self.palette or _PALETTE

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        tag = tag.rpartition(":")[2]
        about = self.within[1] if len(self.within) > 1 else ""
        self.within.append(tag)
        if about == "fonts" and tag in ("font", "strike"):
            self._font(tag, attributes)
        elif about == "fills":
            self._fill(tag, attributes)
        elif about == "cellXfs" and tag == "xf":
            self.formats.append((attributes.get("fontId", "0"), attributes.get("fillId", "0")))
        elif about == "colors" and tag == "rgbColor":
            self.palette.append(attributes.get("rgb", "")[-6:].upper())

    def _font(self, tag: str, attributes: dict[str, str]) -> None:
        if tag == "font":
            self.fonts.append(False)
        elif self.fonts:
            self.fonts[-1] = is_on(attributes)

    def _fill(self, tag: str, attributes: dict[str, str]) -> None:
        if tag == "fill":
            self.fills.append(())
            self.pattern = "none"
        elif tag == "patternFill":
            self.pattern = attributes.get("patternType", "none")
        elif tag == "gradientFill":
            self.pattern = "gradient"
        elif tag in _SEEN.get(self.pattern, _SEEN[""]) and self.fills:
            self.fills[-1] += (tuple(attributes.items()),)

    def end(self, _: str) -> None:
        self.within.pop()


_SEEN = {"none": (), "solid": ("fgColor",), "gradient": ("color",), "": ("fgColor", "bgColor")}  # colours, by pattern


def _theme(xml: bytes) -> list[str]:
    """Colours of the theme in the order that cells count them: light before dark (18.8.3), else as written."""
    found: dict[str, str] = {}
    name = ""

    def start(tag: str, attributes: dict[str, str]) -> None:
        nonlocal name
        tag = tag.rpartition(":")[2]
        if tag in _THEME:
            name = tag
        elif tag in ("srgbClr", "sysClr") and name and name not in found:
            found[name] = attributes.get("lastClr", attributes.get("val", ""))[-6:].upper()

    parse(xml, start)
    return [found.get(name, "") for name in _THEME]


def _resolved(colour: Colour, palette: list[str], theme: list[str]) -> str:
    """A colour as RRGGBB; "" where it is automatic or cannot be known."""
    told = dict(colour)
    if "rgb" in told:
        plain = told["rgb"][-6:].upper()  # before them stands how opaque it is, which spreadsheets do not show
    elif "theme" in told:
        plain = _at(theme, told["theme"], "")
    else:
        plain = _at(palette, told.get("indexed", ""), "")  # 64 and 65 are the automatic colours of the system
    return _tinted(plain, float(told.get("tint", "0"))) if _RGB.fullmatch(plain) else ""


def _tinted(colour: str, tint: float) -> str:
    """18.8.19: a tint below 0 takes that part of the lightness away, one above 0 of what is missing to white."""
    if not tint:
        return colour
    red, green, blue = (int(colour[i : i + 2], 16) / 255 for i in (0, 2, 4))
    hue, light, saturation = colorsys.rgb_to_hls(red, green, blue)
    light = light * (1 + tint) if tint < 0 else light + (1 - light) * tint
    return "".join(f"{round(255 * part):02X}" for part in colorsys.hls_to_rgb(hue, min(max(light, 0), 1), saturation))


def _at(many: list[T], number: str, otherwise: T) -> T:
    return many[int(number)] if number.isdecimal() and int(number) < len(many) else otherwise


_ACCENTS = [f"accent{i}" for i in range(1, 7)]
_THEME = ["lt1", "dk1", "lt2", "dk2", *_ACCENTS, "hlink", "folHlink"]
_BASIC = "000000 FFFFFF FF0000 00FF00 0000FF FFFF00 FF00FF 00FFFF"
_PALETTE = (  # 18.8.27
    f"{_BASIC} {_BASIC} "
    "800000 008000 000080 808000 800080 008080 C0C0C0 808080 9999FF 993366 FFFFCC CCFFFF 660066 FF8080 0066CC CCCCFF "
    "000080 FF00FF FFFF00 00FFFF 800080 800000 008080 0000FF 00CCFF CCFFFF CCFFCC FFFF99 99CCFF FF99CC CC99FF FFCC99 "
    "3366FF 33CCCC 99CC00 FFCC00 FF9900 FF6600 666699 969696 003366 339966 003300 333300 993300 993366 333399 333333"
).split()
