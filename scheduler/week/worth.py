"""What a choice for the near weeks is worth, in cents, by the measure the model maximises; worked out without a solver."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence

from scheduler.biology.zones import zones
from scheduler.farm.farm import Farm
from scheduler.farm.units import cents
from scheduler.plan.model import Announced
from scheduler.week.draft import Limits
from scheduler.week.kept import as_told
from scheduler.week.model import ChosenCut, Start
from scheduler.week.prices import Prices


def worth_of(farm: Farm, prices: Prices, limits: Limits, chosen: Start) -> int:
    """Pieces at their worth, less waiting, work, changes of what was announced, moves, early sales, and poor light; cents."""
    total = (
        _pieces(prices, limits.announced, chosen.cuts)
        - _sessions(farm, chosen.cuts)
        - changes_cost(farm, limits.announced, chosen.cuts)
    )
    total -= sum(cents(m.move.cost[m.section.zone]) for m in chosen.moves) + sum(cents(s.loss) for s in chosen.sales)
    for cut in chosen.cuts:
        par, light = cut.option.colony.par_umol, zones(farm)[cut.section.zone].par_in(cut.option.week)
        total -= round(100 * abs(light - par) / par)
    return total


def _pieces(prices: Prices, announced: Iterable[Announced], cuts: Sequence[ChosenCut]) -> int:
    total, pieces, told = 0, Counter[str](), told_pieces(announced, cuts)
    for cut in cuts:
        pieces[cut.option.strain] += cut.pieces
        total += cut.pieces * prices.piece(cut.option, cut.section.zone) - prices.cost(cut.option, cut.pieces)
    return total - sum(prices.too_many(strain, n, told[strain]) for strain, n in pieces.items())


def _sessions(farm: Farm, cuts: Iterable[ChosenCut]) -> int:
    s, waters = farm.settings, defaultdict[str, set[str]](set)
    for cut in cuts:
        waters[cut.session].add(farm.system_of_tank(cut.option.colony.tank))
    wage = float(s.wage_per_hour) / 60
    once, change = cents(s.session_minutes * wage), cents(s.changeover_minutes * wage)
    return sum(once + change * (len(here) - 1) for here in waters.values())


def keeps(told: Announced, cuts: Iterable[ChosenCut]) -> bool:
    """Whether an announced cut is among some cuts: same colony, week and session, pieces within a fifth."""
    return any(_counted(told, c) for c in cuts)


def told_pieces(announced: Iterable[Announced], cuts: Iterable[ChosenCut]) -> Counter[str]:
    """Pieces of the announced cuts that are kept, as far as they were announced, by strain."""
    told, found = {(a.colony, a.week): a for a in announced}, Counter[str]()
    for cut in cuts:
        row = told.get((cut.option.name, cut.option.week))
        if row is not None:
            found[cut.option.strain] += _counted(row, cut)
    return found


def _counted(told: Announced, cut: ChosenCut) -> int:
    """Pieces of a cut that were announced: 0 if it is another cut, or counts as changed."""
    same = (cut.option.name, cut.option.week, cut.session) == (told.colony, told.week, told.session)
    return as_told(told.pieces, cut.pieces) if same else 0


def change_cost(farm: Farm, told: Announced) -> int:
    """What it costs not to keep an announced cut, cents: the nearer the more."""
    return cents(float(farm.settings.change_cost) * (farm.weeks.near + 1 - told.week))


def changes_cost(farm: Farm, announced: Iterable[Announced], cuts: Iterable[ChosenCut]) -> int:
    """What the announced cuts that are not kept cost together, cents."""
    made = list(cuts)
    return sum(change_cost(farm, told) for told in announced if not keeps(told, made))
