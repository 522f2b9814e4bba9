"""Whatever a crew writes: a list of points to settle, or a book without faults in which every plug is accounted for."""

from __future__ import annotations

from collections.abc import Iterator
from random import Random

from hypothesis import given
from hypothesis import strategies as st

from scheduler.book import check_farm
from scheduler.errors import RecordError
from scheduler.plan.view import PlanView
from scheduler.record import Filled, planned_work, record
from scheduler.record.cells import Entry, Written
from scheduler.record.layout import CREW, USED
from scheduler.record.planned import Group
from tests.record.test_record_done import PLAN, STOCKED

WORK = planned_work(PlanView(STOCKED, PLAN))
WORDS = (
    "A1",
    "N1-a",
    "N1-b",
    "S1-a",
    "A1:B5",
    "D1:E6",
    "H1:H4; G1",
    "OA",
    "OB",
    "NA",
    "X9",
    "B1",
    "market",
    "order one",
    "small",
    "=1",
    "12",
    "1,5",
    " ",
)
NUMBERS = (0, 1, 2, 3, 5, 8, 12, 13, 60, -1, 0.5, 1e9, True, None)


def sensible(random: Random, group: Group) -> Iterator[tuple[str, str, object]]:
    """Entries such as crews make: marks that fit, small deviations."""
    things = [t for t in group.things if random.random() < 0.4]
    if group.marked and group.things:
        yield (
            group.key,
            "mark",
            "except" if things and group.section != "moves" else random.choice(("as planned", "not done", "as planned")),
        )
    if group.section == "moves":
        return
    for thing in things:
        number = random.randint(0, thing.pieces)
        if group.section == "session":
            yield thing.key, "pieces", number
            yield thing.key, "lost", random.randint(0, number)
        elif group.section == "packing":
            yield thing.key, "pieces", number
            yield thing.key, "counted", random.randint(0, number)
        else:
            yield thing.key, "counted", number


def entries(cells: Iterator[tuple[str, str, object]]) -> dict[str, Entry]:
    found: dict[str, Entry] = {}
    for key, column, value in cells:
        entry = found.setdefault(key, Entry(key, len(found) + 1))
        entry.cells[column] = Written(value, f"record!{column}{entry.row}")
    return found


def not_settled(error: RecordError) -> bool:
    """Not recorded; every point says where, what was found and what is expected."""
    assert error.faults
    assert all(f.where and f.found and f.expected for f in error.faults)
    return False


def balanced(filled: Filled, weeks: int) -> bool:
    """Whether the week could be recorded; if so, its book holds."""
    try:
        farm = record(STOCKED, filled, weeks=weeks, marks={"*": "as planned"}).farm
    except RecordError as error:
        return not_settled(error)
    assert farm is not None
    faults, _ = check_farm(farm)
    assert not faults
    mounted = {x.lot: x.started for x in (*farm.lots, *farm.past_lots)}
    for lot, began in {x.lot: x.alive for x in STOCKED.lots}.items():
        off = sum(s.plugs for s in farm.sales_done if s.lot == lot)
        left = farm.lot[lot].alive if lot in farm.lot else 0
        counted = any(c.lot == lot for c in farm.counts)
        assert left == began - off if not counted else left <= began - off
    new = sum(n for lot, n in mounted.items() if lot not in STOCKED.lot)
    assert next(s.stock for s in farm.supplies if s.item == "plug") == 100 - new
    assert sum(c.pieces_got for c in farm.past_cuts) <= new
    return True


@given(st.integers(0, 10**9), st.integers(1, 2))
def test_weeks_as_crews_fill_them_are_recorded(seed: int, weeks: int) -> None:
    random = Random(seed)
    cells = (cell for group in WORK.groups if group.week <= weeks for cell in sensible(random, group))
    # In week 2 a lot may be too large for the place its move was planned to.
    assert balanced(Filled(WORK, entries(cells), ()), weeks) or weeks == 2


@given(st.integers(0, 10**9), st.integers(1, 2))
def test_noise_is_never_taken_for_work(seed: int, weeks: int) -> None:
    random = Random(seed)

    def noise() -> Iterator[tuple[str, str, object]]:
        for group in WORK.groups:
            if group.marked and random.random() < 0.7:
                yield group.key, "mark", random.choice(("as planned", "except", "not done", "yes"))
            for key in group.rows[1:]:
                if random.random() < 0.15:
                    columns = [*sorted(USED[group.section]), *(("name", "lot", "detail") if " more " in key else ())]
                    for column in random.sample(columns, min(len(columns), random.randint(1, 4))):
                        yield key, column, random.choice((*WORDS, *NUMBERS))

    found = {
        k: e
        for k, e in entries(c for c in noise() if c[2] is not None and c[2] != " ").items()
        if set(e.cells) & {*CREW, "name", "lot", "detail"}
    }
    balanced(Filled(WORK, found, ()), weeks)
