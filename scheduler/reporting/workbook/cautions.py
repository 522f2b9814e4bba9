"""The sheet of cautions for the work of this week, and the checks due."""

from __future__ import annotations

from openpyxl.workbook import Workbook

from scheduler.farm.settings import COMMON
from scheduler.plan.view import PlanView
from scheduler.reporting.cautions import CHECKS, DEFER, cautions
from scheduler.reporting.tables import Value
from scheduler.reporting.workbook import style
from scheduler.reporting.workbook.page import BOX, Page


def add_cautions(book: Workbook, view: PlanView) -> None:
    """The sheet of cautions and checks."""
    page = Page(book, "cautions", view.farm, (16, 57, 28), landscape=False)
    page.title("Cautions and checks", "for what is in the near weeks")
    farm, near = view.farm, set(view.farm.weeks.near_weeks)
    lifted = {c.colony for c in view.plan.cuts if c.week in near} | {s.colony for s in view.plan.stand_by}
    toxic = sorted(name for name in lifted if farm.traits(farm.colony[name].strain).toxic)
    if toxic:
        page.text(f"Toxic corals in the cut lists or standing by: {', '.join(toxic)}", font=style.BOLD)
        page.gap()
    rows: list[tuple[Value, ...]] = [(c.about, c.text, c.source) for c in cautions(view)]
    page.table(("about", "what to do", "source"), rows, repeat=True, bold=(0,))
    page.gap()
    page.heading("Checks due")
    page.table(("done", "check", "source"), [(BOX, text, COMMON) for text in CHECKS], min_height=18, centre=(0,))
    page.gap()
    page.text(DEFER, font=style.BOLD)
