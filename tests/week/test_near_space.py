"""Racks in the near-weeks model: to the hole, by layouts, and by counts that never promise too little."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from itertools import combinations
from random import Random

import pytest

from scheduler.biology.zones import zone_of
from scheduler.farm.blocks import parse_block
from scheduler.farm.farm import Farm
from scheduler.farm.space import LightReading
from scheduler.planning.near.layouts import LayoutMaker
from scheduler.planning.near.places import most_on, shapes
from scheduler.racks.requests import check_gap
from scheduler.week.model import Layout, Limits, NearModel, Space, Spot
from scheduler.week.prices import Prices
from tests.week.bench_farm import FlatWorth, at_least, cut, floor_of, model_of, options_of, pins, possible, solved, tiny_farm

AB = {"strains": {"A": {}, "B": {}}, "mothers": {"A1": ("A", "M"), "B1": ("B", "M")}}


def across(farm: Farm, edge: float = 200.0) -> Farm:
    """The first rack's light rises from 180 on the left to 220 on the right."""
    reading = LightReading(
        rack=farm.racks[0].rack, from_date=date(2026, 11, 1), par_first_row_first_col=180, par_first_row_last_col=220,
        par_last_row_first_col=180, par_last_row_last_col=220,
    )  # fmt: skip
    settings = farm.settings.model_copy(update={"par_bands": (edge,)})
    return replace(farm, settings=settings, light=(reading, *farm.light[1:]))


def sees(farm: Farm, space: Space, limits: Limits | None = None) -> NearModel:
    options = options_of(farm)
    prices = Prices(FlatWorth(), options)
    return NearModel(farm, floor_of(farm), options, space, prices, limits or Limits(), {p.pin for p in farm.pins})


# ---- to the hole ------------------------------------------------------------------------------------------------------


def test_l4_two_strains_fit_beside_their_clear_positions_and_no_further() -> None:
    # 3 rows by 6: nine and six pieces leave one clear column, nine and seven do not
    farm = tiny_farm(racks={"T-a": (3, 6)}, **AB)
    assert possible(replace(farm, pins=pins(at_least("A1", 9), at_least("B1", 6))), exact=True)
    assert not possible(replace(farm, pins=pins(at_least("A1", 9), at_least("B1", 7))), exact=True)
    one = tiny_farm(racks={"T-a": (3, 6)}, mothers={"A1": ("A", "M"), "A2": ("A", "M")})
    assert possible(replace(one, pins=pins(at_least("A1", 9), at_least("A2", 9))), exact=True)


def test_l5_a_lot_stands_in_at_most_two_blocks() -> None:
    farm = tiny_farm(racks={"T-a": (1, 7)}, strains={"A": {"min_pieces": 2}})
    holed = replace(farm, racks=(farm.racks[0].model_copy(update={"blocked": ("A3", "A6")}),))
    assert possible(replace(holed, pins=pins(at_least("A1", 4))), exact=True)
    assert not possible(replace(holed, pins=pins(at_least("A1", 5))), exact=True)


def test_a_stand_has_most_of_its_positions_in_its_zone() -> None:
    # three of six columns lie in each zone: six positions at home carry eleven in all
    farm = across(tiny_farm(racks={"T-a": (2, 6)}, strains={"A": {"min_pieces": 2}}))
    dim, bright = "T PAR below 200 medium flow", "T PAR from 200 medium flow"
    assert {s.zone for s in options_of(farm)[0].sections} == {dim, bright}
    limits = Limits(zone={(bright, 3): 0, (dim, 3): 100})
    assert possible(replace(farm, pins=pins(at_least("A1", 11))), limits, exact=True)
    assert not possible(replace(farm, pins=pins(at_least("A1", 12))), limits, exact=True)
    assert not possible(replace(farm, pins=pins(at_least("A1", 4))), Limits(zone={(bright, 3): 3, (dim, 4): 3}), exact=True)


# ---- layouts ----------------------------------------------------------------------------------------------------------


def test_a_layout_gives_its_spots_and_no_more() -> None:
    farm = tiny_farm(racks={"T-a": (3, 6)}, **AB)
    zone = options_of(farm)[0].sections[0].zone
    layout = Layout("T-a", (Spot("A1", zone, (parse_block("A1:C3"),)), Spot("B1", zone, (parse_block("A5:C6"),))))
    other = Layout("T-a", (Spot("A1", zone, (parse_block("A1:C6"),)),))

    def holds(*rows: dict[str, object]) -> bool:
        return solved(sees(replace(farm, pins=pins(*rows)), (layout, other))).outcome.found

    assert holds(at_least("A1", 9), at_least("B1", 6))
    assert not holds(at_least("A1", 10), cut("B1"))
    assert holds(at_least("A1", 18))
    assert not solved(sees(replace(farm, pins=pins(cut("B1"))), (other,))).outcome.found


