"""Which plan this is, and the farm it was made for."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from dataclasses import replace
from decimal import Decimal

from scheduler.farm.farm import Farm
from scheduler.plan.model import About, Plan

_ID_LENGTH = 16
"""Hexadecimal digits of a plan's id: 64 bits, so that no two plans of a farm's life share one."""


def plan_id(plan: Plan) -> str:
    """Id of a plan: the same for the same decisions from the same book, whatever time the search took."""
    near = plan.about.near.model_copy(update={"wall_seconds": Decimal(0)})
    same = plan.model_copy(update={"about": plan.about.model_copy(update={"near": near})})
    return hashlib.sha256(same.model_dump_json().encode()).hexdigest()[:_ID_LENGTH]


def farm_as_planned(farm: Farm, about: About) -> Farm:
    """The farm of a book as a plan saw it: with the horizon and pins given with the command, and what counts had taught."""
    if about.weeks != farm.settings.horizon_weeks:
        farm = replace(farm, settings=farm.settings.model_copy(update={"horizon_weeks": about.weeks}))
    if about.added_pins:
        farm = replace(farm, pins=(*farm.pins, *about.added_pins))
    if about.learned:
        taught: dict[str, dict[str, float]] = defaultdict(dict)
        for row in about.learned:
            taught[row.strain][row.trait] = row.value
        farm = replace(farm, strains=tuple(s.model_copy(update=taught.get(s.strain, {})) for s in farm.strains))
    if about.paces:
        farm = replace(farm, paces=about.paces)
    return farm
