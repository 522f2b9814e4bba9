"""The best way out of every track against a slow loop over weeks and outlets, and outlets by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import numpy as np
import pytest

from scheduler.biology.life import Life, life
from scheduler.farm.farm import Farm
from scheduler.farm.trade import Closure, Order, Pin
from scheduler.season.columns import Season
from scheduler.season.outlets import Outlet
from scheduler.season.ways_out import WaysOut
from tests.audit.small_farm import MONDAY, changed, small_farm
from tests.farms import random_farm
from tests.season.season_farm import season_of


def net(season: Season, outlet: Outlet, prices: np.ndarray) -> float:
    """Worth of a frag by an outlet less the prices of what it uses, row by row."""
    at = season.outlets.rows.index(outlet)
    return outlet.worth - sum(float(season.outlets.uses[at, r]) * prices[r] for r in season.outlets.uses[at].indices)


def slow_best(
    season: Season, strain: str, of: Life, cut_week: int, system: str, zone: int, leaves_from: int, prices: np.ndarray
) -> float:
    """The best a piece can bring, from its exact life."""
    farm, last, index = season.farm, season.farm.weeks.count, season.capacity.find
    traits, classes = farm.traits(strain), [c.size_class for c in farm.size_classes(strain)]
    mine = [o for o in season.outlets.rows if o.strain == strain]
    best, rent = -np.inf, 0.0
    for week in range(of.first, last + 2):
        age = week - cut_week
        if week > last:
            reached = [c for c in classes if of.reached(c, last)]
            old = last - cut_week > farm.settings.max_rack_weeks or not of.ready
            if old:
                frags, name, kinds = float(of.alive[last]), (reached or classes)[-1 if reached else 0], {"left old"}
            elif reached:
                frags, name, kinds = float(of.alive[last]), reached[-1], {"left listed", "left beyond"}
            else:
                name = min(classes, key=lambda c: of.ready.get(c, 10**6))
                frags, kinds = float(of.alive_when_ready[name]), {"left listed", "left beyond"}
            ways = [(frags, o) for o in mine if o.kind in kinds and o.size_class == name]
        elif week < leaves_from or farm.in_quarantine(system, week) or farm.on_hold(system, week):
            ways = []
        elif age > farm.settings.max_rack_weeks:
            reached = [c for c in classes if of.reached(c, week)]
            name = (reached or classes)[-1 if reached else 0]
            ways = [(float(of.alive[week]), o) for o in mine if o.week == week and o.kind == "clear" and o.size_class == name]
        else:
            ways = [(float(of.alive[week]), o) for o in mine if o.week == week and of.reached(o.size_class, week)]
        best = max([best, *(frags * net(season, o, prices) - rent for frags, o in ways)])
        if week <= last:
            held = 1.0 if week in farm.weeks.near_weeks else float(of.held[week])
            rows = (index("positions", season.capacity.classes[zone].id, week), index("system", system, week))
            rent += held * traits.plug_rows * traits.plug_cols * sum(prices[r] for r in rows if r is not None)
    return best


@pytest.mark.parametrize("seed", range(4))
def test_the_best_way_of_every_track_is_the_slow_one(seed: int) -> None:
    farm = random_farm(seed, 3, weeks=8)
    season = season_of(farm, single=True)
    prices = np.random.default_rng(seed).exponential(0.4, len(season.capacity.rows))
    tracks, ways = season.tracks, season.tracks.ways(prices)
    for pair, (strain, z) in enumerate(tracks.pairs):
        zone = tracks.classes[z].zones[0]
        for week in farm.weeks.all:
            n = tracks.track(pair, week)
            of = life(farm, strain, week, week, zone.par[week - 1 :])
            want = slow_best(season, strain, of, week, zone.system, z, week + 1, prices)
            assert ways.worth[n] == pytest.approx(want, abs=1e-6)
    for j, lot in enumerate(season.lots):
        n = tracks.lot_from + j
        cut = lot.life.first - lot.life.age[lot.life.first]
        want = slow_best(season, lot.strain, lot.life, cut, lot.system, tracks.class_of[lot.zone], 1, prices)
        assert ways.worth[n] == pytest.approx(want, abs=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_a_way_is_worth_its_money_less_the_prices_of_what_it_uses(seed: int) -> None:
    season = season_of(random_farm(seed, 8))
    prices = np.random.default_rng(seed).exponential(0.4, len(season.capacity.rows))
    ways = season.tracks.ways(prices)
    for n in np.flatnonzero(np.isfinite(ways.worth)):
        week, outlet = int(ways.week[n]), int(ways.outlet[n])
        uses = season.tracks.uses(int(n), week, outlet)
        paid = sum(a * prices[r] for r, a in uses.items())
        assert season.tracks.worth(int(n), week, outlet) - paid == pytest.approx(ways.worth[n], abs=1e-6)


def test_a_light_class_offers_the_best_of_its_zones() -> None:
    for seed in range(4):
        farm = random_farm(seed, 8)
        merged, single = season_of(farm), season_of(farm, single=True)
        at = np.zeros(len(merged.capacity.rows))
        best, own = merged.tracks.ways(at), single.tracks.ways(np.zeros(len(single.capacity.rows)))
        for pair, (strain, z) in enumerate(single.tracks.pairs):
            zone = single.tracks.classes[z].zones[0]
            wide = merged.tracks.pairs.index((strain, merged.tracks.class_of[zone.id]))
            for week in farm.weeks.all:
                assert best.worth[merged.tracks.track(wide, week)] >= own.worth[single.tracks.track(pair, week)] - 1e-9


@pytest.mark.parametrize("seed", range(4))
def test_within_the_market_nothing_is_sold_below_list_price(seed: int) -> None:
    """Frags go at list price, to orders, or stay; only what is past its weeks on the racks is cleared."""
    farm = random_farm(seed, 8)
    farm = replace(farm, settings=farm.settings.model_copy(update={"end_frag_share": 0.1}))
    free, within = season_of(farm), season_of(farm, within_market=True)
    prices = np.where([r.kind in ("market", "end market") for r in free.capacity.rows], 100.0, 0.0)
    kinds = {
        name: {
            season.outlets.rows[int(o)].kind
            for n, o in enumerate(season.tracks.ways(prices).outlet)
            if is_young(season, n) and o >= 0
        }
        for name, season in (("free", free), ("within", within))
    }
    assert kinds["free"] & {"discount", "clear"}
    assert kinds["within"] <= {"list", "order", "left listed", "left beyond", "left old"}
    assert (within.tracks.ways(prices).worth <= free.tracks.ways(prices).worth + 1e-9).all()
    young = [n for n in range(len(within.tracks.strain)) if is_young(within, n)]
    choices = WaysOut(within.tracks).best(prices, 3)
    offered = {within.outlets.rows[o].kind for n in young for _, o in choices(n)}
    assert not offered & {"discount", "clear"}


def is_young(season: Season, track: int) -> bool:
    """Whether a track's frags are not too old for the racks in any week."""
    return not season.tracks.open_ways[1][track].any()


