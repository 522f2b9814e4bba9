"""L1, L4 and L5: exact positions on racks in the near weeks."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from scheduler.audit.context import Context
from scheduler.biology.zones import zone_of
from scheduler.farm.blocks import Position, position_name
from scheduler.plan.model import Stand
from scheduler.plan.view import LotView


@dataclass(frozen=True)
class _Standing:
    """Something on a rack in a week; ``fixed``: a mother, or a lot of the book at its book place."""

    name: str
    strain: str
    positions: tuple[Position, ...]
    fixed: bool


def check_places(ctx: Context) -> None:
    """Stands one by one, then each rack in each near week."""
    for lot in ctx.lots.values():
        for i, stand in enumerate(lot.stands):
            if stand.week == 0:
                continue
            if i:
                _moved(ctx, lot, stand)
            if stand.rack is not None:
                _near_stand(ctx, lot, stand)
    for week in ctx.weeks.near_weeks:
        for rack, standing in _by_rack(ctx, week).items():
            _one_plug(ctx, week, rack, standing)
            _reach(ctx, week, rack, standing)


def _moved(ctx: Context, lot: LotView, stand: Stand) -> None:
    left = lot.left(stand.week)
    if stand.pieces != left:
        ctx.add("L5", (lot.id,), f"lot {lot.id} is moved in week {stand.week} with {stand.pieces} pieces; {left} are left then")


def _near_stand(ctx: Context, lot: LotView, stand: Stand) -> None:
    rack = ctx.farm.rack[stand.rack or ""]
    traits, most = ctx.traits(lot), ctx.farm.settings.max_blocks
    plugs = sum(b.plugs for b in stand.blocks)
    who = (lot.id, rack.rack)
    if plugs != stand.pieces:
        ctx.add(
            "L1", who, f"the blocks of lot {lot.id} in week {stand.week} hold {plugs} plugs; {stand.pieces} pieces stand there"
        )
    if len(stand.blocks) > most:
        ctx.add("L1", who, f"lot {lot.id} stands in {len(stand.blocks)} blocks from week {stand.week}; at most {most}")
    if traits.plug_kind not in rack.plug_kinds:
        ctx.add("L1", who, f"lot {lot.id} is on {traits.plug_kind} plugs; rack {rack.rack} takes {', '.join(rack.plug_kinds)}")
    held = ctx.positions(lot, stand, plugs)
    outside = set(held) - set(ctx.on_rack(rack.rack, held))
    if outside:
        ctx.add(
            "L1", who, f"lot {lot.id} holds {len(outside)} positions such as {position_name(min(outside))} outside rack "
            f"{rack.rack} of {rack.rows} x {rack.cols}",
        )  # fmt: skip
    blocked = set(held) & rack.blocked_positions
    if blocked:
        names = ", ".join(position_name(p) for p in sorted(blocked))
        ctx.add("L1", who, f"lot {lot.id} holds {len(blocked)} blocked positions of rack {rack.rack} ({names}); at most 0")
    usable = set(rack.open_positions) & set(held)
    if usable and (zone := zone_of(ctx.farm, rack.rack, held)) != stand.zone:
        ctx.add("L1", who, f"lot {lot.id} stands mostly in zone {zone} from week {stand.week}; the plan says {stand.zone}")


def _by_rack(ctx: Context, week: int) -> dict[str, list[_Standing]]:
    found: dict[str, list[_Standing]] = defaultdict(list)
    for rack, rows in ctx.farm.mothers_on_racks.items():
        found[rack] += [_Standing(f"mother {c.colony}", c.strain, positions, True) for c, positions in rows]
    for h in ctx.holdings(week):
        if h.stand.rack is not None:
            held = ctx.positions(h.lot, h.stand, h.pieces)
            found[h.stand.rack].append(_Standing(h.lot.id, h.lot.strain, held, h.from_book))
    return found


def _one_plug(ctx: Context, week: int, rack: str, standing: list[_Standing]) -> None:
    for one in standing:
        double = [p for p, times in Counter(one.positions).items() if times > 1]
        if double and not one.fixed:
            text = f"{one.name} takes {len(double)} positions such as {position_name(min(double))} of rack {rack} twice"
            ctx.add("L1", (one.name, rack), f"{text} in week {week}; one plug each")
    for a, b in combinations(standing, 2):
        both = set(a.positions) & set(b.positions)
        if both and not (a.fixed and b.fixed):
            names = ", ".join(position_name(p) for p in sorted(both)[:4])
            ctx.add(
                "L1", (a.name, b.name, rack), f"{a.name} and {b.name} share {len(both)} positions of rack {rack} in week {week} "
                f"({names}); at most 0",
            )  # fmt: skip


def clear_between(a: tuple[Position, ...], b: tuple[Position, ...]) -> int:
    """Fewest clear positions between two sets, the larger of row gap and column gap; -1 where they touch the same one."""
    one, other = np.array(a)[:, None, :], np.array(b)[None, :, :]
    return int(np.abs(one - other).max(axis=2).min()) - 1


def _reach(ctx: Context, week: int, rack: str, standing: list[_Standing]) -> None:
    pitch = ctx.farm.rack[rack].pitch_mm
    for a, b in combinations(standing, 2):
        need = ctx.farm.clear_positions(a.strain, b.strain, pitch)
        if need == 0 or (a.fixed and b.fixed) or not a.positions or not b.positions:
            continue
        gap = max(clear_between(a.positions, b.positions), 0)
        if gap < need:
            ctx.add(
                "L4", (a.name, b.name, rack), f"{gap} clear positions between {a.name} and {b.name} on rack {rack} in week "
                f"{week}; at least {need}",
            )  # fmt: skip
