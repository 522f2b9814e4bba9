"""What the page carries is what the tables say; text stays text; nothing can be asked for from outside."""

from __future__ import annotations

import json
import math
import re
from collections import Counter
from dataclasses import replace
from typing import Any

import pytest

from scheduler.farm.blocks import Block
from scheduler.forecast.learn import PIECES
from scheduler.forecast.outlook import forecast, quantiles
from scheduler.forecast.standing import LotGrowth
from scheduler.reporting.page.embed import json_for_html, policy, source_hash
from scheduler.reporting.page.racks import MOTHER, MOUNTED, MOVED_IN, MOVED_OUT, SOLD, STANDS, packed_from, plugs_between
from scheduler.reporting.page.write import SCRIPTS, STYLES, joined
from scheduler.reporting.tables.places import zone_use
from scheduler.reporting.tables.trade import positions_text
from tests.page.conftest import Demo

WHAT = {STANDS: "old", MOUNTED: "new", MOVED_IN: "moved in", MOVED_OUT: "moved out", MOTHER: "mother"}


def data_of(page: bytes) -> dict[str, Any]:
    found = re.search(r'<script type="application/json" id="plan-data">(.*?)</script>', page.decode(), re.DOTALL)
    assert found
    data: dict[str, Any] = json.loads(found[1])
    return data


@pytest.fixture(scope="module")
def data(demo: Demo) -> dict[str, Any]:
    return data_of(demo.page)


def held(plugs: list[int], down: int, across: int) -> list[tuple[int, int]]:
    """Positions of plugs, by the farm's own blocks."""
    found: list[tuple[int, int]] = []
    for i in range(0, len(plugs), 5):
        top, left, wide, first, last = plugs[i : i + 5]
        block = Block(top=top, left=left, across=wide, plugs=last)
        found += [p for plug in range(first, last) for p in block.plug_positions(plug, down, across)]
    return found


def test_near_weeks_hold_what_the_table_of_positions_holds(demo: Demo, data: dict[str, Any]) -> None:
    places = data["places"]
    expected = Counter(
        row
        for row in demo.tables["positions"].pick("week", "rack", "row", "column", "what", "lot_or_colony")
        if row[4] != "blocked"
    )
    found: Counter[tuple[Any, ...]] = Counter()
    for week, rows in enumerate(places["near"], start=1):
        for rack, kind, index, plugs in rows:
            if kind == SOLD:
                continue
            if kind == MOTHER:
                name, down, across = places["colonies"][index][0], 1, 1
            else:
                lot = places["lots"][index]
                name, (down, across) = lot[0], places["strains"][lot[1]][5:7]
            for r, c in held(plugs, down, across):
                found[week, places["racks"][rack]["id"], r + 1, c + 1, WHAT[kind], name] += 1
    assert found == expected


def test_what_leaves_is_what_the_sales_take_from_the_racks(demo: Demo, data: dict[str, Any]) -> None:
    places = data["places"]
    for week, rows in enumerate(places["near"], start=1):
        sales = [(str(lot), str(place)) for w, lot, place in demo.tables["sales"].pick("week", "lot", "leaves_from") if w == week]
        gone = {
            places["lots"][index][0]: (places["racks"][rack]["id"], plugs) for rack, kind, index, plugs in rows if kind == SOLD
        }
        assert set(gone) == {lot for lot, _ in sales}
        for lot, places_named in ((lot, [place for other, place in sales if other == lot]) for lot in gone):
            rack, plugs = gone[lot]
            strain = next(x for x in places["strains"] if x[0] == demo.view.lots[lot].strain)
            positions = held(plugs, strain[5], strain[6])
            assert {place.split(": ")[0] for place in places_named} == {rack}
            if len(places_named) == 1:
                assert places_named[0] == f"{rack}: {positions_text(tuple(positions))}"


def test_plugs_between_counts_through_the_blocks_of_a_lot() -> None:
    blocks = (Block(top=0, left=2, across=3, plugs=5), Block(top=4, left=0, across=2, plugs=4))
    assert plugs_between(blocks, 0, 9) == [0, 2, 3, 0, 5, 4, 0, 2, 0, 4]
    assert plugs_between(blocks, 4, 7) == [0, 2, 3, 4, 5, 4, 0, 2, 0, 2]
    assert plugs_between(blocks, 5, 5) == []


def test_nothing_is_packed_from_a_lot_cut_that_week(demo: Demo) -> None:
    for lot in demo.view.lots.values():
        if lot.is_new:
            assert packed_from(lot, lot.cut_week) is None


def test_zones_are_held_as_in_the_table_of_rack_use(demo: Demo, data: dict[str, Any]) -> None:
    use = zone_use(demo.view)
    for zone in data["places"]["zones"]:
        assert zone["held"] == [float(round(use[zone["id"], w], 3)) for w in demo.farm.weeks.all]
        assert zone["limit"] == pytest.approx(demo.farm.settings.usable_share * zone["capacity"], abs=0.05)


def test_every_colony_has_a_reason_and_every_lot_its_sales(demo: Demo, data: dict[str, Any]) -> None:
    assert sorted(row[0] for row in data["why"]) == sorted(c.colony for c in demo.farm.colonies)
    stakes = {row[0]: row[6] for row in data["why"]}
    for row in (*demo.plan.why, *demo.plan.held):
        assert stakes[row.colony] == (None if row.at_stake is None else float(row.at_stake))
    sold = sum(sale[5] for lot in data["places"]["lots"] for sale in lot[7])
    assert sold == sum(s.pieces for s in demo.plan.sales)


