"""Sheets over all weeks: the use of racks and the frags becoming sellable, each as a table and a chart."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from typing import Any

from openpyxl.chart import BarChart, LineChart, Reference
from openpyxl.chart.shapes import GraphicalProperties
from openpyxl.styles import PatternFill
from openpyxl.workbook import Workbook

from scheduler.plan.view import PlanView
from scheduler.reporting.tables import Table, Value
from scheduler.reporting.tables.places import tank_use, zone_percent
from scheduler.reporting.tables.season import months
from scheduler.reporting.workbook import style
from scheduler.reporting.workbook.page import Page

_DASHES = ("solid", "dash", "sysDot", "dashDot", "lgDash", "sysDashDot")
_MARKS = ("circle", "square", "triangle", "diamond", "x", "plus")
_MOST_LINES = 6
_CM_A_CHARACTER = 0.185
_WEEKS_A_TABLE = 27
_USE_TEXT = (
    "percent of unblocked positions held, mothers included; darker is fuller; near weeks by plugs, later weeks by the frags expected "
    "at the last count"
)
_GREYS = ("0072B2", "A9C6DC", "4D4D4D", "D9D9D9", "7FA9C9", "262626")


def heat(percent: float) -> PatternFill:
    """Ground of a use in percent; steps at 20, 40, 60, 80 and 95."""
    return style.HEAT[sum(percent >= edge for edge in (20, 40, 60, 80, 95))]


def add_rack_use(book: Workbook, view: PlanView, tables: dict[str, Table]) -> None:
    """Use of tanks and light zones over the weeks in percent of positions, darker is fuller."""
    farm = view.farm
    weeks = list(farm.weeks.all)
    columns = min(len(weeks), _WEEKS_A_TABLE)
    page = Page(book, "rack use", farm, (30, *[5.0] * columns))
    page.title("Rack use", _USE_TEXT)
    tanks = tank_use(view, tables["rack_use"])
    first = None
    for start in range(0, len(weeks), columns):
        part = weeks[start : start + columns]
        head = _heat_table(page, view, "tank", tanks, part)
        first = head if first is None else first
        page.gap()
    assert first is not None
    if len(weeks) > columns:
        page.text(f"the chart draws the first {columns} weeks", font=style.QUIET)
    _use_chart(page, first, list(tanks), columns)
    page.heading("By light zone")
    by_zone = zone_percent(tables["rack_use"])
    for start in range(0, len(weeks), columns):
        _heat_table(page, view, "light zone", by_zone, weeks[start : start + columns])
        page.gap()
    _add_evenness(page, view, tables["evenness"], columns)


def _add_evenness(page: Page, view: PlanView, table: Table, columns: int) -> None:
    """How far apart the fullest and the emptiest tank of a light class are, without and with this plan."""
    use: dict[str, dict[int, float]] = defaultdict(dict)
    for name, week, before, now in table.pick("light_class", "week", "difference_before", "difference"):
        use[f"{name}: before"][int(str(week))] = float(str(before))
        use[f"{name}: planned"][int(str(week))] = float(str(now))
    if not use:
        return
    page.heading("Evenness between tanks of like light")
    before, now = (max(float(str(v)) for v in table.column(c)) for c in ("difference_before", "difference"))
    page.text(
        "Percentage points between the fullest and the emptiest tank of a light class. Before: the lots on the racks alone, sold as "
        f"planned, nothing moved or cut. Worst week before {before:.0f}, planned {now:.0f}.",
        font=style.QUIET,
    )
    weeks = list(view.farm.weeks.all)
    for start in range(0, len(weeks), columns):
        _heat_table(page, view, "light class", use, weeks[start : start + columns])
        page.gap()


def _heat_table(page: Page, view: PlanView, what: str, use: dict[str, dict[int, float]], part: list[int]) -> int:
    rows: list[tuple[Value, ...]] = [(name, *[round(weeks[w]) for w in part]) for name, weeks in use.items()]
    values = list(use.values())

    def ground(row: int, col: int) -> PatternFill | None:
        return heat(values[row][part[col - 1]]) if col else None

    headers = (what, *[view.farm.weeks.label(w)[5:] for w in part])
    return page.table(
        headers, rows, fill=ground, centre=range(1, len(headers)), repeat=part[0] == 1 and len(part) == view.farm.weeks.count
    )


def _use_chart(page: Page, head: int, names: list[str], columns: int) -> None:
    """A line a tank, told apart by dash and mark; the fullest are not chosen, the first six are drawn."""
    chart = LineChart()
    shown = names[:_MOST_LINES]
    data = Reference(page.ws, min_col=1, max_col=1 + columns, min_row=head + 1, max_row=head + len(shown))
    chart.add_data(data, from_rows=True, titles_from_data=True)
    chart.set_categories(Reference(page.ws, min_col=2, max_col=1 + columns, min_row=head))
    for i, series in enumerate(chart.series):
        series.smooth = False
        series.graphicalProperties.line.solidFill = style.BLUE if i % 2 == 0 else "000000"
        series.graphicalProperties.line.dashStyle = _DASHES[i]
        series.graphicalProperties.line.width = 19050
        series.marker.symbol = _MARKS[i]
        series.marker.size = 6
        series.marker.graphicalProperties = GraphicalProperties(solidFill="FFFFFF")
        series.marker.graphicalProperties.line.solidFill = style.BLUE if i % 2 == 0 else "000000"
    chart.y_axis.scaling.min, chart.y_axis.scaling.max = 0, 100
    chart.y_axis.title, chart.x_axis.title = "percent", "week"
    if len(names) > _MOST_LINES:
        page.text(f"the chart draws the first {_MOST_LINES} of {len(names)} tanks", font=style.QUIET)
    place_chart(page, chart, 8.5)


def place_chart(page: Page, chart: Any, height_cm: float) -> None:
    """Put a chart as wide as the sheet at the page's next row and leave rows free for it."""
    chart.width, chart.height = sum(page.widths) * _CM_A_CHARACTER, height_cm
    chart.x_axis.delete = chart.y_axis.delete = False
    chart.legend.position = "b"
    page.ws.add_chart(chart, f"A{page.row}")
    rows = int(height_cm / 2.54 * 72 / 14) + 2
    for row in range(page.row, page.row + rows):
        page.ws.row_dimensions[row].height = 14
    page.row += rows


