"""``compare``: what a change would bring before it is paid for."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from scheduler.errors import ChangeError

if TYPE_CHECKING:
    from scheduler.reporting import Table
    from scheduler.reporting.tables.base import Value

Told = Callable[[Callable[..., None]], Callable[..., None]]


def compare(
    book: Annotated[Path, typer.Argument(help="Farm book: a workbook (.xlsx) or a folder of CSV files.", show_default=False)],
    change: Annotated[
        list[str] | None, typer.Option(help="A change in words (repeatable); without one, examples are shown.")
    ] = None,
    changes: Annotated[
        Path | None, typer.Option(help="A CSV file with a column change, one change a line.", show_default=False)
    ] = None,
    seed: Annotated[int, typer.Option(help="Seed of both searches.", min=0)] = 1,
    time_limit: Annotated[float, typer.Option(help="Most seconds for each near-weeks search.", min=1)] = 32,
    weeks: Annotated[int | None, typer.Option(help="Horizon in weeks, instead of the book's.", min=4, max=104)] = None,
    jobs: Annotated[int, typer.Option(help="Plans made at once.", min=1, max=2)] = 2,
) -> None:
    """Plan the farm as it is and with changes, and show both side by side. Nothing is written."""
    from dataclasses import replace

    from scheduler.book import read_book
    from scheduler.cli.inputs import read_changes
    from scheduler.cli.show import Stages, out
    from scheduler.planning.changes import FORMS, apply_changes, note_of
    from scheduler.planning.compare import compare_farms
    from scheduler.planning.given import with_learned
    from scheduler.reporting.compare import cuts_table, money_table, months_table, order_answers, orders_table, racks_table
    from scheduler.solving import Limits

    words = (*(change or ()), *(read_changes(changes) if changes else ()))
    if not words:
        raise ChangeError(
            "There is no change to try; changes are such as:\n" + "\n".join(f"  --change {f.example!r}" for f in FORMS)
        )
    farm = read_book(book).farm
    if weeks is not None:
        farm = replace(farm, settings=farm.settings.model_copy(update={"horizon_weeks": weeks}))
    farm, _ = with_learned(farm)
    other = apply_changes(farm, words)
    limits = Limits.for_time(time_limit, seed=seed)
    found = compare_farms(farm, other, limits=limits, jobs=jobs, stage=Stages().stage)
    for text in words:
        note = note_of(text)
        out.print(f"Change: {text}" + (f" ({note})" if note else ""), markup=False)
    views = (found.base, found.changed)
    for table in (money_table(*views), months_table(*views), orders_table(*views), racks_table(*views), cuts_table(*views)):
        _show(table, farm.settings.currency)
    for answer in order_answers(*views):
        out.print(f"Order: {answer}", markup=False)
    for text in found.told():
        out.print(text, markup=False)


def _show(table: Table, currency: str) -> None:
    """A table at the terminal."""
    from rich.table import Table as Grid

    from scheduler.cli.show import out

    titles = {
        "money": f"Money, {currency}", "months": "Frags reaching a size to sell, by month", "orders": "Orders", "racks": "Use of tanks, percent",
        "cuts": "Cut otherwise in week 1",
    }  # fmt: skip
    grid = Grid(title=titles[table.name], title_justify="left", box=None)
    for number, name in enumerate(table.columns):
        grid.add_column(name, justify="left" if number == 0 or table.name == "cuts" else "right")
    for row in table.rows:
        places = 2 if table.name == "money" else 0 if str(row[0]).startswith("orders") else 1
        grid.add_row(*(_shown(v, places, signed=i == 3) for i, v in enumerate(row)))
    if not table.rows:
        grid.add_row("nothing")
    out.print(grid)


def _shown(value: Value, places: int, *, signed: bool) -> str:
    """A cell; a difference with its sign."""
    from decimal import Decimal

    if not isinstance(value, Decimal):
        return str(value)
    return f"{round(value, places) + 0:{'+' if signed and round(value, places) else ''},.{places}f}"


def add_commands(app: typer.Typer, told: Told) -> None:
    """Put the command of this module into ``app``; ``told`` turns errors into messages and exit codes."""
    app.command(epilog="Example: frag-scheduler compare data/demo --change 'rack of 8 x 10 in N1 at 250 PAR'")(told(compare))
