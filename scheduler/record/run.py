"""Entering a filled plan into a book: everything checked first, then the farm of the next book."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

from scheduler.errors import Finding, RecordError
from scheduler.farm.codes import label_codes
from scheduler.farm.coral import Strain
from scheduler.farm.farm import Farm
from scheduler.farm.recorded import RecordedPlan
from scheduler.farm.trade import Pin, Supply
from scheduler.farm.units import exact
from scheduler.plan.identity import farm_as_planned
from scheduler.record.apply import NextBook
from scheduler.record.done import DoneCut, Happened
from scheduler.record.planned import PlannedWork
from scheduler.record.plugs import plugs_in_water
from scheduler.record.read import Filled
from scheduler.record.resolve import OpenGroup, resolve
from scheduler.record.supplies import draws

_DONE_BY_CUTTING = ("cut", "at least", "session", "rack")
"""Pins that ask for a cut: fulfilled once it was made."""


@dataclass(frozen=True)
class Outcome:
    """The farm of the next book with notes for the grower; or the lists still open, and no farm."""

    farm: Farm | None
    open: tuple[OpenGroup, ...] = ()
    notes: tuple[str, ...] = ()


def record(
    farm: Farm, filled: Filled, *, weeks: int = 1, marks: Mapping[str, str] | None = None, accept: Collection[str] = ()
) -> Outcome:
    """Enter weeks 1..``weeks`` of a filled plan into the farm it was made from.

    ``marks`` answers for lists without a mark (``*``: for all). ``accept`` names cells whose contradiction is true all the
    same. Raises ``RecordError`` with everything that has to be settled; lists that are only open are handed back.
    """
    work = filled.work
    _same_book(farm, work)
    if not 1 <= weeks <= work.about.near_weeks:
        raise RecordError([Finding("--weeks", str(weeks), f"1 to {work.about.near_weeks}, the weeks this plan has in detail")])
    found = resolve(filled, weeks, marks or {})
    book = NextBook.of(farm_as_planned(farm, work.about))
    book.enter(found.happened)
    unsettled = [q.finding for q in book.questions if q.cell not in accept]
    faults = [*found.faults, *book.faults, *unsettled]
    if faults:
        raise RecordError(list(dict.fromkeys(faults)))
    if found.open:
        return Outcome(None, tuple(found.open))
    return Outcome(_next_farm(farm, work, weeks, book, found.happened), notes=tuple(book.notes))


def _same_book(farm: Farm, work: PlannedWork) -> None:
    """The plan was made from this book and is not in it yet."""
    for row in farm.recorded:
        if row.plan == work.plan:
            found = f"plan {work.plan}, entered into this book already ({row.first_day} to {row.last_day})"
            raise RecordError([Finding("recorded", found, "a plan that is not in the book yet")])
    seen = farm_as_planned(farm, work.about)
    if seen.fingerprint != work.about.book_fingerprint:
        found = f"a plan made from the book {work.about.book_fingerprint[:12]}; this book is {seen.fingerprint[:12]}"
        hint = "give the book the plan was made from; if it was changed since, plan again"
        raise RecordError([Finding("record keys", found, "a plan of this very book", hint)])


def _next_farm(farm: Farm, work: PlannedWork, weeks: int, book: NextBook, happened: Happened) -> Farm:
    last = work.last_day(weeks)
    monday = last + timedelta(days=1)
    settings = farm.settings.model_copy(
        update={"book_date": last, "plan_monday": monday if farm.settings.plan_monday is not None else None}
    )
    strains = {lot.lot: lot.strain for lot in (*farm.lots, *book.lots.values())}
    strains |= {d.lot: farm.colony[d.colony].strain for d in happened.done if isinstance(d, DoneCut)}
    row = RecordedPlan(plan=work.plan, first_day=work.monday, last_day=last, book=work.about.book_fingerprint)
    return replace(
        farm, settings=settings, lots=tuple(book.lots.values()), colonies=tuple(book.colonies.values()),
        orders=tuple(book.orders.values()), supplies=_drawn(farm, happened, strains, book.notes), sales_done=tuple(book.sales),
        counts=tuple(book.counts), past_lots=tuple(book.past_lots), past_cuts=tuple(book.past_cuts), light=tuple(book.light),
        pins=_pins_left(farm, book, monday), recorded=(*farm.recorded, row), strains=_coded(farm, book),
        plugs=plugs_in_water(farm, happened, strains, book.notes),
    )  # fmt: skip


def _coded(farm: Farm, book: NextBook) -> tuple[Strain, ...]:
    """Strains without a code take on the one that was proposed for them and now stands on the plugs of a lot."""
    codes = label_codes(farm)
    given = {lot.strain for lot in book.lots.values() if lot.lot.split("-", 1)[0] == codes[lot.strain]}
    new = [s.strain for s in farm.strains if not s.code and s.strain in given]
    book.notes += [f"strain {name} has the label code {codes[name]} from now on" for name in new]
    return tuple(s.model_copy(update={"code": codes[s.strain]}) if s.strain in new else s for s in farm.strains)


def _drawn(farm: Farm, happened: Happened, strains: dict[str, str], notes: list[str]) -> tuple[Supply, ...]:
    used = draws(farm, happened, strains)
    rows = []
    for item in farm.supplies:
        left = exact(item.stock) - used.get(item.item, 0)
        if left < 0:
            notes.append(f"{item.item}: {float(-left):g} {item.unit} more were used than the book had in stock; it says 0 now")
        rows.append(item.model_copy(update={"stock": max(0.0, float(round(left, 6)))}))
    return tuple(rows)


def _pins_left(farm: Farm, book: NextBook, monday: date) -> tuple[Pin, ...]:
    """Pins that still ask for something; the others are named in the notes."""
    kept = []
    for pin in farm.pins:
        why = ""
        if pin.to_date is not None and pin.to_date < monday:
            why = f"its last day was {pin.to_date}"
        elif pin.kind in _DONE_BY_CUTTING and pin.colony in book.cut:
            why = f"{pin.colony} was cut"
        elif pin.session is not None and pin.session[-10:] < monday.isoformat():
            why = "its session is past"
        elif pin.lot is not None and pin.lot not in book.lots:
            why = f"lot {pin.lot} is gone"
        if why:
            book.notes.append(f"pin {pin.pin} ({pin.kind}) leaves the book: {why}")
        else:
            kept.append(pin)
    return tuple(kept)
