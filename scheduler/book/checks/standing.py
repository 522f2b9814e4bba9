"""Doubts about how things stand today: crowding, reach, company, flow, light and old counts. Nothing here stops a plan."""

from __future__ import annotations

from itertools import combinations, combinations_with_replacement

import numpy as np
from numpy.typing import NDArray

from scheduler.biology.light import par_of_rack
from scheduler.book.checks.ledger import Ledger
from scheduler.farm.blocks import Position, position_name
from scheduler.farm.farm import Farm


def check_counts(farm: Farm, ledger: Ledger) -> None:
    """Counts and readings that are old, and colonies that cannot be relied on."""
    s, today = farm.settings, farm.settings.book_date
    for index, colony in enumerate(farm.colonies):
        days = (today - colony.count_date).days
        if days > s.stale_count_days:
            ledger.doubt(
                "colonies", index, "count_date", f"not counted for {days} days", f"a count within {s.stale_count_days} days"
            )
        if colony.estimated:
            found = f"size worked out from the cut on {colony.last_cut or colony.count_date}, not counted"
            ledger.doubt("colonies", index, "count", found, "a count after the cut")
        if colony.last_cut is not None and colony.last_cut > colony.count_date:
            found = f"not counted since its last cut on {colony.last_cut}"
            ledger.doubt("colonies", index, "count_date", found, "a count after the cut", "the count may be too high")
        if colony.condition == "watch":
            ledger.doubt("colonies", index, "condition", f"colony {colony.colony} on watch", "fit", "it is not cut")
    for index, lot in enumerate(farm.lots):
        days = (today - lot.count_date).days
        if days > s.stale_count_days and lot.alive:
            ledger.doubt("lots", index, "count_date", f"not counted for {days} days", f"a count within {s.stale_count_days} days")
    for index, system in enumerate(farm.systems):
        if system.quarantined and system.release_date is None:
            found = f"{system.system} in quarantine without a release date"
            ledger.doubt("systems", index, "release_date", found, "a date", "nothing leaves it in this plan")
    for rack in farm.racks:
        past = [(r.from_date, i) for i, r in enumerate(farm.light) if r.rack == rack.rack and r.from_date <= today]
        if not past:
            first = min((r.from_date, i) for i, r in enumerate(farm.light) if r.rack == rack.rack)
            found = f"first reading of {rack.rack} on {first[0]}"
            ledger.doubt("light", first[1], "from_date", found, "a reading by now", "it is used from the start")
            continue
        measured = [(d, i) for d, i in past if not farm.light[i].planned]
        day, index = max(measured or past)
        if (today - day).days > s.stale_par_days or not measured:
            found = f"rack {rack.rack} measured {(today - day).days} days ago" if measured else f"rack {rack.rack} never measured"
            ledger.doubt("light", index, "from_date", found, f"a reading within {s.stale_par_days} days")


def _held(farm: Farm) -> dict[str, list[tuple[int, frozenset[Position]]]]:
    """By rack: lots (their index) with the positions they hold."""
    found: dict[str, list[tuple[int, frozenset[Position]]]] = {}
    for index, lot in enumerate(farm.lots):
        traits = farm.traits(lot.strain)
        held = frozenset(p for b in farm.lot_blocks(lot) for p in b.positions(traits.plug_rows, traits.plug_cols))
        if held:
            found.setdefault(lot.rack, []).append((index, held))
    return found


def check_room(farm: Farm, ledger: Ledger) -> None:
    """L9 (positions kept free) and L4 (reach) as they stand today."""
    held = _held(farm)
    for index, system in enumerate(farm.systems):
        racks = [r for r in farm.racks if farm.system_of_rack(r.rack) == system.system]
        room = sum(len(r.open_positions) for r in racks)
        lots = sum(len(p) for r in racks for _, p in held.get(r.rack, ()))
        mothers = sum(len(p) for r in racks for _, p in farm.mothers_on_racks.get(r.rack, ()))
        limit = room * (1 - farm.settings.keep_free_share)
        if lots + mothers > limit + 1e-9:
            found = f"{lots + mothers} of {room} positions of {system.system} held"
            ledger.doubt("systems", index, "system", found, f"at most {int(limit + 1e-9)} (keep_free_share)")
    for rack, rows in held.items():
        pitch = farm.rack[rack].pitch_mm
        for (a, at), (b, bt) in combinations(rows, 2):
            want = farm.clear_positions(farm.lots[a].strain, farm.lots[b].strain, pitch)
            if not want:
                continue
            p, q = np.array(sorted(at)), np.array(sorted(bt))
            apart = np.abs(p[:, None, :] - q[None, :, :]).max(axis=2) - 1
            clear = int(apart.min())
            if clear < want:
                i, j = np.unravel_index(int(apart.argmin()), apart.shape)
                near = f"{position_name((int(p[i][0]), int(p[i][1])))} and {position_name((int(q[j][0]), int(q[j][1])))}"
                found = f"lots {farm.lots[a].lot} and {farm.lots[b].lot} {clear} clear positions apart at {near} of {rack}"
                ledger.doubt("lots", b, "blocks", found, f"at least {want} (reach)")


