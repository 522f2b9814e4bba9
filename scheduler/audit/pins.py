"""P1: what the grower pinned holds."""

from __future__ import annotations

from datetime import date, timedelta

from scheduler.audit.context import Context
from scheduler.farm.trade import Pin
from scheduler.farm.work import sessions_in
from scheduler.plan.model import Cut, Stand
from scheduler.plan.view import LotView

_LONG = ("keep free", "no sale", "hold lot")


def pin_days(ctx: Context, pin: Pin) -> tuple[date, date]:
    """First and last day a pin holds: from week 1, to the end of the near weeks or (keep free, no sale, hold lot) the horizon."""
    weeks = ctx.weeks
    last = weeks.count if pin.kind in _LONG else weeks.near_weeks[-1]
    end = weeks.monday(last) + timedelta(days=6)
    return max(pin.from_date or weeks.monday(1), weeks.monday(1)), min(pin.to_date or end, end)


def pin_weeks(ctx: Context, pin: Pin) -> range:
    """Weeks with at least a day of the pin in them."""
    first, last = pin_days(ctx, pin)
    return range(ctx.weeks.week_of(first), ctx.weeks.week_of(last) + 1) if first <= last else range(0)


def check_pins(ctx: Context) -> None:
    """Every pin but those the user chose to plan without."""
    for pin in ctx.farm.pins:
        if pin.pin in ctx.plan.about.dropped_pins:
            continue
        if pin.kind == "keep free":
            _keep_free(ctx, pin)
        elif pin.kind in _LONG:
            _lot(ctx, pin)
        else:
            _cuts(ctx, pin)


def _near_cuts(ctx: Context, pin: Pin) -> list[Cut]:
    first, last = pin_days(ctx, pin)
    days = {s.id: s.day for w in ctx.weeks.near_weeks for s in sessions_in(ctx.farm, w)}
    return [
        c for c in ctx.plan.cuts
        if c.colony == pin.colony and c.week in ctx.weeks.near_weeks and first <= days[c.session or ""] <= last
    ]  # fmt: skip


def _cuts(ctx: Context, pin: Pin) -> None:
    cuts = _near_cuts(ctx, pin)
    pieces, wanted = sum(c.pieces for c in cuts), pin.pieces or 0
    who, days = (pin.pin, pin.colony or ""), "{} to {}".format(*pin_days(ctx, pin))
    if pin.kind == "cut" and not cuts:
        ctx.add("P1", who, f"pin {pin.pin}: {pin.colony} is cut 0 times from {days}; at least 1")
    if pin.kind == "no cut" and cuts:
        ctx.add("P1", who, f"pin {pin.pin}: {pin.colony} is cut {len(cuts)} times from {days}; at most 0")
    if pin.kind == "at least" and pieces < wanted:
        ctx.add("P1", who, f"pin {pin.pin}: {pieces} pieces of {pin.colony} from {days}; at least {wanted}")
    if pin.kind == "at most" and pieces > wanted:
        ctx.add("P1", who, f"pin {pin.pin}: {pieces} pieces of {pin.colony} from {days}; at most {wanted}")
    for cut in cuts:
        if pin.kind == "session" and cut.session != pin.session:
            ctx.add("P1", who, f"pin {pin.pin}: {pin.colony} is cut in {cut.session}; pinned to {pin.session}")
        if pin.kind == "rack" and (rack := ctx.lots[cut.lot].stands[0].rack) != pin.rack:
            ctx.add("P1", who, f"pin {pin.pin}: lot {cut.lot} settles on rack {rack}; pinned to {pin.rack}")


def _lot(ctx: Context, pin: Pin) -> None:
    lot = ctx.lots.get(pin.lot or "")
    if lot is None:
        return
    weeks = pin_weeks(ctx, pin)
    for sale in lot.sales:
        if sale.week in weeks:
            ctx.add(
                "P1",
                (pin.pin, lot.id),
                f"pin {pin.pin}: {sale.pieces} pieces of lot {lot.id} leave in week {sale.week}; at most 0",
            )
    for stand in lot.stands[1:]:
        if pin.kind == "hold lot" and stand.week in weeks:
            ctx.add("P1", (pin.pin, lot.id), f"pin {pin.pin}: lot {lot.id} is moved in week {stand.week}; it stays where it is")


def _there(ctx: Context, pin: Pin, stand: Stand) -> bool:
    if pin.tank is not None and ctx.tank_of(stand) != pin.tank:
        return False
    if pin.rack is None:
        return pin.tank is not None
    return stand.rack == pin.rack if stand.rack is not None else {r for r, _ in ctx.zones[stand.zone].positions} == {pin.rack}


def _held_in(lot: LotView, index: int, weeks: range) -> int | None:
    """First of the weeks in which a stand begins or still holds pieces after the week's sales."""
    stand = lot.stands[index]
    end = lot.stands[index + 1].week if index + 1 < len(lot.stands) else None
    for week in weeks:
        if week >= stand.week and (end is None or week <= end) and (week == stand.week or lot.left(week) > 0):
            return week
    return None


def _keep_free(ctx: Context, pin: Pin) -> None:
    weeks = pin_weeks(ctx, pin)
    place = pin.rack or pin.tank or ""
    for lot in ctx.lots.values():
        for i, stand in enumerate(lot.stands):
            if stand.week > 0 and _there(ctx, pin, stand) and (week := _held_in(lot, i, weeks)) is not None:
                ctx.add(
                    "P1",
                    (pin.pin, lot.id),
                    f"pin {pin.pin}: lot {lot.id} stands in {place} in week {week}; kept free in weeks {weeks[0]} to {weeks[-1]}",
                )
