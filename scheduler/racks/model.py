"""Choosing blocks for all lots of a rack at once."""

from __future__ import annotations

import itertools
import threading
from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

from ortools.sat.python import cp_model

from scheduler.farm.blocks import Block, Position
from scheduler.racks.greedy import Places, touches
from scheduler.racks.requests import Gap, Grid, Request, wanted_gap
from scheduler.solving import Limits, Outcome, solve


def choose(
    rows: int,
    cols: int,
    requests: Sequence[Request],
    blocks: Mapping[str, Sequence[Block]],
    gap: Gap,
    limits: Limits,
    *,
    max_blocks: int = 2,
    kin: Mapping[str, Grid] | None = None,
    hint: Places | None = None,
    stop: threading.Event | None = None,
) -> tuple[Places, Outcome]:
    """The best blocks out of those offered for each lot: most cents, then fewest blocks, then least half-perimeter.

    ``blocks`` have to respect what stands already; ``hint`` is a plan to start from, of blocks offered. ``kin`` marks
    standing positions of the lot's own strain, beside which a block is preferred. No solution found: no places.
    A plug worth nothing counts one cent.
    """
    model = cp_model.CpModel()
    picks: dict[str, list[tuple[Block, Any]]] = {}
    cover: dict[tuple[str, Position], list[Any]] = defaultdict(list)
    rim = rows + cols
    terms: list[Any] = []
    weight = 1 + sum(max_blocks * (2 * (2 * rim) + 1) for _ in requests)
    for request in requests:
        hinted = set((hint or {}).get(request.lot, ()))
        marked = (kin or {}).get(request.lot)
        rows_of = picks[request.lot] = []
        for block in dict.fromkeys(blocks[request.lot]):
            x = model.new_bool_var("")
            rows_of.append((block, x))
            if hint is not None:
                model.add_hint(x, block in hinted)
            for position in request.positions(block):
                cover[request.strain, position].append(x)
            alone = marked is None or not touches(block, request, marked)
            cost = 2 * (rim + sum(request.span(block))) + alone
            terms.append((weight * max(1, request.value) * block.plugs - cost) * x)
        _limit(model, request, rows_of, max_blocks, hint)
    _keep_clear(model, rows, cols, cover, gap, hint, _held(requests, hint or {}))
    model.maximize(sum(terms))
    solved = solve(model, limits, stage="racks", stop=stop, linearization=1)
    places: Places = {}
    if solved.outcome.found:
        for lot, rows_of in picks.items():
            chosen = [block for block, x in rows_of if solved.value(x)]
            if chosen:
                places[lot] = tuple(sorted(chosen, key=lambda b: (-b.plugs, b.top, b.left)))
    return places, solved.outcome


def _held(requests: Sequence[Request], places: Places) -> set[tuple[str, Position]]:
    return {(r.strain, p) for r in requests for block in places.get(r.lot, ()) for p in r.positions(block)}


def _limit(
    model: cp_model.CpModel, request: Request, rows_of: list[tuple[Block, Any]], max_blocks: int, hint: Places | None
) -> None:
    """At most so many blocks, at most the plugs wanted, at least the fewest worth it, most of them at home."""
    if not rows_of:
        return
    plugs = sum(block.plugs * x for block, x in rows_of)
    if max_blocks == 1:
        model.add_at_most_one(x for _, x in rows_of)
    else:
        model.add(sum(x for _, x in rows_of) <= max_blocks)
        model.add(plugs <= request.plugs)
    if request.min_plugs > 1 or request.home is not None:
        stands = model.new_bool_var("")
        if hint is not None:
            model.add_hint(stands, request.lot in hint)
        model.add(plugs >= request.min_plugs * stands)
        model.add(plugs <= request.plugs * stands)
        if request.home is not None:
            model.add(sum(request.lead(block) * x for block, x in rows_of) >= 1).only_enforce_if(stands)


def _keep_clear(
    model: cp_model.CpModel,
    rows: int,
    cols: int,
    cover: Mapping[tuple[str, Position], Sequence[Any]],
    gap: Gap,
    hint: Places | None,
    held: set[tuple[str, Position]],
) -> None:
    """No position twice, and L4: a square of gap + 1 positions holds one of two strains only."""
    taken: dict[str, dict[Position, Any]] = defaultdict(dict)
    for (strain, position), xs in cover.items():
        here = taken[strain][position] = model.new_bool_var("")
        model.add(sum(xs) == here)
        if hint is not None:
            model.add_hint(here, (strain, position) in held)
    used: dict[tuple[str, int, Position], Any] = {}
    for one, two in itertools.combinations(sorted(taken), 2):
        clear = wanted_gap(gap, one, two)
        for square in itertools.product(range(max(1, rows - clear)), range(max(1, cols - clear))):
            both = []
            for strain in (one, two):
                key = (strain, clear, square)
                if key not in used:
                    used[key] = _use(model, taken[strain], square, clear, hint, strain, held)
                both.append(used[key])
            if both[0] is not None and both[1] is not None:
                model.add_at_most_one(both)


def _use(
    model: cp_model.CpModel,
    taken: Mapping[Position, Any],
    square: Position,
    clear: int,
    hint: Places | None,
    strain: str,
    held: set[tuple[str, Position]],
) -> Any:
    """A literal that holds if the strain has a position in the square; ``None`` if it never can."""
    top, left = square
    inside = [p for p in itertools.product(range(top, top + clear + 1), range(left, left + clear + 1)) if p in taken]
    if not inside:
        return None
    if len(inside) == 1:
        return taken[inside[0]]
    use = model.new_bool_var("")
    for position in inside:
        model.add_implication(taken[position], use)
    if hint is not None:
        model.add_hint(use, any((strain, p) in held for p in inside))
    return use
