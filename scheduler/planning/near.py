"""The near weeks from model to rack positions: solve, place, and where a rack cannot hold what was asked, solve again."""

from __future__ import annotations

import threading
from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from itertools import product

from scheduler.errors import NoPlanFound, PinConflict
from scheduler.farm.blocks import Block
from scheduler.farm.farm import Farm
from scheduler.racks import Gap, Request, Standing, place
from scheduler.solving import Limits as SolveLimits
from scheduler.solving import Outcome, Progress, Solved, minimal_conflict, solve
from scheduler.week.floor import Floor, Section, blocks_positions
from scheduler.week.model import Limits, NearModel
from scheduler.week.options import NearWorth, Option, Refusal, option

REPAIRS = 3
"""How often the model is solved again after a rack could not hold what was asked of it."""

PIN_KINDS = ("cut", "no cut", "at least", "at most", "session", "rack", "keep free")
"""Pins the near-weeks model has to honour; the others bar sales and are honoured where lots are sold."""


@dataclass(frozen=True)
class NearCut:
    """A cut decided for a near week, with its place on a rack."""

    option: Option
    pieces: int
    session: str
    cutter: str
    mounter: str
    section: Section
    blocks: tuple[Block, ...] = ()


@dataclass(frozen=True)
class NearPlan:
    """The near weeks: cuts with positions, why the others cannot be cut, how the model ended, what gave way."""

    cuts: tuple[NearCut, ...]
    options: tuple[Option, ...]
    refusals: Mapping[str, Refusal]
    outcome: Outcome | None
    gave_way: tuple[str, ...]


