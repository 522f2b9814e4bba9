"""The near-weeks model against every possible choice on farms small enough to try them all."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from random import Random
from typing import Any

import pytest

from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm
from scheduler.farm.units import cents, seconds
from scheduler.farm.work import bench_minutes
from tests.week.bench_farm import model_of, options_of, solved, tiny_farm


@dataclass
class ByStrain:
    """Made-up values by strain: list, discount, waiting a piece squared, colony cost and market room."""

    rows: dict[str, tuple[float, float, float, float, int]]

    def piece(self, strain: str, week: int, zone_id: str, *, discount: bool = False) -> float:  # noqa: ARG002
        return self.rows[strain][1 if discount else 0]

    def waiting(self, colony: Colony, week: int, pieces: int) -> float:  # noqa: ARG002
        return self.rows[colony.strain][2] * pieces * pieces

    def colony_cost(self, colony: Colony) -> float:
        return self.rows[colony.strain][3]

    def list_room(self, strain: str, week: int) -> int:  # noqa: ARG002
        return self.rows[strain][4]


@dataclass(frozen=True)
class Choice:
    colony: Colony
    pieces: int
    session: str
    cutter: str
    mounter: str


def made(seed: int) -> tuple[Farm, ByStrain]:
    """Two colonies, two sessions and two people, tight in hours; waters, skills and values by chance."""
    r = Random(seed)
    strains = {
        s: {
            "reach_mm": 0, "min_pieces": 3, "max_share": 0.12, "minutes_colony": r.randint(4, 9), "minutes_cut": r.choice((0.5, 1, 2)),
            "minutes_mount": r.choice((0.5, 1, 2)), "toxic": r.random() < 0.4,
        }
        for s in "AB"
    }  # fmt: skip
    both = r.random() < 0.5
    quarantined = r.random() < 0.4
    tanks = {"M": "North", "T": "North", "N": "South", "U": "South"}
    farm = tiny_farm(
        strains=strains, tanks=tanks, racks={"T-a": (6, 6), "U-a": (6, 6)},
        systems={"North": {"max_fresh": r.choice((5, 9, 40))}, "South": {"quarantined": quarantined, "max_fresh": r.choice((6, 40))}},
        mothers={"A1": ("A", "M"), "B1": ("B", "M" if both else "N")},
        people={"Ada": ("cutters", "mount", "toxic", "care"), "Ben": r.choice((("mount",), ("cutters",), ("cutters", "mount", "toxic")))},
        sessions=(
            {"session": "Tue", "minutes": r.choice((32, 40, 55))}, {"session": "Thu", "weekday": "Thu", "minutes": r.choice((30, 38, 50))},
        ),
        wage_per_hour=r.choice((6, 22)),
    )  # fmt: skip
    rows = {s: (r.uniform(2, 9), r.uniform(0, 2), r.uniform(0, 0.2), r.uniform(0, 6), r.randint(0, 12)) for s in "AB"}
    return farm, ByStrain(rows)


def holds(farm: Farm, chosen: list[Choice], sessions: dict[str, Any]) -> bool:
    """S1, S3 to S5 written down once more."""
    work: dict[tuple[str, str], int] = {}
    fresh: dict[str, int] = {}
    for c in chosen:
        traits = farm.traits(c.colony.strain)
        home = farm.system_of_tank(c.colony.tank)
        fresh[home] = fresh.get(home, 0) + c.pieces
        cutting = seconds(traits.minutes_colony) + seconds(traits.minutes_cut) * c.pieces
        mounting = seconds(traits.minutes_mount + farm.settings.label_minutes) * c.pieces
        for person, time in ((c.cutter, cutting), (c.mounter, mounting)):
            work[c.session, person] = work.get((c.session, person), 0) + time
    if any(n > farm.system[s].max_fresh for s, n in fresh.items()):
        return False
    for (sid, _), time in work.items():
        waters = {farm.system_of_tank(c.colony.tank) for c in chosen if c.session == sid}
        if time > bench_minutes(farm, sessions[sid], len(waters) - 1) * 60 + 1e-6:
            return False
    for one, two in product(chosen, repeat=2):
        first, second = (farm.system[farm.system_of_tank(c.colony.tank)] for c in (one, two))
        toxic, other = (farm.traits(c.colony.strain).toxic for c in (one, two))
        if one.session != two.session or first == second or first.quarantined or not toxic:
            continue
        if second.quarantined or (second.health_rank > first.health_rank and not other):
            return False
    return True


def worth_of(farm: Farm, worth: ByStrain, chosen: list[Choice]) -> int:
    """Cents of a choice."""
    total = 0
    for c in chosen:
        now, beyond, wait, once, room = worth.rows[c.colony.strain]
        total += cents(now) * c.pieces - cents(wait * c.pieces**2 + once)
        total -= max(0, cents(now - beyond)) * max(0, c.pieces - room)
    wage = float(farm.settings.wage_per_hour) / 60
    for sid in {c.session for c in chosen}:
        waters = {farm.system_of_tank(c.colony.tank) for c in chosen if c.session == sid}
        total -= cents(farm.settings.session_minutes * wage) + cents(farm.settings.changeover_minutes * wage) * (len(waters) - 1)
    return total


@pytest.mark.parametrize("seed", range(24))
def test_the_model_finds_the_best_of_all_choices(seed: int) -> None:
    farm, worth = made(seed)
    options = options_of(farm)
    sessions = {s.id: s for o in options for s in o.sessions}
    ways: list[list[Choice | None]] = []
    for o in options:
        traits = farm.traits(o.colony.strain)
        extra = {"toxic"} if traits.toxic else set()
        cutters, mounters = (
            [p.person for p in farm.people if {skill} | extra <= set(p.skills)] for skill in (traits.method, "mount")
        )
        ways.append([None, *(
            Choice(o.colony, n, s.id, one, two)
            for s in o.sessions for n in range(traits.min_pieces, o.most + 1) for one in cutters for two in mounters
        )])  # fmt: skip
    best = 0
    for way in product(*ways):
        chosen = [c for c in way if c is not None]
        if holds(farm, chosen, sessions):
            best = max(best, worth_of(farm, worth, chosen))
    outcome = solved(model_of(farm, worth=worth)).outcome
    assert outcome.outcome == "optimal"
    assert outcome.value == best
