"""The near-weeks model while it is being built: what is decided, its variables, and the helpers every rule uses."""

from __future__ import annotations

from collections.abc import Callable, Collection, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Protocol, TypeVar, cast

from ortools.sat.python import cp_model

from scheduler.biology.zones import zones
from scheduler.farm.blocks import Block
from scheduler.farm.farm import Farm
from scheduler.farm.hours import Kind
from scheduler.farm.work import sessions_in
from scheduler.plan.model import Announced
from scheduler.week.floor import Floor, Section
from scheduler.week.options import Option
from scheduler.week.prices import Prices
from scheduler.week.releases import EarlySale, Move

MOST_PIECES = 60
"""Most pieces of one cut the model considers; more would take a bench to itself."""

Shapes = Mapping[tuple[str, str], Sequence[Block]]
"""Blocks offered by (name of the colony cut or lot moved, rack): those of any week the lot could come in."""


@dataclass(frozen=True)
class Spot:
    """Blocks for one lot (a colony cut, or a lot of the book moved) on a rack, most of them in the zone."""

    name: str
    zone: str
    blocks: tuple[Block, ...]

    @property
    def plugs(self) -> int:
        """Most plugs of the lot that stand there."""
        return sum(b.plugs for b in self.blocks)


@dataclass(frozen=True)
class Layout:
    """One way to fill a rack: spots that keep clear of each other. Any of them may stay empty, or be filled in part."""

    rack: str
    spots: tuple[Spot, ...]


Market = tuple[str, str, tuple[int, int]]
"""Strain, size class and (year, month)."""

Space = Shapes | Sequence[Layout] | None
"""How exactly a model sees the racks: every block (exact), layouts made beforehand (lawful), or counts of positions only
(a relaxation, for the bound)."""


@dataclass(frozen=True)
class Limits:
    """What the rest of the farm leaves to the near weeks, and what was announced.

    ``system`` and ``zone``: whole positions by system and near week, and by zone and later week. ``outside``: minutes
    outside sessions left in a near week for the kinds of work of a set together; ``boxes``: decimal boxes by channel and
    week; ``market``: frags at list price by strain, class and month. A week, channel or market not named has no limit.
    ``most``: plugs of a colony or lot (name, week) that a rack could hold in its blocks, as it is or with everything gone
    that could go; not named: as many as its ground.
    ``fill``: share of the clock that is work by session id, ``bench_fill`` where none is given.
    """

    system: Mapping[tuple[str, int], int] = field(default_factory=dict)
    zone: Mapping[tuple[str, int], int] = field(default_factory=dict)
    outside: Mapping[int, Mapping[frozenset[Kind], float]] = field(default_factory=dict)
    boxes: Mapping[tuple[str, int], float] = field(default_factory=dict)
    market: Mapping[Market, float] = field(default_factory=dict)
    most: Mapping[tuple[str, int, str, bool], int] = field(default_factory=dict)
    fill: Mapping[str, float] = field(default_factory=dict)
    announced: Sequence[Announced] = ()


@dataclass
class Variables:
    """Variables; ``i`` is the number of an option, or, where lots stand, of an option or a move."""

    cut: dict[int, cp_model.IntVar] = field(default_factory=dict)
    take: dict[tuple[int, int], cp_model.IntVar] = field(default_factory=dict)
    pieces: dict[int, cp_model.IntVar] = field(default_factory=dict)
    at: dict[tuple[int, str], cp_model.IntVar] = field(default_factory=dict)
    cuts: dict[tuple[int, str, str], cp_model.IntVar] = field(default_factory=dict)
    cut_pieces: dict[tuple[int, str, str], cp_model.IntVar] = field(default_factory=dict)
    mounts: dict[tuple[int, str, str], cp_model.IntVar] = field(default_factory=dict)
    mount_pieces: dict[tuple[int, str, str], cp_model.IntVar] = field(default_factory=dict)
    moves: dict[int, cp_model.IntVar] = field(default_factory=dict)
    leaves: dict[int, cp_model.IntVar] = field(default_factory=dict)
    stands: dict[tuple[int, Section], cp_model.IntVar] = field(default_factory=dict)
    plugs: dict[tuple[int, Section], cp_model.IntVar] = field(default_factory=dict)
    blocks: dict[tuple[str, str, int], cp_model.IntVar] = field(default_factory=dict)
    layouts: dict[int, cp_model.IntVar] = field(default_factory=dict)
    works: dict[tuple[str, str], cp_model.IntVar] = field(default_factory=dict)
    changes: dict[str, cp_model.IntVar] = field(default_factory=dict)
    used: dict[str, cp_model.IntVar] = field(default_factory=dict)

    def decisions(self) -> Iterator[cp_model.IntVar]:
        """Every variable that something is decided by; the others follow from these."""
        for table in (
            self.cut, self.take, self.pieces, self.at, self.cuts, self.cut_pieces, self.mounts, self.mount_pieces,
            self.moves, self.leaves, self.stands, self.plugs, self.blocks, self.layouts,
        ):  # fmt: skip
            yield from table.values()


class _OfLot(Protocol):
    @property
    def lot(self) -> str: ...


