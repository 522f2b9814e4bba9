"""The forecast workbook: a fan chart of sellable frags, orders, promises, shortages, and what the counts taught."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from openpyxl.chart import AreaChart, LineChart, Reference
from openpyxl.styles import PatternFill
from openpyxl.workbook import Workbook

from scheduler.farm.farm import Farm
from scheduler.forecast.outlook import Outlook
from scheduler.reporting.tables.base import Table, Value
from scheduler.reporting.tables.forecast import ALL
from scheduler.reporting.workbook import style
from scheduler.reporting.workbook.page import Page
from scheduler.reporting.workbook.season import place_chart
from scheduler.sheets import clean_text

_LOWER, _UPPER = "A9C6DC", "D9E6F0"
"""Grounds of the fan below and above the median; unlike in grey too."""

_WEAK = PatternFill("solid", start_color="E1EAF3")


def build_forecast_workbook(farm: Farm, outlook: Outlook, tables: dict[str, Table]) -> Workbook:
    """The workbook of a forecast from its tables. Values only, no formulas."""
    book = Workbook()
    if book.active is not None:
        book.remove(book.active)
    _add_months(book, farm, outlook, tables["forecast"])
    _add_orders(book, farm, tables["order_chances"])
    _add_promises(book, farm, tables["promises"])
    _add_shortages(book, farm, tables["shortages"])
    _add_learned(book, farm, outlook, tables)
    book.properties.title = clean_text(f"{farm.settings.farm_name} forecast {farm.weeks.label(1)}")
    book.properties.creator = "frag-scheduler"
    return book


def _add_months(book: Workbook, farm: Farm, outlook: Outlook, table: Table) -> None:
    months = [f"{y}-{m:02d}" for y, m in outlook.months]
    page = Page(book, "forecast", farm, (25, 13, *[11] * 6), landscape=False)
    page.title(
        "Frags becoming sellable",
        "frags reaching their first size class in the month, each once, of all strains; 8 in 10 months should fall between P10 and P90, "
        "half of them above P50",
    )
    rows = table.pick("month", "strain", "name", "size_class", "p10", "p50", "p90", "mean")
    total = [(m, p10, p50, p90, mean) for m, strain, _, _, p10, p50, p90, mean in rows if strain == ALL]
    head_rows: list[tuple[Value, ...]] = [
        (m, p10, p50, p90, mean, int(str(p50)) - int(str(p10)), int(str(p90)) - int(str(p50))) for m, p10, p50, p90, mean in total
    ]
    headers = ("month", "P10", "P50", "P90", "mean", "P10 to P50", "P50 to P90")
    head = page.table(headers, head_rows, formats={4: "0.0"}, bold=(2,))
    page.gap()
    _fan_chart(page, head, len(head_rows))
    page.heading("By strain and size class: P10 - P50 - P90 of frags newly reaching the class")
    cells: dict[tuple[str, str], dict[str, str]] = {}
    for month, strain, name, size_class, p10, p50, p90, _ in rows:
        if strain != ALL:
            cells.setdefault((str(name), str(size_class)), {})[str(month)] = f"{p10} - {p50} - {p90}" if p90 else ""
    shown = months[:6]
    lines: list[tuple[Value, ...]] = [
        (name, k, *[by[m] for m in shown]) for (name, k), by in sorted(cells.items()) if any(by.values())
    ]
    page.table(
        ("strain", "size class", *shown), lines, empty="no frags reach a class within the weeks planned", centre=range(2, 8)
    )
    if len(months) > len(shown):
        page.text(f"The first {len(shown)} of {len(months)} months; all of them in forecast.csv.", font=style.QUIET)
    page.text(
        f"{len(outlook.total):,} draws, seed {outlook.seed}. A frag counts in the month it reaches the class, if it is alive and the plan has "
        "not sold or cleared it before. Weeks after the near ones are planned anew every week; the forecast takes the plan as it stands.",
        font=style.QUIET,
    )


def _fan_chart(page: Page, head: int, months: int) -> None:
    """A band from P10 to P90 with the median as a line: areas stacked on an invisible one."""

    def column(number: int) -> Reference:
        return Reference(page.ws, min_col=number, min_row=head, max_row=head + months)

    fan = AreaChart()
    fan.grouping = "stacked"
    for number in (2, 6, 7):
        fan.add_data(column(number), titles_from_data=True)
    fan.set_categories(Reference(page.ws, min_col=1, min_row=head + 1, max_row=head + months))
    for series, ground in zip(fan.series, (None, _LOWER, _UPPER), strict=True):
        if ground is None:
            series.graphicalProperties.noFill = True
        else:
            series.graphicalProperties.solidFill = ground
        series.graphicalProperties.line.noFill = True
    line = LineChart()
    line.add_data(column(3), titles_from_data=True)
    series = line.series[0]
    series.smooth = False
    series.graphicalProperties.line.solidFill = "000000"
    series.graphicalProperties.line.width = 22225
    series.marker.symbol, series.marker.size = "circle", 6
    series.marker.graphicalProperties.solidFill = "FFFFFF"
    series.marker.graphicalProperties.line.solidFill = "000000"
    fan += line
    fan.y_axis.title = "frags a month"
    fan.y_axis.scaling.min = 0
    place_chart(page, fan, 8.0)


def _add_orders(book: Workbook, farm: Farm, table: Table) -> None:
    level = farm.settings.service_level
    page = Page(book, "orders", farm, (10, 8, 10, 8, 11, 22, 10, 10, 12, 12), landscape=True)
    page.title(
        "Orders",
        f"chance that the pieces started for an order deliver it in grade; wanted: pieces that would do so with {level:.0%}; shaded: below that",
    )
    rows = table.pick(
        "order",
        "strain",
        "size_class",
        "quantity",
        "due",
        "started",
        "pieces_by_due",
        "pieces_wanted",
        "chance_in_time",
        "chance_with_market",
    )
    headers = (
        "order",
        "strain",
        "class",
        "open",
        "due",
        "pieces",
        "of them by due",
        "wanted",
        "chance in time",
        "with market frags",
    )

    def weak(row: int, col: int) -> PatternFill | None:
        value = rows[row][col]
        return _WEAK if col >= 8 and isinstance(value, float) and value < level else None

    page.table(headers, rows, formats={8: "0%", 9: "0%"}, fill=weak, empty="no open orders", repeat=True)
    page.text(
        "With market frags: if frags of the strain planned for the market, or for nobody yet, were sent too, as if no other order wanted "
        "them. The week of a sale is planned on expected growth; the chance in time counts only frags that have reached their size by then.",
        font=style.QUIET,
    )


def _add_promises(book: Workbook, farm: Farm, table: Table) -> None:
    columns = list(dict.fromkeys(str(m) for m in table.column("by_end_of")))[:8]
    page = Page(book, "promises", farm, (25, 13, *[9] * len(columns)), landscape=False)
    page.title(
        "What can be promised",
        f"most frags in grade that a new order can be promised by the end of the month with {farm.settings.service_level:.0%}, if all frags "
        "not bound for an order are kept for it; each figure stands alone and includes those before it",
    )
    cells: dict[tuple[str, str], dict[str, Value]] = {}
    for name, size_class, month, most in table.pick("name", "size_class", "by_end_of", "can_be_promised"):
        cells.setdefault((str(name), str(size_class)), {})[str(month)] = most
    rows: list[tuple[Value, ...]] = [(name, k, *[by[m] for m in columns]) for (name, k), by in sorted(cells.items())]
    page.table(("strain", "size class", *columns), rows, repeat=True, empty="no lots")


def _add_shortages(book: Workbook, farm: Farm, table: Table) -> None:
    page = Page(book, "shortages", farm, (10, 25, 13, 20, 10, 10, 10, 12), landscape=True)
    page.title(
        "Stock-outs and gluts foreseen",
        "frags of the class on hand in the month, those sold in it included, against what market and orders take; stock-out: more likely than "
        f"not too few; glut: more likely than not more left than the next {farm.settings.glut_months} months take",
    )
    rows: list[tuple[Value, ...]] = [
        (month, name, k, f"{low} - {mid} - {high}", asked, short, glut, seen)
        for month, name, k, low, mid, high, asked, short, glut, seen in table.pick(
            "month",
            "name",
            "size_class",
            "on_hand_p10",
            "on_hand_p50",
            "on_hand_p90",
            "asked_for",
            "chance_short",
            "chance_glut",
            "foreseen",
        )
        if seen
    ]
    headers = ("month", "strain", "size class", "on hand P10 - P50 - P90", "asked for", "too few", "too many", "foreseen")
    page.table(headers, rows, formats={4: "0.0", 5: "0%", 6: "0%"}, repeat=True, empty="none foreseen")


_NAMES = {
    "death_early": "deaths, early weeks", "death_late": "deaths, later weeks", "detach_early": "detachments, early weeks",
    "detach_late": "detachments, later weeks", "frag_mm_per_week": "growth of frags, mm a week", "pieces": "pieces got / planned",
    "cutting minutes": "cutting minutes / standard", "mounting minutes": "mounting minutes / standard",
}  # fmt: skip


def _add_learned(book: Workbook, farm: Farm, outlook: Outlook, tables: dict[str, Table]) -> None:
    page = Page(book, "learned", farm, (25, 27, 10, 10, 11, 10, 10, 10), landscape=False)
    page.title(
        "What the counts say",
        "own counts against the default, and what is used: the default moved by own counts and the group's, as far as they go",
    )
    spreads = outlook.learned.spreads
    rows: list[tuple[Value, ...]] = [
        (farm.strain[str(strain)].name, _NAMES[str(quantity)], default, own, sample, weight, blended, unsure)
        for strain, quantity, default, own, sample, weight, blended, unsure in tables["learned"].rows
    ]
    headers = ("strain", "quantity", "default", "own counts", "effective sample", "weight of own", "used", "still unsure")
    formats = {2: "0.0000", 3: "0.0000", 4: "0.0", 5: "0%", 6: "0.0000", 7: "0%"}
    page.table(headers, rows, formats=formats, repeat=True, bold=(6,), empty="no counts, past lots or past cuts in the book")
    page.gap()
    page.heading("Spreads")
    spread_rows: list[tuple[Value, ...]] = [
        ("growth between lots", farm.settings.lot_growth_spread, spreads.lots),
        ("growth between frags of a lot", farm.settings.frag_growth_spread, spreads.frags),
        ("pieces of a cut", farm.settings.pieces_spread, spreads.pieces),
        ("losses of a tank in a month", farm.settings.shock_spread, spreads.shock),
    ]
    page.table(("spread", "setting", "used"), spread_rows, formats={1: "0.00", 2: "0.00"})
    _notes(page, outlook.learned.left_out, farm.settings.book_date)


def _notes(page: Page, left_out: Sequence[str], day: date) -> None:
    """What was not learned from, and how to read the sheet."""
    page.gap()
    for text in left_out:
        page.text(f"Left out: {text}", font=style.QUIET)
    page.text(
        f"Counts up to {day}. Effective sample: frag-weeks for losses, independent counts or cuts for the rest. Still unsure: standard "
        "deviation of what is not known of the true value, as a share of it.",
        font=style.QUIET,
    )
