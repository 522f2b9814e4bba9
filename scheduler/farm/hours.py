"""S1 as a question of subsets: does work by set of skills fit the minutes people offer?

By Hall's condition (the min-cut side of a flow) demand fits exactly if, for every set of kinds of work, its minutes do
not exceed the minutes of everybody able to do at least one of them. The largest excess is what is missing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from itertools import combinations

from scheduler.farm.farm import Farm
from scheduler.farm.people import CARE, MOUNT, PACK, TOXIC
from scheduler.farm.standard import standard
from scheduler.farm.work import bench_minutes, outside_minutes, overtime_minutes, sessions_in

Kind = frozenset[str]
"""The skills one kind of work needs, all in one person."""

Offer = tuple[frozenset[Kind], float]
"""Kinds of work somebody can do, and their minutes."""


def missing_minutes(need: Mapping[Kind, float], offers: Sequence[Offer]) -> float:
    """Minutes of work that find nobody: the largest excess of demand over offer over all sets of kinds; 0 if all fits."""
    kinds = [k for k, minutes in need.items() if minutes > 0]
    worst = 0.0
    for size in range(1, len(kinds) + 1):
        for chosen in combinations(kinds, size):
            wanted = set(chosen)
            offered = sum(minutes for able, minutes in offers if able & wanted)
            worst = max(worst, sum(need[k] for k in chosen) - offered)
    return worst


PACKING: Kind = frozenset({PACK})
CARING: Kind = frozenset({CARE})


@lru_cache(maxsize=8192)
def outside_offers(farm: Farm, week: int, *, overtime: bool = False) -> tuple[Offer, ...]:
    """What people offer outside sessions in a week for packing and care."""
    found: list[Offer] = []
    for person in farm.people:
        able = frozenset(k for k in (PACKING, CARING) if k <= set(person.skills))
        minutes = outside_minutes(farm, person.person, week)
        if overtime:
            minutes += overtime_minutes(farm, person.person, week)
        found.append((able, minutes))
    return tuple(found)


def cut_kind(farm: Farm, strain: str) -> Kind:
    """Skills of the person who cuts a strain."""
    traits = farm.traits(strain)
    return frozenset({traits.method, TOXIC}) if traits.toxic else frozenset({traits.method})


def mount_kind(farm: Farm, strain: str) -> Kind:
    """Skills of the person who mounts a strain."""
    return frozenset({MOUNT, TOXIC}) if farm.traits(strain).toxic else frozenset({MOUNT})


def bench_kinds(farm: Farm) -> frozenset[Kind]:
    """Every kind of bench work the farm's strains need."""
    return frozenset(k for s in farm.strains for k in (cut_kind(farm, s.strain), mount_kind(farm, s.strain)))


def bench_offers(farm: Farm, week: int) -> list[Offer]:
    """What people offer at the bench in a later week: all their sessions together; a method only where one offers it."""
    found: list[Offer] = []
    kinds = bench_kinds(farm)
    methods = {farm.traits(s.strain).method for s in farm.strains}
    for person in farm.people:
        present = [s for s in sessions_in(farm, week) if person.person in s.people]
        offered = {m for s in present for m in s.methods}
        skills = set(person.skills) - (methods - offered)
        able = frozenset(k for k in kinds if k <= skills)
        found.append((able, sum(bench_minutes(farm, s) for s in present)))
    return found


def cutting_minutes(farm: Farm, colony: str, pieces: int) -> float:
    """Standard minutes of the cutter: fetch, set up and dip the colony, and cut its pieces."""
    row = farm.colony[colony]
    return float(standard(farm, row.strain, row.on_rock).cutter(pieces))


def mounting_minutes(farm: Farm, strain: str, pieces: int, blocks: int = 1) -> float:
    """Standard minutes of the mounter: label and glue the pieces of a lot that stands in so many blocks."""
    return float(standard(farm, strain, False).mounter(pieces, blocks))


def bench_need(farm: Farm, colony: str, pieces: int) -> dict[Kind, float]:
    """Bench minutes by kind of work of one cut."""
    strain = farm.colony[colony].strain
    need = {cut_kind(farm, strain): cutting_minutes(farm, colony, pieces)}
    mount = mount_kind(farm, strain)
    need[mount] = need.get(mount, 0.0) + mounting_minutes(farm, strain, pieces)
    return need
