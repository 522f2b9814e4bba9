"""Months ahead for the page: frags becoming sellable with their spread, orders, what can be promised."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from scheduler.forecast.learn import PIECES
from scheduler.forecast.outlook import Outlook, quantiles
from scheduler.plan.view import PlanView
from scheduler.reporting.tables import Table
from scheduler.reporting.tables.forecast import ALL, months_table, order_chances_table, promises_table
from scheduler.reporting.tables.season import months


def months_payload(view: PlanView, tables: dict[str, Table], outlook: Outlook | None) -> dict[str, Any]:
    """Rows by strain and class over the months; without a forecast only what the plan expects."""
    planned: dict[tuple[str, str], dict[str, float]] = defaultdict(dict)
    rows = tables["sellable"].pick("month", "strain", "size_class", "first_class", "expected_frags")
    once = planned[ALL, ALL]
    for month, strain, size_class, first, frags in rows:
        planned[str(strain), str(size_class)][str(month)] = float(str(frags))
        if first:
            once[str(month)] = once.get(str(month), 0.0) + float(str(frags))
    found: dict[str, Any] = {
        "months": list(months(view)),
        "planned": [[strain, size_class, by_month] for (strain, size_class), by_month in planned.items()],
        "orders": _orders(tables, outlook), "forecast": None,
    }  # fmt: skip
    if outlook is not None:
        found["forecast"] = _forecast(view, outlook)
    return found


def _forecast(view: PlanView, outlook: Outlook) -> dict[str, Any]:
    """Rows: strain, class, spread by month, what can be promised, spread of all months together, pieces got of 100 planned."""
    together = {(ALL, ALL): outlook.total} | dict(outlook.reaching)
    got = _pieces_got(view, outlook)
    spread: dict[tuple[str, str], list[list[int]]] = defaultdict(list)
    for strain, size_class, low, middle, high in months_table(outlook).pick("strain", "size_class", "p10", "p50", "p90"):
        spread[str(strain), str(size_class)].append([int(str(low)), int(str(middle)), int(str(high))])
    promised: dict[tuple[str, str], list[int]] = defaultdict(list)
    for strain, size_class, most in promises_table(outlook).pick("strain", "size_class", "can_be_promised"):
        promised[str(strain), str(size_class)].append(int(str(most)))
    return {
        "months": [f"{year}-{month:02d}" for year, month in outlook.months],
        "draws": int(outlook.total.shape[0]), "seed": outlook.seed, "level": outlook.farm.settings.service_level,
        "rows": [
            [strain, size_class, months, promised.get((strain, size_class), []),
             quantiles(together[strain, size_class].sum(axis=1, keepdims=True))[:, 0].tolist(), got.get(strain)]
            for (strain, size_class), months in spread.items()
        ],
    }  # fmt: skip


def _pieces_got(view: PlanView, outlook: Outlook) -> dict[str, float]:
    """Pieces to be got of 100 that the plan's cuts of a strain, and of all, are planned to give."""
    planned: dict[str, int] = defaultdict(int)
    got: dict[str, float] = defaultdict(float)
    for cut in view.plan.cuts:
        share = outlook.learned.blends[cut.strain, PIECES].blended
        for name in (cut.strain, ALL):
            planned[name] += cut.pieces
            got[name] += cut.pieces * share
    return {name: round(100 * got[name] / n, 1) for name, n in planned.items()}


def _orders(tables: dict[str, Table], outlook: Outlook | None) -> list[list[Any]]:
    """Order, channel, strain, name, class, quantity, price, due, promise, in time, late, short, deliveries, chance in time."""
    chances: dict[str, float] = {}
    if outlook is not None:
        chances = {
            str(order): float(str(chance)) for order, chance in order_chances_table(outlook).pick("order", "chance_in_time")
        }
    rows = tables["orders"].pick(
        "order",
        "channel",
        "strain",
        "name",
        "size_class",
        "quantity",
        "price",
        "due",
        "promise",
        "in_time",
        "late",
        "short",
        "deliveries",
    )
    return [
        [order, channel, strain, name, size_class, quantity, float(str(price)), str(due), promise, float(str(in_time)), float(str(late)),
         float(str(short)), deliveries, chances.get(str(order))]
        for order, channel, strain, name, size_class, quantity, price, due, promise, in_time, late, short, deliveries in rows
    ]  # fmt: skip
