"""Light measured by the crew, as rows of the next book."""

from __future__ import annotations

from collections.abc import Sequence

from scheduler.farm.space import LightReading
from scheduler.record.done import DoneReading

WILD = 2.0
"""A reading so many times the last one, or so many times less, is asked about: farm choice, no published source."""

_CORNERS = ("par_first_row_first_col", "par_first_row_last_col", "par_last_row_first_col", "par_last_row_last_col")


def last_reading(rows: Sequence[LightReading], done: DoneReading) -> LightReading | None:
    """The reading, or lamp change, that holds for a rack up to the new one."""
    before = [row for row in rows if row.rack == done.rack and row.from_date <= done.day and row.corners]
    return max(before, key=lambda row: row.from_date, default=None)


def is_wild(done: DoneReading, last: LightReading | None) -> bool:
    """Whether a corner has more than ``WILD`` times the light it had, or less than so much of it."""
    was = last.corners if last is not None else None
    now = done.par * 4 if len(done.par) == 1 else done.par
    return was is not None and any(not 1 / WILD <= new / old <= WILD for new, old in zip(now, was, strict=True))


def reading(done: DoneReading, last: LightReading | None) -> LightReading:
    """The row for the book; a lamp setting that nobody wrote is as it was."""
    lamp = done.lamp_percent if done.lamp_percent is not None or last is None else last.lamp_percent
    names = _CORNERS if len(done.par) > 1 else ("par_umol",)
    return LightReading(rack=done.rack, from_date=done.day, lamp_percent=lamp, **dict(zip(names, done.par, strict=True)))