Stirring = TypeVar("Stirring", bound=_OfLot)
Kept = TypeVar("Kept")


def grouped(numbered: Iterable[tuple[int, Stirring]]) -> dict[str, list[tuple[int, Stirring]]]:
    """Numbered things that lots of the book could do, by lot."""
    found: dict[str, list[tuple[int, Stirring]]] = {}
    for number, thing in numbered:
        found.setdefault(thing.lot, []).append((number, thing))
    return found


class Draft:
    """A model under construction. ``comers`` are all lots that could come to stand: of the options, then of the moves.

    ``together``: people's hours are looked at together, not person by person: a relaxation, quick to bound.
    """

    def __init__(
        self, farm: Farm, floor: Floor, options: Sequence[Option], moves: Sequence[Move], sales: Sequence[EarlySale],
        space: Space, prices: Prices, limits: Limits, pins: Collection[str], *, together: bool = False,
    ) -> None:  # fmt: skip
        self.farm, self.floor, self.prices, self.limits = farm, floor, prices, limits
        self.shapes: Shapes = space if isinstance(space, Mapping) else {}
        self.layouts: Sequence[Layout] = () if space is None or isinstance(space, Mapping) else space
        self.counted, self.laid_out = space is None, space is not None and not isinstance(space, Mapping)
        self.together = together
        self.options, self.moves, self.sales = tuple(options), tuple(moves), tuple(sales)
        self.comers: tuple[Option | Move, ...] = (*self.options, *self.moves)
        self.pins = [p for p in farm.pins if p.pin in pins]
        self.zones = zones(farm)
        self.model = cp_model.CpModel()
        self.v = Variables()
        self._derived: list[tuple[cp_model.IntVar, Sequence[cp_model.IntVar], Callable[[Sequence[int]], int]]] = []
        self._kept: dict[Hashable, object] = {}
        self.sessions = {s.id: s for w in farm.weeks.near_weeks for s in sessions_in(farm, w)}

    @cached_property
    def sales_of(self) -> Mapping[str, Sequence[tuple[int, EarlySale]]]:
        """Early sales by lot, with their numbers."""
        return grouped(enumerate(self.sales))

    @cached_property
    def moves_of(self) -> Mapping[str, Sequence[tuple[int, Move]]]:
        """Moves by lot, with their numbers among all lots that could come to stand."""
        return grouped(enumerate(self.moves, start=len(self.options)))

    def once(self, key: Hashable, work: Callable[[], Kept]) -> Kept:
        """What some work gives, done the first time it is asked for."""
        if key not in self._kept:
            self._kept[key] = work()
        return cast(Kept, self._kept[key])

    def most(self, i: int) -> int:
        """Most plugs of a lot that the model considers."""
        comer = self.comers[i]
        return comer.pieces if isinstance(comer, Move) else min(comer.most, MOST_PIECES)

    def fewest(self, i: int) -> int:
        """Fewest plugs of a lot, if it comes."""
        comer = self.comers[i]
        return comer.pieces if isinstance(comer, Move) else comer.fewest

    def area(self, i: int) -> int:
        """Positions a plug of a lot holds."""
        traits = self.farm.traits(self.comers[i].strain)
        return traits.plug_area

    def any(self, literals: Sequence[cp_model.IntVar], name: str = "") -> cp_model.IntVar | None:
        """A Boolean that is true exactly if one of the literals is; ``None`` for no literals."""
        if not literals:
            return None
        var = self.model.new_bool_var(name)
        self.model.add_max_equality(var, literals)
        self.follows(var, literals, max)
        return var

    def follows(
        self, var: cp_model.IntVar, sources: Sequence[cp_model.IntVar], value: Callable[[Sequence[int]], int]
    ) -> None:  # fmt: skip
        """Note what a variable comes to by the values of others, so that a start can be told in full."""
        self._derived.append((var, sources, value))

    def hint(self, decided: Mapping[int, int]) -> None:
        """Begin the search with values of decisions by variable index, the others 0, and all that follows from them."""
        known = {var.index: decided.get(var.index, 0) for var in self.v.decisions()}
        for var, sources, value in self._derived:
            known[var.index] = value([known[s.index] for s in sources])
        for index, number in known.items():
            self.model.add_hint(self.model.get_int_var_from_proto_index(index), number)

    def cuts_at(self, sid: str, *, system: str | None = None, toxic: bool | None = None) -> list[cp_model.IntVar]:
        """Literals of the cuts in a session, of one water and of toxic corals or others, if asked."""
        return [
            var
            for var, water, hazard in self.once("cuts by session", self._cuts_by_session).get(sid, ())
            if (system is None or water == system) and (toxic is None or hazard == toxic)
        ]

    def _cuts_by_session(self) -> dict[str, list[tuple[cp_model.IntVar, str, bool]]]:
        """(literal, water system, whether toxic) of every cut that could be made in a session."""
        found: dict[str, list[tuple[cp_model.IntVar, str, bool]]] = {}
        for (i, sid), var in self.v.at.items():
            colony = self.options[i].colony
            traits = self.farm.traits(colony.strain)
            found.setdefault(sid, []).append((var, self.farm.system_of_tank(colony.tank), traits.toxic))
        return found
