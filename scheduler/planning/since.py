"""Calm re-planning: what the last plan announced, what of it a new plan changes, and how restless that makes the plans."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from scheduler.farm.farm import Farm
from scheduler.farm.work import sessions_in
from scheduler.plan.model import Announced, Cut, Held, Notice, Plan, Sale

TOLERATED = Decimal("0.20")
"""A cut changed by no more than this share of the pieces announced counts as kept: farm choice, no published source."""


def announced_cuts(farm: Farm, last: Plan) -> tuple[Announced, ...]:
    """Cuts of the last plan's near weeks that fall into near weeks of this farm's plan, in this plan's weeks, with their places.

    Colonies no longer in the book are left out: nobody can keep that word.
    """
    weeks = farm.weeks
    shift = (weeks.plan_monday - last.about.plan_monday).days // 7
    first = {s.lot: s for s in sorted(last.stands, key=lambda s: -s.week)}
    found = []
    for cut in last.cuts:
        week = cut.week - shift
        if cut.session is None or week not in weeks.near_weeks or cut.colony not in farm.colony:
            continue
        stand = first.get(cut.lot)
        found.append(
            Announced(
                colony=cut.colony, week=week, session=cut.session, pieces=cut.pieces, cutter=cut.cutter, mounter=cut.mounter,
                rack=stand.rack if stand is not None else None, blocks=stand.blocks if stand is not None else (),
            )
        )  # fmt: skip
    return tuple(sorted(found, key=lambda a: (a.week, a.session, a.colony)))


def announced_sales(farm: Farm, last: Plan) -> tuple[Sale, ...]:
    """Market sales of the last plan's near weeks that fall into near weeks of this farm's plan, in its weeks, of lots still there."""
    shift = (farm.weeks.plan_monday - last.about.plan_monday).days // 7
    soon = [s.model_copy(update={"week": s.week - shift}) for s in last.sales if s.week <= last.about.near_weeks]
    return tuple(s for s in soon if s.week in farm.weeks.near_weeks and s.route == "market" and s.lot in farm.lot)


def how_changed(row: Announced, cuts: Iterable[Cut]) -> str:
    """How a plan changes an announced cut, in words; empty if it keeps it."""
    made = [c for c in cuts if c.colony == row.colony and c.session is not None]
    same = next((c for c in made if c.session == row.session and c.week == row.week), None)
    if same is None:
        return f"moved to {made[0].session}" if made else "dropped"
    if abs(same.pieces - row.pieces) > TOLERATED * row.pieces:
        return f"{same.pieces} pieces instead of {row.pieces}"
    return ""


@dataclass(frozen=True)
class Calm:
    """How much a plan changes what was announced.

    ``announced`` and ``changed`` count near-week cuts (a measure of our own: the share of announced cuts dropped, moved or
    changed by more than a fifth). ``pieces_announced`` and ``pieces_changed`` add up pieces by colony and session, changed
    ones as absolute differences, cuts added since left out: the changes of quantity between successive plans that Sridharan,
    Berry & Udayabhanu (1988, Decision Sciences 19:147-166; from memory) sum, here in proportion to the pieces announced.
    """

    announced: int
    changed: int
    pieces_announced: int
    pieces_changed: int

    @property
    def share(self) -> Decimal:
        """Share of announced cuts that were changed, 0 to 1; 0 where nothing was announced."""
        return Decimal(self.changed) / self.announced if self.announced else Decimal(0)

    @property
    def instability(self) -> Decimal:
        """Pieces changed over pieces announced; 0 where nothing was announced."""
        return Decimal(self.pieces_changed) / self.pieces_announced if self.pieces_announced else Decimal(0)


def calm(announced: Sequence[Announced], cuts: Iterable[Cut]) -> Calm:
    """The change measure of a plan's cuts against what was announced."""
    made = list(cuts)
    pieces = {(c.colony, c.week, c.session): c.pieces for c in made}
    moved = sum(abs(pieces.get((a.colony, a.week, a.session), 0) - a.pieces) for a in announced)
    changed = sum(1 for a in announced if how_changed(a, made))
    return Calm(len(announced), changed, sum(a.pieces for a in announced), moved)


def change_notices(farm: Farm, plan: Plan) -> tuple[Notice, ...]:
    """Each changed announced cut with the reason, and the measure."""
    if not plan.announced:
        return ()
    why = {h.colony: h for h in plan.held}
    found = []
    for row in plan.announced:
        how = how_changed(row, plan.cuts)
        if how:
            found.append(
                Notice(
                    kind="note",
                    text=f"announced cut of {row.colony} ({row.pieces} pieces, {row.session}): {how}{_reason(farm, row, why)}",
                )
            )
    measure = calm(plan.announced, plan.cuts)
    text = f"{measure.changed} of {measure.announced} announced cuts changed ({100 * measure.share:.0f} %)"
    return (*found, Notice(kind="note", text=text))


def _reason(farm: Farm, row: Announced, why: Mapping[str, Held]) -> str:
    held = why.get(row.colony)
    if held is not None:
        return f"; {held.reason}: {held.detail}"
    if row.session not in {s.id for s in sessions_in(farm, row.week)}:
        return "; that session no longer takes place"
    return ""
