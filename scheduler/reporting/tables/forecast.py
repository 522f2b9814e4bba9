"""Tables of a forecast: what becomes sellable, what can be promised, orders, shortages, and what was learned."""

from __future__ import annotations

import math

import numpy as np

from scheduler.farm.farm import Farm
from scheduler.forecast.breeding import doubling_weeks
from scheduler.forecast.learn import LOSS_TRAITS, Learned
from scheduler.forecast.outlook import LIKELY, Outlook, quantiles
from scheduler.forecast.parcels import Ints
from scheduler.forecast.starts import started_text
from scheduler.forecast.survival import DEATH, DETACHMENT, EARLY, LATE
from scheduler.forecast.times import class_time
from scheduler.reporting.tables.base import Table, Value
from scheduler.reporting.tables.season import NOW, month_text

ALL = "all"
"""Strain and class text of the sum over strains."""


def forecast_tables(farm: Farm, outlook: Outlook) -> dict[str, Table]:
    """Every table of a forecast by name. ``farm`` is the farm of the book, with its own defaults."""
    found = (
        months_table(outlook), promises_table(outlook), order_chances_table(outlook), shortages_table(outlook),
        learned_table(outlook.learned), class_times_table(farm, outlook.learned), survival_table(farm, outlook.learned), breeding_table(outlook.farm),
    )  # fmt: skip
    return {table.name: table for table in found}


def _spread(draws: Ints) -> list[tuple[int, int, int, float]]:
    """P10, P50, P90 and mean by month."""
    low, middle, high = quantiles(draws)
    return [
        (int(a), int(b), int(c), round(float(d), 2)) for a, b, c, d in zip(low, middle, high, draws.mean(axis=0), strict=True)
    ]


def months_table(outlook: Outlook) -> Table:
    """Frags newly reaching a class by month; strain and class ``all``: frags reaching their first class, each once."""
    rows: list[tuple[Value, ...]] = []
    for month, spread in zip(outlook.months, _spread(outlook.total), strict=True):
        rows.append((month_text(month), ALL, "all strains", ALL, *spread))
    for (strain, size_class), draws in outlook.reaching.items():
        for month, spread in zip(outlook.months, _spread(draws), strict=True):
            rows.append((month_text(month), strain, outlook.farm.strain[strain].name, size_class, *spread))
    return Table("forecast", ("month", "strain", "name", "size_class", "p10", "p50", "p90", "mean"), tuple(rows))


def promises_table(outlook: Outlook) -> Table:
    """Most graded frags that can be promised by the end of a month, with the chance the farm wants orders covered with."""
    level = round(outlook.farm.settings.service_level, 4)
    rows: list[tuple[Value, ...]] = []
    for (strain, size_class), draws in outlook.supply.items():
        most = outlook.promise((strain, size_class))
        for month, n, mean in zip((NOW, *map(month_text, outlook.months)), most, draws.mean(axis=0), strict=True):
            rows.append((strain, outlook.farm.strain[strain].name, size_class, month, level, n, round(float(mean), 2)))
    columns = ("strain", "name", "size_class", "by_end_of", "chance", "can_be_promised", "mean")
    return Table("promises", columns, tuple(rows))


def order_chances_table(outlook: Outlook) -> Table:
    """How likely each order is covered."""
    rows = tuple(
        (
            c.order.order, c.order.strain, c.order.size_class, c.order.quantity, c.order.due, c.started, c.by_due,
            started_text(c.started, c.order.quantity), round(c.on_time, 3), round(c.at_all, 3), round(c.with_market, 3), c.wanted,
        )
        for c in outlook.orders
    )  # fmt: skip
    columns = (
        "order", "strain", "size_class", "quantity", "due", "pieces", "pieces_by_due", "started", "chance_in_time",
        "chance_by_horizon", "chance_with_market", "pieces_wanted",
    )  # fmt: skip
    return Table("order_chances", columns, rows)


