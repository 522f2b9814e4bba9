"""Tables of trade: what is packed when and from where, and what orders may expect."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from itertools import groupby

from scheduler.farm.blocks import Position, position_name, trim
from scheduler.farm.farm import Farm
from scheduler.farm.people import WEEKDAYS
from scheduler.farm.units import exact
from scheduler.farm.work import first_late_week, packing_days
from scheduler.plan.model import Sale
from scheduler.plan.view import LotView, PlanView
from scheduler.reporting.tables.base import Table, Value

_NOTHING = Decimal("0.05")
"""Fewer frags than the sheets show of an order's deliveries."""


def expected_frags(lot: LotView, sale: Sale) -> Decimal:
    """Frags expected alive in a sale."""
    return sale.pieces * lot.life.alive[sale.week]


def positions_text(positions: tuple[Position, ...]) -> str:
    """Positions as full rectangles of rows, from the top: ``B3:C8; D3:D5``."""
    boxes: list[tuple[int, int, int, int]] = []  # first row, last row, first column, last column
    for row, members in groupby(sorted(positions), key=lambda p: p[0]):
        for left, right in _runs([c for _, c in members]):
            above = next((i for i, b in enumerate(boxes) if b[1:] == (row - 1, left, right)), None)
            if above is None:
                boxes.append((row, row, left, right))
            else:
                boxes[above] = (boxes[above][0], row, left, right)
    names = ((position_name((top, left)), position_name((bottom, right))) for top, bottom, left, right in boxes)
    return "; ".join(first if first == last else f"{first}:{last}" for first, last in names)


def _runs(columns: list[int]) -> list[tuple[int, int]]:
    """First and last of each run of neighbouring columns."""
    found: list[tuple[int, int]] = []
    for column in columns:
        if found and found[-1][1] == column - 1:
            found[-1] = (found[-1][0], column)
        else:
            found.append((column, column))
    return found


def leaving_positions(farm: Farm, lot: LotView, before: int, after: int, week: int) -> str:
    """Rack and positions of the plugs that leave when a lot shrinks from ``before`` to ``after`` plugs in a week."""
    place = [s for s in lot.stands if s.week < week] or list(lot.stands[:1])
    stand = place[-1]
    if stand.rack is None:
        return stand.zone
    traits = farm.traits(lot.strain)

    def standing(plugs: int) -> set[Position]:
        return {p for b in trim(stand.blocks, plugs) for p in b.positions(traits.plug_rows, traits.plug_cols)}

    gone = positions_text(tuple(standing(before) - standing(after)))
    return f"{stand.rack}: {gone}" if gone else stand.rack


def sales_table(view: PlanView) -> Table:
    """Every sale with expected frags and the place the plugs leave from."""
    farm = view.farm
    rows: list[tuple[Value, ...]] = []
    for lot in view.lots.values():
        gone = 0
        for sale in lot.sales:
            traits = farm.traits(lot.strain)
            frags = expected_frags(lot, sale)
            days = packing_days(farm, sale.channel, sale.week)
            text = ", ".join(WEEKDAYS[d.weekday()] for d in days)
            before = lot.pieces - gone
            gone += sale.pieces
            place = leaving_positions(farm, lot, before, before - sale.pieces, sale.week)
            graded = frags * exact(traits.good_share) if sale.route != "clear" else Decimal(0)
            rows.append(
                (sale.week, farm.weeks.label(sale.week), sale.channel, text, sale.route, sale.order, lot.id, lot.strain,
                 farm.strain[lot.strain].name, sale.size_class, sale.pieces, round(frags, 3), round(graded, 3), place)
            )  # fmt: skip
    rows.sort(key=lambda r: (r[0], str(r[2]), str(r[5] or "~"), str(r[6])))
    columns = (
        "week", "iso_week", "channel", "packing_days", "route", "order", "lot", "strain", "name", "size_class", "pieces",
        "expected_frags", "expected_graded", "leaves_from",
    )  # fmt: skip
    return Table("sales", columns, tuple(rows))


@dataclass(frozen=True)
class Promise:
    """What an order may expect: graded frags by week, up to its quantity."""

    order: str
    by_week: dict[int, Decimal]
    in_time: Decimal
    late: Decimal
    short: Decimal
    due_in_horizon: bool

    @property
    def last_week(self) -> int | None:
        """Week of the last delivery."""
        return max(self.by_week, default=None)

    @property
    def at_risk(self) -> bool:
        """Due within the weeks planned and not wholly delivered in time."""
        return self.due_in_horizon and self.late + self.short > _NOTHING

    @property
    def in_words(self) -> str:
        """What can be said to the customer."""
        if self.late + self.short <= _NOTHING:
            return "in time"
        if not self.due_in_horizon:
            return "due later"
        if self.short > _NOTHING:
            return "short"
        return "part late" if self.in_time > _NOTHING else "late"


def promises(view: PlanView) -> tuple[Promise, ...]:
    """Every order with what it may expect, in expected graded frags."""
    farm = view.farm
    sent: dict[str, dict[int, Decimal]] = {o.order: {} for o in farm.orders}
    for lot in view.lots.values():
        good = exact(farm.traits(lot.strain).good_share)
        for sale in lot.sales:
            if sale.order is not None:
                weeks = sent[sale.order]
                weeks[sale.week] = weeks.get(sale.week, Decimal(0)) + expected_frags(lot, sale) * good
    found = []
    for order in farm.orders:
        late_from = first_late_week(farm, order.order)
        overdue = order.due < farm.weeks.monday(1)
        open_frags = Decimal(order.quantity)
        by_week: dict[int, Decimal] = {}
        for week in sorted(sent[order.order]):
            part = min(open_frags, sent[order.order][week])
            by_week[week] = part
            open_frags -= part
        in_time = sum((v for w, v in by_week.items() if w < late_from and not overdue), Decimal(0))
        late = sum(by_week.values(), Decimal(0)) - in_time
        inside = order.due < farm.weeks.monday(farm.weeks.count + 1)
        found.append(Promise(order.order, by_week, in_time, late, open_frags, inside))
    return tuple(found)


def orders_table(view: PlanView) -> Table:
    """Orders with what they may expect by the due date, late, and not at all within the weeks planned."""
    farm = view.farm
    rows: list[tuple[Value, ...]] = []
    for p in sorted(promises(view), key=lambda p: (farm.order[p.order].due, p.order)):
        o = farm.order[p.order]
        parts = "; ".join(f"{farm.weeks.label(w)}: {v:.1f}" for w, v in p.by_week.items())
        last = farm.weeks.label(p.last_week) if p.last_week is not None else None
        rows.append(
            (o.order, o.channel, o.strain, farm.strain[o.strain].name, o.size_class, o.quantity, o.price, o.due, p.in_words,
             round(p.in_time, 3), round(p.late, 3), round(p.short, 3), last, parts)
        )  # fmt: skip
    columns = (
        "order", "channel", "strain", "name", "size_class", "quantity", "price", "due", "promise", "in_time", "late", "short",
        "last_delivery", "deliveries",
    )  # fmt: skip
    return Table("orders", columns, tuple(rows))
