from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from scheduler.farm.coral import GroupPair, Strain
from scheduler.farm.farm import TABLES, Farm
from scheduler.farm.space import Tank, WaterSystem
from tests.farms import one_strain_farm, random_farm


@pytest.mark.parametrize(
    ("reach", "pitch", "clear"), [(0, 30, 0), (15, 30, 1), (30, 30, 1), (30.5, 30, 2), (50, 30, 2), (60, 20, 3)]
)
def test_clear_positions_are_the_reach_in_pitches_rounded_up(reach: float, pitch: float, clear: int) -> None:
    farm = one_strain_farm(reach_mm=reach)
    two = replace(farm, strains=(*farm.strains, Strain(strain="B", name="Brine Notch", group="corals", code="BN", reach_mm=5)))
    assert two.clear_positions("A", "B", pitch) == two.clear_positions("B", "A", pitch) == max(clear, 1)
    assert two.clear_positions("A", "A", pitch) == 0
    friends = replace(two, pairs=(GroupPair(group_a="corals", group_b="corals", get_along=True),))
    assert friends.clear_positions("A", "B", pitch) == 0


def test_a_strain_overrides_its_group_even_with_nothing() -> None:
    farm = one_strain_farm(reach_mm=15, toxic=True)
    own = Strain(strain="B", name="Brine Notch", group="corals", code="BN", reach_mm=0, toxic=False)
    two = replace(farm, strains=(*farm.strains, own))
    assert (two.traits("A").reach_mm, two.traits("A").toxic) == (15, True)
    assert (two.traits("B").reach_mm, two.traits("B").toxic) == (0, False)
    assert two.traits("B").rest_weeks == two.traits("A").rest_weeks


def test_quarantine_and_hold_end_with_the_week_that_starts_on_or_after_the_day() -> None:
    system = WaterSystem(system="Q", health_rank=2, quarantined=True, release_date=date(2026, 12, 20), max_fresh=9)
    farm = replace(one_strain_farm(), systems=(system.model_copy(update={"hold_until": date(2026, 12, 7)}),))
    assert [farm.in_quarantine("Q", w) for w in range(1, 6)] == [True, True, True, False, False]
    assert [farm.on_hold("Q", w) for w in range(1, 4)] == [True, False, False]
    unknown = replace(farm, systems=(system.model_copy(update={"release_date": None}),))
    assert unknown.in_quarantine("Q", 99)
    monday = replace(farm, systems=(system.model_copy(update={"release_date": date(2026, 12, 14)}),))
    assert [monday.in_quarantine("Q", w) for w in (2, 3)] == [True, False]


def test_a_tank_is_closed_in_every_week_with_a_closed_day() -> None:
    tank = Tank(tank="T", system="W", closed_from=date(2026, 12, 13), closed_to=date(2026, 12, 21))
    farm = replace(one_strain_farm(), tanks=(tank,))
    assert [w for w in range(1, 8) if farm.tank_closed("T", w)] == [2, 3, 4]
    for_good = replace(farm, tanks=(tank.model_copy(update={"closed_to": None}),))
    assert not for_good.tank_closed("T", 1)
    assert for_good.tank_closed("T", 50)


def test_fresh_frags_go_where_their_system_feeds() -> None:
    north = WaterSystem(system="N", health_rank=1, max_fresh=9, feeds=("S",))
    farm = replace(one_strain_farm(), systems=(north, WaterSystem(system="S", health_rank=2, max_fresh=9)))
    assert farm.may_settle_in("N", "S", 1)
    assert farm.may_settle_in("S", "S", 1)
    assert not farm.may_settle_in("S", "N", 1)


@pytest.mark.parametrize("seed", range(24))
def test_random_farms_hold_together(seed: int) -> None:
    farm = random_farm(seed, 1 + 7 * seed % 41, tight=seed % 2 == 0, pins=seed % 4)
    for name, cls in TABLES.items():
        rows = () if name == "settings" else getattr(farm, name)
        assert len({r.key for r in rows}) == len(rows), name
        for row in rows:
            for link, table in cls.LINKS.items():
                named = getattr(row, link)
                known = {r.key[0] for r in getattr(farm, table)}
                assert {n for n in (named if isinstance(named, tuple) else (named,)) if n is not None} <= known
    held = _positions(farm)
    for rack, where in held.items():
        assert len(where) == len({p for p, _ in where})
        assert {p for p, _ in where} <= set(farm.rack[rack].open_positions)
        for (r1, c1), a in where:
            for (r2, c2), b in where:
                assert a == b or max(abs(r1 - r2), abs(c1 - c2)) - 1 >= farm.clear_positions(a, b, farm.rack[rack].pitch_mm)
    again = random_farm(seed, 1 + 7 * seed % 41, tight=seed % 2 == 0, pins=seed % 4)
    assert again.fingerprint == farm.fingerprint


def _positions(farm: Farm) -> dict[str, list[tuple[tuple[int, int], str]]]:
    held: dict[str, list[tuple[tuple[int, int], str]]] = {r.rack: [] for r in farm.racks}
    for rack, rows in farm.mothers_on_racks.items():
        held[rack] += [(p, colony.strain) for colony, positions in rows for p in positions]
    for lot in farm.lots:
        traits = farm.traits(lot.strain)
        blocks = farm.lot_blocks(lot)
        assert sum(b.plugs for b in blocks) == lot.alive <= lot.started
        held[lot.rack] += [(p, lot.strain) for b in blocks for p in b.positions(traits.plug_rows, traits.plug_cols)]
    return held


def test_a_large_random_farm_is_made_quickly_and_has_everything() -> None:
    farm = random_farm(1, 300)
    assert len(farm.colonies) == 300
    assert len(farm.groups) == 7
    assert any(farm.traits(c.strain).toxic for c in farm.colonies)
    assert farm.mothers_on_racks
    ages = [1 - farm.weeks.week_of(x.cut_date) for x in farm.lots]
    assert max(ages) > farm.settings.max_rack_weeks > min(ages)
