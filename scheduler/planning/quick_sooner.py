"""Which lots of a strain leave first, and sales brought forward while customers of a month want more.

The season does not mind in which month a frag finds its customer, and those that do not come one month do not come twice the
next. What is of size and has no better use than the same class at the same price loses by waiting: it holds its place and may die.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from scheduler.farm.farm import Farm
from scheduler.season.sales import Growing, Seller

OLD_SHARE = 0.5
"""A lot past this share of ``max_rack_weeks`` is old: farm choice, no published source."""


def first_to_leave(farm: Farm, lot: Growing, left: int) -> tuple[bool, int, str]:
    """Order in which lots of a strain leave: old ones by age, else they are cleared in the end; then those with fewest frags left.

    A lot that is gone leaves its place whole, and a few frags keep others as far away as many do.
    """
    age = lot.life.age[lot.first]
    old = age > OLD_SHARE * farm.settings.max_rack_weeks
    return not old, -age if old else left, lot.id


def sell_sooner(seller: Seller, lots: Sequence[Growing], weeks: Iterable[int]) -> None:
    """Bring market sales forward to ``weeks``, as far as lots have reached the class and market, boxes and hours take them.

    Sales planned soonest go first.
    """
    farm, last = seller.farm, seller.weeks.count
    for week in weeks:
        turn = {lot.id: first_to_leave(farm, lot, lot.left(last)[week]) for lot in lots}
        later = [(s.week, turn[lot.id], lot, s) for lot in lots for s in lot.sales if s.route == "market" and s.week > week]
        for _, _, lot, sale in sorted(later, key=lambda e: e[:2]):
            seller.bring_forward(lot, sale, week)
