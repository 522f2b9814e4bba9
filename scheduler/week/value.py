"""What the near-weeks model maximises, in cents."""

from __future__ import annotations

import operator
from collections.abc import Iterable, Sequence

from ortools.sat.python import cp_model

from scheduler.farm.units import cents
from scheduler.plan.model import Announced
from scheduler.week.draft import Draft
from scheduler.week.kept import as_told, kept_range

Term = cp_model.LinearExpr
Told = tuple[Announced, cp_model.IntVar]
"""An announced cut, and whether it is kept."""


def objective(d: Draft) -> list[Term]:
    """Pieces at their worth, less waiting, work, changes of what was announced, moves, early sales, and poor light."""
    told = [(a, _kept(d, a)) for a in d.limits.announced]
    return [*_pieces(d, told), *_sessions(d), *_announced(d, told), *_made_room(d), *_light(d)]


def _pieces(d: Draft, told: Sequence[Told]) -> list[Term]:
    """Worth of the pieces (less what is beyond list price), less waiting and the colony's own cost."""
    terms: list[Term] = []
    v, prices = d.v, d.prices
    strains = {o.name: o.strain for o in d.options}
    for strain in dict.fromkeys(strains.values()):
        mine = [i for i, o in enumerate(d.options) if o.strain == strain]
        over = d.model.new_int_var(0, sum(d.most(i) for i in mine), f"beyond {strain}")
        pieces, room = [v.pieces[i] for i in mine], prices.room[strain]
        more = _wanted(d, strain, [(a, kept) for a, kept in told if strains.get(a.colony) == strain])
        signs = [1] * len(pieces) + [-1] * len(more)
        d.model.add(over >= sum(pieces) - sum(more) - room)
        d.follows(over, [*pieces, *more], lambda n, s=signs, room=room: max(0, sum(map(operator.mul, s, n)) - room))  # type: ignore[misc]
        terms.append(-prices.loss[strain] * over)
        for i in mine:
            terms += [prices.piece(d.options[i], section.zone) * v.plugs[i, section] for section in d.options[i].sections]
    terms += [-prices.cost(d.options[i], n) * var for (i, n), var in v.take.items()]
    return terms


def _wanted(d: Draft, strain: str, told: Sequence[Told]) -> list[cp_model.IntVar]:
    """By how much the pieces of announced cuts that are kept are more than the season wants of a strain; empty: never."""
    room, most = d.prices.room[strain], sum(a.pieces for a, _ in told)
    if most <= room:
        return []
    more = d.model.new_int_var(0, most - room, f"wanted more {strain}")
    counted = []
    for a, kept in told:
        n = d.model.new_int_var(0, a.pieces, f"as told {a.colony} {a.week}")
        takes = [(as_told(a.pieces, k), var) for k, var in _takes(d, a)]
        d.model.add(n <= a.pieces * kept)
        d.model.add(n <= sum(k * var for k, var in takes))
        each = [k for k, _ in takes]
        d.follows(n, [kept, *(var for _, var in takes)], lambda x, each=each: x[0] * sum(map(operator.mul, each, x[1:])))  # type: ignore[misc]
        counted.append(n)
    beyond = d.model.new_bool_var(f"more than wanted {strain}")
    d.model.add(more <= (most - room) * beyond)
    d.model.add(more <= sum(counted) - room * beyond)
    d.follows(beyond, counted, lambda x: int(sum(x) > room))
    d.follows(more, counted, lambda x: max(0, sum(x) - room))
    return [more]


def _sessions(d: Draft) -> list[Term]:
    """Set-up and clean-down of sessions with a cut, and changes of water."""
    s, terms = d.farm.settings, list[Term]()
    wage = float(s.wage_per_hour) / 60
    for sid in d.sessions:
        used = d.any(d.cuts_at(sid), f"used {sid}")
        if used is not None:
            d.v.used[sid] = used
            terms.append(-cents(s.session_minutes * wage) * used)
            terms.append(-cents(s.changeover_minutes * wage) * d.v.changes[sid])
    return terms


def _takes(d: Draft, told: Announced) -> list[tuple[int, cp_model.IntVar]]:
    """(pieces, whether so many are cut) by which an announced cut would be kept, if in its session."""
    low, high = kept_range(told.pieces)
    wanted = told.colony, told.week
    return [(n, var) for (i, n), var in d.v.take.items() if (d.options[i].name, d.options[i].week) == wanted and low <= n <= high]


def _kept(d: Draft, told: Announced) -> cp_model.IntVar:
    """Whether an announced cut is kept: not dropped, moved to another session or changed by more than a fifth."""
    kept = d.model.new_bool_var(f"kept {told.colony} {told.week}")
    wanted, at = (told.colony, told.week), told.session
    same = [d.v.at[i, at] for i, o in enumerate(d.options) if (o.name, o.week) == wanted and (i, at) in d.v.at]
    few = [var for _, var in _takes(d, told)]
    d.model.add(kept <= sum(same))
    d.model.add(kept <= sum(few))
    d.follows(kept, [*same, *few], lambda both: int(sum(both) == 2))
    return kept


def _announced(d: Draft, told: Iterable[Told]) -> list[Term]:
    """What announced cuts that are not kept cost."""
    terms: list[Term] = []
    for a, kept in told:
        cost = cents(float(d.farm.settings.change_cost) * (d.farm.weeks.near + 1 - a.week))
        terms.append(cost * kept - cost)
    return terms


def _made_room(d: Draft) -> list[Term]:
    """What moves and early sales of lots of the book cost."""
    n = len(d.options)
    terms: list[Term] = [-cents(d.moves[i - n].cost[section.zone]) * var for (i, section), var in d.v.stands.items() if i >= n]
    return terms + [-cents(sale.loss) * d.v.leaves[k] for k, sale in enumerate(d.sales)]


def _light(d: Draft) -> list[Term]:
    """A cent for every per cent of light off the colony's, to choose between equals."""
    terms: list[Term] = []
    for (i, section), var in d.v.stands.items():
        if i < len(d.options):
            par = d.options[i].colony.par_umol
            terms.append(-round(100 * abs(d.zones[section.zone].par_in(d.options[i].week) - par) / par) * var)
    return terms
