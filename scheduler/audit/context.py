"""A farm and a plan read together for the audit: who stands where in each week, and the breaches found so far."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property

from scheduler.audit.report import Breach
from scheduler.biology.zones import Zone, zones
from scheduler.farm.blocks import Position, trim
from scheduler.farm.coral import Traits
from scheduler.farm.farm import Farm
from scheduler.plan.model import Cut, Plan, Stand
from scheduler.plan.view import LotView, PlanView

SHARE_TOLERANCE = 1e-6
"""How far shares, PAR and decimal positions may go over a limit."""

SECOND = 1 / 60
"""How far minutes may go over a limit."""


@dataclass(frozen=True)
class Holding:
    """A lot holding a place in a week, after the week's sales. A mover has two of these in the week of its move.

    ``from_book`` marks a lot of the farm book at the place the book gives it.
    """

    lot: LotView
    stand: Stand
    pieces: int
    from_book: bool


class Context:
    """What every check needs. Checks call ``add`` for each breach."""

    def __init__(self, farm: Farm, plan: Plan) -> None:
        self.farm = farm
        self.plan = plan
        self.weeks = farm.weeks
        self.breaches: list[Breach] = []
        self._holdings: dict[int, tuple[Holding, ...]] = {}

    def add(self, rule: str, things: Iterable[str], text: str) -> None:
        """Note a breach."""
        self.breaches.append(Breach(rule, tuple(things), text))

    @cached_property
    def lots(self) -> dict[str, LotView]:
        """Every lot by id. Only for plans whose references hold."""
        return PlanView(self.farm, self.plan).lots

    @cached_property
    def zones(self) -> dict[str, Zone]:
        """Light zones by id."""
        return zones(self.farm)

    @cached_property
    def new_lots(self) -> tuple[LotView, ...]:
        """Lots the plan cuts."""
        return tuple(lot for lot in self.lots.values() if lot.is_new)

    @cached_property
    def old_lots(self) -> tuple[LotView, ...]:
        """Lots of the farm book."""
        return tuple(lot for lot in self.lots.values() if not lot.is_new)

    @cached_property
    def cuts_by_week(self) -> dict[int, tuple[Cut, ...]]:
        """Cuts of each week of the horizon."""
        return {w: tuple(c for c in self.plan.cuts if c.week == w) for w in self.weeks.all}

    def moves(self) -> Iterable[tuple[LotView, Stand, Stand]]:
        """Every move: the lot, its place before, its place after."""
        for lot in self.lots.values():
            for before, after in zip(lot.stands, lot.stands[1:], strict=False):
                yield lot, before, after

    def holdings(self, week: int) -> tuple[Holding, ...]:
        """Everything lots hold in a week."""
        if week not in self._holdings:
            found = []
            for lot in self.lots.values():
                if lot.first_week > week or (left := lot.left(week)) <= 0:
                    continue
                for stand in lot.stands_held(week):
                    found.append(Holding(lot, stand, left, not lot.is_new and stand.week == 0))
            self._holdings[week] = tuple(found)
        return self._holdings[week]

    def traits(self, lot: LotView) -> Traits:
        """Traits of a lot's strain."""
        return self.farm.traits(lot.strain)

    def area(self, lot: LotView) -> int:
        """Positions a plug of the lot holds."""
        traits = self.traits(lot)
        return traits.plug_area

    def positions(self, lot: LotView, stand: Stand, pieces: int) -> tuple[Position, ...]:
        """Positions the first ``pieces`` plugs of a stand hold (also such as lie outside its rack)."""
        traits = self.traits(lot)
        blocks = trim(stand.blocks, pieces)
        return tuple(p for b in blocks for p in b.positions(traits.plug_rows, traits.plug_cols))

    def on_rack(self, rack: str, positions: Iterable[Position]) -> tuple[Position, ...]:
        """Those of the positions that exist on the rack."""
        row = self.farm.rack[rack]
        return tuple(p for p in positions if p[0] < row.rows and p[1] < row.cols)

    def tank_of(self, stand: Stand) -> str:
        """Tank of a stand: its rack's, or its zone's."""
        return self.farm.rack[stand.rack].tank if stand.rack is not None else self.zones[stand.zone].tank

    def system_of(self, stand: Stand) -> str:
        """Water system of a stand."""
        return self.farm.system_of_tank(self.tank_of(stand))

    def home_of(self, colony: str) -> str:
        """Water system a colony stands in."""
        return self.farm.system_of_tank(self.farm.colony[colony].tank)

    def decimals(self, lot: LotView, pieces: int, week: int) -> Decimal:
        """Positions a lot's pieces hold: whole plugs in near weeks, decimals by the last count in later ones."""
        whole = Decimal(pieces * self.area(lot))
        return whole if week in self.weeks.near_weeks else whole * lot.life.held[week]
