"""The bench by hand: in near weeks the first session and people that can take a colony, in later weeks the hours as a whole."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm
from scheduler.farm.hours import bench_need, cut_kind, cutting_minutes, mount_kind, mounting_minutes
from scheduler.farm.people import BenchSession
from scheduler.farm.work import bench_minutes, plugs_ready, sessions_in
from scheduler.season.ledger import MARGIN, Ledger
from scheduler.week.options import capable


@dataclass(frozen=True)
class Place:
    """A place at the bench: who cuts and who mounts at most so many pieces, in which session."""

    session: BenchSession
    cutter: str
    mounter: str
    most: int


def order_of_work(farm: Farm, colonies: Sequence[Colony], week: int) -> list[Colony]:
    """S3, S4: clean systems by health rank, toxic corals last, quarantine after; slimy corals after the others."""

    def system(colony: Colony) -> str:
        return farm.system_of_tank(colony.tank)

    def mix(name: str) -> int:
        """0: no toxic cut from the system, 1: some, 2: nothing else."""
        toxic = {farm.traits(c.strain).toxic for c in colonies if system(c) == name}
        return {frozenset({True}): 2, frozenset({True, False}): 1}.get(frozenset(toxic), 0)

    def key(colony: Colony) -> tuple[bool, int, int, str, bool, bool, str, str]:
        traits, name = farm.traits(colony.strain), system(colony)
        shut, rank = farm.in_quarantine(name, week), farm.system[name].health_rank
        return shut, rank, mix(name), name, traits.toxic, traits.slimy, traits.method, colony.colony

    return sorted(colonies, key=key)


def lawful(farm: Farm, colonies: Sequence[Colony], week: int) -> bool:
    """S3, S4: whether one session may work these colonies, in their best order."""
    row = [
        (farm.in_quarantine(farm.system_of_tank(c.tank), week), farm.traits(c.strain).toxic, farm.system_of_tank(c.tank))
        for c in order_of_work(farm, colonies, week)
    ]
    shut = {system for quarantined, _, system in row if quarantined}
    if len(shut) > 1 or (shut and any(toxic and not quarantined for quarantined, toxic, _ in row)):
        return False
    parts = ([toxic for quarantined, toxic, _ in row if quarantined == part] for part in (False, True))
    return all(part == sorted(part) for part in parts)


class Bench:
    """Hours of the bench as cuts fill them. ``fill``: share of the clock that is work by session, else ``bench_fill``."""

    def __init__(self, farm: Farm, ledger: Ledger, fill: Mapping[str, float] | None = None) -> None:
        self.farm, self.ledger, self._fill = farm, ledger, fill or {}
        self.works: dict[str, list[Colony]] = defaultdict(list)
        self._load: dict[tuple[str, str], float] = defaultdict(float)
        self._plugs: dict[str, Counter[date]] = defaultdict(Counter)

    # ---- near weeks -----------------------------------------------------------------------------------------------

    def place(self, colony: Colony, sessions: Sequence[BenchSession], pieces: int) -> Place | None:
        """The first session that takes all the pieces, else the one that takes most; ``None`` if none takes a cut's worth."""
        best: Place | None = None
        for session in sessions:
            found = self._in_session(colony, session, pieces)
            if found is not None and (best is None or found.most > best.most):
                best = found
            if best is not None and best.most >= pieces:
                break
        return best if best is not None and best.most >= self.farm.traits(colony.strain).min_pieces else None

    def place_of(self, colony: Colony, session: BenchSession, cutter: str, mounter: str, pieces: int) -> Place | None:
        """The place of two given people in a session; ``None`` if they cannot do it, or not a cut's worth."""
        found = self._in_session(colony, session, pieces, (cutter, mounter))
        return found if found is not None and found.most >= self.farm.traits(colony.strain).min_pieces else None

    def _in_session(
        self, colony: Colony, session: BenchSession, pieces: int, people: tuple[str, str] | None = None
    ) -> Place | None:  # fmt: skip
        farm, here = self.farm, self.works[session.id]
        if farm.traits(colony.strain).method not in session.methods or not lawful(farm, [*here, colony], session.week):
            return None
        systems = {farm.system_of_tank(c.tank) for c in (*here, colony)}
        clock = bench_minutes(farm, session, len(systems) - 1, self._fill.get(session.id)) - MARGIN
        pieces = min(pieces, self._plugs_left(farm.traits(colony.strain).plug_kind, session, pieces))
        if any(self._load[session.id, p] > clock for p in session.people):
            return None
        found = [
            Place(session, cutter, mounter, self._most(colony, session, cutter, mounter, clock, pieces))
            for cutter in capable(farm, session, cut_kind(farm, colony.strain))
            for mounter in capable(farm, session, mount_kind(farm, colony.strain))
            if people is None or people == (cutter, mounter)
        ]
        load = self._load
        return min(
            found,
            key=lambda p: (-p.most, p.cutter == p.mounter, load[session.id, p.cutter] + load[session.id, p.mounter]),
            default=None,
        )

    def _plugs_left(self, kind: str, session: BenchSession, wanted: int) -> int:
        """S6: plugs of a kind that a session may still use, so that no later one is short of those that have stood in water."""
        days = sorted({s.day for w in self.farm.weeks.near_weeks for s in sessions_in(self.farm, w) if s.day >= session.day})
        spare = [
            ready - sum(n for day, n in self._plugs[kind].items() if day <= later)
            for later in days
            if (ready := plugs_ready(self.farm, kind, later)) is not None
        ]
        return max(0, min(spare, default=wanted))

    def _most(self, colony: Colony, session: BenchSession, cutter: str, mounter: str, clock: float, pieces: int) -> int:
        """Most pieces two people can still cut and mount by the clock."""
        for most in range(pieces, 0, -1):
            load = defaultdict(float, {p: self._load[session.id, p] for p in (cutter, mounter)})
            load[cutter] += cutting_minutes(self.farm, colony.colony, most)
            load[mounter] += self._mounting(colony, most)
            if max(load.values()) <= clock:
                return most
        return 0

    def enter(self, colony: Colony, place: Place, pieces: int) -> None:
        """Enter a cut of a near week."""
        self.works[place.session.id].append(colony)
        self._plugs[self.farm.traits(colony.strain).plug_kind][place.session.day] += pieces
        self._load[place.session.id, place.cutter] += cutting_minutes(self.farm, colony.colony, pieces)
        self._load[place.session.id, place.mounter] += self._mounting(colony, pieces)

    def _mounting(self, colony: Colony, pieces: int) -> float:
        """Minutes of the mounter, with a tag for as many blocks as a lot may stand in."""
        return mounting_minutes(self.farm, colony.strain, pieces, self.farm.settings.max_blocks)

    # ---- later weeks ----------------------------------------------------------------------------------------------

    def most_later(self, colony: Colony, week: int, pieces: int) -> int:
        """S1: most pieces the hours of a later week still take, at most ``pieces``."""
        return next((n for n in range(pieces, 0, -1) if self.ledger.bench_fits(week, bench_need(self.farm, colony.colony, n))), 0)

    def enter_later(self, colony: Colony, week: int, pieces: int) -> None:
        """Enter a cut of a later week."""
        self.ledger.add_bench(week, bench_need(self.farm, colony.colony, pieces))