class NearPlanner:
    """Plans the near weeks of one farm."""

    def __init__(
        self, farm: Farm, floor: Floor, worth: NearWorth, limits: Limits, pins: Collection[str], solving: SolveLimits,
        progress: Progress | None = None, stop: threading.Event | None = None,
    ) -> None:  # fmt: skip
        self.farm, self.floor, self.worth, self.limits = farm, floor, worth, limits
        self.pins = [p.pin for p in farm.pins if p.pin in pins and p.kind in PIN_KINDS]
        self.solving, self.progress, self.stop = solving, progress, stop

    def plan(self) -> NearPlan:
        """Solve and place. Raises ``PinConflict`` if the pins cannot hold together, ``NoPlanFound`` if time was too short."""
        try:
            return self._search([])
        except PinConflict as conflict:
            if conflict.pins:
                raise
        # the pins hold together, but not beside the most valuable cuts: begin with the fewest pieces they ask for
        kept = self._fewest(self.pins) or []
        try:
            return self._search(kept)
        except PinConflict as conflict:
            if self._broken(kept, self.pins):
                raise NoPlanFound("The pins can hold together, but no plan was found that places all their pieces.") from conflict
        options, refusals = self._options(self.pins)
        alone = Outcome("feasible", "only what the pins ask for was placed", 0.0, None, 0.0)
        return NearPlan(tuple(kept), tuple(options), refusals, alone, ())

    def _search(self, kept: list[NearCut]) -> NearPlan:
        """Solve, place and repair; ``kept`` cuts stay as they are. A ``PinConflict`` without pins: none was shown."""
        options, refusals = self._options(self.pins)
        if not options and not self.pins:
            return NearPlan((), (), refusals, None, ())
        caps: dict[tuple[str, int, Section], int] = {}
        gave_way: list[str] = []
        frozen = kept
        bound: float | None = None
        first_reason = ""
        for attempt in range(REPAIRS + 1):
            cuts, outcome = self._solve(options, caps, frozen, self._share(attempt))
            placed, short = self._place(cuts)
            if bound is None:
                bound, first_reason = (
                    outcome.bound,
                    outcome.reason,
                )  # the repairs only narrow the model, so the first bound holds for all of them
            if not short or attempt == REPAIRS or outcome.reason == "interrupted":
                break
            caps |= short
            whole = {(c.option.colony.colony, c.option.week): c.pieces for c in placed}
            frozen = [*kept, *(c for c in cuts if whole.get((c.option.colony.colony, c.option.week)) == c.pieces)]
        for cut in cuts:
            got = next((c.pieces for c in placed if c.option is cut.option), 0)
            if got < cut.pieces:
                name = cut.option.colony.colony
                gave_way.append(
                    f"{name}: {got} of {cut.pieces} pieces found a place on rack {cut.section.rack}; the cut is that much smaller"
                )
        self._still_pinned(placed)
        proved = bound is not None and outcome.value is not None and bound <= outcome.value + 1e-6
        ended = replace(
            outcome,
            bound=bound,
            outcome="optimal" if proved else "feasible",
            reason="proved" if proved else _why_stopped(first_reason),
        )
        return NearPlan(tuple(placed), tuple(options), refusals, ended, tuple(gave_way))

    def _options(self, pins: Collection[str]) -> tuple[list[Option], dict[str, Refusal]]:
        options: list[Option] = []
        refusals: dict[str, Refusal] = {}
        for colony in self.farm.colonies:
            found = [option(self.farm, self.floor, colony, w, pins) for w in self.farm.weeks.near_weeks]
            good = [o for o in found if isinstance(o, Option)]
            options += good
            bad = [o for o in found if isinstance(o, Refusal)]
            if not good and bad:
                refusals[colony.colony] = bad[0]
        return options, refusals

    def _share(self, attempt: int) -> SolveLimits:
        """Half of the time for the first solve, the rest shared by the repairs."""
        part = 0.5 if attempt == 0 else 0.5 / REPAIRS
        clock, work = self.solving.seconds, self.solving.deterministic
        return replace(self.solving, seconds=clock and clock * part, deterministic=work and work * part)

    def _solve(
        self, options: list[Option], caps: dict[tuple[str, int, Section], int], frozen: list[NearCut], limits: SolveLimits
    ) -> tuple[list[NearCut], Outcome]:
        model = NearModel(self.farm, self.floor, options, self.worth, replace(self.limits, cap=caps), self.pins)
        index = {(o.colony.colony, o.week): i for i, o in enumerate(options)}
        for cut in frozen:
            model.freeze(index[cut.option.colony.colony, cut.option.week], cut.pieces, cut.session, cut.section)
        solved = solve(model.model, limits, stage="near weeks", progress=self.progress, stop=self.stop)
        if frozen and not solved.outcome.found:
            return self._solve(options, caps, [], limits)
        if solved.outcome.outcome == "infeasible":
            raise self._conflict()
        if not solved.outcome.found and not self._pins_ask_for_cuts():
            bound = max(0.0, solved.outcome.bound or 0.0)  # cutting nothing keeps every rule
            return [], replace(solved.outcome, outcome="feasible", value=0.0, bound=bound)
        if not solved.outcome.found:
            raise NoPlanFound(
                f"No plan for the near weeks was found: {solved.outcome.reason}. Allow more time with --time-limit."
            )
        return self._cuts(model, solved, options), solved.outcome

    @staticmethod
    def _cuts(model: NearModel, solved: Solved, options: list[Option]) -> list[NearCut]:
        """The cuts of a solved model."""
        v = model.v
        cuts = []
        for i, o in enumerate(options):
            if not solved.value(v.cut[i]):
                continue
            session = next(s.id for s in o.sessions if solved.value(v.at[i, s.id]))
            cuts.append(
                NearCut(
                    option=o,
                    pieces=solved.value(v.pieces[i]),
                    session=session,
                    cutter=next(p for (j, s, p), var in v.cuts.items() if (j, s) == (i, session) and solved.value(var)),
                    mounter=next(p for (j, s, p), var in v.mounts.items() if (j, s) == (i, session) and solved.value(var)),
                    section=next(sec for sec in o.places if solved.value(v.stands[i, sec])),
                )
            )
        return cuts

    def _pins_ask_for_cuts(self) -> bool:
        return any(p.pin in self.pins and p.kind in ("cut", "at least") for p in self.farm.pins)

    def _place(self, cuts: list[NearCut]) -> tuple[list[NearCut], dict[tuple[str, int, Section], int]]:
        """Blocks for every cut, rack by rack and week by week, and what a section could not hold."""
        placed: list[NearCut] = []
        short: dict[tuple[str, int, Section], int] = {}
        racks = dict.fromkeys(c.section.rack for c in cuts)
        for rack, week in product(racks, self.farm.weeks.near_weeks):
            mine = [c for c in cuts if c.section.rack == rack and c.option.week == week]
            if not mine:
                continue
            row = self.farm.rack[rack]
            earlier = [self._standing(c) for c in placed if c.section.rack == rack]
            standing = [Standing(t.name, t.strain, t.positions) for t in self.floor.taken(rack, week)] + earlier
            held = {p for s in earlier for p in s.positions}
            found = place(
                row.rows, row.cols, [self._request(c, held) for c in mine], standing,
                self._gap(row.pitch_mm),
                SolveLimits(seconds=10, deterministic=0.2, seed=self.solving.seed), self.farm.settings.max_blocks,
            )  # fmt: skip
            for cut in mine:
                blocks = found.get(cut.option.colony.colony, ())
                pieces = sum(b.plugs for b in blocks)
                if pieces < cut.pieces:
                    short[cut.option.colony.colony, week, cut.section] = pieces
                if pieces:
                    placed.append(replace(cut, pieces=pieces, blocks=blocks))
        return placed, short

    def _gap(self, pitch_mm: float) -> Gap:
        return lambda a, b: self.farm.clear_positions(a, b, pitch_mm)

    def _request(self, cut: NearCut, held: Collection[tuple[int, int]]) -> Request:
        colony = cut.option.colony
        traits = self.farm.traits(colony.strain)
        value = max(1, round(100 * self.worth.piece(colony.strain, cut.option.week, colony.par_umol)))
        return Request(
            lot=colony.colony, strain=colony.strain, plugs=cut.pieces, min_plugs=min(traits.min_pieces, cut.pieces),
            plug_rows=traits.plug_rows, plug_cols=traits.plug_cols,
            allowed=frozenset(cut.option.places[cut.section] - set(held)), value=value,
        )  # fmt: skip

    def _standing(self, cut: NearCut) -> Standing:
        traits = self.farm.traits(cut.option.colony.strain)
        return Standing(
            cut.option.colony.colony, cut.option.colony.strain, blocks_positions(cut.blocks, traits.plug_rows, traits.plug_cols)
        )

    # ---- pins -----------------------------------------------------------------------------------------------------

    def _hold(self, pins: frozenset[str]) -> bool:
        """Whether pins can hold together, rack positions included, or at least are not shown to be impossible."""
        return self._fewest(pins) is not None

    def _fewest(self, pins: Collection[str]) -> list[NearCut] | None:
        """The fewest pieces that pins allow, placed; ``None`` if the pins cannot hold, nothing if time was too short to tell."""
        options, _ = self._options(pins)
        caps: dict[tuple[str, int, Section], int] = {}
        limits = SolveLimits(seconds=30, deterministic=5, seed=self.solving.seed)
        for _ in range(REPAIRS + 1):
            model = NearModel(
                self.farm, self.floor, options, self.worth, replace(self.limits, cap=caps), pins, with_objective=False
            )
            model.fewest_pieces()
            solved = solve(model.model, limits, stage="pins", stop=self.stop)
            if solved.outcome.outcome == "infeasible":
                return None
            if not solved.outcome.found:
                return []
            placed, short = self._place(self._cuts(model, solved, options))
            if not self._broken(placed, pins):
                return placed
            caps |= short
        return None

    def _conflict(self) -> PinConflict:
        names = minimal_conflict(self.pins, self._hold)
        return PinConflict(names, [self.sentence(name) for name in names])

    def _broken(self, placed: list[NearCut], pins: Collection[str]) -> list[str]:
        """Pins that ask for more than what found a place."""
        cut = Counter[str]()
        for c in placed:
            cut[c.option.colony.colony] += c.pieces
        asked = (
            (p, 1 if p.kind == "cut" else p.pieces or 0) for p in self.farm.pins if p.kind in ("cut", "at least") and p.colony
        )
        return [p.pin for p, least in asked if p.pin in pins and cut[p.colony or ""] < least]

    def _still_pinned(self, placed: list[NearCut]) -> None:
        """Raises ``PinConflict`` for pins whose pieces were lost when a rack proved too full after every repair."""
        broken = self._broken(placed, self.pins)
        if broken:
            names = minimal_conflict(self.pins, self._hold)
            raise PinConflict(names, [f"{self.sentence(name)} (the racks in its light are full)" for name in names])

    def sentence(self, pin_id: str) -> str:
        """A pin in words."""
        return describe_pin(self.farm, pin_id)


def _why_stopped(reason: str) -> str:
    return "racks too full for the best cuts" if reason == "proved" else reason


def describe_pin(farm: Farm, pin_id: str) -> str:
    """A pin in the grower's words."""
    pin = next(p for p in farm.pins if p.pin == pin_id)
    what = {
        "cut": f"cut {pin.colony}", "no cut": f"do not cut {pin.colony}", "at least": f"cut at least {pin.pieces} of {pin.colony}",
        "at most": f"cut at most {pin.pieces} of {pin.colony}", "session": f"cut {pin.colony} in session {pin.session}",
        "rack": f"put the frags of {pin.colony} on rack {pin.rack}", "keep free": f"keep {pin.rack or pin.tank} free",
        "no sale": f"do not sell {pin.lot}", "hold lot": f"neither sell nor move {pin.lot}",
    }[pin.kind]  # fmt: skip
    when = "".join(f" {word} {day}" for word, day in (("from", pin.from_date), ("to", pin.to_date)) if day)
    return f"{pin.pin}: {what}{when}"
