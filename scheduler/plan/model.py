"""The plan document: everything decided, and what it is worth."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from scheduler.farm.blocks import Block

SCHEMA_VERSION = "1"


class Part(BaseModel):
    """Base of all parts of a plan: immutable, no unknown fields."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Cut(Part):
    """One colony cut once. The frags become the lot of the same id."""

    lot: str = Field(description="label code and id of the new lot")
    colony: str = Field(description="mother colony")
    strain: str = Field(description="its strain")
    week: int = Field(ge=1, description="week of the plan")
    pieces: int = Field(ge=1, description="whole pieces cut and mounted")
    session: str | None = Field(default=None, description="bench session, in the near weeks")
    run_order: int | None = Field(default=None, description="place in the session's order of work, from 1")
    cutter: str | None = Field(default=None, description="person who cuts, in the near weeks")
    mounter: str | None = Field(default=None, description="person who mounts, in the near weeks")


class Stand(Part):
    """Where a lot stands from a week on: its first place in the week of its cut, later ones by a move."""

    lot: str = Field(description="lot, new or on the racks")
    week: int = Field(ge=0, description="week in which it is put there; 0 for where a lot stands before the plan")
    zone: str = Field(description="light zone")
    rack: str | None = Field(default=None, description="rack, in the near weeks")
    blocks: tuple[Block, ...] = Field(default=(), description="blocks it stands in, in the near weeks")
    pieces: int = Field(ge=1, description="pieces put there")


class Sale(Part):
    """Pieces of a lot that leave in a week."""

    lot: str = Field(description="lot, new or on the racks")
    week: int = Field(ge=1, description="week packed")
    route: Literal["order", "market", "clear"] = Field(description="to an order, to the market, or cleared at the discount price")
    size_class: str = Field(description="class sold as; of a cleared lot the class whose discount price it gets")
    order: str | None = Field(default=None, description="order, for route order")
    channel: str = Field(description="channel it leaves by")
    pieces: int = Field(ge=1, description="started pieces routed this way")


class Overtime(Part):
    """Overtime of a week."""

    week: int = Field(ge=1, description="week of the plan")
    minutes: Decimal = Field(ge=0, description="overtime minutes of all people together")


LineKind = Literal[
    "order sale", "market sale", "late", "short", "service", "labour", "supplies", "frags left", "colony left", "uneven", "change",
]  # fmt: skip


class Line(Part):
    """One line of money: exact quantity x price, rounded half-even to the cent once. Costs are negative."""

    line: LineKind = Field(description="kind of line")
    subject: str = Field(description="what it is about, e.g. an order, a strain and class, a kind of work")
    week: int = Field(ge=0, description="week it falls in; 0 for lines over the whole horizon")
    amount: Decimal = Field(description="money, costs negative")


class Balance(Part):
    """O2: where the pieces of a strain are at the end of a week, in started pieces and expected frags, to date."""

    strain: str = Field(description="strain")
    week: int = Field(ge=1, description="week of the plan")
    started: int = Field(description="pieces: alive on racks at the start of the plan plus started since")
    sold: Decimal = Field(description="expected frags sold to date, orders and market")
    cleared: Decimal = Field(description="expected frags cleared to date")
    died: Decimal = Field(description="expected deaths to date, among pieces while they are on racks")
    detached: Decimal = Field(description="expected detachments to date, among pieces while they are on racks")
    on_racks: Decimal = Field(description="expected frags standing at the end of the week")


class Held(Part):
    """A colony not cut in the near weeks and the one thing that held it back."""

    colony: str = Field(description="colony")
    reason: str = Field(description="one short reason, e.g. resting, no cut, not worth it yet, no place in its light")
    detail: str = Field(description="a sentence with the numbers")
    ready_week: int | None = Field(default=None, description="first week it could be cut, if known")


class StandBy(Part):
    """A colony that can step in if another is unfit when lifted."""

    session: str = Field(description="bench session")
    colony: str = Field(description="stand-by colony")
    pieces: int = Field(ge=1, description="most pieces it could give")


class Notice(Part):
    """Something the grower should know: what gave way, doubts, pins dropped."""

    kind: Literal["gave way", "doubt", "pin dropped", "note"] = Field(description="kind of notice")
    text: str = Field(description="a sentence for the grower")


class NearWeeksResult(Part):
    """How the near-weeks model ended. Its value is its own measure and not comparable with the plan's lines."""

    outcome: Literal["optimal", "feasible", "none needed"] = Field(description="proved best, best found, or nothing to decide")
    reason: str = Field(description="why it stopped, in words")
    value: Decimal = Field(description="value of the model, money")
    bound: Decimal = Field(description="upper bound of the model, money")
    gap_percent: Decimal = Field(description="(bound - value) / bound in percent, at least 0")
    seed: int = Field(description="seed of the run")
    wall_seconds: Decimal = Field(description="seconds taken")


class About(Part):
    """Where the plan comes from."""

    farm_name: str = Field(description="farm")
    book_fingerprint: str = Field(description="SHA-256 of the farm book's values")
    plan_monday: date = Field(description="Monday of week 1")
    weeks: int = Field(ge=1, description="weeks planned")
    near_weeks: int = Field(ge=1, description="weeks planned to session and position")
    seed: int = Field(description="seed")
    versions: dict[str, str] = Field(description="program and library versions")
    dropped_pins: tuple[str, ...] = Field(default=(), description="pins the user chose to plan without")
    near: NearWeeksResult = Field(description="how the near-weeks model ended")


class Plan(Part):
    """A finished plan. A farm and a plan together are enough for the audit."""

    schema_version: Literal["1"] = Field(default="1", description="version of this document")
    about: About = Field(description="where the plan comes from")
    cuts: tuple[Cut, ...] = Field(default=(), description="cuts of all weeks")
    stands: tuple[Stand, ...] = Field(default=(), description="first places of new lots, and moves")
    sales: tuple[Sale, ...] = Field(default=(), description="sales of all weeks")
    overtime: tuple[Overtime, ...] = Field(default=(), description="weeks with overtime")
    balance: tuple[Balance, ...] = Field(default=(), description="frag balance by strain and week")
    lines: tuple[Line, ...] = Field(default=(), description="lines of money")
    value: Decimal = Field(default=Decimal(0), description="sum of the lines, money")
    held: tuple[Held, ...] = Field(default=(), description="colonies not cut in the near weeks, and why")
    stand_by: tuple[StandBy, ...] = Field(default=(), description="stand-by colonies by session")
    notices: tuple[Notice, ...] = Field(default=(), description="what the grower should know")
