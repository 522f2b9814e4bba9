"""How sheets look and print: one accent of dark blue, light greys, black text; everything readable on a grey printer."""

from __future__ import annotations

from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.worksheet.pagebreak import Break
from openpyxl.worksheet.worksheet import Worksheet

from scheduler.farm.farm import Farm
from scheduler.sheets import clean_text

BLUE = "0072B2"
"""Dark blue of the Okabe & Ito palette; with black the only colour used for text (contrast 5:1 on white)."""

GREY = "595959"
FACE = "Arial"
SIZE = 9.0
LINE_HEIGHT = 12.5

TITLE = Font(name=FACE, size=15, bold=True, color=BLUE)
HEADING = Font(name=FACE, size=11, bold=True, color=BLUE)
PLAIN = Font(name=FACE, size=SIZE)
BOLD = Font(name=FACE, size=SIZE, bold=True)
QUIET = Font(name=FACE, size=8, color=GREY)
BIG = Font(name=FACE, size=14, bold=True)

HEAD_FILL = PatternFill("solid", start_color="EDEDED")
HEAT = tuple(PatternFill("solid", start_color=c) for c in ("FFFFFF", "F1F5F9", "E1EAF3", "CFDDEB", "BACFE3", "A6C1DB"))
"""From empty to full: light enough for black text, and even steps of grey without colour."""

_THIN, _HAIR = Side(style="thin", color="808080"), Side(style="hair", color="808080")
HEAD_BORDER = Border(top=_THIN, bottom=Side(style="medium", color=BLUE), left=_HAIR, right=_HAIR)
CELL_BORDER = Border(top=_HAIR, bottom=_HAIR, left=_HAIR, right=_HAIR)

LEFT = Alignment(horizontal="left", vertical="center", wrap_text=True)
RIGHT = Alignment(horizontal="right", vertical="center", indent=1)
CENTER = Alignment(horizontal="center", vertical="center", wrap_text=True)

LETTER, A4 = 1, 9


def print_setup(ws: Worksheet, farm: Farm, *, landscape: bool = True, one_page: bool = False) -> None:
    """Page, margins and footer: one page wide, on A4 (metric measures) or Letter (us); either fits the other."""
    ws.sheet_view.showGridLines = False
    ws.page_setup.orientation = "landscape" if landscape else "portrait"
    ws.page_setup.paperSize = LETTER if farm.settings.measures == "us" else A4
    ws.sheet_properties.pageSetUpPr.fitToPage = True  # type: ignore[union-attr]
    ws.page_setup.fitToWidth = 1
    ws.page_setup.fitToHeight = 1 if one_page else 0
    margins = ws.page_margins
    margins.left = margins.right = 0.45
    margins.top, margins.bottom, margins.header, margins.footer = 0.5, 0.65, 0.3, 0.3
    ws.print_options.horizontalCentered = True
    footer = ws.oddFooter
    assert footer is not None
    footer.left.text = _footer(farm.settings.farm_name)
    footer.center.text = f"{farm.weeks.label(1)}  {_footer(ws.title)}"
    footer.right.text = "page &P of &N"
    for part in (footer.left, footer.center, footer.right):
        part.size = 8


def _footer(text: str) -> str:
    """Text of a footer; an ampersand begins a code there and is doubled."""
    return clean_text(text).replace("\n", " ")[:40].replace("&", "&&")


def break_before(ws: Worksheet, row: int) -> None:
    """Begin a new printed page at a row."""
    if row > 1:
        ws.row_breaks.append(Break(id=row - 1))