# ---- who may settle where ---------------------------------------------------------------------------------------------


def test_a_place_kept_free_later_or_in_part_is_open_until_then_or_beside_it() -> None:
    """North-side mothers at PAR 200: rack N1-b is too bright from week 3 on, N2-a and the fed South suit as well as N1-a."""
    farm = replace(changed(small_farm(), "systems", "North", feeds=()), pairs=())
    even = replace(farm, light=tuple(x.model_copy(update={"par_umol": 200.0}) for x in farm.light))

    def admitted(farm: Farm, *pins: Pin) -> list[int]:
        """Weeks in which A1's frags may settle in tank N1."""
        season = season_of(replace(farm, pins=pins), single=True)
        tracks = season.tracks
        pairs = [k for k, p in enumerate(tracks.pairs_of["AAA"]) if tracks.classes[tracks.pairs[p][1]].zones[0].tank == "N1"]
        return [w for w in farm.weeks.all if any(tracks.admits["A1"][w - 1, k] for k in pairs)]

    whole = Pin(pin="P1", kind="keep free", tank="N1", from_date=date(2026, 12, 21), to_date=date(2026, 12, 30))
    assert admitted(even) == list(range(1, 9))
    assert admitted(even, whole) == [1, 2, 3, 6, 7, 8]
    part = Pin(pin="P1", kind="keep free", rack="N1-a")
    assert admitted(even, part) == list(range(1, 9))
    assert admitted(even, part, Pin(pin="P2", kind="keep free", rack="N1-b", from_date=date(2027, 1, 4))) == [1, 2, 3, 4, 5]


