"""What the near-weeks model maximises, in cents."""

from __future__ import annotations

from ortools.sat.python import cp_model

from scheduler.farm.units import cents
from scheduler.week.draft import Draft

CHANGED_SHARE = 0.20
"""A cut counts as changed if its pieces differ from those announced by more than this share."""

Term = cp_model.LinearExpr


def objective(d: Draft) -> list[Term]:
    """Pieces at their worth, less waiting, work, changes of what was announced, moves, early sales, and poor light."""
    return [*_pieces(d), *_sessions(d), *_announced(d), *_made_room(d), *_light(d)]


def _pieces(d: Draft) -> list[Term]:
    """Worth of the pieces (less what is beyond list price), less waiting and the colony's own cost."""
    terms: list[Term] = []
    v, prices = d.v, d.prices
    for strain in dict.fromkeys(o.strain for o in d.options):
        mine = [i for i, o in enumerate(d.options) if o.strain == strain]
        over = d.model.new_int_var(0, sum(d.most(i) for i in mine), f"beyond {strain}")
        pieces = [v.pieces[i] for i in mine]
        room = prices.room[strain]
        d.model.add(over >= sum(pieces) - room)
        d.follows(over, pieces, lambda total, room=room: max(0, total - room))  # type: ignore[misc]
        terms.append(-prices.loss[strain] * over)
        for i in mine:
            terms += [prices.piece(d.options[i], section.zone) * v.plugs[i, section] for section in d.options[i].sections]
    terms += [-prices.cost(d.options[i], n) * var for (i, n), var in v.take.items()]
    return terms


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


def _announced(d: Draft) -> list[Term]:
    """Change: an announced cut dropped, moved to another session or changed by more than a fifth."""
    terms: list[Term] = []
    near = d.farm.weeks.near
    for told in d.limits.announced:
        cost = cents(float(d.farm.settings.change_cost) * (near + 1 - told.week))
        kept = d.model.new_bool_var(f"kept {told.colony} {told.week}")
        low, high = kept_range(told.pieces)
        same = [
            d.v.at[i, told.session]
            for i, o in enumerate(d.options)
            if (o.colony.colony, o.week) == (told.colony, told.week) and (i, told.session) in d.v.at
        ]
        few = [
            var
            for (i, n), var in d.v.take.items()
            if (d.options[i].colony.colony, d.options[i].week) == (told.colony, told.week) and low <= n <= high
        ]
        d.model.add(kept <= sum(same))
        d.model.add(kept <= sum(few))
        d.follows(kept, [*same, *few], lambda both: int(both == 2))
        terms.append(cost * kept - cost)
    return terms


def kept_range(pieces: int) -> tuple[int, int]:
    """Fewest and most pieces that still count as the cut announced."""
    return -int(-pieces * (100 - round(100 * CHANGED_SHARE)) // 100), pieces * (100 + round(100 * CHANGED_SHARE)) // 100


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
