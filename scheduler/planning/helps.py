"""What would help: the season's prices in words, ranked by what more of each thing could gain."""

from __future__ import annotations

from decimal import Decimal

from scheduler.farm.units import CENT
from scheduler.plan.model import Help, WeekPrice
from scheduler.season.columns import Season
from scheduler.season.levers import Lever, ranking, solved_again
from scheduler.season.relaxation import Relaxed
from scheduler.solving import Progress

EXPLAINED = 5
"""How many of the best are solved again if asked."""

_TENTH_CENT = Decimal("0.001")
_DAYS = {
    "Mon": "Mondays", "Tue": "Tuesdays", "Wed": "Wednesdays", "Thu": "Thursdays", "Fri": "Fridays", "Sat": "Saturdays",
    "Sun": "Sundays",
}  # fmt: skip
_NUMBERS = {1: "one", 2: "two", 3: "three", 4: "four"}
_UNITS = {
    "rack": "positions", "bench hours": "hours a week", "other hours": "hours a week", "boxes": "boxes a packing day",
    "new frags": "new frags a week", "market": "frags a month", "mother": "colonies",
}  # fmt: skip
_PLACES = 3
"""Names of tanks written out."""


def helps(season: Season, relaxed: Relaxed, *, explain: bool, progress: Progress | None = None) -> tuple[Help, ...]:
    """Everything that could gain a cent or more, most first.

    ``season`` and ``relaxed`` are those of the whole horizon. With ``explain`` the prices are made exact and the season is
    solved again with each of the first ``EXPLAINED`` and the first of every kind: the difference of the bounds is what it gains at most.
    """
    ranked = solved_again(season, relaxed, EXPLAINED, progress) if explain else ranking(season, relaxed)
    return tuple(
        _help(season, ranked.relaxed, lever, gain, ranked.again.get(number))
        for number, (lever, gain) in enumerate(ranked.levers)
        if gain >= float(CENT)
    )


def _help(season: Season, relaxed: Relaxed, lever: Lever, gain: float, again: float | None) -> Help:
    prices = ((w, Decimal(repr(round(p, 3))).quantize(_TENTH_CENT)) for w, p in lever.by_week(season, relaxed).items())
    return Help(
        kind=lever.kind, subject=_subject(lever), text=in_words(season, lever), amount=Decimal(f"{lever.amount:g}"),
        unit=_UNITS[lever.kind], gain=_money(gain),
        up_to=None if again is None else min(_money(gain), _money(again)),
        prices=tuple(WeekPrice(week=w, price=p) for w, p in prices if p > 0),
    )  # fmt: skip


def _money(value: float) -> Decimal:
    return Decimal(repr(round(value, 2))).quantize(CENT)


def _subject(lever: Lever) -> str:
    first, second = lever.names
    return {
        "rack": first[0], "bench hours": f"{' '.join(first)}: {', '.join(second)}", "market": f"{first[0]} {second[0] if second else ''}",
    }.get(lever.kind, first[0])  # fmt: skip


def in_words(season: Season, lever: Lever) -> str:
    """A lever as a grower would say it."""
    farm, (first, second), n = season.farm, lever.names, lever.amount
    if lever.kind == "rack":
        return f"one more rack of {n:.0f} positions {_light(season, first[0])} in {_either('tank', second)}"
    if lever.kind == "bench hours":
        days = " or ".join(_DAYS[d] for d in first)
        return f"{_number(n)} more bench hours on {days}, by somebody with {', '.join(second)}"
    if lever.kind == "other hours":
        work = {"pack": "for packing", "care": "for care and moves"}[first[0]]
        return f"{_number(n)} more hours a week {work}, outside sessions"
    if lever.kind == "boxes":
        return f"{_number(n)} more box every packing day by {first[0]}"
    if lever.kind == "new frags":
        return f"{n:.0f} more new frags a week allowed into {first[0]}"
    name = f"{farm.strain[first[0]].name} ({first[0]})"
    if lever.kind == "market":
        return f"{n:.0f} more frags a month of {name} sold as {second[0]} at list price"
    return f"one more mother of {name}, like {second[0]}"


def _number(n: float) -> str:
    return _NUMBERS.get(round(n), f"{n:.0f}") if n == round(n) else f"{n:g}"


def _light(season: Season, name: str) -> str:
    where = next(c for c in season.capacity.classes if c.id == name)
    par = sum(z.par_in(1) * z.capacity for z in where.zones) / where.capacity
    return f"at about PAR {round(par, -1):.0f}, {where.flow} flow,"


def _either(what: str, names: tuple[str, ...]) -> str:
    if len(names) == 1:
        return f"{what} {names[0]}"
    shown = names[:_PLACES]
    more = "another of its light" if len(names) > _PLACES else shown[-1]
    return f"{what} {', '.join(shown if len(names) > _PLACES else shown[:-1])} or {more}"


__all__ = ["EXPLAINED", "helps", "in_words"]
