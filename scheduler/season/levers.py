"""Levers: what a season could have more of - a rack, bench hours, buyers, a mother - each as a raise of its limits.

A limit's price times its raise, added up over the weeks, is the most a lever can gain: the bound is concave in its limits
(linear programming duality). Solving the relaxation again with the lever pulled tells how much of that is left.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from statistics import median_low
from typing import Literal

from scheduler.farm.farm import Farm
from scheduler.farm.hours import CARING, PACKING, Kind, bench_kinds
from scheduler.farm.people import WEEKDAYS
from scheduler.farm.work import packing_days, sessions_in
from scheduler.season.capacity import RowKind
from scheduler.season.classes import LightClass
from scheduler.season.columns import Season
from scheduler.season.relaxation import Relaxed, relax
from scheduler.solving import Progress

LeverKind = Literal["rack", "bench hours", "other hours", "boxes", "new frags", "market", "mother"]

HOURS = 2.0
"""Hours a week tried on: farm choice, no published source."""

FRAGS = 10.0
"""Frags a month, or new frags a week, tried on: farm choice, no published source."""

EXACT = 2e-5
"""Bounds that are compared are solved this closely, as a share of the bound."""


@dataclass(frozen=True)
class Lever:
    """Something to have more of. ``limits``: raise of each row by index; ``sources``: colonies of which there is one more.

    ``names``: light class and its tanks; weekdays of a session and skills; channel; system; strain and class; strain and colony.
    ``already``: worth an added colony has without any cut, which is no gain.
    """

    kind: LeverKind
    names: tuple[tuple[str, ...], tuple[str, ...]]
    amount: float
    limits: Mapping[int, float] = field(default_factory=dict)
    sources: Mapping[int, float] = field(default_factory=dict)
    already: float = 0.0

    def gain(self, season: Season, relaxed: Relaxed) -> float:
        """Money it can gain at most over the season, at the relaxation's prices."""
        prices = relaxed.prices
        more = sum(raise_ * float(prices.rows[row]) for row, raise_ in self.limits.items())
        return more + sum(n * best_worth(season, relaxed, i) for i, n in self.sources.items()) - self.already

    def by_week(self, season: Season, relaxed: Relaxed) -> dict[int, float]:
        """Value of one more unit by week; what counts for a month or the time after the horizon by its first week."""
        found: dict[int, float] = defaultdict(float)
        for row, raise_ in self.limits.items():
            price = float(relaxed.prices.rows[row])
            if price > 0:
                found[_week_of(season, row)] += raise_ * price / self.amount
        return dict(sorted(found.items()))


def _week_of(season: Season, row: int) -> int:
    weeks, what = season.farm.weeks, season.capacity.rows[row]
    if what.kind in ("market", "market group"):
        month = what.subject[0]  # type: ignore[index]
        return next(w for w in season.capacity.weeks if weeks.month(w) == month)
    return weeks.count + 1 if what.kind == "end market" else what.week


def best_worth(season: Season, relaxed: Relaxed, i: int) -> float:
    """Worth of the best programme of colony ``i`` at the relaxation's prices, what it is at the end included."""
    strain = season.colonies[i].strain
    programmes, who = season.strains[strain]
    return float(programmes.worth_of_start(relaxed.prices.tables[strain][0])[list(who).index(i)])


def levers(season: Season, relaxed: Relaxed) -> list[Lever]:
    """Everything one could have more of, the same in the same season."""
    found = [*_racks(season), *_bench(season, relaxed), *_other(season), *_boxes(season), *_fresh(season)]
    for strain in season.farm.strain:
        found += [*_market(season, relaxed, strain), *_mothers(season, relaxed, strain)]
    return found


@dataclass(frozen=True)
class Ranked:
    """Levers with the most they can gain at the prices of ``relaxed``, dearest first, and of some what solving again leaves."""

    relaxed: Relaxed
    levers: list[tuple[Lever, float]]
    again: Mapping[int, float] = field(default_factory=dict)


