"""A farm's records as the learner reads them: intervals between counts, measured sizes, and cuts against their plan."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from scheduler.biology.light import growth_factor
from scheduler.biology.zones import zones
from scheduler.farm.counts import Count
from scheduler.farm.farm import Farm
from scheduler.farm.standard import standard
from scheduler.forecast.survival import Interval
from scheduler.plan.view import old_stand


@dataclass(frozen=True)
class Grown:
    """One measured mean size of a lot: millimetres grown since the cut, and those its default rate and light expect.

    ``sold``: frags of the lot sold up to then; which are left depends on how they grew.
    """

    lot: str
    frags: int
    size_mm: float
    grown_mm: float
    expected_mm: float
    sold: int = 0


@dataclass(frozen=True)
class CutRecord:
    """One past cut as ratios of real to planned or standard; ``None`` where nothing was noted."""

    colony: str
    day: date
    pieces: float
    cutting: float | None
    mounting: float | None


@dataclass(frozen=True)
class LotRecord:
    """What the book knows of a lot that was counted. ``par_umol`` and ``tank`` may be unknown."""

    lot: str
    strain: str
    cut_date: date
    started: int
    tank: str | None
    par_umol: float | None


def lot_record(farm: Farm, lot: str) -> LotRecord | None:
    """A lot on racks or past; of one on racks, the light is today's. ``None`` for a lot the book does not have."""
    here = farm.lot.get(lot)
    if here is not None:
        tank = farm.rack[here.rack].tank
        par = zones(farm)[old_stand(farm, lot).zone].par_in(1) if here.blocks else None
        return LotRecord(lot, here.strain, here.cut_date, here.started, tank, par)
    past = farm.past_lot.get(lot)
    if past is None:
        return None
    return LotRecord(lot, past.strain, past.cut_date, past.started, past.tank, past.par_umol)


@dataclass(frozen=True)
class Step:
    """Two counts that follow each other (the first may be the mounting), with ages in whole weeks and what became of the frags.

    ``recounted``: more frags were found than can have been left; the missing deaths are then taken as none.
    """

    start: int
    end: int
    frags: int
    count: Count
    detached: int
    sold: int

    @property
    def recounted(self) -> bool:
        """Whether more was found than the count before leaves."""
        return self.count.alive + self.detached + self.sold > self.frags

    @property
    def died(self) -> int:
        """Frags missing and neither sold nor found off their plug."""
        return max(0, self.frags - self.count.alive - self.detached - self.sold)


def steps(farm: Farm, record: LotRecord) -> Iterator[Step]:
    """The intervals of a lot's counts by age. Counts of one week are taken as one, the last of them holding."""
    first = farm.weeks.week_of(record.cut_date)
    age, frags, detached, sold = 0, record.started, 0, 0
    rows = farm.counts_of.get(record.lot, ())
    for index, row in enumerate(rows):
        now = farm.weeks.week_of(row.date) - first
        detached, sold = detached + row.detached, sold + row.sold
        later = rows[index + 1] if index + 1 < len(rows) else None
        same_week = later is not None and farm.weeks.week_of(later.date) - first == now
        if same_week or now <= age:
            continue
        yield Step(age, now, frags, row, detached, sold)
        age, frags, detached, sold = now, row.alive, 0, 0


def intervals(farm: Farm) -> dict[str, tuple[Interval, ...]]:
    """Intervals between counts by strain. One where more was found than was left counts with as many frags as were found."""
    found: dict[str, list[Interval]] = {}
    for lot in farm.counts_of:
        record = lot_record(farm, lot)
        if record is None:
            continue
        traits = farm.traits(record.strain)
        par = record.par_umol
        stressed = par is not None and not traits.par_min <= par <= traits.par_max
        cut_week = farm.weeks.week_of(record.cut_date)
        for step in steps(farm, record):
            frags = max(step.frags, step.count.alive + step.detached + step.sold)
            if frags == 0:
                continue
            middle = cut_week + (step.start + step.end + 1) // 2
            found.setdefault(record.strain, []).append(
                Interval(
                    step.start, step.end, frags, step.died, step.detached, step.sold,
                    farm.settings.stress_factor if stressed else 1.0, lot, record.tank, farm.weeks.month(middle),
                )
            )  # fmt: skip
    return {strain: tuple(rows) for strain, rows in found.items()}


def expected_growth(farm: Farm, record: LotRecord, day: date) -> float | None:
    """Millimetres a lot should have grown by a day at its default rate; ``None`` where its light is not known."""
    if record.par_umol is None:
        return None
    traits = farm.traits(record.strain)
    weeks = farm.weeks.week_of(day) - farm.weeks.week_of(record.cut_date)
    return traits.frag_mm_per_week * growth_factor(record.par_umol, traits.par_k) * weeks


def sizes(farm: Farm) -> dict[str, tuple[Grown, ...]]:
    """Measured sizes by strain, where light and time let a growth be expected."""
    found: dict[str, list[Grown]] = {}
    for lot, rows in farm.counts_of.items():
        record = lot_record(farm, lot)
        if record is None:
            continue
        sold = 0
        for row in rows:
            sold += row.sold
            expected = expected_growth(farm, record, row.date)
            if row.size_mm is not None and expected is not None and expected > 0 and row.alive > 0:
                grown = row.size_mm - farm.traits(record.strain).frag_mm
                found.setdefault(record.strain, []).append(Grown(lot, row.alive, row.size_mm, grown, expected, sold))
    return {strain: tuple(rows) for strain, rows in found.items()}


def cuts(farm: Farm) -> dict[str, tuple[CutRecord, ...]]:
    """Past cuts by strain, as ratios to the pieces planned and to the standard minutes of the farm book."""
    found: dict[str, list[CutRecord]] = {}
    for row in farm.past_cuts:
        minutes = standard(farm, row.strain, row.on_rock)
        cutting, mounting = float(minutes.cutter(row.pieces_got)), float(minutes.mounter(row.pieces_got, 1))
        found.setdefault(row.strain, []).append(
            CutRecord(
                row.colony, row.date, row.pieces_got / row.pieces_planned,
                _ratio(row.minutes_cutting, cutting) if row.pieces_got else None,
                _ratio(row.minutes_mounting, mounting) if row.pieces_got else None,
            )
        )  # fmt: skip
    return {strain: tuple(rows) for strain, rows in found.items()}


def _ratio(used: float | None, standard: float) -> float | None:
    return used / standard if used is not None and standard > 0 else None
