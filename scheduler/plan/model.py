"""The plan document: everything decided, and what it is worth."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from scheduler.farm.blocks import Block
from scheduler.farm.counts import LotPace
from scheduler.farm.trade import Pin

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


BenchStep = Literal[
    "label", "fetch", "cut", "mother back", "mother dip", "dip", "rinse", "mount", "dunk", "rack", "new baths", "change of water", "break",
]  # fmt: skip


class BenchTask(Part):
    """Something that has its time by the clock in a bench session: work of a person, a break, or frags or a mother in a dip."""

    session: str = Field(description="bench session")
    start: datetime = Field(description="when it begins, local time")
    end: datetime = Field(description="when it ends, local time")
    steps: tuple[BenchStep, ...] = Field(min_length=1, description="steps done in one go, in order")
    person: str | None = Field(default=None, description="who does it; nobody for frags or a mother in a dip")
    lot: str | None = Field(default=None, description="lot it belongs to; none for breaks, changes of water and new baths")
    pieces: int | None = Field(default=None, ge=1, description="pieces worked on, or labels written")
    mix: int | None = Field(default=None, ge=1, description="which mix of its dip and water the frags go into")
    kneading: int | None = Field(default=None, ge=1, description="which kneading of putty of the session it uses")


class SessionClock(Part):
    """How a bench session's clock times came out."""

    session: str = Field(description="bench session")
    finish: datetime = Field(description="when the last frag is in its rack, local time")
    latest: datetime = Field(description="when clean-down has to begin, local time")
    work_minutes: Decimal = Field(ge=0, description="standard minutes of the person with the most work")
    clock_minutes: Decimal = Field(ge=0, description="minutes from the end of set-up to the finish, without changes of water")
    efficiency: Decimal = Field(ge=0, le=1, description="work_minutes / clock_minutes")
    outcome: Literal["optimal", "feasible"] = Field(description="finish proved earliest, or earliest found")
    gap_percent: Decimal = Field(ge=0, description="how much earlier the finish could be at most, percent")
    overstay_minutes: Decimal = Field(ge=0, description="minutes frags stay in dips beyond the least, all lots together")
    mothers_waiting_minutes: Decimal = Field(ge=0, description="minutes mothers stay in dips beyond the least, all together")


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


class Announced(Part):
    """A cut announced by an earlier plan for a near week of this one. Dropping or changing it has a cost."""

    colony: str = Field(description="mother colony")
    week: int = Field(ge=1, description="week of this plan it was announced for")
    session: str = Field(description="bench session it was announced for")
    pieces: int = Field(ge=1, description="pieces announced")
    cutter: str | None = Field(default=None, description="who was to cut")
    mounter: str | None = Field(default=None, description="who was to mount")
    rack: str | None = Field(default=None, description="rack on which the frags were to stand")
    blocks: tuple[Block, ...] = Field(default=(), description="blocks in which they were to stand")


LearnableTrait = Literal[
    "death_early", "death_late", "detach_early", "detach_late", "frag_mm_per_week", "minutes_colony", "minutes_cut", "minutes_mount",
]  # fmt: skip


class LearnedTrait(Part):
    """A trait of a strain as the farm's own counts have taught it, used instead of the book's."""

    strain: str = Field(description="strain")
    trait: LearnableTrait = Field(description="column of the sheets groups and strains")
    value: float = Field(ge=0, description="value planned with")


class Why(Part):
    """A colony cut in the near weeks and what speaks for cutting it now."""

    colony: str = Field(description="colony")
    week: int = Field(ge=1, description="week of the plan it is cut in")
    reason: str = Field(description="one short reason, e.g. worth more now, for an order, pinned")
    detail: str = Field(description="a sentence with the numbers")
    at_stake: Decimal = Field(
        description="money the cut brings beyond waiting, at the season's prices of hours, positions and sales; may be negative"
    )


class Held(Part):
    """A colony not cut in the near weeks and the one thing that held it back."""

    colony: str = Field(description="colony")
    reason: str = Field(description="one short reason, e.g. resting, no cut, worth more grown on, no place in its light")
    detail: str = Field(description="a sentence with the numbers")
    ready_week: int | None = Field(default=None, description="first week it could be cut, if known")
    at_stake: Decimal | None = Field(
        default=None,
        ge=0,
        description=(
            "money, at the season's prices: what a cut in the near weeks would bring beyond waiting if that one thing did not "
            "stand against it; where it is worth more grown on, what waiting is ahead by; none where it cannot be told"
        ),
    )