def solved_again(season: Season, relaxed: Relaxed, first: int, progress: Progress | None = None) -> Ranked:
    """The ranking at prices made exact, with the ``first`` levers and the first of every kind solved again.

    The gain of a lever solved again is the difference of the bounds with and without it, both solved to ``EXACT``.
    """
    base = season.raised(_whole_orders(season), {})
    exact = relax(base, enough=EXACT, warm=relaxed.prices.rows, columns=relaxed.columns, progress=progress)
    ranked = ranking(base, exact).levers
    kinds = {lever.kind: n for n, (lever, _) in reversed(list(enumerate(ranked)))}
    gains = {}
    for n in sorted({*range(min(first, len(ranked))), *kinds.values()}):
        lever, at_most = ranked[n]
        if at_most > 0:
            pulled = relax(
                base.raised(lever.limits, lever.sources),
                enough=EXACT,
                warm=exact.prices.rows,
                columns=exact.columns,
                progress=progress,
            )
            gains[n] = max(0.0, pulled.bound - exact.bound - lever.already)
    return Ranked(exact, ranked, gains)


def ranking(season: Season, relaxed: Relaxed) -> Ranked:
    """All levers at the prices of a relaxation."""
    found = [(lever, lever.gain(season, relaxed)) for lever in levers(season, relaxed)]
    return Ranked(relaxed, sorted(found, key=lambda x: (-round(x[1], 6), x[0].kind, x[0].names)))


def _whole_orders(season: Season) -> dict[int, float]:
    """Raises that give orders which refuse parts their quantity again: a plan takes it away once the bound is known."""
    find, limits = season.capacity.find, season.capacity.limits
    rows = {find("order", o.order): o.quantity for o in season.farm.orders if not o.partial_ok}
    return {row: max(0.0, quantity - float(limits[row])) for row, quantity in rows.items() if row is not None}


# ---- space ------------------------------------------------------------------------------------------------------------


def rack_size(farm: Farm, where: LightClass) -> int:
    """Positions of a usual rack of a light class: the median of the racks that have positions in it."""
    racks = {rack for z in where.zones for rack, _ in z.positions}
    return median_low([len(farm.rack[r].open_positions) for r in sorted(racks)])


def _racks(season: Season) -> list[Lever]:
    """L1, L9: a rack's positions count as far as ``usable_share`` and ``keep_free_share`` let them."""
    farm, find, s = season.farm, season.capacity.find, season.farm.settings
    found = []
    for where in season.capacity.classes:
        size = rack_size(farm, where)
        raises = {}
        for week in season.capacity.weeks:
            raises[find("positions", where.id, week)] = s.usable_share * size
            raises[find("system", where.system, week)] = (1 - s.keep_free_share) * size
        tanks = tuple(dict.fromkeys(z.tank for z in where.zones))
        found.append(Lever("rack", ((where.id,), tanks), size, {r: x for r, x in raises.items() if r is not None}))
    return found


def _fresh(season: Season) -> list[Lever]:
    return [
        Lever("new frags", ((name,), ()), FRAGS, dict.fromkeys(_weekly(season, "fresh", name), FRAGS))
        for name in season.farm.system
    ]


def _weekly(season: Season, kind: RowKind, subject: str) -> list[int]:
    rows = (season.capacity.find(kind, subject, week) for week in season.capacity.weeks)
    return [row for row in rows if row is not None]


# ---- hours ------------------------------------------------------------------------------------------------------------


def _bench(season: Season, relaxed: Relaxed) -> list[Lever]:
    """Bench hours on the days a session takes place: of the skills people there have, the fewest that gain most.

    Sessions whose hours are worth the same by week share a lever.
    """
    farm = season.farm
    best: dict[str, tuple[float, int, tuple[str, ...], Mapping[int, float]]] = {}
    for (session, skills), weeks in _skills_at(farm).items():
        able = _kinds(farm, frozenset(skills))
        minutes = HOURS * 60 * farm.settings.bench_fill
        limits = {
            row: minutes
            for week in weeks
            if week in season.capacity.weeks
            for kind in able
            for row in season.capacity.sets_by_kind["bench", kind, week]
        }
        gain = sum(x * float(relaxed.prices.rows[row]) for row, x in limits.items())
        offer = (round(gain, 6), -len(skills), skills, limits)
        best[session] = max(best.get(session, offer), offer, key=lambda x: (x[0], x[1], x[2]))
    alike: dict[tuple[object, ...], list[str]] = defaultdict(list)
    for session, (_, _, skills, raises) in best.items():
        alike[skills, tuple(sorted(raises.items()))].append(session)
    days = _weekdays(farm)
    found = []
    for sessions in alike.values():
        _, _, skills, raises = best[sessions[0]]
        when = sorted({d for name in sessions for d in days[name]}, key=WEEKDAYS.index)
        found.append(Lever("bench hours", (tuple(when), skills), HOURS, raises))
    return found


