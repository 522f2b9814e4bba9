"""Sheets that are lists: moves, selling and packing, colonies not cut, supplies with counting and measuring."""

from __future__ import annotations

from openpyxl.workbook import Workbook

from scheduler.plan.view import PlanView
from scheduler.reporting.tables import Table, Value
from scheduler.reporting.workbook import style
from scheduler.reporting.workbook.page import BOX, Page

Tables = dict[str, Table]


def near_rows(view: PlanView, table: Table, *names: str) -> list[tuple[Value, ...]]:
    """Rows of the near weeks with the named columns."""
    near = set(view.farm.weeks.near_weeks)
    weeks = table.column("week")
    return [row for week, row in zip(weeks, table.pick(*names), strict=True) if week in near]


def add_moves(book: Workbook, view: PlanView, tables: Tables) -> None:
    """Moves of the near weeks to rack and blocks, and those of later weeks by light zone."""
    page = Page(book, "moves", view.farm, (4, 10, 12, 18, 8, 8, 15, 8, 15, 7, 7, 16))
    page.title("Moves", "a place left is kept free until the next week; a lot moves as a whole, in the order of its plugs")
    names = ("iso_week", "lot", "name", "pieces", "from_rack", "from_blocks", "to_rack", "to_blocks", "from_par", "to_par")
    rows = [(BOX, *row, "") for row in near_rows(view, tables["moves"], *names)]
    headers = (
        "", "week", "lot", "strain", "plugs", "from", "blocks", "to", "blocks", "PAR now", "PAR then", "moved by, when, lost",
    )  # fmt: skip
    page.table(headers, rows, repeat=True, min_height=18, empty="no moves in the near weeks")
    later = set(view.farm.weeks.later_weeks)
    late_names = ("week", "iso_week", "lot", "name", "pieces", "from_zone", "to_zone", "from_par", "to_par")
    rows_later = [row[1:] for row in tables["moves"].pick(*late_names) if row[0] in later]
    if rows_later:
        page.gap()
        page.heading("Later weeks, by light zone")
        late_headers = ("week", "lot", "strain", "pieces", "from zone", "to zone", "PAR now", "PAR then")
        page.table(late_headers, rows_later, spans=(2, 1, 1, 1, 2, 2, 1, 2))


def add_sales(book: Workbook, view: PlanView, tables: Tables) -> None:
    """What to pack in the near weeks by channel and week, and the place it leaves from."""
    page = Page(book, "sell and pack", view.farm, (4, 12, 10, 13, 11, 18, 9, 8, 9, 8, 10, 24, 9))
    page.title(
        "Sell and pack", "expected frags: pieces started x share expected alive; plugs leave from the end of a lot's blocks"
    )
    names = (
        "channel", "iso_week", "packing_days", "lot", "name", "size_class", "pieces", "expected_frags", "route", "order",
        "leaves_from",
    )  # fmt: skip
    rows: list[tuple[Value, ...]] = []
    near = near_rows(view, tables["sales"], *names)
    for channel in view.farm.channels:
        for week in view.farm.weeks.near_weeks:
            label = view.farm.weeks.label(week)
            mine = [r for r in near if (r[0], r[1]) == (channel.channel, label)]
            if mine:
                frags = sum(float(str(r[7])) for r in mine)
                boxes = frags / channel.frags_per_box
                pieces = sum(int(str(r[6])) for r in mine)
                page.text(
                    f"{channel.channel} {label}: {pieces} pieces, about {frags:.1f} frags, {boxes:.1f} boxes", font=style.BOLD
                )
                rows += [(BOX, *r, "") for r in mine]
    page.gap()
    headers = (
        "", "channel", "week", "packing days", "lot", "strain", "class", "pieces", "expected", "route", "order", "leaves from",
        "packed",
    )  # fmt: skip
    page.table(headers, rows, repeat=True, min_height=18, empty="Nothing leaves in the near weeks.")


