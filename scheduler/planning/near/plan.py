"""Planned near weeks: what was chosen, what it was chosen from, and how the search ended."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from scheduler.farm.farm import Farm
from scheduler.plan.model import Announced
from scheduler.solving import Outcome
from scheduler.week.model import ChosenCut, ChosenMove, Limits, Start
from scheduler.week.options import Option, Refusal
from scheduler.week.prices import Prices
from scheduler.week.releases import EarlySale
from scheduler.week.worth import worth_of


@dataclass(frozen=True)
class NearPlan:
    """The near weeks: cuts, moves and early sales, why other colonies cannot be cut, how the model ended, what gave way.

    ``work``: what it took of the solver, in its own units. ``kept``: the near weeks that do nothing but what pins ask for
    and what was announced, if anything was. ``prices``: what the choice was made at, ``None`` where there was none to make.
    """

    cuts: tuple[ChosenCut, ...]
    options: tuple[Option, ...]
    refusals: Mapping[str, Refusal]
    outcome: Outcome | None
    gave_way: tuple[str, ...]
    moves: tuple[ChosenMove, ...] = ()
    sales: tuple[EarlySale, ...] = ()
    work: float = 0.0
    kept: NearPlan | None = None
    prices: Prices | None = None

    def worth(self, farm: Farm, announced: Sequence[Announced]) -> int:
        """Worth of the near weeks as they are, in cents, by the measure they were chosen by."""
        chosen = Start(self.cuts, self.moves, self.sales)
        return worth_of(farm, self.prices, Limits(announced=announced), chosen) if self.prices is not None else 0