def test_without_a_layout_nothing_stands() -> None:
    farm = tiny_farm()
    assert solved(sees(farm, ())).outcome.value == 0
    assert not solved(sees(replace(farm, pins=pins(cut("A1"))), ())).outcome.found


@pytest.mark.parametrize("seed", range(6))
def test_layouts_are_lawful(seed: int) -> None:
    r = Random(seed)
    mothers = {f"{s}{n}": (s, "M") for s in "ABC" for n in (1, 2)}
    strains = {s: {"reach_mm": r.choice((0, 20, 50)), "plug_rows": r.choice((1, 1, 2))} for s in "ABC"}
    farm = across(tiny_farm(racks={"T-a": (6, 8)}, strains=strains, mothers=mothers))
    options, floor = options_of(farm), floor_of(farm)
    maker = LayoutMaker(farm, floor, options, (), dict.fromkeys(mothers, 1.0), seed)
    maker.by_chance(20)
    maker.around({"T-a": [("A1", 6), ("B1", 6)]}, 10)
    assert len(maker.made) > 5
    for layout in maker.made:
        held = {}
        for spot in layout.spots:
            option = next(o for o in options if o.name == spot.name)
            traits = farm.traits(option.strain)
            positions = [p for b in spot.blocks for p in b.positions(traits.plug_rows, traits.plug_cols)]
            assert len(spot.blocks) <= 2
            assert len(positions) == len(set(positions))
            assert set(positions) <= set(option.places["T-a"])
            assert option.fewest <= spot.plugs <= option.most
            band = [zone_of(farm, "T-a", [p]) for p in positions]
            assert 2 * band.count(spot.zone) > len(band)
            held[spot.name] = (option.strain, positions)
        for (a, one), (b, two) in combinations(held.values(), 2):
            assert check_gap(one, two, farm.clear_positions(a, b, 30.0))


def test_the_same_seed_makes_the_same_layouts() -> None:
    farm = tiny_farm(racks={"T-a": (6, 8)}, **AB)

    def made(seed: int) -> list[Layout]:
        maker = LayoutMaker(farm, floor_of(farm), options_of(farm), (), {"A1": 1.0, "B1": 2.0}, seed)
        maker.by_chance(20)
        return list(maker.made)

    assert made(1) == made(1)
    assert made(1) != made(2)


# ---- counts -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(10))
def test_counts_bound_what_fits_and_layouts_never_beat_it(seed: int) -> None:
    r = Random(seed)
    strains = {s: {"reach_mm": r.choice((0, 20, 50)), "min_pieces": 3, "max_share": 0.15} for s in "ABC"}
    mothers = {f"{s}1": (s, "M") for s in "ABC"}
    farm = across(tiny_farm(racks={"T-a": (3, 4), "T-b": (1, 4)}, strains=strains, mothers=mothers, wage_per_hour=6))
    options = options_of(farm)
    prices = Prices(FlatWorth(), options)
    limits = Limits(most=most_on(farm, options))
    maker = LayoutMaker(farm, floor_of(farm), options, (), dict.fromkeys(mothers, 1.0), seed)
    maker.by_chance(20)

    def best(space: Space, *, together: bool = False) -> float:
        model = NearModel(farm, floor_of(farm), options, space, prices, limits, (), together=together)
        outcome = solved(model).outcome
        assert outcome.outcome == "optimal"
        assert outcome.value is not None
        return outcome.value

    exact = best(shapes(farm, options))
    assert best(tuple(maker.made)) <= exact <= best(None) <= best(None, together=True)


def test_a_search_starts_from_a_choice() -> None:
    farm = tiny_farm(racks={"T-a": (3, 6)}, pins=pins(at_least("A1", 7), cut("B1")), **AB)
    exact = model_of(farm, exact=True)
    found = exact.chosen(solved(exact))
    again = sees(farm, shapes(farm, options_of(farm)))
    again.start_from(found)
    hints = dict(zip(again.model.proto.solution_hint.vars, again.model.proto.solution_hint.values, strict=True))
    assert hints[again.v.pieces[0].index] >= 7
    for var in again.v.blocks.values():
        assert hints[var.index] in (0, 1)
    assert again.chosen(solved(again)).cuts