def check_company(farm: Farm, ledger: Ledger) -> None:
    """L7: groups that must not share a tank or system and do today."""
    where: dict[str, set[str]] = {}
    for colony in farm.colonies:
        where.setdefault(colony.strain, set()).add(colony.tank)
    for lot in farm.lots:
        if lot.alive:
            where.setdefault(lot.strain, set()).add(farm.rack[lot.rack].tank)
    groups: dict[tuple[str, str], set[str]] = {}
    for strain, tanks in where.items():
        for tank in tanks:
            groups.setdefault(("tank", tank), set()).add(strain)
            groups.setdefault(("system", farm.system_of_tank(tank)), set()).add(strain)
    rows = {frozenset((p.group_a, p.group_b)): i for i, p in enumerate(farm.pairs)}
    for (level, name), strains in sorted(groups.items()):
        for one, other in combinations_with_replacement(sorted({farm.strain[s].group for s in strains}), 2):
            alone = one == other and sum(farm.strain[s].group == one for s in strains) < 2
            if farm.apart(one, other) == level and not alone:
                found = f"{one} and {other} together in {level} {name}"
                ledger.doubt("pairs", rows[frozenset((one, other))], "apart", found, f"not in one {level}")


def check_stand(farm: Farm, ledger: Ledger) -> None:
    """L8 (flow), and lots standing in light outside their strain's range."""
    for index, lot in enumerate(farm.lots):
        if not lot.alive:
            continue
        traits, rack = farm.traits(lot.strain), farm.rack[lot.rack]
        age = 1 - farm.weeks.week_of(lot.cut_date)
        flows = traits.flow_settling if age < farm.settings.settle_weeks else traits.flow_growing
        if rack.flow not in flows:
            stage = "settling" if age < farm.settings.settle_weeks else "growing"
            ledger.doubt("lots", index, "rack", f"{rack.flow} flow on {rack.rack} ({stage})", " or ".join(flows) + " flow")
        if traits.plug_kind not in rack.plug_kinds:
            expected = f"a rack that takes {traits.plug_kind} plugs"
            ledger.doubt("lots", index, "rack", f"rack {rack.rack} takes {', '.join(rack.plug_kinds)} plugs", expected)
        par = par_of_rack(farm, lot.rack, 1)
        held = [p for b in farm.lot_blocks(lot) for p in b.positions(traits.plug_rows, traits.plug_cols)]
        mean = float(np.mean([par[p] for p in held]))
        if not traits.par_min <= mean <= traits.par_max:
            found = f"lot {lot.lot} in PAR {mean:.0f}"
            ledger.doubt(
                "lots", index, "rack", found, f"{traits.par_min:g} to {traits.par_max:g}", "losses count as under stress"
            )


def check_settling(farm: Farm, ledger: Ledger) -> None:
    """L2, L6, L8: whether frags of a colony find any position to settle on."""
    low, high = 1 - farm.settings.dim, 1 + farm.settings.bright
    light = {r.rack: np.array([par_of_rack(farm, r.rack, 1)[p] for p in r.open_positions]) for r in farm.racks}
    offers: dict[tuple[str, str, tuple[str, ...]], NDArray[np.float64]] = {}
    for index, colony in enumerate(farm.colonies):
        traits = farm.traits(colony.strain)
        home = farm.system_of_tank(colony.tank)
        key = (home, traits.plug_kind, traits.flow_settling)
        if key not in offers:
            racks = [r for r in farm.racks if farm.may_settle_in(home, farm.system_of_rack(r.rack), 1)]
            racks = [r for r in racks if traits.plug_kind in r.plug_kinds and r.flow in traits.flow_settling]
            offers[key] = np.sort(np.concatenate([np.empty(0), *(light[r.rack] for r in racks)]))
        offer = offers[key]
        bottom, top = low * colony.par_umol - 1e-9, high * colony.par_umol + 1e-9
        at = int(np.searchsorted(offer, bottom))
        if not len(offer):
            found = f"no rack with {traits.plug_kind} plugs and {' or '.join(traits.flow_settling)} flow near {colony.colony}"
            ledger.doubt("colonies", index, "tank", found, "a rack its frags may settle on", "it cannot be cut")
        elif at == len(offer) or offer[at] > top:
            found = f"no position of PAR {bottom:.0f} to {top:.0f} for frags of {colony.colony}"
            ledger.doubt("colonies", index, "par_umol", found, "a rack in like light", "it cannot be cut; check the reading")
