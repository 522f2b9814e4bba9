"""What the work drew from the supplies."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Sequence
from decimal import Decimal

from scheduler.farm.farm import Farm
from scheduler.farm.trade import Supply
from scheduler.farm.units import exact
from scheduler.record.done import DoneCut, DoneSale, Happened


def draws(farm: Farm, happened: Happened, strains: dict[str, str]) -> dict[str, Decimal]:
    """Units of each item used: per piece mounted, colony cut, session held, frag packed, and box begun.

    ``strains`` gives the strain of every lot. A channel's boxes of a week are whole.
    """
    cuts = [d for d in happened.done if isinstance(d, DoneCut) and d.pieces]
    sales = [d for d in happened.done if isinstance(d, DoneSale)]
    frags: Counter[tuple[str, int]] = Counter()
    for sale in sales:
        frags[sale.channel, sale.week] += sale.frags
    boxes = sum(math.ceil(n / farm.channel[channel].frags_per_box - 1e-9) for (channel, _), n in frags.items())
    used: dict[str, Decimal] = defaultdict(Decimal)
    for item in farm.supplies:
        used[item.item] += exact(item.quantity_per) * _count(farm, item, cuts, sales, strains, len(happened.sessions), boxes)
    return {item: amount for item, amount in used.items() if amount}


def _count(
    farm: Farm,
    item: Supply,
    cuts: Sequence[DoneCut],
    sales: Sequence[DoneSale],
    strains: dict[str, str],
    sessions: int,
    boxes: int,
) -> int:
    def wanted(strain: str) -> bool:
        return item.only_for in (None, farm.traits(strain).plug_kind, farm.strain[strain].group)

    if item.per == "piece":
        return sum(c.mounted for c in cuts if wanted(strains[c.lot]))
    if item.per == "colony":
        return sum(1 for c in cuts if wanted(strains[c.lot]))
    if item.per == "frag packed":
        return sum(s.frags for s in sales if wanted(strains[s.lot]))
    return sessions if item.per == "session" else boxes
