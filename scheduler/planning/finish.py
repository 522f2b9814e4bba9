"""Last touches every finished plan needs: label codes, sales added up, overtime, versions."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from decimal import Decimal

from scheduler.farm.codes import label_codes
from scheduler.farm.farm import Farm
from scheduler.farm.hours import CARING, PACKING, missing_minutes, outside_offers
from scheduler.farm.units import seconds
from scheduler.plan.model import Overtime, Plan, Sale
from scheduler.plan.outside import outside_minutes_needed
from scheduler.plan.view import PlanView
from scheduler.planning.balance import balance_table
from scheduler.planning.lines import Valuation

LIBRARIES = ("ortools", "numpy", "pandas", "pydantic", "openpyxl", "scipy")


class Codes:
    """Label codes of new lots: the strain's code, year and week, and a letter; never one of a lot on the racks or gone from them."""

    def __init__(self, farm: Farm) -> None:
        self.farm = farm
        self._codes = label_codes(farm)
        self._used = {lot.lot for lot in farm.lots} | {lot.lot for lot in farm.past_lots}
        self._count: Counter[str] = Counter()

    def copy(self) -> Codes:
        """Codes that go on from here by themselves."""
        other = Codes(self.farm)
        other._used, other._count = set(self._used), self._count.copy()
        return other

    def __call__(self, strain: str, week: int) -> str:
        """The next free code of a strain in a week."""
        year, number, _ = self.farm.weeks.monday(week).isocalendar()
        stem = f"{self._codes[strain]}-{year % 100:02d}{number:02d}"
        while True:
            index = self._count[stem]
            self._count[stem] += 1
            letters = chr(97 + index % 26) if index < 26 else chr(96 + index // 26) + chr(97 + index % 26)
            if stem + letters not in self._used:
                self._used.add(stem + letters)
                return stem + letters


def merged(sales: Sequence[Sale]) -> list[Sale]:
    """Sales that say the same of one lot and week, added up."""
    found: dict[tuple[object, ...], Sale] = {}
    for s in sales:
        key = (s.lot, s.week, s.route, s.size_class, s.order, s.channel)
        found[key] = s if key not in found else s.model_copy(update={"pieces": found[key].pieces + s.pieces})
    return list(found.values())


def overtime_rows(farm: Farm, view: PlanView) -> tuple[Overtime, ...]:
    """S1: overtime of each week: what packing, moves, counting and standing work need beyond paid hours outside sessions."""
    rows = []
    for week in farm.weeks.all:
        need = outside_minutes_needed(view, week)
        demand = {CARING: float(seconds(need["care"])), PACKING: float(seconds(need["pack"]))}
        offers = [(able, float(int(minutes * 60 + 1e-6))) for able, minutes in outside_offers(farm, week)]
        missing = round(missing_minutes(demand, offers))
        if missing > 0:
            rows.append(Overtime(week=week, minutes=Decimal(missing) / 60))
    return tuple(rows)


def valued(farm: Farm, plan: Plan) -> Plan:
    """The plan with its overtime, balance, lines of money and value."""
    plan = plan.model_copy(update={"overtime": overtime_rows(farm, PlanView(farm, plan))})
    lines = Valuation(farm, plan).lines()
    balance = balance_table(farm, PlanView(farm, plan))
    return plan.model_copy(update={"lines": lines, "balance": balance, "value": sum((x.amount for x in lines), Decimal(0))})
