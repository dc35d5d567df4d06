"""How workbooks look: a dark heading row, tints that repeat what a word says, and numbers that carry their unit.

Every tint has dark text of at least 5 : 1 against it, and never says more than the word in the cell.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from rcdcheck.showing import visible

if TYPE_CHECKING:
    from openpyxl.cell import Cell
    from openpyxl.formatting.rule import Rule

INK, HEAD, PALE, RULE, LINK = "1D2B36", "24465A", "DCE5EA", "B9C6CE", "0B5CAD"
PASS, FAIL, UNSURE, NEITHER = ("0B5CAD", "DCEBF7"), ("7A0019", "FBDDD0"), ("8A5A00", "FFF3C4"), ("5F5F5F", "ECECEC")
TINTS = {  # word → text and fill
    **dict.fromkeys(("pass", "A", "nothing unusual"), PASS),
    **dict.fromkeys(("fail", "danger", "error", "strong", "D", "not audited"), FAIL),
    **dict.fromkeys(("incomplete", "unclear", "marginal", "doubt", "caution", "moderately strong", "B", "C"), UNSURE),
    **dict.fromkeys(("not judged", "note", "not asked"), NEITHER),
}
FORMATS = {  # kind of column → number format; General rounds nothing away
    "id": "@",
    "text": "General",
    "word": "General",
    "whole": "#,##0",
    "number": "General",
    "figure": "0.####",
    "ms": 'General" ms"',
    "mA": 'General" mA"',
    **{f"{unit} {n}": f'0.{"0" * n}" {unit}"' for unit in ("ms", "mA") for n in (1, 2, 3)},  # as many as were typed
    "times": '0.###"×"',
    "share": "0.00%",
    "date": "yyyy-mm-dd",
    "stamp": "yyyy-mm-dd hh:mm",
}
NUMBERS = frozenset(FORMATS) - {"id", "text", "word", "date", "stamp"}  # kinds that stand at the right
SPACE = "_)"  # after a number at the right; an indent at the right gets lost in some programs
LINE = 15  # height of a line in points
CHARACTER = 0.099  # width of one in inches, as LibreOffice prints it
LONGEST = 8_000  # characters of a cell; Excel holds 32,767, and nobody reads as many


def cell_text(text: str) -> str:
    """A text as a cell may hold it: nothing hidden in it, and where it is too long, cut and said."""
    if len(text) > LONGEST:
        text = f"{text[:LONGEST]} … (cut here: {len(text):,} characters in all)"
    return visible(text)


def looks_like_formula(text: str) -> bool:
    """Whether a spreadsheet might take the text for a formula when someone edits it."""
    return text[:1] in ("=", "+", "-", "@", "\t", "\r")


def line_rule() -> Rule:
    """A hair line under every row of a table, also where a cell is empty."""
    from openpyxl.formatting.rule import Rule
    from openpyxl.styles import Border, Side
    from openpyxl.styles.differential import DifferentialStyle

    return Rule(
        type="expression", formula=["TRUE"], dxf=DifferentialStyle(border=Border(bottom=Side("thin", color=RULE)))
    )


def tint_rules(first: str) -> list[Rule]:
    """Conditional formats for a column of words that begins at cell `first`, so that sorting keeps the tints right."""
    from openpyxl.formatting.rule import Rule
    from openpyxl.styles import Font, PatternFill
    from openpyxl.styles.differential import DifferentialStyle

    rules = []
    for ink, fill in (FAIL, UNSURE, PASS, NEITHER):
        words = ",".join(f'{first}="{word}"' for word, tint in TINTS.items() if tint == (ink, fill))
        tint = DifferentialStyle(font=Font(color=ink, bold=True), fill=PatternFill(bgColor=fill, fill_type="solid"))
        rules.append(Rule(type="expression", formula=[f"OR({words})"], dxf=tint))
    return rules


def pen(ws: Any, kind: str, quoted: bool = False, linked: bool = False) -> Cell:
    """A cell of a stream with the look of a kind of value, to be filled and written again and again."""
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Alignment, Font, PatternFill

    cell = WriteOnlyCell(ws)
    right = kind in NUMBERS
    cell.number_format = FORMATS.get(kind, "General") + (SPACE if right else "")
    wrapped = kind in ("text", "head", "head pale")
    cell.alignment = Alignment("right" if right else "left", "top", wrap_text=wrapped)
    if kind == "head":
        cell.font = Font("Calibri", bold=True, color="FFFFFF")
        cell.fill = PatternFill("solid", fgColor=HEAD)
    elif kind == "head pale":
        cell.font = Font("Calibri", color=INK)
        cell.fill = PatternFill("solid", fgColor=PALE)
    elif kind in ("title", "caption"):
        cell.font = Font("Calibri", bold=True, size=16 if kind == "title" else 12, color=INK)
    elif linked:
        cell.font = Font("Calibri", color=LINK, underline="single")
    cell.quotePrefix = quoted
    return cell


def lines_of_page(widths: Sequence[float], *, upright: bool = False) -> int:
    """How many lines of a sheet as wide as these columns, in characters, stand on one printed page."""
    across, down = (10.9, 7.1) if not upright else (7.5, 10.5)  # inches of A4 within the margins
    shrunk = min(1.0, across / (sum(widths) * CHARACTER))
    return max(1, int(down * 72 / (LINE * shrunk)))


def print_set_up(ws: Any, *, upright: bool = False) -> None:
    """A4, across or upright, as wide as the page, with the name of the sheet and the number of the page."""
    from openpyxl.worksheet.page import PageMargins

    ws.page_setup.orientation = "portrait" if upright else "landscape"
    ws.page_setup.paperSize = 9  # A4
    ws.page_setup.fitToWidth, ws.page_setup.fitToHeight = 1, 0
    ws.sheet_properties.pageSetUpPr.fitToPage = True
    ws.page_margins = PageMargins(left=0.4, right=0.4, top=0.5, bottom=0.7, header=0.3, footer=0.3)
    ws.oddFooter.left.text = "&A"
    ws.oddFooter.right.text = "page &P of &N"