class StandBy(Part):
    """A colony that can step in if another is unfit when lifted."""

    session: str = Field(description="bench session")
    colony: str = Field(description="stand-by colony")
    pieces: int = Field(ge=1, description="most pieces it could give")


class WeekPrice(Part):
    """What one more unit of something is worth in a week."""

    week: int = Field(
        ge=1, description="week of the plan; of a month its first week, of the time after the horizon one week more"
    )
    price: Decimal = Field(ge=0, description="money for one more unit")


HelpKind = Literal["rack", "bench hours", "other hours", "boxes", "new frags", "market", "mother"]


class Help(Part):
    """Something that would help if the farm had more of it, and what it could gain over the season."""

    kind: HelpKind = Field(description="kind of help")
    subject: str = Field(description="light class, skills, channel, water system, strain and class, or strain it is about")
    text: str = Field(description="in words")
    amount: Decimal = Field(gt=0, description="how much more")
    unit: str = Field(description="what the amount counts")
    gain: Decimal = Field(ge=0, description="money it gains over the season at most: price x amount, summed over the weeks")
    up_to: Decimal | None = Field(
        default=None, ge=0, description="difference of the bounds of the season with and without it, where both were worked out"
    )
    prices: tuple[WeekPrice, ...] = Field(default=(), description="value of one more unit by week, weeks without value left out")


class Notice(Part):
    """Something the grower should know: what gave way, doubts, pins dropped."""

    kind: Literal["gave way", "doubt", "pin dropped", "note", "put aside"] = Field(description="kind of notice")
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


class SeasonResult(Part):
    """How far the plan's value is from what no plan can beat."""

    bound: Decimal = Field(description="value no plan of this farm book can exceed, money")
    value_without_cuts: Decimal = Field(description="value of a plan with no new cuts, money")
    gap_percent: Decimal = Field(ge=0, description="(bound - value) / (bound - value without cuts) in percent")
    gap_of_bound_percent: Decimal = Field(ge=0, description="(bound - value) / bound in percent")
    rounds: int = Field(ge=0, description="rounds of column generation behind the bound")


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
    added_pins: tuple[Pin, ...] = Field(default=(), description="pins given with the command, beside those of the farm book")
    learned: tuple[LearnedTrait, ...] = Field(
        default=(), description="traits planned with as learned from counts, not as in the book"
    )
    paces: tuple[LotPace, ...] = Field(default=(), description="growth of single lots as learned from their measured sizes")
    near: NearWeeksResult = Field(description="how the near-weeks model ended")
    season: SeasonResult | None = Field(default=None, description="how far from the best the plan can be")


class Plan(Part):
    """A finished plan. A farm and a plan together are enough for the audit."""

    schema_version: Literal["1"] = Field(default="1", description="version of this document")
    about: About = Field(description="where the plan comes from")
    cuts: tuple[Cut, ...] = Field(default=(), description="cuts of all weeks")
    stands: tuple[Stand, ...] = Field(default=(), description="first places of new lots, and moves")
    sales: tuple[Sale, ...] = Field(default=(), description="sales of all weeks")
    bench: tuple[BenchTask, ...] = Field(default=(), description="clock times of the bench sessions of the near weeks")
    clocks: tuple[SessionClock, ...] = Field(default=(), description="how the clock of each bench session came out")
    announced: tuple[Announced, ...] = Field(
        default=(), description="near-week cuts the last plan announced, if it was read along"
    )
    overtime: tuple[Overtime, ...] = Field(default=(), description="weeks with overtime")
    balance: tuple[Balance, ...] = Field(default=(), description="frag balance by strain and week")
    lines: tuple[Line, ...] = Field(default=(), description="lines of money")
    value: Decimal = Field(default=Decimal(0), description="sum of the lines, money")
    why: tuple[Why, ...] = Field(default=(), description="colonies cut in the near weeks, and what speaks for it")
    held: tuple[Held, ...] = Field(default=(), description="colonies not cut in the near weeks, and why")
    stand_by: tuple[StandBy, ...] = Field(default=(), description="stand-by colonies by session")
    helps: tuple[Help, ...] = Field(default=(), description="what would help, by what it gains at most, most first")
    notices: tuple[Notice, ...] = Field(default=(), description="what the grower should know")
