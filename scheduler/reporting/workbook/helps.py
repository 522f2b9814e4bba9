"""Sheets of the season's prices: what would help, and why colonies are cut now."""

from __future__ import annotations

from decimal import Decimal

from openpyxl.styles import PatternFill
from openpyxl.workbook import Workbook

from scheduler.plan.model import Help
from scheduler.plan.view import PlanView
from scheduler.reporting.tables import Table, Value
from scheduler.reporting.workbook import style
from scheduler.reporting.workbook.page import Page

_MOST = 20
"""Rows of the ranking shown; all are in the table of the same name."""

_SHOWN = Decimal("0.01")
"""Prices below a cent a unit are left out of the tables by week."""

_WEEKS_A_TABLE = 27
_FEWEST_COLUMNS = 14
_HEAT = (("rack", "one more position, by light class"), ("bench hours", "one more bench hour, by day and skills"))
_TEXT = (
    "What more of each thing would bring over the weeks planned. At most: the price of one more of it times the amount, summed over the "
    "weeks; the first one earns most, so the rest earn less. Up to: the season worked out again with it (with --explain); a plan in whole "
    "pieces earns at most that. What the thing itself costs is not taken off."
)


def add_helps(book: Workbook, view: PlanView, tables: dict[str, Table]) -> None:
    """The ranking, then the value of one more position and bench hour week by week."""
    farm, plan = view.farm, view.plan
    weeks = list(farm.weeks.all)
    columns = max(_FEWEST_COLUMNS, min(len(weeks), _WEEKS_A_TABLE))
    page = Page(book, "what would help", farm, (34, *[5.4] * columns))
    page.title("What would help", _TEXT)
    table = tables["what_would_help"]
    rows = table.pick("text", "at_most", "up_to")
    explained = any(up_to is not None for _, _, up_to in rows)
    shown = rows if explained else table.pick("text", "at_most")
    money = 4
    spans = (1 + columns - money * (len(shown[0]) - 1 if shown else 2), *[money] * (len(shown[0]) - 1 if shown else 2))
    currency = farm.settings.currency
    headers = ("more of", f"at most, {currency}", f"up to, {currency}")[: len(spans)]
    page.table(headers, shown[:_MOST], spans=spans, formats=dict.fromkeys(range(1, len(spans)), "#,##0"),
               empty="nothing: no limit of the season holds money back")  # fmt: skip
    if len(rows) > _MOST:
        page.text(f"the first {_MOST} of {len(rows)}; all of them in tables/what_would_help.csv", font=style.QUIET)
    for kind, title in _HEAT:
        found = [h for h in plan.helps if h.kind == kind and any(p.price >= _SHOWN for p in h.prices)]
        if found:
            page.gap()
            page.heading(f"Value of {title} and week, {currency}")
            for start in range(0, len(weeks), columns):
                _heat(page, view, found, weeks[start : start + columns])


def _heat(page: Page, view: PlanView, found: list[Help], weeks: list[int]) -> None:
    """Prices by week, dearer is darker; weeks without value stay empty."""
    prices = [{p.week: float(p.price) for p in h.prices if p.price >= _SHOWN} for h in found]
    top = max((p for row in prices for p in row.values()), default=0.0)
    rows: list[tuple[Value, ...]] = [
        (h.subject, *[by_week.get(w) for w in weeks]) for h, by_week in zip(found, prices, strict=True)
    ]

    def ground(row: int, col: int) -> PatternFill | None:
        price = prices[row].get(weeks[col - 1], 0.0) if col else 0.0
        return style.HEAT[min(len(style.HEAT) - 1, 1 + int(price / top * (len(style.HEAT) - 1)))] if price else None

    page.table(("", *[view.farm.weeks.label(w)[5:] for w in weeks]), rows, fill=ground, centre=range(1, len(weeks) + 1),
               formats=dict.fromkeys(range(1, len(weeks) + 1), "0.00"))  # fmt: skip
    page.gap()


def add_why(book: Workbook, view: PlanView, tables: dict[str, Table]) -> None:
    """Colonies cut in the near weeks and what speaks for cutting each now."""
    page = Page(book, "why cut", view.farm, (12, 17, 10, 17, 45, 10), landscape=False)
    page.title(
        "Why these colonies are cut now",
        "at stake: what the cut brings beyond waiting, at the season's prices of hours, positions and sales; below zero where a cut later "
        "would bring more at the margin",
    )
    rows = tables["why_cut"].pick("colony", "name", "iso_week", "reason", "detail", "at_stake")
    headers = ("colony", "strain", "week", "because", "in numbers", "at stake")
    page.table(headers, rows, repeat=True, bold=(3,), formats={5: "#,##0"})
