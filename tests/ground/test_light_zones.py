from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import date

import pytest

from scheduler.biology.light import par_of_rack
from scheduler.biology.zones import band_text, zone_by_position, zone_of, zone_racks, zones
from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm
from scheduler.farm.space import LightReading, Rack, Tank, WaterSystem
from tests.farms import one_strain_farm, random_farm


@pytest.fixture
def farm() -> Farm:
    """Two tanks of one system; rack R falls from 200 to 100 along its columns, S is even and of like light."""
    corners = {
        "par_first_row_first_col": 200, "par_first_row_last_col": 100, "par_last_row_first_col": 200, "par_last_row_last_col": 100
    }  # fmt: skip
    return replace(
        one_strain_farm(settings={"par_bands": (120, 160)}),
        systems=(WaterSystem(system="W", health_rank=1, max_fresh=50),),
        tanks=(Tank(tank="T", system="W"), Tank(tank="U", system="W")),
        racks=(
            Rack(rack="R", tank="T", rows=2, cols=5, pitch_mm=30, flow="medium", plug_kinds=("small",), blocked=("B5",)),
            Rack(rack="S", tank="U", rows=3, cols=3, pitch_mm=30, flow="medium", plug_kinds=("small",)),
        ),
        light=(
            LightReading(rack="R", from_date=date(2026, 11, 1), **corners),
            LightReading(rack="S", from_date=date(2026, 11, 1), par_umol=160),
            LightReading(rack="S", from_date=date(2026, 12, 16), par_umol=120, planned=True),
        ),
        colonies=(
            Colony(
                colony="A-01", strain="A", tank="T", par_umol=190, count=9, count_date=date(2026, 11, 20), condition="fit",
                condition_date=date(2026, 11, 20), rack="R", positions="A1:B1",
            ),
        ),
    )  # fmt: skip


def test_zones_by_hand(farm: Farm) -> None:
    found = zones(farm)
    # columns of R: 200 175 150 125 100; the edge itself belongs to the band above
    assert {z.id: (z.capacity, z.mothers) for z in found.values()} == {
        "T PAR below 120 medium flow": (1, 0),
        "T PAR 120-160 medium flow": (4, 0),
        "T PAR from 160 medium flow": (4, 2),
        "U PAR from 160 medium flow": (9, 0),
    }
    assert found["T PAR from 160 medium flow"].par_in(1) == pytest.approx(187.5)
    assert found["T PAR from 160 medium flow"].light_class == found["U PAR from 160 medium flow"].light_class
    assert zone_racks(found["U PAR from 160 medium flow"]) == ("S",)


def test_a_planned_lamp_change_moves_light_not_membership(farm: Farm) -> None:
    zone = zones(farm)["U PAR from 160 medium flow"]
    assert [zone.par_in(w) for w in (0, 1, 2, 3, 4, 12, 99)] == [160, 160, 160, 160, 120, 120, 120]
    # 16 December is the Wednesday of week 3: the reading counts from the next Monday
    assert par_of_rack(farm, "S", 3).max() == 160
    with pytest.raises(ValueError, match="read-only"):
        par_of_rack(farm, "S", 3)[0, 0] = 1


def test_the_zone_of_a_stand_holds_most_of_it(farm: Farm) -> None:
    assert zone_of(farm, "R", [(0, 2), (0, 3), (0, 4)]) == "T PAR 120-160 medium flow"
    # of equals the dimmer
    assert zone_of(farm, "R", [(0, 1), (0, 2)]) == "T PAR 120-160 medium flow"
    assert zone_of(farm, "R", [(0, 4), (0, 1)]) == "T PAR below 120 medium flow"
    with pytest.raises(ValueError, match="no usable position"):
        zone_of(farm, "R", [(1, 4)])


def test_bands_in_words(farm: Farm) -> None:
    assert [band_text(farm, b) for b in range(3)] == ["PAR below 120", "PAR 120-160", "PAR from 160"]
    assert band_text(one_strain_farm(settings={"par_bands": ()}), 0) == "PAR any"


def test_a_rack_without_light_is_named(farm: Farm) -> None:
    with pytest.raises(ValueError, match="rack S has no complete light reading"):
        par_of_rack(replace(farm, light=farm.light[:1]), "S", 1)


@pytest.mark.parametrize("seed", range(6))
def test_zones_share_out_every_unblocked_position_once(seed: int) -> None:
    farm = random_farm(seed, 18)
    held = Counter(p for z in zones(farm).values() for p in z.positions)
    assert set(held.values()) == {1}
    assert set(held) == {(r.rack, p) for r in farm.racks for p in r.open_positions}
    assert set(zone_by_position(farm)) == set(held)
    for zone in zones(farm).values():
        edges = (0.0, *farm.settings.par_bands, 1e9)
        for rack, position in zone.positions:
            assert edges[zone.band] <= round(float(par_of_rack(farm, rack, 1)[position]), 6) < edges[zone.band + 1]
            assert (farm.rack[rack].tank, farm.rack[rack].flow) == (zone.tank, zone.flow)
