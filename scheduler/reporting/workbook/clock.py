"""A time chart per session: a native bar chart, one bar a lot, from the first touch to the rack."""

from __future__ import annotations

from datetime import datetime

from openpyxl.chart import BarChart, Reference
from openpyxl.chart.axis import ChartLines
from openpyxl.chart.layout import Layout, ManualLayout
from openpyxl.chart.series import SeriesLabel
from openpyxl.chart.shapes import GraphicalProperties
from openpyxl.drawing.line import LineProperties
from openpyxl.workbook import Workbook

from scheduler.plan.view import PlanView
from scheduler.reporting.tables import Value
from scheduler.reporting.tables.bench import SessionView
from scheduler.reporting.tables.clock import lot_clock, session_tasks
from scheduler.reporting.workbook.bench import session_title
from scheduler.reporting.workbook.page import Page

_PARTS = (
    ("before", None, None),
    ("fetch and cut", "0072B2", None),
    ("in the dip", "BACFE3", "0072B2"),
    ("rinse and wait", "FFFFFF", "A6A6A6"),
    ("mount and rack", "404040", None),
)
"""Parts of a bar: name, fill, outline."""

_HALF_HOUR = 1 / 48
_WIDTHS = (13, 10, 18, *(9,) * 10)


def add_clock(book: Workbook, view: PlanView, session: SessionView) -> None:
    """The time chart of a session; nothing for a session without a clock."""
    tasks = session_tasks(view.plan, session.session.id)
    if not tasks:
        return
    farm, s = view.farm, session.session
    page = Page(book, f"chart {session_title(session)}", farm, _WIDTHS, one_page=True)
    page.title(
        f"{s.name} {s.day.isoformat()} by the clock", "one bar a lot, in the order the colonies are cut; grey bars are mounting"
    )
    rows: list[tuple[Value, ...]] = []
    ends: list[datetime] = []
    for cut in session.cuts:
        clock = lot_clock(farm, cut, tasks)
        if clock is None:
            continue
        out = clock.out or clock.cut_end
        mount, racked = clock.mount or out, clock.racked or out
        ends.append(racked)
        parts = (
            clock.cut - datetime.combine(s.day, datetime.min.time()),
            clock.cut_end - clock.cut,
            out - clock.cut_end,
            mount - out,
            racked - mount,
        )
        rows.append(
            (
                f"{cut.colony} ({cut.pieces})",
                cut.lot,
                f"{cut.cutter} / {cut.mounter}",
                *(p.total_seconds() / 86400 for p in parts),
            )
        )
    height = max(8.0, min(15.5, 3.0 + 0.62 * len(rows)))
    chart_row = page.row
    for _ in range(int(height / 0.53) + 1):
        page.gap(15)
    table_row = page.row
    page.heading("Times behind the chart")
    formats = {3: "hh:mm", **dict.fromkeys(range(4, 8), "[h]:mm")}
    headers = ("colony (pieces)", "lot", "cuts / mounts", "from", *(name for name, _, _ in _PARTS[1:]))
    head = page.table(headers, rows, formats=formats)
    page.ws.print_area = f"A1:M{table_row - 1}"
    page.ws.add_chart(_chart(page, head, len(rows), s.start.hour * 60 + s.start.minute, ends, height), f"A{chart_row}")


def _chart(page: Page, head: int, count: int, start: int, ends: list[datetime], height: float) -> BarChart:
    chart = BarChart()
    chart.type, chart.grouping, chart.overlap, chart.gapWidth = "bar", "stacked", 100, 35
    chart.height, chart.width = height, 27
    chart.add_data(Reference(page.ws, min_col=4, max_col=8, min_row=head, max_row=head + count), titles_from_data=True)
    chart.set_categories(Reference(page.ws, min_col=1, min_row=head + 1, max_row=head + count))
    for series, (_, fill, outline) in zip(chart.series, _PARTS, strict=True):
        series.graphicalProperties = GraphicalProperties(noFill=True) if fill is None else GraphicalProperties(solidFill=fill)
        if outline is None:
            series.graphicalProperties.line.noFill = True
        else:
            series.graphicalProperties.line.solidFill = outline
    chart.x_axis.scaling.orientation = "maxMin"
    chart.x_axis.delete = chart.y_axis.delete = False
    last = max(e.hour * 60 + e.minute for e in ends)
    chart.y_axis.scaling.min = start // 30 * _HALF_HOUR
    chart.y_axis.scaling.max = (last // 30 + 1) * _HALF_HOUR
    chart.y_axis.majorUnit = _HALF_HOUR
    chart.y_axis.number_format = "hh:mm"
    chart.y_axis.majorGridlines = ChartLines(spPr=GraphicalProperties(ln=LineProperties(solidFill="D9D9D9")))
    chart.legend.position = "b"
    chart.series[0].tx = SeriesLabel(v=" ")
    chart.layout = Layout(
        manualLayout=ManualLayout(x=0.12, y=0.03, w=0.85, h=0.8, xMode="edge", yMode="edge", layoutTarget="inner")
    )
    return chart