def _skills_at(farm: Farm) -> dict[tuple[str, tuple[str, ...]], list[int]]:
    """Weeks of every (session, skills that somebody there can use in it)."""
    methods = {farm.traits(s.strain).method for s in farm.strains}
    found: dict[tuple[str, tuple[str, ...]], list[int]] = defaultdict(list)
    for week in farm.weeks.all:
        for bench in sessions_in(farm, week):
            for person in bench.people:
                usable = set(farm.person[person].skills) - (methods - set(bench.methods))
                skills = tuple(sorted(usable & {k for kind in bench_kinds(farm) for k in kind}))
                if skills and week not in found[bench.name, skills]:
                    found[bench.name, skills].append(week)
    return {key: weeks for key, weeks in found.items() if weeks}


def _kinds(farm: Farm, skills: frozenset[str]) -> frozenset[Kind]:
    return frozenset(k for k in bench_kinds(farm) if k <= skills)


def _weekdays(farm: Farm) -> dict[str, set[str]]:
    found: dict[str, set[str]] = defaultdict(set)
    for week in farm.weeks.all:
        for bench in sessions_in(farm, week):
            found[bench.name].add(WEEKDAYS[bench.day.weekday()])
    return found


def _other(season: Season) -> list[Lever]:
    """Hours outside sessions, for packing and for care."""
    found, rows = [], season.capacity.sets_by_kind
    for kind in (PACKING, CARING):
        weekly = ([*rows["outside", kind, w], *rows["overtime", kind, w]] for w in season.capacity.weeks)
        limits = {row: HOURS * 60 for week in weekly for row in week}
        found.append(Lever("other hours", (tuple(sorted(kind)), ()), HOURS, limits))
    return found


# ---- trade ------------------------------------------------------------------------------------------------------------


def _boxes(season: Season) -> list[Lever]:
    """O1: one more box a packing day."""
    farm, find = season.farm, season.capacity.find
    found = []
    for channel in farm.channels:
        limits = {}
        for week in season.capacity.weeks:
            row, days = find("boxes", channel.channel, week), len(packing_days(farm, channel.channel, week))
            if row is not None and days:
                limits[row] = float(days)
        found.append(Lever("boxes", ((channel.channel,), ()), 1.0, limits))
    return found


def _market(season: Season, relaxed: Relaxed, strain: str) -> list[Lever]:
    """More buyers at list price of the class of a strain that gains most; they come on top of the group's market."""
    farm, find = season.farm, season.capacity.find
    months = Counter(farm.weeks.month(w) for w in season.capacity.weeks)
    found = []
    for c in farm.size_classes(strain):
        raises = {}
        for month, planned in months.items():
            part = FRAGS * planned / farm.weeks.weeks_in_month(month)
            raises[find("market", (month, strain, c.size_class))] = part
            raises[find("market group", (month, farm.strain[strain].group))] = part
        raises[find("end market", strain)] = FRAGS * farm.settings.end_months
        limits = {r: x for r, x in raises.items() if r is not None}
        found.append(Lever("market", ((strain,), (c.size_class,)), FRAGS, limits))
    return sorted(found, key=lambda lever: -lever.gain(season, relaxed))[:1]


# ---- colonies ---------------------------------------------------------------------------------------------------------


def _mothers(season: Season, relaxed: Relaxed, strain: str) -> list[Lever]:
    """One more colony like the fit one of middle size of a strain."""
    if strain not in season.strains:
        return []
    programmes, who = season.strains[strain]
    able = [k for k in range(len(who)) if programmes.may_cut[k].any()]
    if not able:
        return []
    middle = sorted(able, key=lambda k: (programmes.starts[k].level, season.colonies[who[k]].colony))[(len(able) - 1) // 2]
    start = programmes.starts[middle]
    grown = min(programmes.index(start.level) + season.farm.weeks.count + 1 - start.week, len(programmes.sizes) - 1)
    uncut = float(season.end_worth(strain, relaxed.prices.rows)[middle, grown])
    i = int(who[middle])
    return [Lever("mother", ((strain,), (season.colonies[i].colony,)), 1.0, sources={i: 1.0}, already=uncut)]


__all__ = ["EXACT", "Lever", "LeverKind", "Ranked", "levers", "rack_size", "ranking", "solved_again"]
