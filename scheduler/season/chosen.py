"""What is chosen for a season: a programme for every colony and ways out for all frags; what that uses and is worth, strain by strain."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from scheduler.season.columns import Season
from scheduler.season.pool import Pattern, ProgrammePool
from scheduler.season.relaxation import Relaxed
from scheduler.season.ways_out import Way

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Chosen:
    """Programme of every colony, and how pieces leave: (track, week, outlet) -> pieces (fresh tracks per cut together)."""

    patterns: Mapping[int, Pattern]
    leaving: Mapping[tuple[int, Way], float]
    value: float


def as_relaxed(season: Season, relaxed: Relaxed) -> Chosen:
    """The relaxation itself as wishes: lots leave as it mixes them, and nobody's programme is fixed.

    Pieces it gives to an order that refuses parts stay: such orders are filled last.
    """
    whole = {o.order for o in season.farm.orders if not o.partial_ok}
    leaving: dict[tuple[int, Way], float] = defaultdict(float)
    for column, amount in zip(relaxed.columns, relaxed.amounts, strict=True):
        if amount > 1e-9 and column.source >= len(season.colonies) and season.outlets.rows[column.outlet].order not in whole:
            leaving[season.tracks.lot_from + column.source - len(season.colonies), (column.leaves, column.outlet)] += float(
                amount
            )
    return Chosen({}, leaving, relaxed.value)


@dataclass
class Choice:
    """What has been chosen so far: by strain what it uses of every row, its ways out and its worth; programmes by colony."""

    use: dict[str, Floats] = field(default_factory=dict)
    leaving: dict[str, Mapping[tuple[int, Way], float]] = field(default_factory=dict)
    worth: dict[str, float] = field(default_factory=dict)
    patterns: dict[int, Pattern] = field(default_factory=dict)

    def copied(self) -> Choice:
        """A choice that changes by itself."""
        return Choice(dict(self.use), dict(self.leaving), dict(self.worth), dict(self.patterns))

    @property
    def ways(self) -> dict[tuple[int, Way], float]:
        """Pieces by way out, of all strains."""
        return {key: n for part in self.leaving.values() for key, n in part.items()}


class Accounts:
    """Keeps a choice: divides what is decided among strains, with what it uses and is worth."""

    def __init__(self, season: Season, pool: ProgrammePool) -> None:
        self.season, self.pool = season, pool
        self.colonies_of: dict[str, list[int]] = defaultdict(list)
        for i, colony in enumerate(season.colonies):
            self.colonies_of[colony.strain].append(i)
        self.lots_of: dict[str, list[int]] = defaultdict(list)
        for j, lot in enumerate(season.lots):
            self.lots_of[lot.strain].append(j)
        self.strains = sorted({*self.colonies_of, *self.lots_of})

    def note(
        self, choice: Choice, strains: Sequence[str], patterns: Mapping[int, Pattern], leaving: Mapping[tuple[int, Way], float]
    ) -> None:  # fmt: skip
        """Put what was decided for some strains in the place of what they had."""
        index = self.season.outlets.strain_index
        for s in strains:
            mine = {i: p for i, p in patterns.items() if self.season.colonies[i].strain == s}
            part = {key: a for key, a in leaving.items() if self.season.tracks.strain[key[0]] == index[s]}
            choice.use[s], choice.leaving[s], choice.worth[s] = self.use(s, mine, part), part, self.worth(s, mine, part)
            choice.patterns.update(mine)

    def used(self, choice: Choice, *, but: Collection[str] = ()) -> Floats:
        """What all strains but some use of every row together."""
        return sum((use for s, use in choice.use.items() if s not in but), np.zeros(len(self.season.capacity.rows)))

    def chosen(self, choice: Choice) -> Chosen:
        """A choice in the words of others, with the constants of the season in its value."""
        return Chosen(choice.patterns, choice.ways, sum(choice.worth.values()) + self.season.constant)

    def use_of(self, chosen: Chosen) -> Floats:
        """What a choice uses of every row."""
        choice = Choice()
        self.note(choice, self.strains, chosen.patterns, chosen.leaving)
        return self.used(choice)

    def use(self, strain: str, patterns: Mapping[int, Pattern], leaving: Mapping[tuple[int, Way], float]) -> Floats:
        """What programmes of a strain and ways out of its frags use of every row."""
        use = np.zeros(len(self.season.capacity.rows))
        for i, pattern in patterns.items():
            for row, amount in self.pool.pattern_use(i, pattern).items():
                use[row] += amount
        for (track, way), pieces in leaving.items():
            for row, amount in self.pool.way_use(track, way).items():
                use[row] += pieces * amount
        coming = self.season.capacity.find("end market", strain)
        if coming is not None:
            wanted = sum(self.pool.spare(i, p) * self.season.spare_worth(i)[0] for i, p in patterns.items())
            use[coming] = min(self.season.capacity.limits[coming], use[coming] + wanted)
        return use

    def worth(self, strain: str, patterns: Mapping[int, Pattern], leaving: Mapping[tuple[int, Way], float]) -> float:
        """Money they bring. What the coming market has room for beside the frags left goes to the spare pieces that gain most by it."""
        season, pool = self.season, self.pool
        worth = sum(pool.pattern_worth(i, p) for i, p in patterns.items())
        worth += sum(pieces * season.tracks.worth(track, *way) for (track, way), pieces in leaving.items())
        row = season.capacity.find("end market", strain)
        if row is None:
            return worth
        used = sum(pieces * pool.way_use(track, way).get(row, 0.0) for (track, way), pieces in leaving.items())
        room = season.capacity.limits[row] - used
        for i in sorted(patterns, key=lambda i: season.spare_worth(i)[2] - season.spare_worth(i)[1]):
            alive, listed, beyond = season.spare_worth(i)
            if alive > 0:
                fits = min(pool.spare(i, patterns[i]), max(0.0, room) / alive)
                room -= fits * alive
                worth += fits * (listed - beyond)
        return worth