def test_light_is_interpolated_and_whole(data: dict[str, Any]) -> None:
    """N1-a: corners 318, 284, 262, 252 (the book); the middle of 8 x 12 positions is bilinear between them, by hand."""
    rack = next(r for r in data["places"]["racks"] if r["id"] == "N1-a")
    week, par = rack["light"][0]
    assert (week, len(par)) == (1, 96)
    assert [par[0], par[11], par[84], par[95]] == [318, 284, 262, 252]
    down, along = 3 / 7, 5 / 11
    by_hand = (318 * (1 - along) + 284 * along) * (1 - down) + (262 * (1 - along) + 252 * along) * down
    assert par[3 * 12 + 5] == round(by_hand)
    planned = next(r for r in data["places"]["racks"] if r["id"] == "N2-d")
    assert [w for w, _ in planned["light"]] == [1, 10]  # a lamp change on 2027-02-01, the Monday of week 10


def test_a_page_is_the_same_every_time(demo: Demo) -> None:
    from scheduler.reporting.page import page_bytes

    assert page_bytes(demo.view, demo.tables, "passed", demo.outlook) == demo.page
    assert len(demo.page) < 2_000_000


# ---- text and requests ------------------------------------------------------------------------------------------------


def test_json_cannot_leave_its_element() -> None:
    hostile = "</script><!--<script>&amp;\u2028\u2029 <b>"
    text = str(json_for_html({"name": hostile}))
    assert not set(text) & set("<>&\u2028\u2029")
    assert json.loads(text) == {"name": hostile}


def test_numbers_that_json_does_not_know_are_refused() -> None:
    with pytest.raises(ValueError, match="JSON"):
        json_for_html([float("nan")])


def test_the_policy_lets_in_this_style_and_script_alone(demo: Demo) -> None:
    text = demo.page.decode()
    given = re.search(r'http-equiv="Content-Security-Policy" content="([^"]*)"', text)
    style, script = re.search(r"<style>(.*?)</style>", text, re.DOTALL), re.search(r"<script>(.*?)</script>", text, re.DOTALL)
    assert given
    assert style
    assert script
    assert given[1].replace("&#39;", "'") == policy(style[1], script[1])
    assert given[1].startswith("default-src &#39;none&#39;;")


def test_a_hash_source_is_the_one_of_the_recommendation() -> None:
    """The example of W3C CSP Level 2, 4.2.5: ``alert('Hello, world.');`` (from memory)."""
    assert source_hash("alert('Hello, world.');") == "'sha256-qznLcsROx4GACP2dm0UCKCzCG+HiZ1guq6ZZDob/Tng='"


def test_scripts_make_text_only_and_name_no_other_place() -> None:
    script, style = joined(SCRIPTS), joined(STYLES)
    for word in (
        "innerHTML",
        "outerHTML",
        "insertAdjacentHTML",
        "document.write",
        "eval(",
        "new Function",
        "fetch(",
        "XMLHttpRequest",
        "import(",
    ):
        assert word not in script
    assert set(re.findall(r"https?://[^\"' )]+", script + style)) <= {"http://www.w3.org/2000/svg"}
    assert "@import" not in style
    assert set(re.findall(r"url\(([^)]*)\)", style)) == {"#stripes", "#dots", "#waves"}
    assert "</" not in script


def test_planned_and_forecast_count_the_same(demo: Demo) -> None:
    """Where nothing is uncertain but each frag's fate, lots grow as planned and cuts give what is planned, the forecast's mean is the table's figure: within
    five standard errors of a mean of binomial counts, whose variance is at most their mean."""
    learned, draws, sure = demo.outlook.learned, 1000, 1e-6
    blends = {key: replace(b, spread=sure, blended=1.0 if key[1] == PIECES else b.blended) for key, b in learned.blends.items()}
    spreads = replace(learned.spreads, frags=sure, lots=sure, shock=sure, pieces=sure)
    lots = {lot: LotGrowth(math.log(pace), sure) for lot, pace in demo.farm.pace.items()}
    certain = replace(learned, lots=lots, blends=blends, spreads=spreads)
    found = forecast(demo.outlook.farm, demo.plan, learned=certain, draws=draws)
    table = {key[:-1]: key[-1] for key in demo.tables["sellable"].pick("month", "strain", "size_class", "expected_frags")}
    assert {strain for _, strain, _ in table} == {strain for strain, _ in found.reaching}
    for (strain, size_class), counts in found.reaching.items():
        for (year, month), mean in zip(found.months, counts.mean(axis=0), strict=True):
            planned = float(str(table.get((f"{year}-{month:02d}", strain, size_class), 0)))
            assert mean == pytest.approx(planned, abs=5 * (planned / draws) ** 0.5 + 0.002), (strain, size_class, month)


def test_the_view_of_all_strains_counts_each_frag_once(demo: Demo, data: dict[str, Any]) -> None:
    planned = {(strain, size_class): by_month for strain, size_class, by_month in data["months"]["planned"]}
    first = {s.strain: demo.farm.size_classes(s.strain)[0].size_class for s in demo.farm.strains}
    for month, frags in planned["all", "all"].items():
        alone = sum(by_month.get(month, 0) for (strain, k), by_month in planned.items() if first.get(strain) == k)
        assert frags == pytest.approx(alone)
    together = next(row[4] for row in data["months"]["forecast"]["rows"] if row[0] == "all")
    assert together == quantiles(demo.outlook.total.sum(axis=1, keepdims=True))[:, 0].tolist()
    cuts = [(c.pieces, demo.outlook.learned.value(c.strain, PIECES)) for c in demo.plan.cuts]
    got = next(row[5] for row in data["months"]["forecast"]["rows"] if row[0] == "all")
    assert got == pytest.approx(100 * sum(n * share for n, share in cuts) / sum(n for n, _ in cuts), abs=0.051)
