"""Rack maps: one sheet per tank, one grid per rack, as it stands at the end of a near week."""

from __future__ import annotations

import bisect
from dataclasses import dataclass

from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.workbook import Workbook

from scheduler.biology.light import par_of_rack
from scheduler.biology.zones import band_text
from scheduler.farm.blocks import Position, row_letters, trim
from scheduler.farm.codes import label_codes
from scheduler.farm.farm import Farm
from scheduler.farm.space import Rack
from scheduler.plan.view import PlanView
from scheduler.reporting.tables import Value
from scheduler.reporting.tables.bench import blocks_text
from scheduler.reporting.tables.places import Kind, Occupant, rack_state
from scheduler.reporting.workbook import style
from scheduler.reporting.workbook.page import Page, put
from scheduler.sheets import set_text

_SIGN: dict[Kind, str] = {"new": "+", "moved in": ">", "moved out": "<", "old": "", "mother": "M ", "blocked": ""}
_HATCH = PatternFill("lightUp", start_color="808080", end_color="FFFFFF")
_DOTS = PatternFill("gray0625", start_color="808080", end_color="FFFFFF")
_HEAVY, _THIN, _DASH = (
    Side(style="medium", color="000000"),
    Side(style="thin", color="000000"),
    Side(style="mediumDashed", color="000000"),
)
_FIT = Alignment(horizontal="center", vertical="center", shrink_to_fit=True)
_HAIR = Side(style="hair", color="BFBFBF")
_EDGE: dict[Kind, Side] = {
    "new": _HEAVY, "moved in": _DASH, "moved out": _HAIR, "old": _THIN, "mother": Side(style="double", color="000000"), "blocked": _HAIR,
}  # fmt: skip
_HEAVIEST: tuple[Kind, ...] = ("new", "moved in", "mother", "old", "moved out", "blocked")
_KEY = (
    "plain: stands there already;  + bold, heavy edge: mounted this week;  > dashed edge: moved in this week;  "
    "< left this week, kept free until the next;  M double edge: mother colony;  x hatched: blocked;  "
    "small letter: free, with its light band"
)
_CELL_WIDTH, _EDGE_WIDTH = 5.6, 4.5
_PAGE_POINTS = {True: 500.0, False: 720.0}


@dataclass(frozen=True)
class RackPicture:
    """A rack as drawn: what is where, and the short tag of every lot and mother on it."""

    rack: Rack
    week: int
    state: dict[Position, Occupant]
    tags: dict[str, str]

    def tag(self, position: Position) -> str | None:
        """What is written on a taken position."""
        occupant = self.state.get(position)
        if occupant is None:
            return None
        return "x" if occupant.kind == "blocked" else f"{_SIGN[occupant.kind]}{self.tags[occupant.id]}"


def picture(view: PlanView, rack: Rack, week: int) -> RackPicture:
    """A rack at the end of a near week. A tag is the strain's label code, numbered where it has several lots there."""
    farm = view.farm
    state = rack_state(view, rack.rack, week)
    ids = list(dict.fromkeys(o.id for _, o in sorted(state.items()) if o.id))
    codes = {i: label_codes(farm)[_strain(view, i)] for i in ids}
    tags = {}
    for i in ids:
        same = [j for j in ids if codes[j] == codes[i]]
        tags[i] = codes[i] if len(same) == 1 else f"{codes[i]}{same.index(i) + 1}"
    return RackPicture(rack, week, state, tags)


def _strain(view: PlanView, id_: str) -> str:
    return view.lots[id_].strain if id_ in view.lots else view.farm.colony[id_].strain


def add_racks(book: Workbook, view: PlanView) -> None:
    """A sheet per tank: every rack at the end of week 1, and those that differ at the end of later near weeks."""
    farm = view.farm
    for tank in farm.tanks:
        racks = [r for r in farm.racks if r.tank == tank.tank]
        if not racks:
            continue
        pictures = []
        for rack in racks:
            last = picture(view, rack, 1)
            pictures.append(last)
            for week in farm.weeks.near_weeks[1:]:
                now = picture(view, rack, week)
                if {p: o.id for p, o in now.state.items()} != {p: o.id for p, o in last.state.items()}:
                    pictures.append(now)
                last = now
        cols = max(12, *(r.cols for r in racks))
        page = Page(book, f"racks {tank.tank}", farm, (_EDGE_WIDTH, *[_CELL_WIDTH] * cols, 9), landscape=cols > 16)
        page.title(f"Racks of {tank.tank}", f"water system {tank.system}; state at the end of the week named")
        page.text(_KEY, font=style.QUIET)
        page.text(_bands(farm), font=style.QUIET)
        page.gap()
        page.ws.print_title_rows = f"1:{page.row - 1}"
        _draw_all(page, view, pictures)


def _bands(farm: Farm) -> str:
    bands = range(len(farm.settings.par_bands) + 1)
    return "light bands: " + ";  ".join(f"{band_letter(b)} {band_text(farm, b)}" for b in bands)


def band_letter(band: int) -> str:
    """Small letter of a light band, a for the dimmest."""
    return chr(97 + band) if band < 26 else "z"


