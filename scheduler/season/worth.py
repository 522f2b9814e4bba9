"""What a frag comes to in money: its price by grade, and the wage for packing it."""

from __future__ import annotations

from scheduler.farm.farm import Farm


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
