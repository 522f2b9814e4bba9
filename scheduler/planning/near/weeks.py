"""The near weeks of one farm as all steps of planning them see them: what could be done, and models of it within one budget."""

from __future__ import annotations

import threading
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from functools import cached_property

from scheduler.farm.farm import Farm
from scheduler.planning.near.options import options_of
from scheduler.planning.pins import ASKING, PIN_KINDS
from scheduler.solving import Budget, Progress, Solved, solve
from scheduler.solving import Limits as SolveLimits
from scheduler.week.floor import Floor
from scheduler.week.model import Limits, NearModel, Space
from scheduler.week.options import NearWorth, Option, Refusal, with_ways
from scheduler.week.prices import Prices
from scheduler.week.releases import EarlySale, Move, NoStock, Stock, moves

MANY_COLONIES = 200
"""From so many colonies on counts of positions, too many to be solved in the time, are not looked at: the search is left with cuts
placed one after the other and layouts around them, lots of the book stay where they are, and the bound is what all colonies would
bring if each had the bench and the racks to itself."""


class NearWeeks:
    """Options of all colonies, moves and early sales of the lots of the book, and what limits them.

    ``pins``: ids of those that have to hold here. ``many``: a farm too large to look at counts of positions. ``floor``: free
    of all that lots of the book may leave free. ``limits`` and ``budget`` change while the near weeks are planned.
    """

    def __init__(
        self, farm: Farm, floor: Floor, worth: NearWorth, limits: Limits, pins: Collection[str], solving: SolveLimits,
        progress: Progress | None = None, stop: threading.Event | None = None, stock: Stock | None = None,
    ) -> None:  # fmt: skip
        self.farm, self.worth, self.limits = farm, worth, limits
        self.pins = [p.pin for p in farm.pins if p.pin in pins and p.kind in PIN_KINDS]
        self.seed, self.budget = solving.seed, Budget(solving)
        self._progress, self._stop = progress, stop
        self.many = len(farm.colonies) >= MANY_COLONIES
        bound_to_stir = bool(limits.announced) or any(p.pin in self.pins and p.kind in ASKING for p in farm.pins)
        self._stock: Stock = NoStock() if stock is None or (self.many and not bound_to_stir) else stock
        self._bare = floor
        self.moves, self.sales = self.stirring(self.pins)
        moves_at_all, sales_at_all = self.stirring(())
        self.floor = floor.loosened({*(s.lot for s in sales_at_all), *(m.lot for m in moves_at_all)})

    def stirring(self, pins: Collection[str]) -> tuple[tuple[Move, ...], tuple[EarlySale, ...]]:
        """What lots of the book could do under some pins."""
        return tuple(moves(self.farm, self._bare, self._stock, pins)), tuple(self._stock.early_sales(pins))

    def options(self, pins: Collection[str]) -> tuple[list[Option], dict[str, Refusal]]:
        """What colonies could give under some pins, and why others can give nothing."""
        return options_of(self.farm, self.floor, pins)

    @cached_property
    def choices(self) -> tuple[list[Option], dict[str, Refusal]]:
        """The options under the pins that have to hold here."""
        return self.options(self.pins)

    def beside(self, options: Sequence[Option], moving: Sequence[Move], sales: Sequence[EarlySale]) -> list[Option]:
        """Options on the ground that these moves and sales could leave free."""
        lots = {m.lot for m in moving} | {s.lot for s in sales}
        return [found for o in options if (found := with_ways(self.farm, o, lots)) is not None]

    def shorter(self, fill: Mapping[str, float], solving: SolveLimits) -> None:
        """From now on less of the clock in some sessions (a share, by session id), and a budget of its own."""
        self.limits, self.budget = replace(self.limits, fill=fill), Budget(solving)

    def model(
        self, options: Sequence[Option], prices: Prices, space: Space, moving: Sequence[Move], sales: Sequence[EarlySale]
    ) -> NearModel:  # fmt: skip
        """The model of what could be done, its racks seen by layouts, or (``None``) by counts of positions."""
        return NearModel(
            self.farm, self.floor, options, space, prices, self.limits, self.pins, moves=moving, sales=sales,
            together=space is None,
        )  # fmt: skip

    def solve(self, model: NearModel, share: float, *, improve: bool) -> Solved:
        """Solve with a share of the work and time left."""
        return self._solved(model, self.budget.part(share), "near weeks", self._progress, improve=improve)

    def ask(self, model: NearModel, most: SolveLimits) -> Solved:
        """Solve a question about pins within limits of its own, and within all that is left."""
        return self._solved(model, self.budget.part().within(most), "pins")

    def _solved(
        self, model: NearModel, limits: SolveLimits, stage: str, progress: Progress | None = None, *, improve: bool = False
    ) -> Solved:  # fmt: skip
        solved = solve(model.model, limits, stage=stage, progress=progress, stop=self._stop, improve=improve)
        self.budget.spend(solved.outcome.work)
        return solved
