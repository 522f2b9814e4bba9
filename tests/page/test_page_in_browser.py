"""The page as its readers use it: find, slide, touch, filter, by hand and by keyboard; its numbers are the plan's."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path

import pytest

from scheduler.plan.model import Notice
from scheduler.plan.view import PlanView
from scheduler.reporting.page import page_bytes
from scheduler.reporting.tables import tables_of
from scheduler.reporting.tables.forecast import months_table
from scheduler.reporting.tables.places import tank_use, zone_percent, zone_use
from tests.page.browser import Browser, Opened
from tests.page.conftest import Demo

SHEETS = ("week", "racks", "bench", "capacity", "months", "why", "cautions")


@pytest.fixture
def racks(browser: Browser, demo: Demo) -> Iterator[Opened]:
    with browser.open(demo.file, "racks") as opened:
        yield opened


def number(text: str) -> float:
    return float(text.replace(",", ""))


# ---- the week and every sheet -----------------------------------------------------------------------------------------


def test_every_sheet_opens_without_a_word_or_a_request(browser: Browser, demo: Demo) -> None:
    with browser.open(demo.file, offline=True) as opened:
        for sheet in SHEETS:
            opened.turn_to(sheet)
            assert opened.page.locator("main > section:visible").count() == 1
            assert opened.page.get_attribute(f'.tabs a[href="#{sheet}"]', "aria-current") == "page"
            assert not re.search(r"\b(null|undefined|NaN|\[object)", opened.text("main")), sheet
        assert (opened.said, opened.requests) == ([], [])


def test_the_page_can_ask_for_nothing(browser: Browser, demo: Demo) -> None:
    with browser.open(demo.file) as opened:
        assert opened.page.evaluate("fetch('https://farm.invalid/').then(() => 'got it', () => 'refused')") == "refused"
        image = (
            "new Promise((done) => { const i = new Image(); i.onload = () => done('got it'); i.onerror = () => done('refused'); "
            "i.src = 'https://farm.invalid/a.png'; })"
        )
        assert opened.page.evaluate(image) == "refused"
        assert opened.requests == []
        assert any("Content Security Policy" in said for said in opened.said)


def test_without_scripts_the_week_and_the_cautions_are_there(browser: Browser, demo: Demo) -> None:
    with browser._browser.new_context(java_script_enabled=False) as context:
        page = context.new_page()
        page.goto(demo.file.as_uri())
        assert page.locator("#week .numbers tbody tr").count() == 6
        assert "Without scripts" in page.inner_text("body")
        assert "Palytoxin".lower() in page.inner_text("#cautions").lower() or "electricity" in page.inner_text("#cautions")


def test_the_week_in_numbers_is_the_plans(browser: Browser, demo: Demo) -> None:
    with browser.open(demo.file) as opened:
        rows = {row[0]: row[1:] for row in (text.split("\t") for text in opened.texts("#week tbody tr"))}
        near = demo.farm.weeks.near_weeks
        assert rows["colonies to cut"] == [str(sum(c.week == w for c in demo.plan.cuts)) for w in near]
        assert rows["pieces to cut and mount"] == [str(sum(c.pieces for c in demo.plan.cuts if c.week == w)) for w in near]
        assert f"{demo.plan.value:,.2f}" in opened.text("#week")
        cuts, pieces = next(s[1:] for s in demo.tables["sessions"].pick("week", "cuts", "pieces") if s[0] == 1)
        said = f"cut {cuts} {'colony' if cuts == 1 else 'colonies'}, {pieces} {'piece' if pieces == 1 else 'pieces'}"
        assert said in opened.text("#week .days")
        assert "(sheet" not in opened.text("#week .days")


def test_what_gave_way_is_told_with_the_week(browser: Browser, demo: Demo, tmp_path: Path) -> None:
    notice = Notice(kind="gave way", text="order A-108: about 2 of 6 HAR head are not covered")
    view = PlanView(demo.farm, demo.plan.model_copy(update={"notices": (notice,)}))
    file = tmp_path / "week.html"
    file.write_bytes(page_bytes(view, tables_of(view), "passed", demo.outlook))
    with browser.open(file) as opened:
        assert notice.text in opened.text("#week")
    with browser.open(demo.file) as opened:
        assert notice.text not in opened.text("#week")


# ---- racks ------------------------------------------------------------------------------------------------------------


def test_find_a_lot_and_see_where_it_goes(racks: Opened, demo: Demo) -> None:
    lot = next(v for v in demo.view.lots.values() if not v.is_new and v.sales and v.sales[0].route == "order")
    racks.page.fill("#find", lot.id[:-1].lower())
    racks.page.wait_for_selector("#racks-found button")
    assert re.match(r"\d+ lots? and \d+ mothers?", racks.text("#find-said"))
    racks.page.click(f'#racks-found button:has-text("{lot.id}")')
    card = racks.text("#card")
    age = 1 - lot.cut_week
    for part in (lot.id, demo.farm.strain[lot.strain].name, f"{age} weeks", f"{lot.left(1)} of {lot.pieces}", str(lot.colony)):
        assert part in card
    for row, sale in zip(racks.texts("#card table >> nth=0 >> tbody tr"), lot.sales, strict=True):
        cells = row.split("\t")
        assert cells[0] == demo.farm.weeks.label(sale.week)
        assert cells[3] == str(sale.pieces)
        if sale.order:
            assert f"to order {sale.order} as {sale.size_class}" in cells[1]
    racks.page.click('#card button:has-text("Show on the racks")')
    assert racks.page.locator("#card").is_hidden()
    assert racks.page.locator(".rack path.found").count() >= 1


def test_a_strain_is_found_by_its_name(racks: Opened, demo: Demo) -> None:
    name = demo.farm.strains[0].name
    racks.page.fill("#find", name[:6].upper())
    racks.page.wait_for_selector("#racks-found button")
    lots = sum(demo.farm.strain[v.strain].name == name for v in demo.view.lots.values())
    assert racks.text("#find-said").startswith(f"{lots} lot")
    racks.page.fill("#find", "no such thing")
    racks.wait_until("document.getElementById('find-said').textContent.startsWith('0 lots')")


def test_sliding_through_near_weeks_shows_every_position(racks: Opened, demo: Demo) -> None:
    """Lots, plugs and positions of every rack and near week, read back from the page."""
    for week in demo.farm.weeks.near_weeks:
        rows = [r for r in demo.tables["positions"].pick("week", "rack", "what", "lot_or_colony") if r[0] == week]
        racks.slide_to(week)
        for index in range(len(demo.farm.tanks)):
            racks.tank(index)
            for rack in racks.page.locator(".rack").all():
                name = rack.get_attribute("data-rack")
                here = Counter(str(what) for _, r, what, _ in rows if r == name)
                text = rack.locator(".counts").inner_text()
                found = {what: int(n) for n, what in re.findall(r"(\d+) (stand|held by mothers|arriving|free)", text)}
                stand, come, free = (found[what] for what in ("stand", "arriving", "free"))
                assert found.get("held by mothers", 0) == here["mother"]
                size = demo.farm.rack[str(name)].rows * demo.farm.rack[str(name)].cols
                assert (stand, come, free) == (here["old"], here["new"] + here["moved in"], size - sum(here.values()))
                kinds = {"0": "old", "1": "new", "2": "moved in", "4": "moved out", "5": "mother"}
                listed = {
                    (kinds[str(b.get_attribute("data-kind"))], b.get_attribute("data-lot"))
                    for b in rack.locator(".lots button").all() if b.get_attribute("data-kind") != "3"
                }  # fmt: skip
                assert listed == {(what, lot) for _, r, what, lot in rows if r == name and what != "blocked"}


def test_sliding_to_later_weeks_shows_the_use_of_light_zones(racks: Opened, demo: Demo) -> None:
    use = zone_use(demo.view)
    for week in (3, 11, demo.farm.weeks.count):
        racks.slide_to(week)
        assert demo.farm.weeks.label(week) in racks.text("#week-said")
        assert "outlook" in racks.text("#racks-said")
        for index in range(len(demo.farm.tanks)):
            racks.tank(index)
            for zone in racks.page.locator(".zones li[data-zone]").all():
                held = use[str(zone.get_attribute("data-zone")), week]
                assert float(str(zone.get_attribute("data-held"))) == float(round(held, 3))
                told = re.search(r"([\d,.]+) of (\d+) positions held", zone.inner_text())
                assert told
                assert number(told[1]) == pytest.approx(float(held), abs=0.051)


def test_a_touch_on_a_plug_opens_its_card_and_on_a_hole_tells_its_light(racks: Opened, demo: Demo) -> None:
    racks.tank(0)
    picture = racks.page.locator('.rack[data-rack="N1-b"] svg')
    box = picture.bounding_box()
    assert box
    cell = (box["width"] - 24 - 62) / 12
    rows = demo.tables["positions"].pick("week", "rack", "row", "column", "what", "lot_or_colony")
    at = {(r, c): (what, name) for week, rack, r, c, what, name in rows if (week, rack) == (1, "N1-b")}
    taken = next(p for p, (what, _) in at.items() if what == "old")
    picture.click(position={"x": 24 + (taken[1] - 0.5) * cell, "y": 18 + (taken[0] - 0.5) * cell})
    assert racks.text("#card h2") == at[taken][1]
    racks.page.keyboard.press("Escape")
    empty = next((r, c) for r in range(1, 9) for c in range(12, 0, -1) if (r, c) not in at and c == 12)
    picture.click(position={"x": 24 + (empty[1] - 0.5) * cell, "y": 18 + (empty[0] - 0.5) * cell})
    assert re.search(rf"{chr(64 + empty[0])}{empty[1]}: free, \d+ PAR", racks.text('.rack[data-rack="N1-b"]'))


# ---- bench ------------------------------------------------------------------------------------------------------------


def test_a_step_opens_a_card_with_the_plans_cut(browser: Browser, demo: Demo) -> None:
    rows = {
        r[0]: r[1:]
        for r in demo.tables["cuts"].pick("lot", "colony", "pieces", "cutter", "mounter", "to_rack", "to_blocks", "session")
    }
    with browser.open(demo.file, "bench", height=6000) as opened:
        opened.page.wait_for_selector(".session:last-child .steps")
        seen = set()
        for step in opened.page.locator("[data-step]").all():
            lot = str(step.get_attribute("data-step"))
            step.click()
            colony, pieces, cutter, mounter, rack, blocks, _ = rows[lot]
            facts = dict(zip(opened.texts("#card dt"), opened.texts("#card dd"), strict=True))
            assert facts["colony"] == colony
            assert facts["pieces"] == str(pieces)
            assert (facts["cuts"], facts["mounts"]) == (cutter, mounter)
            assert (facts["lot code"], facts["rack"], facts["positions"]) == (lot, rack, blocks)
            assert "glue" in opened.text("#card .cautions")
            opened.page.click('#card button:has-text("Close")')
            seen.add(lot)
        assert seen == {c.lot for c in demo.plan.cuts if c.session}
        clock = demo.tables["clock"].pick("person", "start")
        first = min(str(start)[:5] for person, start in clock if person)
        assert opened.texts(".steps .time")[0].startswith(first)
        assert opened.said == []


# ---- capacity, months, why --------------------------------------------------------------------------------------------


def test_use_and_hours_are_the_tables(browser: Browser, demo: Demo) -> None:
    with browser.open(demo.file, "capacity") as opened:
        use = tank_use(demo.view, demo.tables["rack_use"])
        for tank, weeks in use.items():
            shown = opened.texts(f'#capacity tr[data-row="{tank}"] td')
            assert shown == [str(round(w)) for w in weeks.values()]
        for index, tank in enumerate(t.tank for t in demo.farm.tanks):
            opened.page.select_option("#zone-tank", str(index))
            for zone, weeks in zone_percent(demo.tables["rack_use"]).items():
                if zone.startswith(f"{tank} "):
                    assert opened.texts(f'#capacity tr[data-row="{zone}"] td') == [str(round(w)) for w in weeks.values()]
        for where, skills in set(demo.tables["hours"].pick("where", "skills")):
            wanted = [
                n for w, s, n in demo.tables["hours"].pick("where", "skills", "minutes_needed") if (w, s) == (where, skills)
            ]
            shown = opened.texts(f'#capacity tr[data-row="{where} {skills}"] td')
            hours = [Decimal(repr(float(str(n)) / 60)).quantize(Decimal("0.1"), ROUND_HALF_UP) for n in wanted]
            assert [s.split("\n")[0] for s in shown] == [f"{h:,}" for h in hours]  # halves go up, as written in decimals
        helps = opened.texts("#capacity .helps tbody tr")
        assert [h.split("\t")[1] for h in helps] == [f"{h.gain:,.2f}" for h in demo.plan.helps[: len(helps)]]


def test_months_show_the_forecasts_numbers(browser: Browser, demo: Demo) -> None:
    with browser.open(demo.file, "months") as opened:
        rows = months_table(demo.outlook).pick("month", "strain", "size_class", "p10", "p50", "p90")

        def shown() -> dict[str, list[str]]:
            return {cells[0]: cells[1:] for cells in (t.split("\t") for t in opened.texts("#month-rows tbody tr"))}

        everything = shown()
        for month, *spread in ((m, *s) for m, strain, _, *s in rows if strain == "all"):
            assert [int(number(n)) for n in everything[str(month)][1:4]] == spread
        planned = demo.tables["sellable"].pick("month", "first_class", "expected_frags")
        total = sum(Decimal(str(frags)) for month, first, frags in planned if month == "2027-01" and first)
        assert number(everything["2027-01"][0]) == pytest.approx(float(total), abs=0.051)
        opened.page.select_option("#month-choice", label="Bell Tussock (BEL), head")
        for month, *spread in ((m, *s) for m, strain, size, *s in rows if (strain, size) == ("BEL", "head")):
            assert [int(number(n)) for n in shown()[str(month)][1:4]] == spread
        orders = {t.split("\t")[0]: t.split("\t") for t in opened.texts(".orders tbody tr")}
        for order, due, in_time in demo.tables["orders"].pick("order", "due", "in_time"):
            assert orders[str(order)][6] == str(due)
            assert number(orders[str(order)][8]) == pytest.approx(float(str(in_time)), abs=0.051)


def test_reasons_are_filtered_and_sorted(browser: Browser, demo: Demo) -> None:
    with browser.open(demo.file, "why") as opened:
        rows = "#why-table tbody tr"
        assert opened.page.locator(rows).count() == len(demo.farm.colonies)
        reason = Counter(h.reason for h in demo.plan.held).most_common(1)[0][0]
        opened.page.select_option("#why-reason", reason)
        wanted = [h for h in demo.plan.held if h.reason == reason]
        assert {r.split("\t")[0] for r in opened.texts(rows)} == {h.colony for h in wanted}
        stakes = [number(s) for s in opened.texts(f"{rows} .stake") if s]
        assert stakes == sorted((float(h.at_stake) for h in wanted if h.at_stake is not None), reverse=True)
        opened.page.select_option("#why-reason", "")
        opened.page.click('#why-bar button:text-is("cut")')
        near = {c.colony for c in demo.plan.cuts if c.week in demo.farm.weeks.near_weeks}
        assert {r.split("\t")[0] for r in opened.texts(rows)} == near
        opened.page.click('#why-bar button:text-is("all")')
        opened.page.fill("#why-text", demo.farm.colonies[3].colony)
        assert opened.texts(f"{rows} th") == [demo.farm.colonies[3].colony]
        assert opened.text("#why-said").startswith("1 colony of")
        opened.page.fill("#why-text", "")
        opened.page.click('button[data-sort="colony"]')
        names = opened.texts(f"{rows} th")
        assert names == sorted(names)
        assert opened.page.get_attribute('th:has(button[data-sort="colony"])', "aria-sort") == "ascending"
