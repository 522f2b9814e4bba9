"""What is true of a farm and its customers, whatever is done: drawn once for a seed, never shown to a way of working."""

from __future__ import annotations

import math
from datetime import date, timedelta
from decimal import Decimal
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from scheduler.farm.blocks import Position
from scheduler.farm.coral import SizeClass, Traits
from scheduler.farm.farm import Farm
from scheduler.farm.trade import Order
from scheduler.replay.chance import Chance, factor, stream

Month = tuple[int, int]

_HALF_LIGHT = 1.433
"""exp(-1.433) leaves what tanh(1) leaves: both light curves agree where light equals par_k."""


class Truth:
    """The truth about one farm under one seed. Strain figures are the book's times a factor of their own."""

    def __init__(self, farm: Farm, seed: int, chance: Chance) -> None:
        self.farm, self.seed, self.chance = farm, seed, chance
        self._kept: dict[tuple[object, ...], float] = {}

    def _once(self, key: tuple[object, ...], spread: float) -> float:
        """A factor drawn once for a key."""
        if key not in self._kept:
            self._kept[key] = factor(stream(self.seed, *key), spread)
        return self._kept[key]

    # ---- light ----------------------------------------------------------------------------------------------------

    def par(self, rack: str, positions: tuple[Position, ...], monday: date) -> float:
        """Mean PAR of positions of a rack in a week: between four corners, a little off the reading, µmol m-2 s-1."""
        row, reading = self.farm.rack[rack], self.farm.reading(rack, monday)
        corners = reading.corners if reading is not None else None
        if corners is None or not positions:
            raise ValueError(f"no light is known on rack {rack}")
        values = [self.between(corners, (row.rows, row.cols), p) for p in positions]
        return float(np.mean(values)) * self._once(("light", rack), self.chance.light_rack)

    @staticmethod
    def between(corners: tuple[float, float, float, float], shape: tuple[int, int], position: Position) -> float:
        """PAR at a position between the readings at the four corners of a rack of (rows, columns)."""
        down, along = ((at / (size - 1) if size > 1 else 0.5) for at, size in zip(position, shape, strict=True))
        first, first_end, last, last_end = corners
        return (1 - down) * ((1 - along) * first + along * first_end) + down * ((1 - along) * last + along * last_end)

    @staticmethod
    def light_share(traits: Traits, par: float) -> float:
        """Share of light-saturated growth: 1 - exp(-a PAR).

        The exponential form of Webb, Newton & Starr 1974, Oecologia 17:281-291 (from memory), applied to growth.
        """
        return float(1 - np.exp(-_HALF_LIGHT * par / traits.par_k))

    # ---- frags ----------------------------------------------------------------------------------------------------

    def frag_mm_per_week(self, strain: str, par: float) -> float:
        """Growth of a strain's average frag, mm a week."""
        traits = self.farm.traits(strain)
        own = self._once(("frag growth", strain), self.chance.growth_strain)
        return traits.frag_mm_per_week * own * self.light_share(traits, par)

    def losses(self, strain: str, age: int, par: float, tank: str, month: Month) -> tuple[float, float]:
        """(deaths, detachments) in a week at an age, as shares of those alive: heavy at first, fading away.

        Over the early weeks about as many are lost as the book says, times the strain's and the tank's factors.
        """
        traits = self.farm.traits(strain)
        shock = self._once(("tank", tank, month), self.chance.tank_month)
        stressed = not traits.par_min <= par <= traits.par_max
        death = self._fading(traits.death_early, traits.death_late, traits.early_weeks, age)
        detach = self._fading(traits.detach_early, traits.detach_late, traits.early_weeks, age)
        death *= self._once(("deaths", strain), self.chance.loss_strain) * shock
        detach *= self._once(("detachments", strain), self.chance.loss_strain) * shock
        return min(0.6, death * (self.farm.settings.stress_factor if stressed else 1.0)), min(0.3, detach)

    @staticmethod
    def _fading(early: float, late: float, weeks: int, age: int) -> float:
        """A weekly chance that falls from above ``early`` to ``late``; what is early adds up to ``weeks`` weeks' worth."""
        if weeks == 0:
            return late
        fall = np.exp(-2 / weeks)
        return float(late + (early - late) * weeks * (1 - fall) * fall**age)

    def fresh_sizes(self, strain: str, lot: str, count: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """(size in mm, growth factor) of each frag of a new lot."""
        rng, chance = stream(self.seed, "lot", lot), self.chance
        traits = self.farm.traits(strain)
        sizes = traits.frag_mm * np.exp(rng.normal(0, chance.fresh_size, count))
        lots = factor(rng, chance.growth_lot)
        return sizes, lots * np.exp(rng.normal(-(chance.growth_frag**2) / 2, chance.growth_frag, count))

    @staticmethod
    def firm_from(traits: Traits) -> int:
        """Age in weeks from which a frag is healed and holds to its plug."""
        return max(traits.heal_weeks, traits.attach_weeks)

    def good_share(self, strain: str) -> float:
        """Share of a strain's frags that make grade."""
        off = stream(self.seed, "grade", strain).normal(0, self.chance.grade)
        return float(np.clip(self.farm.traits(strain).good_share + off, 0.5, 1.0))

    # ---- mothers --------------------------------------------------------------------------------------------------

    def units_at_start(self, colony: str) -> float:
        """True size of a mother on the day of its count in the book, counted units."""
        return self.farm.colony[colony].count * self._once(("first count", colony), self.chance.first_count)

    def grown(self, strain: str, units: float) -> float:
        """Size of a mother a week later, counted units."""
        traits = self.farm.traits(strain)
        rate = traits.growth_per_week * self._once(("mother growth", strain), self.chance.growth_strain)
        gain = {
            "exponential": rate * units,
            "linear": rate,
            "logistic": rate * units * (1 - units / traits.cap_units),
        }[traits.growth_law]
        return max(units, min(units + gain, traits.cap_units))

    def broken_share(self, strain: str) -> float:
        """Share of a strain's pieces that break at the bench."""
        return min(0.4, self.chance.broken * self._once(("broken", strain), 0.5))

    # ---- work -----------------------------------------------------------------------------------------------------

    def pace(self, person: str, *job: object) -> float:
        """Real minutes over standard minutes of a person's job."""
        return self._once(("pace", person), self.chance.pace_person) * factor(
            stream(self.seed, "job", person, *job), self.chance.pace_job
        )

    # ---- customers ------------------------------------------------------------------------------------------------

    def walk_in(self, month: Month, strain: str, size_class: str) -> int:
        """Frags of a class that sell at list price in a calendar month without an order."""
        mean = self.mean_walk_in(month, strain, size_class)
        if self.chance.even:
            return math.ceil(mean)
        return int(stream(self.seed, "walk-in", month, strain, size_class).poisson(mean))

    def mean_walk_in(self, month: Month, strain: str, size_class: str) -> float:
        """The same on the average."""
        mean = self.farm.market_quantity(month[1], strain=strain, size_class=size_class) or 0.0
        return mean * self._once(("demand", strain), self.chance.demand_strain)

    def walk_in_group(self, month: Month, group: str) -> int | None:
        """The same for a whole group; ``None`` where the book knows no limit."""
        mean = self.farm.market_quantity(month[1], group=group)
        if mean is None or self.chance.even:
            return None if mean is None else math.ceil(mean)
        return int(stream(self.seed, "walk-in", month, group).poisson(mean))

    def new_orders(self, monday: date) -> list[Order]:
        """Orders that come in during a week, in the manner of those in the book; none if it has none, or without chance."""
        patterns = self.farm.orders
        if not patterns or self.chance.even:
            return []
        rng = stream(self.seed, "orders", monday)
        count = int(rng.poisson(len(patterns) / self.farm.settings.horizon_weeks))
        return [self._order(rng, monday, index) for index in range(count)]

    def _order(self, rng: np.random.Generator, monday: date, index: int) -> Order:
        like = self.farm.orders[int(rng.integers(len(self.farm.orders)))]
        strains, weights = self._popular
        strain = strains[int(rng.choice(len(strains), p=weights))]
        classes = self.farm.size_classes(strain)
        row: SizeClass = classes[0] if len(classes) == 1 or rng.random() < 0.7 else classes[-1]
        wait = int(rng.integers(3, 21))
        due = monday + timedelta(weeks=wait, days=int(rng.integers(5)))
        return Order(
            order=f"R{monday:%y%m%d}{index}", channel=like.channel, strain=strain, size_class=row.size_class,
            quantity=max(1, round(like.quantity * factor(rng, self.chance.order_size))),
            price=(row.list_price * self._price_share(like)).quantize(Decimal("0.01")),
            earliest=due - timedelta(weeks=5) if rng.random() < 0.4 else None, due=due,
            late_ok=bool(rng.random() < 0.75), partial_ok=bool(rng.random() < 0.8),
        )  # fmt: skip

    def _price_share(self, order: Order) -> Decimal:
        """Price of an order as a share of the list price."""
        row = self.farm.size_class(order.strain, order.size_class)
        return order.price / row.list_price if row is not None and row.list_price else Decimal(1)

    @cached_property
    def _popular(self) -> tuple[list[str], NDArray[np.float64]]:
        """Strains with size classes, and how often an order names each: by the book's market, all alike without one."""
        strains = [s.strain for s in self.farm.strains if self.farm.size_classes(s.strain)]
        asked = np.array([sum(m.quantity for m in self.farm.market if m.strain == s) for s in strains], dtype=np.float64)
        weights = asked if asked.sum() > 0 else np.ones(len(strains))
        return strains, weights / weights.sum()
