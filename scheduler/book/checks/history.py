"""Counts and past lots: what cannot have been (faults), and what is hard to believe (doubts)."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from scheduler.biology.life import weekly_losses
from scheduler.book.checks.ledger import Ledger, Tables
from scheduler.book.checks.links import names_in
from scheduler.book.coerce import nearest
from scheduler.farm.counts import Count
from scheduler.farm.farm import Farm

_MANY_LOST, _LEAST_LOST = 5.0, 4
"""Losses above so many times those expected, and above so many frags beyond them, are doubted."""

_MUCH_GROWN, _ERROR_MM = 3.0, 5.0
"""A mean size above so many times the growth expected, or below the fresh frag by more than the error, is doubted."""


def check_histories(farm: Farm, tables: Tables, faulty: Mapping[str, set[str]], ledger: Ledger) -> None:
    """Every count is of a known lot, after its cut, and finds no more frags than were mounted."""
    known: set[str] = set()
    for sheet in ("lots", "past_lots"):
        known |= names_in(tables, sheet) | faulty.get(sheet, set())
    for index, past in enumerate(farm.past_lots):
        if past.lot in farm.lot:
            ledger.fault("past_lots", index, "lot", f"lot {past.lot}, which is in lots too", "a lot no longer on racks")
    mounted = {r.lot: (r.cut_date, r.started) for r in farm.past_lots} | {r.lot: (r.cut_date, r.started) for r in farm.lots}
    for index, count in enumerate(farm.counts):
        if count.lot not in known:
            ledger.fault("counts", index, "lot", repr(count.lot), "a lot from lots or past_lots", nearest(count.lot, known))
            continue
        if count.lot not in mounted:
            continue  # a lot with faults of its own
        cut_date, started = mounted[count.lot]
        if count.date < cut_date:
            ledger.fault(
                "counts", index, "date", f"{count.date}, before lot {count.lot} was cut on {cut_date}", f"{cut_date} or later"
            )
        if count.alive > started:
            found = f"{count.alive} alive of lot {count.lot}"
            ledger.fault("counts", index, "alive", found, f"at most the {started} mounted")
        elif count.alive + count.detached + count.sold > started:
            found = f"{count.alive} alive, {count.detached} detached and {count.sold} sold of lot {count.lot}"
            ledger.fault(
                "counts", index, "detached", found, f"together at most the {started} mounted", "only those since the count before"
            )


def check_history_doubts(farm: Farm, ledger: Ledger) -> None:
    """Counts that find more than was left, lose more than is likely or measure sizes that cannot be, and cuts far off their plan."""
    places = {(c.lot, c.date): i for i, c in enumerate(farm.counts)}
    for lot, rows in farm.counts_of.items():
        here = farm.lot.get(lot) or farm.past_lot[lot]
        before, since = here.started, here.cut_date
        for row in rows:
            index = places[lot, row.date]
            _check_count(farm, ledger, index, row, here.strain, here.cut_date, before, since)
            before, since = row.alive, row.date
        on_rack, newest = farm.lot.get(lot), rows[-1]
        if on_rack is not None and newest.date > on_rack.count_date:
            found = f"a count of {lot} on {newest.date}, newer than {on_rack.count_date} in lots"
            ledger.doubt("counts", places[lot, newest.date], "date", found, "the newest count in lots too", "plans use lots")
    for index, cut in enumerate(farm.past_cuts):
        if cut.pieces_got > 2 * cut.pieces_planned:
            found = f"{cut.pieces_got} pieces where {cut.pieces_planned} were planned"
            ledger.doubt("past_cuts", index, "pieces_got", found, "at most twice as many")


def _check_count(
    farm: Farm, ledger: Ledger, index: int, row: Count, strain: str, cut_date: date, before: int, since: date
) -> None:
    week_of, traits = farm.weeks.week_of, farm.traits(strain)
    left = row.alive + row.detached + row.sold
    if left > before:
        found = f"{row.alive} alive, {row.detached} detached and {row.sold} sold of lot {row.lot}"
        ledger.doubt(
            "counts", index, "alive", found, f"together at most the {before} of the count before", "one of them is a miscount"
        )
    kept = 1.0
    for age in range(week_of(since) - week_of(cut_date), week_of(row.date) - week_of(cut_date)):
        death, detach = weekly_losses(traits, age, traits.par_min, farm.settings.stress_factor)
        kept *= 1 - death - detach
    lost, expected = before - row.alive - row.sold, before * (1 - kept)
    if lost > _MANY_LOST * expected and lost > expected + _LEAST_LOST:
        found = f"{lost} of {before} frags of lot {row.lot} lost since {since}"
        ledger.doubt("counts", index, "alive", found, f"about {expected:.0f}", "an outlier; it counts as it stands")
    if row.size_mm is not None:
        grown, most = row.size_mm - traits.frag_mm, traits.frag_mm_per_week * (week_of(row.date) - week_of(cut_date))
        if not -_ERROR_MM <= grown <= _MUCH_GROWN * most + _ERROR_MM:
            found = f"{row.size_mm:g} mm, lot {row.lot}"
            expected_size = f"{traits.frag_mm:g} to about {traits.frag_mm + most:.0f} mm"
            ledger.doubt("counts", index, "size_mm", found, expected_size, "an outlier; far ones are not learned from")