def _draw_all(page: Page, view: PlanView, pictures: list[RackPicture]) -> None:
    landscape = page.ws.page_setup.orientation == "landscape"
    width = sum(page.widths) * 5.6
    scale = min(1.0, (760 if landscape else 520) / width)
    room = _PAGE_POINTS[landscape] / scale - 75
    used = 0.0
    for drawn in pictures:
        legend = len(drawn.tags)
        height = 17 + (drawn.rack.rows + 1) * 17 + 28 + legend * 15 + 20
        if used and used + height > room:
            style.break_before(page.ws, page.row)
            used = 0.0
        used += height
        _draw(page, view, drawn)


def _draw(page: Page, view: PlanView, drawn: RackPicture) -> None:
    farm, rack = view.farm, drawn.rack
    par = par_of_rack(farm, rack.rack, drawn.week)
    ends = ((0, 0), (0, rack.cols - 1), (rack.rows - 1, 0), (rack.rows - 1, rack.cols - 1))
    corners = ", ".join(f"{row_letters(r)}{c + 1} {par[r, c]:.0f}" for r, c in dict.fromkeys(ends))
    taken = len(drawn.state) - len(rack.blocked_positions)
    page.heading(f"{rack.rack}   end of {farm.weeks.label(drawn.week)}   {taken} of {len(rack.open_positions)} positions taken")
    page.text(
        f"PAR {corners};  {rack.flow} flow;  pitch {rack.pitch_mm:g} mm;  plugs: {', '.join(rack.plug_kinds)}", font=style.QUIET
    )
    head = page.row
    for c in range(rack.cols):
        _label(page, head, c + 2, c + 1)
    _label(page, head, rack.cols + 2, "PAR")
    for r in range(rack.rows):
        row = head + 1 + r
        page.ws.row_dimensions[row].height = 17
        _label(page, row, 1, row_letters(r))
        first, last = round(float(par[r, 0])), round(float(par[r, -1]))
        _label(page, row, rack.cols + 2, f"{first}" if first == last else f"{first}-{last}")
        for c in range(rack.cols):
            band = bisect.bisect_right(farm.settings.par_bands, round(float(par[r, c]), 6))
            _position(page, drawn, (r, c), row, band)
    page.row = head + 1 + rack.rows
    page.gap(4)
    _legend(page, view, drawn)
    page.gap(12)


def _label(page: Page, row: int, col: int, value: Value) -> None:
    cell = page.cell(row, col)
    put(cell, value)
    cell.font, cell.alignment = style.QUIET, style.CENTER


def _position(page: Page, drawn: RackPicture, position: Position, row: int, band: int) -> None:
    cell = page.cell(row, position[1] + 2)
    cell.alignment = _FIT
    occupant = drawn.state.get(position)
    if occupant is None:
        set_text(cell, band_letter(band))
        cell.font = Font(name=style.FACE, size=7, color="767676")
        _edges(page, drawn, position, row)
        return
    set_text(cell, drawn.tag(position) or "")
    cell.font = Font(name=style.FACE, size=8, bold=occupant.kind == "new", italic=occupant.kind == "moved in")
    if occupant.kind == "blocked":
        cell.fill = _HATCH
    elif occupant.kind == "moved out":
        cell.fill = _DOTS
    elif occupant.kind == "mother":
        cell.fill = style.HEAD_FILL

    _edges(page, drawn, position, row)


def _edges(page: Page, drawn: RackPicture, position: Position, row: int) -> None:
    """A hair line inside a lot or among free positions; where two things meet, the heavier edge of the two."""
    mine = drawn.state.get(position)

    def side(down: int, right: int) -> Side:
        other = drawn.state.get((position[0] + down, position[1] + right))
        if mine == other:
            return _HAIR
        kind = min((o.kind for o in (mine, other) if o is not None), key=_HEAVIEST.index)
        return _EDGE[kind]

    page.cell(row, position[1] + 2).border = Border(top=side(-1, 0), bottom=side(1, 0), left=side(0, -1), right=side(0, 1))


def _legend(page: Page, view: PlanView, drawn: RackPicture) -> None:
    farm = view.farm
    rows: list[tuple[Value, ...]] = []
    for id_, tag in drawn.tags.items():
        kind = next(o.kind for o in drawn.state.values() if o.id == id_)
        name = farm.strain[_strain(view, id_)].name
        if kind == "mother":
            rows.append((f"M {tag}", id_, name, "mother", farm.colony[id_].positions or ""))
            continue
        lot = view.lots[id_]
        place = next(s for s in reversed(lot.stands_held(drawn.week)) if s.rack == drawn.rack.rack)
        left, started = lot.left(drawn.week), place.pieces
        standing = place.model_copy(update={"blocks": trim(place.blocks, left)})
        text = blocks_text(standing, farm.traits(lot.strain))
        what = {"new": "new", "moved in": "moved in", "moved out": "left", "old": "stands"}.get(kind, kind)
        gone = f", {started - left} sold" if left < started else ""
        rows.append((f"{_SIGN[kind]}{tag}", id_, name, what, f"{left} plugs{gone}; {text}"))
    columns = len(page.widths)
    rest = columns - 10
    page.table(
        ("tag", "lot or colony", "strain", "", "plugs and blocks"), rows, spans=(1, 3, 4, 2, rest), empty="nothing stands here"
    )
