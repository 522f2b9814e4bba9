"""What a frag and its work come to in money: prices by grade, packing, cutting and mounting."""

from __future__ import annotations

from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm
from scheduler.farm.standard import standard


class Worth:
    """Values for one farm, money as floats (models round to cents)."""

    def __init__(self, farm: Farm) -> None:
        self.farm = farm

    def graded_price(self, strain: str, size_class: str, *, discount: bool = False) -> float:
        """Mean price of a sold frag of a class: list (or discount) where it makes grade, else the B price."""
        row = self.farm.size_class(strain, size_class)
        if row is None:
            return 0.0
        good = self.farm.traits(strain).good_share
        return good * float(row.discount_price if discount else row.list_price) + (1 - good) * float(row.b_price)

    def packing_cost(self) -> float:
        """Wage for packing one frag, its share of a box included."""
        s = self.farm.settings
        per_box = max((c.frags_per_box for c in self.farm.channels), default=1.0)
        return (s.pack_frag_minutes + s.pack_box_minutes / per_box) / 60 * float(s.wage_per_hour)

    def work_cost(self, strain: str) -> float:
        """Wage and supplies of cutting and mounting one piece."""
        traits, s = self.farm.traits(strain), self.farm.settings
        work = standard(self.farm, strain, False)
        minutes = float(work.cut + work.each)
        supplies = sum(
            row.quantity_per * float(row.unit_cost)
            for row in self.farm.supplies
            if row.per == "piece" and row.only_for in (None, traits.plug_kind, self.farm.strain[strain].group)
        )
        return minutes / 60 * float(s.wage_per_hour) + supplies

    def colony_cost(self, colony: Colony) -> float:
        """Wage for fetching, setting up and dipping a colony once."""
        return float(standard(self.farm, colony.strain, False).colony) / 60 * float(self.farm.settings.wage_per_hour)
