"""Reading a farm book: a workbook or a folder of CSV files becomes a farm, or one list of everything wrong with it."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from scheduler.book.checks.bench import check_codes, check_dips, check_plug_kinds, check_putty, check_routes
from scheduler.book.checks.history import check_histories, check_history_doubts
from scheduler.book.checks.ledger import Ledger, Tables
from scheduler.book.checks.links import Bad, Parts, check_keys, check_links, sound_rows
from scheduler.book.checks.places import check_light, check_mothers, check_positions
from scheduler.book.checks.rows import COUNTED, check_rows, check_settings, count_days
from scheduler.book.checks.sources import check_sources
from scheduler.book.checks.standing import check_company, check_counts, check_room, check_settling, check_stand
from scheduler.book.checks.trade import check_belonging, check_pins, check_prices, check_sales, check_strains
from scheduler.book.checks.work import check_hours, check_methods, check_plugs
from scheduler.book.coerce import money, nearest
from scheduler.book.csv_folder import read_csv_folder
from scheduler.book.fields import REQUIRED_TABLES
from scheduler.book.raw import Places, RawBook
from scheduler.book.tables import Read, build, read_settings, read_table
from scheduler.book.xlsx import read_xlsx
from scheduler.errors import BookError, Finding
from scheduler.farm.farm import TABLES, Farm
from scheduler.farm.rows import Row
from scheduler.farm.settings import Settings

WORKBOOK_ENDINGS = (".xlsx", ".xlsm")


@dataclass(frozen=True)
class Book:
    """A farm as read, and what a grower should look at. Doubts never stop a plan."""

    farm: Farm
    doubts: tuple[Finding, ...]


def read_book(path: Path) -> Book:
    """Read a farm book: an .xlsx workbook or a folder of CSV files. Raises ``BookError`` with every fault found."""
    raw = _raw(Path(path))
    faults = list(raw.faults)
    places = Places()
    for name in raw.tables:
        if name not in TABLES:
            title = raw.tables[name].title
            faults.append(Finding(title, f"the table {name!r}", "a table of the farm book", nearest(name, TABLES)))
    settings, places.settings, given = read_settings(raw.tables.get("settings"), faults)
    reads: dict[str, Read] = {}
    for name, cls in TABLES.items():
        if name == "settings":
            continue
        table = raw.tables.get(name)
        reads[name] = read_table(table, cls, faults) if table is not None else Read(lost=name in REQUIRED_TABLES)
        place = reads[name].place
        if place is not None:
            places.tables[name] = place
        if table is None and name in REQUIRED_TABLES:
            faults.append(Finding(raw.title, f"no table {name}", cls.ABOUT))
        elif name in REQUIRED_TABLES and not reads[name].rows and not reads[name].lost:
            faults.append(Finding(table.title if table else name, "no rows", cls.ABOUT))
            reads[name].lost = True
    tables: Tables = {name: read.rows for name, read in reads.items()}
    faulty = {name: read.faulty_keys for name, read in reads.items()}
    lost = {name for name, read in reads.items() if read.lost}
    if "book_date" not in given:
        newest = max([settings.book_date, *(day for name in COUNTED for row in tables[name] for day in count_days(row))])
        if newest > settings.book_date:
            if not any(f.where == places.settings.get("book_date") for f in faults):
                where = places.where("settings", 0, "book_date")
                faults.append(Finding(where, "no book_date", "the day the book was last brought up to date", f"such as {newest}"))
            settings = settings.model_copy(update={"book_date": newest})
    parts = {name: read.parts for name, read in reads.items()}
    found, doubts = check_tables(settings, tables, places, faulty=faulty, lost=lost, parts=parts, go_on=not faults)
    faults += found
    if faults:
        raise BookError(faults)
    return Book(make_farm(settings, tables), (*raw.doubts, *doubts))


def check_farm(farm: Farm) -> tuple[tuple[Finding, ...], tuple[Finding, ...]]:
    """Faults and doubts of a farm made in code."""
    tables: Tables = {name: list(getattr(farm, name)) for name in TABLES if name != "settings"}
    return check_tables(farm.settings, tables, Places())


def canonical(farm: Farm) -> Farm:
    """The farm as it would be read from its own book: the same values, numbers and money in the form reading gives them.

    A farm made in code may hold ``Decimal("8")`` where its book reads ``Decimal("8.00")``; fingerprints tell them apart.
    """

    def same(row: Row) -> Row:
        values: dict[str, Any] = {name: money(value) if isinstance(value, Decimal) else value for name, value in row}
        return build(type(row), values)[0] or row

    tables: Tables = {name: [same(row) for row in getattr(farm, name)] for name in TABLES if name != "settings"}
    settings = same(farm.settings)
    assert isinstance(settings, Settings)
    return make_farm(settings, tables)


def make_farm(settings: Settings, tables: Tables) -> Farm:
    """A farm from its tables."""
    rows: dict[str, Any] = {name: tuple(found) for name, found in tables.items()}
    return Farm(settings=settings, **rows)


def check_tables(
    settings: Settings,
    tables: Tables,
    places: Places,
    *,
    faulty: dict[str, set[str]] | None = None,
    lost: set[str] | None = None,
    parts: Parts | None = None,
    go_on: bool = True,
) -> tuple[tuple[Finding, ...], tuple[Finding, ...]]:
    """Faults and doubts across tables.

    ``faulty`` names rows that are in the book but were not readable, ``parts`` is what could be read of them, ``lost`` the
    tables that have such rows; doubts are looked for only if there is no fault (``go_on`` says there was none before).
    """
    ledger, lost = Ledger(places), set(lost or ())
    settings = check_settings(settings, ledger)
    bad: Bad = check_keys(tables, ledger) | check_rows(tables, settings, ledger)
    check_links(tables, faulty or {}, lost, ledger, parts)
    # Rows with faults are put aside, with all that lean on them, so that the rest can still be looked through.
    kept = sound_rows(tables, bad)
    ledger.kept = dict(kept)
    lost |= {name for name, indexes in kept.items() if len(indexes) < len(tables[name])}
    sound = {name: [tables[name][i] for i in indexes] for name, indexes in kept.items()}
    farm = make_farm(settings, sound)
    if "light" not in lost:
        check_light(farm, ledger)
    check_positions(farm, ledger)
    check_mothers(farm, ledger)
    check_strains(farm, ledger, classes_complete="classes" not in lost)
    check_belonging(farm, ledger)
    check_sales(farm, ledger)
    check_prices(farm, ledger)
    check_routes(farm, ledger)
    check_plug_kinds(farm, ledger)
    check_histories(farm, tables, faulty or {}, ledger)
    if "sessions" not in lost and "people" not in lost:
        check_pins(farm, ledger)
    if go_on and not ledger.faults:
        for look in (
            check_counts, check_room, check_company, check_stand, check_settling, check_methods, check_hours, check_plugs,
            check_sources, check_history_doubts, check_codes, check_dips, check_putty,
        ):  # fmt: skip
            look(farm, ledger)
    return tuple(dict.fromkeys(ledger.faults)), tuple(dict.fromkeys(ledger.doubts))


def _raw(path: Path) -> RawBook:
    """The cells of a book."""
    try:
        if path.is_dir():
            return read_csv_folder(path)
        if not path.exists():
            raise BookError([Finding(str(path), "nothing there", "a workbook or a folder of CSV files")])
        if path.suffix.lower() not in WORKBOOK_ENDINGS:
            hint = "give the folder of the CSV files" if path.suffix.lower() == ".csv" else "save it as .xlsx"
            raise BookError([Finding(path.name, f"a {path.suffix or 'nameless'} file", "an .xlsx workbook or a folder", hint)])
        return read_xlsx(path)
    except OSError as error:
        found = f"a book that cannot be read ({error.strerror or error})"
        hint = "is it open in another program?" if isinstance(error, PermissionError) else ""
        raise BookError([Finding(path.name, found, "an .xlsx workbook or a folder", hint)]) from error
