"""A replay without chance: frags grow, die, sell and mothers grow as the planner expects, in whole frags."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from scheduler.biology.growth import curve, uncut_level
from scheduler.cli.expected_truth import ExpectedTruth
from scheduler.cli.replay_ways import ways
from scheduler.farm.counts import Count, PastCut, PastLot
from scheduler.farm.farm import Farm
from scheduler.planning.on_racks import lots_on_racks
from scheduler.replay import Chance, World, replay
from scheduler.replay.records import book
from scheduler.replay.run import carry_out
from tests.farms import random_farm

FARM = random_farm(9, 12, weeks=12)


def untouched(weeks: int, seed: int = 1) -> World:
    """The farm after some weeks in which nobody did anything but count."""
    world = World(FARM, seed, Chance.off(), ExpectedTruth)
    for _ in range(weeks):
        carry_out(world, book(world), None)
        world.turn()
    return world


def test_the_seed_makes_no_difference_without_chance() -> None:
    one, two = untouched(6, seed=1), untouched(6, seed=2)
    assert {x.id: list(x.sizes) for x in one.lots.values()} == {x.id: list(x.sizes) for x in two.lots.values()}
    assert {m.name: m.units for m in one.mothers.values()} == {m.name: m.units for m in two.mothers.values()}
    assert one.orders == two.orders == {o.order: o for o in FARM.orders if o.order in one.orders}
    assert one.tally.count == {}  # nothing receded, died, went on hold


def test_lots_die_and_grow_up_as_the_planner_expects() -> None:
    """To a frag for each cause of loss, since frags are whole; sizes to the week."""
    weeks, compared = 7, 0
    world = untouched(weeks)
    for expected in lots_on_racks(FARM):
        lot, classes = world.lots.get(expected.id), FARM.size_classes(expected.strain)
        alive = expected.pieces * float(expected.life.alive[weeks])
        assert abs((lot.alive if lot is not None else 0) - alive) <= 1.5
        if lot is None:
            continue
        for row in classes:
            of_size = world.of_size(lot, row.min_mm, weeks)
            reached = expected.life.ready.get(row.size_class, 99)
            if weeks not in (reached, reached - 1):  # a week's growth is one step in both
                assert bool(of_size.all()) == bool(of_size.any()) == (reached <= weeks)
                compared += 1
    assert compared >= 10


def test_mothers_grow_along_the_planner_s_curve() -> None:
    world = untouched(5)
    for colony in FARM.colonies:
        traits = FARM.traits(colony.strain)
        level = uncut_level(FARM, colony, 5)
        pieces = world.mothers[colony.colony].units / traits.unit_per_piece
        assert pieces == pytest.approx(curve(traits)[level], rel=0.06)


def test_what_the_first_book_tells_of_the_past_is_not_carried_on() -> None:
    """Its counts, past lots and past cuts are of another truth; nothing of them is learned in a replay, let alone twice."""
    lot, colony = FARM.lots[0], FARM.colonies[0]
    told = replace(
        FARM,
        counts=(Count(lot=lot.lot, date=FARM.settings.book_date, alive=lot.alive),),
        past_lots=(PastLot(lot="OLD", strain=lot.strain, cut_date=lot.cut_date, started=9, tank=FARM.tanks[0].tank),),
        past_cuts=(PastCut(colony=colony.colony, date=lot.cut_date, strain=colony.strain, pieces_planned=5, pieces_got=4),),
    )
    first = book(World(told, 1))
    assert (first.counts, first.past_lots, first.past_cuts) == ((), (), ())
    assert (
        replay(told, ways(["ours"], quick=True)[0], 1, 2)["money"] == replay(FARM, ways(["ours"], quick=True)[0], 1, 2)["money"]
    )


def test_ours_reads_the_last_plan_along_and_keeps_most_of_it() -> None:
    """At a small cost of changes on a farm whose stock leaves little to cut, and at the usual one on two others."""

    def kept(base: Farm, cost: int, weeks: int) -> None:
        farm = replace(base, settings=base.settings.model_copy(update={"change_cost": Decimal(cost)}))
        found = replay(farm, ways(["ours"], quick=True)[0], 1, weeks, chance=Chance.off(), truth=ExpectedTruth)
        assert found["cuts_announced"] > 0
        assert found["cuts_changed"] <= 0.2 * found["cuts_announced"]

    kept(FARM, 5, 12)
    kept(random_farm(6, 16, weeks=14), 60, 6)
    kept(random_farm(8, 16, weeks=14), 60, 6)
