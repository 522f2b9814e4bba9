"""The bench tables: routes that share out every minute, dips with a dose, putty that can be used up in time, codes that differ."""

from __future__ import annotations

from collections import defaultdict

from scheduler.book.checks.ledger import Ledger
from scheduler.book.coerce import nearest
from scheduler.farm.bench import RouteStep
from scheduler.farm.codes import code_clashes, label_codes, reused_codes
from scheduler.farm.farm import Farm

_SHARES = ("of_colony", "of_cut", "of_mount", "of_label")
_FREE = ("dip",)
"""Steps that take nobody's time."""


def check_routes(farm: Farm, ledger: Ledger) -> None:
    """Each group's steps: one to cut, each place once, shares that add up to 1."""
    by_group: dict[str, list[tuple[int, RouteStep]]] = defaultdict(list)
    for index, row in enumerate(farm.routes):
        by_group[row.group].append((index, row))
        if row.step in _FREE and any(getattr(row, share) for share in _SHARES):
            ledger.fault("routes", index, "step", f"minutes for {row.step}", "no shares: frags lie in the dip by themselves")
        if row.step == "cut" and row.worker != "cutter":
            ledger.fault("routes", index, "worker", row.worker, "cutter for the step cut")
        if row.step == "mount" and row.worker != "mounter":
            ledger.fault("routes", index, "worker", row.worker, "mounter for the step mount")
        if row.step == "label" and row.worker == "either":
            ledger.fault("routes", index, "worker", row.worker, "cutter or mounter for the step label")
    for group, rows in by_group.items():
        first = rows[0][0]
        places = [row.place for _, row in rows]
        if len(set(places)) < len(places):
            ledger.fault("routes", first, "place", f"a place of {group} twice", "each place once in a group")
        steps = {row.step for _, row in rows}
        for needed in ("cut", "mount"):
            if needed not in steps:
                ledger.fault("routes", first, "step", f"no step {needed} for {group}", f"a row with {needed}")
        for share in _SHARES:
            total = sum(getattr(row, share) for _, row in rows)
            if abs(total - 1) > 1e-6 and (share != "of_label" or "label" in steps):
                ledger.fault("routes", first, share, f"{total:g} over the steps of {group}", "shares that add up to 1")
        order = [row.step for _, row in sorted(rows, key=lambda r: r[1].place)]
        if {"cut", "dip"} <= steps and order.index("dip") < order.index("cut"):
            ledger.fault("routes", first, "place", f"dip before cut for {group}", "cut before dip")
        if "mother back" in steps and "cut" in steps and order.index("mother back") < order.index("cut"):
            ledger.fault("routes", first, "place", f"mother back before cut for {group}", "cut before mother back")


def check_dips(farm: Farm, ledger: Ledger) -> None:
    """Every dip in use has a dose."""
    told: set[str] = set()
    for index, strain in enumerate(farm.strains):
        dip = farm.traits(strain.strain).dip
        if dip not in ("iodine", "none") and dip not in farm.dip and dip not in told:
            told.add(dip)
            ledger.doubt("strains", index, "dip", f"{dip!r} without a dose", "a row in dips", nearest(dip, farm.dip))


def check_putty(farm: Farm, ledger: Ledger) -> None:
    """A piece in putty is set before the putty is."""
    for index, strain in enumerate(farm.strains):
        traits = farm.traits(strain.strain)
        if traits.uses_putty and traits.minutes_mount > farm.settings.putty_set_minutes:
            found = f"{traits.minutes_mount:g} minutes to mount a piece of {strain.strain} in putty"
            expected = f"at most the {farm.settings.putty_set_minutes:g} minutes in which putty sets"
            ledger.doubt("strains", index, "minutes_mount", found, expected)


def check_plug_kinds(farm: Farm, ledger: Ledger) -> None:
    """Conditioned plugs say since when they stand in water."""
    used = {farm.traits(s.strain).plug_kind for s in farm.strains}
    for index, row in enumerate(farm.plugs):
        if row.in_water and row.in_water_from is None:
            ledger.fault("plugs", index, "in_water_from", "nothing", "the day these plugs went into water")
        if row.plug_kind not in used:
            ledger.doubt("plugs", index, "plug_kind", repr(row.plug_kind), "a kind of plug in use", nearest(row.plug_kind, used))


def check_codes(farm: Farm, ledger: Ledger) -> None:
    """Label codes of living strains that could be mixed up; codes given to another strain while frags of the old one live."""
    index = {s.strain: i for i, s in enumerate(farm.strains)}
    for strain, i in index.items():
        if not farm.strain[strain].code:
            proposal = label_codes(farm)[strain]
            ledger.doubt("strains", i, "code", f"no label code for {strain}", "2-4 letters or digits",
                         f"{proposal} is free and stands on the sheets until another is given")  # fmt: skip
    near = []
    for clash in code_clashes(farm):
        code, other = farm.strain[clash.strain].code, farm.strain[clash.other].code
        free = f"{clash.proposal} is free" if clash.proposal else ""
        if clash.how == "one sign apart":
            near.append(f"{code}/{other}")
            continue
        found = f"code {code} for {clash.strain}, {'like' if clash.how == 'look-alike' else 'as'} {other} for {clash.other}"
        ledger.doubt("strains", index[clash.strain], "code", found, "a code no smudge makes into another", free)
    if near:
        shown = ", ".join(near[:4]) + (f" and {len(near) - 4} more" if len(near) > 4 else "")
        ledger.doubt(
            "strains", 0, "code", f"codes one sign apart: {shown}", "two signs apart", "take care with new ones; old ones stay"
        )
    rows = {lot.lot: i for i, lot in enumerate(farm.lots)}
    for lot, strain in reused_codes(farm):
        ledger.doubt(
            "lots", rows[lot], "lot", f"lot {lot}, whose code now stands for {strain}", "a code used for one strain only"
        )
