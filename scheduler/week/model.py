"""The near-weeks model: one function per rule, one small container of variables, one objective."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from scheduler.farm.blocks import Block
from scheduler.farm.farm import Farm
from scheduler.solving import Solved
from scheduler.week import bench_rules, block_rules, colony_rules, count_rules, space_rules
from scheduler.week.draft import MOST_PIECES, Draft, Layout, Limits, Market, Shapes, Space, Spot, Variables
from scheduler.week.floor import Floor, Section
from scheduler.week.options import Option
from scheduler.week.prices import Prices
from scheduler.week.releases import EarlySale, Move
from scheduler.week.value import objective

__all__ = [
    "MOST_PIECES",
    "ChosenCut",
    "ChosenMove",
    "Layout",
    "Limits",
    "Market",
    "NearModel",
    "Shapes",
    "Space",
    "Spot",
    "Start",
    "Variables",
]

RULES = (
    bench_rules.cuts, bench_rules.people, bench_rules.hours, bench_rules.plugs, bench_rules.water, bench_rules.hazard, bench_rules.outside,
    space_rules.stands, count_rules.counted, space_rules.layouts, block_rules.blocks, block_rules.reach,
    space_rules.fresh, space_rules.room, space_rules.company,
    colony_rules.rest, colony_rules.pinned,
)  # fmt: skip
"""Every rule of the model, in the order in which their variables are made."""


@dataclass(frozen=True)
class ChosenCut:
    """A cut decided for a near week, with its place; the blocks of a solved model may hold more plugs than pieces."""

    option: Option
    pieces: int
    session: str
    cutter: str
    mounter: str
    section: Section
    blocks: tuple[Block, ...] = ()


@dataclass(frozen=True)
class ChosenMove:
    """A lot of the book that moves in a near week, with its new place."""

    move: Move
    section: Section
    blocks: tuple[Block, ...] = ()


@dataclass(frozen=True)
class Start:
    """Cuts, moves and early sales: what a model chose, or where the search for a better choice begins."""

    cuts: tuple[ChosenCut, ...] = ()
    moves: tuple[ChosenMove, ...] = ()
    sales: tuple[EarlySale, ...] = ()


class NearModel:
    """The model of the near weeks. ``pins`` are the ids of pins that must hold; ``space`` how exactly it sees the racks,
    ``together`` whether it sees people's hours only together.

    Without an objective it asks for as few pieces as the pins allow, and as little stirring of lots of the book.
    """

    def __init__(
        self, farm: Farm, floor: Floor, options: Sequence[Option], space: Space, prices: Prices, limits: Limits,
        pins: Collection[str], *, moves: Sequence[Move] = (), sales: Sequence[EarlySale] = (), with_objective: bool = True,
        together: bool = False,
    ) -> None:  # fmt: skip
        self._draft = d = Draft(farm, floor, options, moves, sales, space, prices, limits, pins, together=together)
        self.options, self.moves, self.sales, self.comers, self.shapes = d.options, d.moves, d.sales, d.comers, d.shapes
        self.model, self.v = d.model, d.v
        for rule in RULES:
            rule(d)
        if with_objective:
            self._value = sum(objective(d))
            self.model.maximize(self._value)
        else:
            stirred = sum(self.v.moves.values()) + sum(self.v.leaves.values())
            self.model.minimize(100 * sum(self.v.pieces.values()) + stirred)

    def cap(self, bound: float) -> None:
        """Tell that no plan is worth more cents than this, so that the search may end when it gets there."""
        self.model.add(self._value <= math.floor(bound + 1e-6))

    def chosen(self, solved: Solved) -> Start:
        """What a solved model chose."""
        v = self.v
        cuts = []
        for i, o in enumerate(self.options):
            if solved.value(v.cut[i]):
                session = next(s.id for s in o.sessions if solved.value(v.at[i, s.id]))
                cutter, mounter = (
                    next(p for (j, s, p), var in role.items() if (j, s) == (i, session) and solved.value(var))
                    for role in (v.cuts, v.mounts)
                )
                section = self._section(solved, i)
                cuts.append(
                    ChosenCut(o, solved.value(v.pieces[i]), session, cutter, mounter, section, self._blocks(solved, i, section))
                )
        moved = []
        for i, var in v.moves.items():
            if solved.value(var):
                section = self._section(solved, i)
                moved.append(ChosenMove(self.moves[i - len(self.options)], section, self._blocks(solved, i, section)))
        return Start(tuple(cuts), tuple(moved), self.sold(solved))

    def moved(self, solved: Solved) -> tuple[Move, ...]:
        """Lots of the book that a solved model moves."""
        return tuple(self.moves[i - len(self.options)] for i, var in self.v.moves.items() if solved.value(var))

    def sold(self, solved: Solved) -> tuple[EarlySale, ...]:
        """Early sales of a solved model."""
        return tuple(self.sales[k] for k, var in self.v.leaves.items() if solved.value(var))

    def standing(self, solved: Solved) -> dict[str, list[tuple[str, int]]]:
        """Names and plugs of the lots that a solved model puts on each rack."""
        found: dict[str, list[tuple[str, int]]] = {}
        for (i, section), var in self.v.plugs.items():
            if solved.value(var):
                found.setdefault(section.rack, []).append((self.comers[i].name, solved.value(var)))
        return found

    def _section(self, solved: Solved, i: int) -> Section:
        return next(section for (j, section), var in self.v.stands.items() if j == i and solved.value(var))

    def _blocks(self, solved: Solved, i: int, section: Section) -> tuple[Block, ...]:
        name = self.comers[i].name
        for k, layout in enumerate(self._draft.layouts):
            if layout.rack == section.rack and solved.value(self.v.layouts[k]):
                return next(spot.blocks for spot in layout.spots if (spot.name, spot.zone) == (name, section.zone))
        offered = self.shapes.get((name, section.rack), ())
        return tuple(b for k, b in enumerate(offered) if solved.value(self.v.blocks[name, section.rack, k]))

    def start_from(self, start: Start) -> None:
        """Begin the search from a choice whose blocks are among those offered; everything else begins at nothing."""
        v, ones = self.v, dict[int, int]()
        number = {(o.colony.colony, o.week): i for i, o in enumerate(self.options)}
        for c in start.cuts:
            i, n = number[c.option.colony.colony, c.option.week], c.pieces
            for var in (
                v.cut[i],
                v.take[i, n],
                v.at[i, c.session],
                v.cuts[i, c.session, c.cutter],
                v.mounts[i, c.session, c.mounter],
            ):
                ones[var.index] = 1
            for var in (v.pieces[i], v.cut_pieces[i, c.session, c.cutter], v.mount_pieces[i, c.session, c.mounter]):
                ones[var.index] = n
            ones |= self._standing(i, c.section, c.blocks, n)
        for moved in start.moves:
            i = len(self.options) + next(j for j, move in enumerate(self.moves) if move is moved.move)
            ones[v.moves[i].index] = 1
            ones |= self._standing(i, moved.section, moved.blocks, moved.move.pieces)
        ones |= {v.leaves[self.sales.index(sale)].index: 1 for sale in start.sales}
        ones |= {v.layouts[k].index: 1 for k in self._layouts_of(start)}
        self._draft.hint(ones)

    def _layouts_of(self, start: Start) -> Iterator[int]:
        """The first layout of each rack that has the spots a start needs there."""
        needed: dict[str, set[Spot]] = {}
        for cut in start.cuts:
            needed.setdefault(cut.section.rack, set()).add(Spot(cut.option.name, cut.section.zone, cut.blocks))
        for moved in start.moves:
            spot = Spot(moved.move.lot, moved.section.zone, moved.blocks)
            needed.setdefault(moved.section.rack, set()).add(spot)
        for rack, spots in needed.items():
            layouts = enumerate(self._draft.layouts)
            yield from [k for k, layout in layouts if layout.rack == rack and spots <= set(layout.spots)][:1]

    def _standing(self, i: int, section: Section, blocks: Collection[Block], plugs: int) -> dict[int, int]:
        key = (self.comers[i].name, section.rack)
        chosen = {self.v.blocks[*key, k].index: 1 for k, b in enumerate(self.shapes.get(key, ())) if b in blocks}
        return chosen | {self.v.stands[i, section].index: 1, self.v.plugs[i, section].index: plugs}