def shortages_table(outlook: Outlook) -> Table:
    """Frags on hand against what market and orders take, and the chance of too few and too many, where anything is asked for or there."""
    rows: list[tuple[Value, ...]] = []
    for cell, draws in outlook.on_hand.items():
        short, glut = outlook.short_chance(cell), outlook.glut_chance(cell)
        for m, (month, spread) in enumerate(zip(outlook.months, _spread(draws), strict=True)):
            demand = float(outlook.demand[cell][m])
            if demand <= 0 and spread[2] == 0:
                continue
            likely = "stock-out" if demand > 0 and short[m] >= LIKELY else "glut" if glut[m] >= LIKELY else ""
            rows.append(
                (month_text(month), cell[0], outlook.farm.strain[cell[0]].name, cell[1], *spread[:3], round(demand, 1),
                 round(float(short[m]), 3), round(float(glut[m]), 3), likely)
            )  # fmt: skip
    columns = (
        "month", "strain", "name", "size_class", "on_hand_p10", "on_hand_p50", "on_hand_p90", "asked_for", "chance_short",
        "chance_glut", "foreseen",
    )  # fmt: skip
    return Table("shortages", columns, tuple(rows))


def learned_table(learned: Learned) -> Table:
    """Default, data and blended value of every learned quantity, for strains with records of their own or of their group."""
    rows: list[tuple[Value, ...]] = []
    for blend in learned.blends.values():
        if blend.sample <= 0 and math.isclose(blend.blended, blend.default):
            continue
        data = None if blend.data is None else round(blend.data, 5)
        rows.append(
            (blend.strain, blend.quantity, round(blend.default, 5), data, round(blend.sample, 1), round(blend.weight, 3),
             round(blend.blended, 5), round(blend.spread, 3))
        )  # fmt: skip
    columns = ("strain", "quantity", "default", "own_counts", "effective_sample", "weight_of_own", "blended", "still_unsure")
    return Table("learned", columns, tuple(rows))


def class_times_table(farm: Farm, learned: Learned) -> Table:
    """Weeks from the cut to each size class, in the light of the strain's colonies."""
    rows: list[tuple[Value, ...]] = []
    for strain, par in _colony_light(farm).items():
        for size_class in farm.size_classes(strain):
            found = class_time(farm.traits(strain), size_class, par, learned, strain)
            weeks = [round(w, 1) if math.isfinite(w) else None for w in (found.default, found.p10, found.p50, found.p90)]
            rows.append((strain, size_class.size_class, round(par), *weeks))
    return Table("class_times", ("strain", "size_class", "par_umol", "default_weeks", "p10", "p50", "p90"), tuple(rows))


def _colony_light(farm: Farm) -> dict[str, float]:
    """Mean PAR of the colonies of each strain that has any."""
    pars: dict[str, list[float]] = {}
    for colony in farm.colonies:
        pars.setdefault(colony.strain, []).append(colony.par_umol)
    return {s.strain: sum(pars[s.strain]) / len(pars[s.strain]) for s in farm.strains if s.strain in pars}


def survival_table(farm: Farm, learned: Learned) -> Table:
    """Survival by age of counted strains: product-limit estimate of the counts, default and blended, in good light."""
    rows: list[tuple[Value, ...]] = []
    for strain, losses in learned.losses.items():
        traits = farm.traits(strain)
        ages = np.arange(losses.events.shape[1])
        stage = np.where(ages < traits.early_weeks, EARLY, LATE)
        default, blended = np.zeros((2, 2)), np.zeros((2, 2))
        for name, at in LOSS_TRAITS.items():
            default[at], blended[at] = getattr(traits, name), learned.value(strain, name)
        curves = [np.cumprod(1 - table[DEATH][stage] - table[DETACHMENT][stage]) for table in (default, blended)]
        for age, own in enumerate(losses.curve()):
            at_risk = float(losses.exposure[DETACHMENT, age])
            if at_risk > 0:
                shown = [round(float(x), 4) for x in (own, curves[0][age], curves[1][age])]
                rows.append((strain, age + 1, round(at_risk, 1), *shown))
    return Table("survival", ("strain", "weeks", "at_risk", "counted", "default", "blended"), tuple(rows))


def breeding_table(farm: Farm) -> Table:
    """Weeks in which a strain would double if every frag were kept as a mother, in the light of its colonies."""
    rows: list[tuple[Value, ...]] = []
    for strain, par in _colony_light(farm).items():
        try:
            weeks = doubling_weeks(farm.traits(strain), par, farm.settings.stress_factor)
        except ValueError:
            continue  # a colony of it never gets large enough to be cut
        mothers = sum(c.strain == strain for c in farm.colonies)
        rows.append((strain, farm.strain[strain].name, mothers, round(weeks, 1) if math.isfinite(weeks) else None))
    return Table("breeding", ("strain", "name", "mothers", "weeks_to_double"), tuple(rows))
