"""From a filled plan workbook and the old book to the next book: what was planned, what was done, what stands where now."""

from scheduler.record.planned import KEY_SHEET, RECORD_SHEET, PlannedWork, planned_work
from scheduler.record.read import Filled, read_filled
from scheduler.record.resolve import OpenGroup
from scheduler.record.run import Outcome, record

__all__ = [
    "KEY_SHEET", "RECORD_SHEET", "Filled", "OpenGroup", "Outcome", "PlannedWork", "planned_work", "read_filled", "record",
]  # fmt: skip