def add_ahead(book: Workbook, view: PlanView, tables: dict[str, Table]) -> None:
    """All weeks in a row each: what is cut, moved and sold. Later weeks are an outlook and are planned anew every week."""
    farm = view.farm
    page = Page(book, "weeks ahead", farm, (11, 11, 8, 8, 8, 11, 78))
    page.title("Weeks ahead", "weeks after the near ones are an outlook: they are planned anew every week")
    cuts: dict[int, list[tuple[str, int]]] = defaultdict(list)
    for week, colony, pieces in tables["cuts"].pick("week", "colony", "pieces"):
        cuts[int(str(week))].append((str(colony), int(str(pieces))))
    sold: dict[int, Decimal] = defaultdict(Decimal)
    for week, frags in tables["sales"].pick("week", "expected_frags"):
        sold[int(str(week))] += Decimal(str(frags))
    moves = tables["moves"].column("week")
    rows: list[tuple[Value, ...]] = [
        (farm.weeks.label(w), farm.weeks.monday(w), len(cuts[w]), sum(n for _, n in cuts[w]), moves.count(w), sold[w],
         "; ".join(f"{colony} {n}" for colony, n in cuts[w]))
        for w in farm.weeks.all
    ]  # fmt: skip
    near = set(farm.weeks.near_weeks)
    headers = ("week", "Monday", "cuts", "pieces", "moves", "frags sold", "colonies and pieces")
    page.table(headers, rows, repeat=True, fill=lambda r, _: style.HEAD_FILL if r + 1 in near else None)


def add_sellable(book: Workbook, view: PlanView, tables: dict[str, Table]) -> None:
    """Expected frags newly reaching a class by month, strain and size class."""
    table = tables["sellable"]
    names = months(view)
    page = Page(book, "sellable", view.farm, (24, 15, *[8.5] * len(names), 9), landscape=True)
    page.title(
        "Frags becoming sellable",
        "expected frags newly reaching a size class while still on the farm; one that passes two classes counts once in each",
    )
    first = dict.fromkeys(names, 0.0)
    by_class: dict[str, dict[str, float]] = defaultdict(lambda: dict.fromkeys(names, 0.0))
    cells: dict[tuple[str, str], dict[str, float]] = defaultdict(lambda: dict.fromkeys(names, 0.0))
    for month, strain, size_class, is_first, frags in table.pick("month", "name", "size_class", "first_class", "expected_frags"):
        value = float(str(frags))
        first[str(month)] += value if is_first else 0.0
        by_class[str(size_class)][str(month)] += value
        cells[str(strain), str(size_class)][str(month)] += value
    headers = ("strain", "size class", *names, "total")
    formats = dict.fromkeys(range(2, len(headers)), "0.0")
    page.heading("All strains, each frag once")
    once: list[tuple[Value, ...]] = [("all strains", "smallest class", *first.values(), sum(first.values()))]
    page.table(headers, once, formats=formats)
    page.gap()
    page.heading("By size class")
    total: list[tuple[Value, ...]] = [("all strains", k, *v.values(), sum(v.values())) for k, v in sorted(by_class.items())]
    head = page.table(headers, total, formats=formats, empty="no frags reach a class within the weeks planned")
    page.gap()
    if total:
        _class_chart(page, head, len(total), len(names))
    page.heading("By strain and size class")
    rows: list[tuple[Value, ...]] = [
        (strain, size_class, *[v or None for v in by_month.values()], sum(by_month.values()))
        for (strain, size_class), by_month in sorted(cells.items())
    ]
    page.table(headers, rows, formats=formats, repeat=True, bold=(len(headers) - 1,))
    page.text(
        "Now: reached the class before week 1. A lot reaches a class as a whole in one week and a cut gives all its planned pieces; the "
        "forecast lets each frag grow by itself and takes the pieces cuts really give.",
        font=style.QUIET,
    )


def _class_chart(page: Page, head: int, classes: int, months_shown: int) -> None:
    chart = BarChart()
    chart.type, chart.grouping, chart.gapWidth = "col", "clustered", 60
    data = Reference(page.ws, min_col=2, max_col=2 + months_shown, min_row=head + 1, max_row=head + classes)
    chart.add_data(data, from_rows=True, titles_from_data=True)
    chart.set_categories(Reference(page.ws, min_col=3, max_col=2 + months_shown, min_row=head))
    for i, series in enumerate(chart.series):
        series.graphicalProperties.solidFill = _GREYS[i % len(_GREYS)]
        series.graphicalProperties.line.solidFill = "000000"
    chart.y_axis.title = "frags"
    chart.y_axis.scaling.min = 0
    place_chart(page, chart, 7.5)