def add_orders(book: Workbook, view: PlanView, tables: Tables) -> None:
    """Orders and what each may expect, by the day due."""
    page = Page(book, "orders", view.farm, (11, 12, 11, 20, 9, 9, 9, 9, 12, 34, 11))
    page.title("Orders: what can be promised", "in expected graded frags; short: not delivered within the weeks planned")
    wanted = (
        "order", "channel", "size_class", "name", "quantity", "in_time", "late", "short", "due", "deliveries", "promise",
    )  # fmt: skip
    titles = (
        "order", "channel", "class", "strain", "quantity", "in time", "late", "short", "due", "expected deliveries", "promise",
    )  # fmt: skip
    rows = tables["orders"].pick(*wanted)
    risky = {i for i, r in enumerate(rows) if r[10] in ("short", "late", "part late")}
    page.table(titles, rows, repeat=True, bold=(10,), fill=lambda r, _: style.HEAD_FILL if r in risky else None)
    page.text("An expected number is no certain one: a delivery is the mean of what may come.", font=style.QUIET)


def add_held(book: Workbook, view: PlanView, tables: Tables) -> None:
    """Colonies not cut and the one thing that held each back."""
    page = Page(book, "not cut", view.farm, (12, 17, 20, 42, 11, 9), landscape=False)
    page.title(
        "Colonies not cut in the near weeks",
        "and the one thing that held each back; at stake: what a cut now would bring beyond waiting if that did not stand against it, or, "
        "where it is worth more grown on, what waiting is ahead by",
    )
    rows = tables["not_cut"].pick("colony", "name", "reason", "detail", "ready_monday", "at_stake")
    headers = ("colony", "strain", "held back by", "in numbers", "can be cut from", "at stake")
    page.table(headers, rows, repeat=True, bold=(2,), formats={5: "#,##0"})


def add_supplies(book: Workbook, view: PlanView, tables: Tables) -> None:
    """Supplies against stock, and what to order by when."""
    page = Page(book, "supplies", view.farm, (24, 8, 10, 9, 10, 10, 11, 9, 7, 27))
    page.title("Supplies", "need of the near weeks and of all weeks planned; whole packs that cover all weeks")
    rows = tables["supplies"].rows
    headers = (
        "item", "unit", "near weeks", "stock", "all weeks", "short in", "order by", "order, units", "packs", "",
    )  # fmt: skip
    grounds = {i for i, r in enumerate(rows) if str(r[9]).startswith("order now")}
    page.table(headers, rows, repeat=True, fill=lambda r, _: style.HEAD_FILL if r in grounds else None, bold=(9,))


def add_counts(book: Workbook, view: PlanView, tables: Tables) -> None:
    """What to count and to measure in the near weeks."""
    page = Page(book, "count and measure", view.farm, (14, 20, 9, 16, 9, 11, 8, 24), landscape=False)
    page.title("Count and measure", "new counts and readings change the next plans most where they are oldest")
    page.heading("Light: oldest readings among racks that take frags")
    light: list[tuple[Value, ...]] = [(*r, "") for r in tables["measure_light"].rows]
    page.table(("rack", "tank", "measured", "days", "stale", "new reading, PAR at the four corners"), light,
               spans=(1, 1, 1, 1, 1, 3), min_height=18)  # fmt: skip
    page.gap()
    page.heading("Colonies: oldest counts in the cut lists or standing by")
    colonies = tables["count_colonies"].pick("colony", "name", "tank", "place", "why", "count_date", "days_old", "stale")
    page.table(("colony", "strain", "tank", "place", "why", "last count", "days", "stale; new count"), colonies, min_height=16)
    page.gap()
    page.heading(f"Lots on the racks that have stood a multiple of {view.farm.settings.count_weeks} weeks")
    lots: list[tuple[Value, ...]] = [
        (*r, "") for r in tables["count_lots"].pick("lot", "name", "iso_week", "where", "age_weeks", "plugs")
    ]
    page.table(
        ("lot", "strain", "week", "where", "weeks old", "plugs", "alive"), lots, spans=(1, 1, 1, 1, 1, 1, 2), min_height=16,
        repeat=True,
    )  # fmt: skip
