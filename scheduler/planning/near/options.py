"""What the near weeks choose from: options of all colonies, and those among them that could matter."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from scheduler.farm.farm import Farm
from scheduler.farm.standard import standard
from scheduler.week.floor import Floor
from scheduler.week.model import MOST_PIECES, Limits
from scheduler.week.options import Option, Refusal, option
from scheduler.week.prices import Prices


def options_of(farm: Farm, floor: Floor, pins: Collection[str]) -> tuple[list[Option], dict[str, Refusal]]:
    """What every colony could give in each near week, and of those that can give nothing the first reason."""
    options: list[Option] = []
    refusals: dict[str, Refusal] = {}
    for colony in farm.colonies:
        found = [option(farm, floor, colony, w, pins) for w in farm.weeks.near_weeks]
        good = [o for o in found if isinstance(o, Option)]
        options += good
        bad = [o for o in found if isinstance(o, Refusal)]
        if not good and bad:
            refusals[colony.colony] = bad[0]
    return options, refusals


def worthwhile(farm: Farm, options: Sequence[Option], prices: Prices, pins: Collection[str], limits: Limits) -> list[Option]:
    """Options that could bring something, are pinned, or were announced: leaving out the others loses nothing."""
    kept = {p.colony for p in farm.pins if p.pin in pins} | {a.colony for a in limits.announced}
    return [o for o in options if o.name in kept or prices.best(o, min(o.most, MOST_PIECES)) > 0]


def alone(options: Sequence[Option], prices: Prices, limits: Limits) -> int:
    """Cents that the colonies would bring if each were the only one: no plan brings more."""
    best: dict[str, int] = {}
    told = {(a.colony, a.week): a.pieces for a in limits.announced}
    for o in options:
        brings = prices.best(o, min(o.most, MOST_PIECES), told.get((o.name, o.week), 0))
        best[o.name] = max(best.get(o.name, 0), brings)
    return sum(best.values())


def foremost(
    farm: Farm, options: Sequence[Option], prices: Prices, pins: Collection[str], limits: Limits, most: int
) -> list[Option]:  # fmt: skip
    """At most so many options, those that bring most for a bench minute, besides those pinned or announced; in their order."""
    if len(options) <= most:
        return list(options)
    kept = {p.colony for p in farm.pins if p.pin in pins} | {a.colony for a in limits.announced}

    def merit(o: Option) -> float:
        minutes, pieces = standard(farm, o.strain, o.colony.on_rock), min(o.most, MOST_PIECES)
        return prices.best(o, pieces) / float(minutes.cutter(pieces) + minutes.mounter(pieces, 1))

    ranked = sorted(options, key=lambda o: (o.name not in kept, -merit(o), o.name, o.week))
    first = {id(o) for o in ranked[: max(most, sum(o.name in kept for o in options))]}
    return [o for o in options if id(o) in first]
