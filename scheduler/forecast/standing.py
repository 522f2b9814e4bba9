"""What measured sizes and sales say of single lots on racks: how each grows, and which of its frags are still there."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from scheduler.farm.coral import Lot
from scheduler.farm.farm import Farm
from scheduler.forecast.history import Grown

MEASURING_SHARE = 0.05
"""Standard error of a measured mean size, as a share of it (farm choice, no published source)."""

LEFT_SPREAD = 0.8
"""Spread of growth among the frags left of a lot partly sold, as a share of that of a whole lot (farm choice, no published source)."""

SLOWEST = 0.05
"""A lot that measures no growth counts as having grown so much of what is expected."""


@dataclass(frozen=True)
class LotGrowth:
    """What is known of a lot's growth.

    ``mean`` and ``spread``: its log growth against its strain's blended one, the strain's own uncertainty included. ``frags``: spread
    between its frags as a share of the usual. ``sold``: frags sold by week ``sold_week`` of the plan (0 or below) and after the last
    size measured; they had reached the first class.
    """

    mean: float
    spread: float
    frags: float = 1.0
    sold: int = 0
    sold_week: int = 0

    @property
    def pace(self) -> float:
        """Growth of the lot as a share of its strain's, as a plan takes it: six digits of it."""
        return float(f"{math.exp(self.mean):.6g}")


def measured(rows: Sequence[Grown], frag_spread: float) -> tuple[float, float]:
    """Ratio of a lot's growth to its default from its sizes, and the variance of that ratio.

    A size of frags that have hardly grown says little: its error is a large share of the growth.
    """
    errors = [measuring_variance(g) + frag_spread**2 / g.frags for g in rows]
    weights = [1 / e for e in errors]
    ratio = sum(w * g.grown_mm / g.expected_mm for w, g in zip(weights, rows, strict=True)) / sum(weights)
    return max(ratio, SLOWEST), 1 / sum(weights)


def measuring_variance(g: Grown) -> float:
    """Variance of a size's ratio of grown to expected for the error of measuring it."""
    return (MEASURING_SHARE * g.size_mm / g.expected_mm) ** 2


def sold_of(farm: Farm, lot: Lot) -> tuple[int, int]:
    """Frags sold of a lot on racks so far, and those of them sold since its last count (the book says how many are left)."""
    rows = farm.counts_of.get(lot.lot, ())
    counted = sum(r.sold for r in rows)
    if not rows:
        since = lot.started - lot.alive if lot.count_date == lot.cut_date else 0
    else:
        since = rows[-1].alive - lot.alive if rows[-1].date >= lot.count_date else 0
    return counted + max(0, since), max(0, since)


def standing_lots(
    farm: Farm,
    sizes: Mapping[str, Sequence[Grown]],
    usual: Mapping[str, float],
    unsure: Mapping[str, float],
    lots: float,
    frags: float,
) -> dict[str, LotGrowth]:
    """Growth of every lot on racks of which something is known.

    ``sizes``: plausible sizes by lot; ``usual``: blended growth over default by strain, ``unsure`` its spread; ``lots`` and ``frags``: the
    spreads of log growth. The sizes since the last sale count: they are those of the frags that were left.
    """
    found: dict[str, LotGrowth] = {}
    for lot in farm.lots:
        total, since = sold_of(farm, lot)
        rows = sizes.get(lot.lot, ())
        last = rows[-1].sold if rows else 0
        same = [g for g in rows if g.sold == last]
        prior = lots**2 + unsure[lot.strain] ** 2 + (frags**2 if last else 0.0)
        known = LotGrowth(0.0, math.sqrt(prior))
        if same and prior > 0:
            ratio, variance = measured(same, frags)
            own = variance / usual[lot.strain] ** 2
            share = prior / (prior + own)
            mean = math.log(max(1 + share * (ratio / usual[lot.strain] - 1), SLOWEST))
            known = LotGrowth(mean, math.sqrt(share * own), LEFT_SPREAD if last else 1.0)
        if total > last and lot.alive:
            week = 0 if since else max(min(0, farm.weeks.week_of(r.date)) for r in farm.counts_of[lot.lot] if r.sold)
            known = LotGrowth(known.mean, known.spread, known.frags, total - last, week)
        if same or total > last:
            found[lot.lot] = known
    return found
