"""The week on one page: headline numbers, day by day, and what the grower should know."""

from __future__ import annotations

from decimal import Decimal

from openpyxl.styles import PatternFill
from openpyxl.workbook import Workbook

from scheduler.plan.view import PlanView
from scheduler.reporting.tables import Table, Value
from scheduler.reporting.tables.bench import SessionView
from scheduler.reporting.tables.places import tank_use
from scheduler.reporting.tables.week import at_risk, days, headline
from scheduler.reporting.workbook import style
from scheduler.reporting.workbook.page import Page
from scheduler.reporting.workbook.season import heat

MOST_NOTICES = 12
"""Notices shown on the page of the week; the rest has a sheet of its own."""

LONGEST_NOTICE = 240
"""Characters of a notice shown on the page of the week."""

_ORDER = ("put aside", "gave way", "pin dropped", "doubt", "note")


def add_week(book: Workbook, view: PlanView, tables: dict[str, Table], sessions: tuple[SessionView, ...]) -> None:
    """The sheet of the week."""
    farm, plan = view.farm, view.plan
    weeks = farm.weeks
    page = Page(book, "week", farm, (8.5,) * 12, landscape=False, one_page=True)
    dates = f"{weeks.monday(1).isoformat()} to {weeks.days(1)[-1].isoformat()}"
    scope = f"{dates}; planned {weeks.count} weeks ahead, the first {weeks.near} to the hour and the rack position"
    page.title(f"{farm.settings.farm_name}: week {weeks.label(1)}", scope)
    near = list(weeks.near_weeks)
    page.table(
        ("", *[f"{weeks.label(w)}" for w in near]),
        headline(view, tables),
        spans=(4, *[8 // len(near)] * len(near)),
        bold=tuple(range(1, len(near) + 1)),
    )
    page.gap()
    risk, *orders = at_risk(view)
    page.text(f"{risk}. {'; '.join(orders)}" if orders else risk, font=style.BOLD)
    page.gap()
    page.heading("Bench")
    rows: list[tuple[Value, ...]] = []
    for v in sessions:
        people = "; ".join(f"{p} {m / 60:.1f} h" for p, m in v.work.items() if m)
        total, offered = sum(v.work.values(), Decimal(0)) / 60, v.offered * len(v.work) / 60
        name = f"{v.session.name} {v.session.day:%m-%d}"
        rows.append((name, v.clock, len(v.cuts), v.pieces, people, f"{total:.1f} of {offered:.1f} h"))
    page.table(("session", "clock", "colonies", "pieces", "work by person", "planned of offered"), rows,
               spans=(3, 2, 1, 1, 3, 2), empty="no session of the near weeks has cuts")  # fmt: skip
    page.gap()
    _rack_use_now(page, view, tables)
    page.heading("Day by day")
    page.table(("day", "what"), days(view, tables, sessions), spans=(2, 10), bold=(0,))
    page.gap()
    page.heading("What gave way, doubts and notes")
    notices = sorted(plan.notices, key=lambda n: _ORDER.index(n.kind))
    short = [(n.kind, _shortened(n.text)) for n in notices[:MOST_NOTICES]]
    page.table(("kind", "what"), short, spans=(2, 10), bold=(0,))
    if len(notices) > MOST_NOTICES or any(len(n.text) > LONGEST_NOTICE for n in notices):
        page.text(f"All {len(notices)} in full on the sheet notices.", font=style.QUIET)
        full = Page(book, "notices", farm, (14, 90), landscape=False)
        full.title("What gave way, doubts and notes")
        full.table(("kind", "what"), [(n.kind, n.text) for n in notices], repeat=True, bold=(0,))


def _shortened(text: str) -> str:
    return text if len(text) <= LONGEST_NOTICE else f"{text[:LONGEST_NOTICE].rsplit(' ', 1)[0]} ..."


def _rack_use_now(page: Page, view: PlanView, tables: dict[str, Table]) -> None:
    use = tank_use(view, tables["rack_use"])
    page.heading("Rack use at the end of the week, percent of positions")
    names = list(use)
    for start in range(0, len(names), 6):
        part = names[start : start + 6]
        values = [use[n][1] for n in part]

        def ground(_: int, col: int, values: list[float] = values) -> PatternFill:
            return heat(values[col])

        page.table(part, [[round(v) for v in values]], spans=(2,) * len(part), fill=ground)
    page.gap()