# ---- outlets ----------------------------------------------------------------------------------------------------------


def outlet_of(season: Season, kind: str, strain: str, name: str, week: int) -> tuple[Outlet, dict[str, float]]:
    """An outlet, and what a frag uses by kind of row."""
    at = next(
        i for i, o in enumerate(season.outlets.rows) if (o.kind, o.strain, o.size_class, o.week) == (kind, strain, name, week)
    )
    uses = season.outlets.uses[at]
    return season.outlets.rows[at], {season.capacity.rows[r].kind: float(a) for r, a in zip(uses.indices, uses.data, strict=True)}


def test_what_a_frag_brings_and_uses_by_hand() -> None:
    """List 20, discount 5, grade B 10, 90 % make grade; 1.5 minutes and a tenth of 4 to pack at 22 an hour, a carton at 3."""
    season = season_of(changed(small_farm(), "settings", end_frag_share=0.8))
    packing = 1.9 / 60 * 22 + 0.3
    listed, uses = outlet_of(season, "list", "AAA", "small", 2)
    assert listed.worth == pytest.approx(0.9 * 20 + 0.1 * 10 - packing)
    assert uses == pytest.approx({"boxes": 0.1, "market": 0.9, "market group": 0.9, "outside": 1.9, "overtime": 1.9})
    beyond, uses = outlet_of(season, "discount", "AAA", "small", 2)
    assert beyond.worth == pytest.approx(0.9 * 5 + 0.1 * 10 - packing)
    assert "market" not in uses
    cleared, _ = outlet_of(season, "clear", "AAA", "large", 2)
    assert cleared.worth == pytest.approx(10 - packing)
    left, uses = outlet_of(season, "left listed", "AAA", "large", 9)
    assert left.worth == pytest.approx(0.8 * (0.9 * 40 + 0.1 * 20 - 1.5 / 60 * 22))
    assert uses == {"end market": 1.0}
    old, uses = outlet_of(season, "left old", "AAA", "large", 9)
    assert (old.worth, uses) == (pytest.approx(0.8 * 10), {})


def test_an_order_saves_its_late_and_short_costs() -> None:
    """Due in week 2 and packed on Mondays: late from week 3; a frag in week 4 leaves weeks 3 and 4 to pay and saves the other 4."""
    order = Order(
        order="one", channel="ship", strain="AAA", size_class="small", quantity=6, price=Decimal(30), due=date(2026, 12, 9)
    )
    farm = changed(replace(small_farm(), orders=(order,)), "settings", late_cost=Decimal(1), short_cost=Decimal(5))
    season = season_of(farm)
    packing = 1.9 / 60 * 22 + 0.3
    for week, late_weeks in ((1, 6), (2, 6), (3, 5), (4, 4), (8, 0)):
        found, uses = outlet_of(season, "order", "AAA", "small", week)
        assert found.worth == pytest.approx(0.9 * 30 + 0.1 * 10 - packing + 0.9 * (late_weeks + 5))
        assert uses["order"] == 0.9
    assert season.constant == pytest.approx(-6 * (6 + 5))


def test_interest_takes_off_later_money() -> None:
    season = season_of(changed(small_farm(), "settings", interest_percent_per_year=10))
    plain = season_of(small_farm())
    for week in (1, 8):
        now, then = (outlet_of(s, "list", "AAA", "small", week)[0].worth for s in (plain, season))
        assert then == pytest.approx(now * 1.1 ** (-week / 52))


def test_nothing_is_sold_while_a_channel_packs_on_no_day() -> None:
    shut = Closure(channel="ship", from_date=MONDAY, to_date=date(2026, 12, 12))
    season = season_of(replace(small_farm(), ship_calendar=(shut,), orders=()))
    assert {o.week for o in season.outlets.rows if o.kind == "list"} == {3, 4, 5, 6, 7, 8}
