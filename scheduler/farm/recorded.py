"""What was done: plans whose work is in the book, and what left the racks."""

from __future__ import annotations

from datetime import date
from typing import ClassVar, Literal

from scheduler.farm.rows import Row, column

Day = date
"""The type of a day where a column is called ``date``."""


class RecordedPlan(Row):
    """A plan whose work has been entered into this book."""

    SHEET: ClassVar[str] = "recorded"
    ABOUT: ClassVar[str] = "Plans whose work was entered into this book by the record command; none is entered twice."
    KEY: ClassVar[tuple[str, ...]] = ("plan",)

    plan: str = column("id of the plan, as printed on its sheet about", "3f9a1c2b7d40")
    first_day: date = column("first day recorded", "2026-11-30")
    last_day: date = column("last day recorded", "2026-12-06")
    book: str = column("fingerprint of the book the plan was made from", "e3b0c44298fc")


class SaleDone(Row):
    """Plugs of a lot that left."""

    SHEET: ClassVar[str] = "sales_done"
    ABOUT: ClassVar[str] = "Plugs that left the racks: sold to an order or the market, or cleared."
    KEY: ClassVar[tuple[str, ...]] = ("lot", "date", "route", "order", "size_class")
    LINKS: ClassVar[dict[str, str]] = {"strain": "strains", "channel": "channels"}

    lot: str = column("label code of the lot", "LN-2639a")
    strain: str = column("its strain", "LAN")
    date: Day = column("last day of the week it left in", "2026-12-06")
    route: Literal["order", "market", "clear"] = column("order, market or clear", "market")
    order: str | None = column("order it went to", "1007", default=None)
    size_class: str = column("size class it was sold as", "small")
    channel: str = column("channel it left by", "shipping")
    plugs: int = column("plugs taken off the rack", "6", ge=0)
    frags: int = column("frags sold; plugs beyond were empty or dead", "5", ge=0)
