"""Final places of what the near weeks chose."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from scheduler.errors import NoPlanFound
from scheduler.planning.near.layouts import made_free
from scheduler.planning.near.places import Coming, tidy
from scheduler.planning.near.plan import NearPlan
from scheduler.planning.near.told import as_told
from scheduler.planning.near.weeks import NearWeeks
from scheduler.planning.pins import broken_pins
from scheduler.solving import Outcome
from scheduler.week.floor import Section
from scheduler.week.model import ChosenCut, ChosenMove, Start
from scheduler.week.options import Option
from scheduler.week.releases import EarlySale


def placed(weeks: NearWeeks, chosen: Start, outcome: Outcome) -> NearPlan:
    """The plan with final blocks; a cut whose lot cannot stand mostly in its zone with fewer plugs shrinks, and is told.

    Raises ``NoPlanFound`` where pins ask for more pieces than found a place.
    """
    options, refusals = weeks.choices
    sold, moved, cuts = chosen.sales, chosen.moves, chosen.cuts
    told = {(a.colony, a.week): a for a in weeks.limits.announced}
    coming = [
        Coming(
            _name(c), c.option.strain, c.pieces, c.section, _ground(weeks, c.option, c.section, moved, sold),
            *as_told(weeks.farm, c, told),
        )
        for c in cuts
    ] + [Coming(_name(m), m.move.strain, m.move.pieces, m.section, frozenset(m.move.places[m.section.rack]), m.blocks)
         for m in moved]  # fmt: skip
    found = tidy(weeks.farm, coming, weeks.seed)
    standing, gave_way = [], []
    for cut in cuts:
        blocks = found.get(_name(cut), ())
        got = sum(b.plugs for b in blocks)
        if got < cut.pieces:
            gave_way.append(f"{cut.option.colony.colony}: {got} of {cut.pieces} pieces found a place on {cut.section.rack}")
        if got:
            standing.append(replace(cut, pieces=got, blocks=blocks))
    broken = broken_pins(weeks.farm, weeks.pins, standing)
    if broken:
        raise NoPlanFound(f"No places were found for all pieces that pins ask for: {'; '.join(broken)}.")
    moved = tuple(replace(m, blocks=found[_name(m)]) for m in moved)
    return NearPlan(tuple(standing), tuple(options), refusals, outcome, tuple(gave_way), moved, sold)


def _ground(
    weeks: NearWeeks, option: Option, section: Section, moved: Collection[ChosenMove], sold: Collection[EarlySale]
) -> frozenset[tuple[int, int]]:
    """Positions open to a cut once lots of the book have moved or been sold."""
    ground = option.places[section.rack]
    left = {s.lot: weeks.floor.left(s.lot, option.week) - s.pieces for s in sold if s.week <= option.week}
    left |= {m.move.lot: 0 for m in moved if m.move.week < option.week}
    return made_free(ground, left)


def _name(item: ChosenCut | ChosenMove) -> str:
    """A name for a lot that comes to stand, unlike every other."""
    return f"move {item.move.lot}" if isinstance(item, ChosenMove) else f"cut {item.option.colony.colony} {item.option.week}"
