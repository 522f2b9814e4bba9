"""Channels, ship calendar, orders, market, supplies and pins."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import ClassVar, Literal

from scheduler.farm.people import Weekday
from scheduler.farm.rows import Row, column


class Channel(Row):
    """A way frags leave the farm."""

    SHEET: ClassVar[str] = "channels"
    ABOUT: ClassVar[str] = "Channels: how frags leave the farm, on which days and in how many boxes."
    KEY: ClassVar[tuple[str, ...]] = ("channel",)

    channel: str = column("name", "shipping")
    packing_days: tuple[Weekday, ...] = column("weekdays on which it packs; separate with ;", "Mon;Tue")
    boxes_per_day: float = column("most boxes a packing day", "10", ge=0)
    frags_per_box: float = column("frags in a box", "12", gt=0)
    market: bool = column("yes if frags without an order leave this way too", "yes", default=False)


class Closure(Row):
    """Days on which a channel does not leave."""

    SHEET: ClassVar[str] = "ship_calendar"
    ABOUT: ClassVar[str] = (
        "Ship calendar: days a channel is closed (heat, frost, holidays). A week with no packing day left is closed."
    )
    KEY: ClassVar[tuple[str, ...]] = ("channel", "from_date")
    LINKS: ClassVar[dict[str, str]] = {"channel": "channels"}

    channel: str = column("channel", "shipping")
    from_date: date = column("first closed day", "2026-12-21")
    to_date: date = column("last closed day", "2027-01-03")
    reason: str = column("why", "holidays", default="")


class Order(Row):
    """An order. It is priced, never compulsory."""

    SHEET: ClassVar[str] = "orders"
    ABOUT: ClassVar[str] = "Orders, with the quantity still open."
    KEY: ClassVar[tuple[str, ...]] = ("order",)
    LINKS: ClassVar[dict[str, str]] = {"channel": "channels", "strain": "strains", "substitutes": "strains"}

    order: str = column("order number", "1007")
    channel: str = column("channel it leaves by", "shipping")
    strain: str = column("strain", "LAN")
    size_class: str = column("size class", "small")
    quantity: int = column("frags still to deliver", "40", ge=1)
    price: Decimal = column("price per frag, money", "18.00", ge=0)
    earliest: date | None = column("first day it may be delivered", "2026-12-07", default=None)
    due: date = column("day it is due", "2027-01-15")
    late_ok: bool = column("yes if it is still wanted after that day", "yes", default=True)
    partial_ok: bool = column("yes if it may be delivered in parts", "yes", default=True)
    substitutes: tuple[str, ...] = column("strains that may be sent instead; separate with ;", "EMB", default=())


class Market(Row):
    """What sells at list price in a calendar month without an order."""

    SHEET: ClassVar[str] = "market"
    ABOUT: ClassVar[str] = (
        "Market: frags that sell at list price in a calendar month without an order, by strain and size class, and by whole group."
    )
    KEY: ClassVar[tuple[str, ...]] = ("month", "group", "strain", "size_class")
    LINKS: ClassVar[dict[str, str]] = {"group": "groups", "strain": "strains"}

    month: int | None = column(
        "calendar month 1-12; empty: every month without a row of its own", "12", default=None, ge=1, le=12
    )
    group: str | None = column("group, for a limit on the whole group", "branching stony", default=None)
    strain: str | None = column("strain, for a strain and size class", "LAN", default=None)
    size_class: str | None = column("size class, with a strain", "small", default=None)
    quantity: float = column("frags a month", "20", ge=0)


class Supply(Row):
    """Something used up at the bench or in packing."""

    SHEET: ClassVar[str] = "supplies"
    ABOUT: ClassVar[str] = "Supplies: what is used per piece, colony, session, frag packed or box, its stock and cost."
    KEY: ClassVar[tuple[str, ...]] = ("item",)

    item: str = column("what", "plug small")
    unit: str = column("unit it is counted in", "each")
    per: Literal["piece", "colony", "session", "frag packed", "box"] = column("what uses it", "piece")
    only_for: str | None = column("only for this plug kind or group", "small", default=None)
    quantity_per: float = column("how much each uses", "1", ge=0)
    unit_cost: Decimal = column("cost of a unit, money", "0.35", ge=0)
    stock: float = column("units in stock", "900", default=0.0, ge=0)
    pack_size: float = column("units in a pack", "500", default=1.0, gt=0)
    lead_weeks: int = column("weeks from order to delivery", "2", default=0, ge=0)


PinKind = Literal["cut", "no cut", "at least", "at most", "session", "rack", "keep free", "no sale", "hold lot"]


class Pin(Row):
    """Something the grower wants held, whatever the plan would prefer."""

    SHEET: ClassVar[str] = "pins"
    ABOUT: ClassVar[str] = (
        "Pins: what must hold whatever the plan would prefer, in the near weeks (keep free, no sale, hold lot: between the dates)."
    )
    KEY: ClassVar[tuple[str, ...]] = ("pin",)
    LINKS: ClassVar[dict[str, str]] = {"colony": "colonies", "lot": "lots", "rack": "racks", "tank": "tanks"}

    pin: str = column("name of the pin", "P1")
    kind: PinKind = column("cut, no cut, at least, at most, session, rack, keep free, no sale, hold lot", "cut")
    colony: str | None = column("colony (cut, no cut, at least, at most, session, rack)", "LAN-02", default=None)
    lot: str | None = column("lot (no sale, hold lot)", "LN-2639a", default=None)
    rack: str | None = column("rack (rack, keep free)", "N1-a", default=None)
    tank: str | None = column("tank (keep free)", "N1", default=None)
    session: str | None = column("session and date (session)", "Tue-morning 2026-12-01", default=None)
    pieces: int | None = column("pieces (at least, at most)", "12", default=None, ge=0)
    from_date: date | None = column("first day; empty: from week 1", "2026-11-30", default=None)
    to_date: date | None = column("last day; empty: to the end of the near weeks, or the horizon", "2026-12-13", default=None)
    note: str = column("why", "show piece", default="")

    @property
    def text(self) -> str:
        """The pin in the grower's words, its name first."""
        what = {
            "cut": f"cut {self.colony}", "no cut": f"do not cut {self.colony}", "at least": f"cut at least {self.pieces} of {self.colony}",
            "at most": f"cut at most {self.pieces} of {self.colony}", "session": f"cut {self.colony} in session {self.session}",
            "rack": f"put the frags of {self.colony} on rack {self.rack}", "keep free": f"keep {self.rack or self.tank} free",
            "no sale": f"do not sell {self.lot}", "hold lot": f"neither sell nor move {self.lot}",
        }[self.kind]  # fmt: skip
        when = "".join(f" {word} {day}" for word, day in (("from", self.from_date), ("to", self.to_date)) if day)
        return f"{self.pin}: {what}{when}"
