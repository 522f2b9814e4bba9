"""Where frags may settle, as a table: the same as the rules asked one by one."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np
import pytest

from scheduler.biology.zones import Zone, zone_racks
from scheduler.farm.coral import Colony, GroupPair
from scheduler.farm.farm import Farm
from scheduler.season.admission import Admission
from scheduler.season.classes import kept_wholly_free, light_fits
from tests.farms import random_farm


def beside_unfit_mothers(farm: Farm, colony: Colony, zone: Zone) -> bool:
    """L7: a mother of a strain to be kept apart from stands in the tank, or in the system where that is asked."""
    for mother in farm.colonies:
        kept = farm.strains_apart(colony.strain, mother.strain)
        if kept == "tank" and mother.tank == zone.tank:
            return True
        if kept == "system" and farm.system_of_tank(mother.tank) == zone.system:
            return True
    return False


def suits(farm: Farm, colony: Colony, zone: Zone, week: int) -> bool:
    """L2, L6, L7 beside mothers, L8, L9 and plug kind."""
    traits = farm.traits(colony.strain)
    return (
        not beside_unfit_mothers(farm, colony, zone)
        and zone.flow in traits.flow_settling
        and farm.may_settle_in(farm.system_of_tank(colony.tank), zone.system, week)
        and not farm.tank_closed(zone.tank, week)
        and light_fits(farm, zone, colony.par_umol, week)
        and any(traits.plug_kind in farm.rack[r].plug_kinds for r in zone_racks(zone))
    )


@pytest.mark.parametrize("seed", range(4))
def test_the_table_says_what_the_rules_say(seed: int) -> None:
    farm = random_farm(seed, 24, tight=bool(seed % 2), pins=5)
    pins = [p.pin for p in farm.pins]
    admission = Admission(farm, pins)
    met = set()
    for colony in farm.colonies:
        table, could = admission.suits(colony), admission.could_settle(colony)
        assert table.shape == (farm.weeks.count, len(admission.zones))
        for week in farm.weeks.all:
            for k, zone in enumerate(admission.zones):
                right = suits(farm, colony, zone, week)
                assert table[week - 1, k] == right
                assert could[week - 1, k] == (right and not kept_wholly_free(farm, pins, zone, week))
                met.add(right)
    assert met == {True, False}
    assert np.all(admission.could_settle(farm.colonies[0]) <= admission.suits(farm.colonies[0]))


@pytest.mark.parametrize("apart", ["tank", "system"])
def test_l7_frags_do_not_settle_beside_mothers_they_are_kept_apart_from(apart: Literal["tank", "system"]) -> None:
    farm = random_farm(1, 24)
    groups = sorted({farm.strain[c.strain].group for c in farm.colonies})
    other = replace(farm, pairs=(GroupPair(group_a=groups[0], group_b=groups[1], apart=apart),))
    before, after = Admission(farm), Admission(other)
    barred = 0
    for colony in other.colonies:
        lost = before.suits(colony) & ~after.suits(colony)
        assert not np.any(after.suits(colony) & ~before.suits(colony))
        for k, zone in enumerate(after.zones):
            beside = beside_unfit_mothers(other, colony, zone)
            assert np.array_equal(lost[:, k], before.suits(colony)[:, k] & beside)
            barred += int(lost[:, k].any())
    assert barred
