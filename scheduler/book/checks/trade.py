"""Groups, strains, size classes, sources, orders, the market and pins: what must fit together across tables."""

from __future__ import annotations

from collections.abc import Sequence

from scheduler.book.checks.ledger import Ledger
from scheduler.book.coerce import nearest
from scheduler.farm.coral import Traits
from scheduler.farm.farm import Farm
from scheduler.farm.rows import Row
from scheduler.farm.work import sessions_in


def check_strains(farm: Farm, ledger: Ledger, *, classes_complete: bool) -> None:
    """A strain's traits fit together and it has something to sell."""
    without: set[str] = set()
    for index, strain in enumerate(farm.strains):
        traits = farm.traits(strain.strain)
        own = [n for n in Traits.model_fields if getattr(strain, n) is not None]
        if traits.par_min > traits.par_max and {"par_min", "par_max"} & set(own):
            column = "par_min" if "par_min" in own else "par_max"
            ledger.fault("strains", index, column, f"PAR {traits.par_min:g} to {traits.par_max:g}", "par_min at most par_max")
        if traits.cap_units < traits.start_units and {"cap_units", "start_units"} & set(own):
            column = "cap_units" if "cap_units" in own else "start_units"
            found = f"cap_units {traits.cap_units:g}, start_units {traits.start_units:g}"
            ledger.fault("strains", index, column, found, "cap_units at least start_units")
        if not farm.size_classes(strain.strain) and classes_complete and strain.group not in without:
            without.add(strain.group)
            found = f"no size class for group {strain.group}"
            ledger.fault("strains", index, "group", found, "a row in classes", "without one nothing can be sold")


def check_belonging(farm: Farm, ledger: Ledger) -> None:
    """Rows that name a group and a strain: the strain is of that group."""
    tables: tuple[tuple[str, Sequence[Row]], ...] = (("sources", farm.sources), ("classes", farm.classes))
    for sheet, rows in tables:
        for index, row in enumerate(rows):
            group, strain = getattr(row, "group", None), getattr(row, "strain", None)
            if strain is not None and farm.strain[strain].group != group:
                right = farm.strain[strain].group
                ledger.fault(
                    sheet, index, "group", f"group {group} for strain {strain}", "the strain's own group", f"it is {right}"
                )
    for index, entry in enumerate(farm.sources):
        if entry.strain is not None and getattr(farm.strain[entry.strain], entry.trait, None) is None:
            found = f"a source for {entry.trait} of {entry.strain}, which has no value of its own"
            ledger.doubt("sources", index, "trait", found, "a value in strains, or a row without strain")


def check_sales(farm: Farm, ledger: Ledger) -> None:
    """Orders and market rows name a size class the strain has."""
    for index, order in enumerate(farm.orders):
        names = [c.size_class for c in farm.size_classes(order.strain)]
        if order.size_class not in names:
            expected = f"a size class of {order.strain}: {', '.join(names) or 'it has none'}"
            ledger.fault("orders", index, "size_class", repr(order.size_class), expected, nearest(order.size_class, names))
        for other in order.substitutes:
            if farm.size_class(other, order.size_class) is None:
                found = f"substitute {other} without size class {order.size_class}"
                ledger.doubt("orders", index, "substitutes", found, "a strain with that class", "it will never be sent")
            if other == order.strain:
                ledger.doubt("orders", index, "substitutes", f"{other} as its own substitute", "another strain")
        if order.due < farm.settings.book_date:
            late = "it counts as late from week 1" if order.late_ok else "it can no longer be delivered"
            ledger.doubt("orders", index, "due", f"{order.due}, past already", "a day to come", late)
    for index, row in enumerate(farm.market):
        if row.strain is not None and row.size_class is not None:
            names = [c.size_class for c in farm.size_classes(row.strain)]
            if row.size_class not in names:
                expected = f"a size class of {row.strain}: {', '.join(names) or 'it has none'}"
                ledger.fault("market", index, "size_class", repr(row.size_class), expected, nearest(row.size_class, names))
    if farm.market and farm.channels and not any(c.market for c in farm.channels):
        ledger.doubt("channels", 0, "market", "no channel takes frags without an order", "yes for one", "the market is closed")


def check_prices(farm: Farm, ledger: Ledger) -> None:
    """Prices that fall from list to discount; supplies and pairs that mean something."""
    for index, row in enumerate(farm.classes):
        for column in ("b_price", "discount_price"):
            price = getattr(row, column)
            if price > row.list_price:
                ledger.doubt(
                    "classes", index, column, f"{price}, above the list price {row.list_price}", "at most the list price"
                )
    kinds = {kind for rack in farm.racks for kind in rack.plug_kinds} | {farm.traits(s.strain).plug_kind for s in farm.strains}
    for index, item in enumerate(farm.supplies):
        if item.only_for is not None and item.only_for not in kinds | set(farm.group):
            hint = nearest(item.only_for, kinds | set(farm.group))
            ledger.doubt("supplies", index, "only_for", repr(item.only_for), "a kind of plug or a group in use", hint)
    for index, pair in enumerate(farm.pairs):
        if pair.get_along and pair.apart is not None:
            ledger.doubt("pairs", index, "apart", "groups that get along and are kept apart", "one or the other")


def check_pins(farm: Farm, ledger: Ledger) -> None:
    """A pinned session takes place; pinned periods touch the plan."""
    weeks = farm.weeks
    for index, pin in enumerate(farm.pins):
        if pin.session is not None:
            ids = [s.id for week in weeks.near_weeks for s in sessions_in(farm, week)]
            if pin.session not in ids:
                expected = "a session of the near weeks with its date, such as " + (ids[0] if ids else "Tue-morning 2026-12-01")
                ledger.fault("pins", index, "session", repr(pin.session), expected, nearest(pin.session, ids))
        if pin.to_date is not None and pin.to_date < weeks.plan_monday:
            found = f"{pin.to_date}, before week 1"
            ledger.doubt("pins", index, "to_date", found, f"a day from {weeks.plan_monday} on", "the pin holds nothing")
        if pin.lot is not None and farm.lot[pin.lot].alive == 0:
            ledger.doubt("pins", index, "lot", f"lot {pin.lot} with nothing alive", "a lot on a rack")
