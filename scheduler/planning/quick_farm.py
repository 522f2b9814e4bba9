"""The farm as quick planning thinks of the weeks to come: of a plan of which only the first week is carried out, over and over.

A season solved for the book as it is thinks of a plan that is carried out to its end with everything as expected. Carried out
week by week it disappoints in known ways, and each is met by one change of the farm the season is solved for:

- frags left at the horizon are worth so much there that cutting is put off to the last weeks, and so for ever: they count
  ``END_FRAGS`` of that, those beyond the coming market ``DISCOUNT`` of their price, spare pieces of mothers nothing;
- frags of size that wait for customers hold places that fresh ones could have: they pay a rent (``keeping_rent``);
- frags sold beyond the market are lost to the next month's, and a week later nobody would sell them: the season is solved
  without such sales (``within_market``). With them it would give its stock away and cut for the coming months anew;
- lots of different strains keep clear of each other, so that later weeks cannot use ``usable_share`` of a light zone;
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from itertools import combinations
from math import sqrt
from statistics import fmean

from scheduler.farm.farm import Farm
from scheduler.farm.space import Rack

END_FRAGS = 0.5
"""Farm choice, as the other shares here; found on development seeds of the replay."""

DISCOUNT = Decimal("0.25")

KEEP_SHARE = 0.02
"""What a position is charged for a week by frags that could have been sold, as a share of the mean price of the first class."""


def going_on(farm: Farm) -> Farm:
    """The farm a season is solved for that is carried out week by week."""
    s = farm.settings
    settings = s.model_copy(
        update={
            "end_frag_share": s.end_frag_share * END_FRAGS,
            "end_colony_share": 0.0,
            "usable_share": min(s.usable_share, packed_share(farm)),
        }
    )
    classes = tuple(c.model_copy(update={"discount_price": c.discount_price * DISCOUNT}) for c in farm.classes)
    return replace(farm, settings=settings, classes=classes)


def keeping_rent(farm: Farm) -> float:
    """Money a position and week for frags that are kept on though they could be sold: fresh ones could stand there."""
    first = [rows[0] for s in {c.strain for c in farm.colonies} if (rows := farm.size_classes(s))]
    return KEEP_SHARE * fmean(float(row.list_price) for row in first) if first else 0.0


def packed_share(farm: Farm) -> float:
    """Share of a rack's positions that lots of different strains can hold, of the mean size they have today, 0 to 1.

    A lot of a positions that keeps g positions clear takes at least (sqrt(a) + g)^2 of a rack widened by g rows and columns (the
    inequality of Brunn and Minkowski, from memory).
    """
    names = sorted({x.strain for x in farm.lots if x.alive})
    if len(names) < 2 or not farm.racks:
        return 1.0
    area = fmean(x.alive * farm.traits(x.strain).plug_area for x in farm.lots if x.alive)

    def share(rack: Rack) -> float:
        gap = fmean(farm.clear_positions(a, b, rack.pitch_mm) for a, b in combinations(names, 2))
        return area / (sqrt(area) + gap) ** 2 * (rack.rows + gap) * (rack.cols + gap) / (rack.rows * rack.cols)

    return fmean(min(1.0, share(rack)) for rack in farm.racks)
