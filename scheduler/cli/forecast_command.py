"""``forecast``: sellable frags by month with their spread, what can be promised, and what the farm's counts say."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from scheduler.cli.show import Stages
    from scheduler.farm.farm import Farm
    from scheduler.forecast.outlook import Outlook
    from scheduler.plan.model import Plan

Told = Callable[[Callable[..., None]], Callable[..., None]]

BookPath = Annotated[Path, typer.Argument(help="Farm book: a workbook (.xlsx) or a folder of CSV files.", show_default=False)]


def forecast(
    book: BookPath,
    plan: Annotated[
        Path | None,
        typer.Option(
            metavar="PLAN.json", show_default=False, help="Plan to forecast. Without it: this week's plan in --out, or a new one."
        ),
    ] = None,
    out: Annotated[Path, typer.Option(help="Folder for the plans; the forecast goes beside the plan of its week.")] = Path(
        "reports"
    ),
    new_order: Annotated[
        list[str] | None,
        typer.Option(
            metavar="STRAIN:CLASS:N", help="When could a new order of so many be promised? (repeatable)", show_default=False
        ),
    ] = None,
    draws: Annotated[int | None, typer.Option(help="Random draws, instead of the book's.", min=100, max=100_000)] = None,
    seed: Annotated[int, typer.Option(help="Seed of the draws.", min=0)] = 1,
    quiet: Annotated[bool, typer.Option(help="No progress.")] = False,
) -> None:
    """Forecast sellable frags by month with their spread, orders covered and what can be promised. Learns from the counts first."""
    from scheduler.book import read_book
    from scheduler.cli.show import Stages
    from scheduler.cli.show import out as terminal
    from scheduler.forecast.outlook import forecast as look_ahead
    from scheduler.reporting.write_forecast import write_forecast

    shown = Stages(quiet=quiet)
    shown.stage("reading the farm book")
    farm = read_book(book).farm
    wanted = [_new_order(farm, text) for text in new_order or []]
    farm, document = _plan(farm, plan, out, shown)
    shown.stage("learning from counts, drawing months ahead")
    outlook = look_ahead(farm, document, draws=draws, seed=seed)
    shown.stage("writing the forecast")
    files = write_forecast(farm, outlook, out)
    for line in _summary(outlook):
        terminal.print(line, markup=False)
    for cell, quantity in wanted:
        terminal.print(_promise(outlook, cell, quantity), markup=False)
    terminal.print(f"Written: {files[0]}", markup=False)


def add_commands(app: typer.Typer, told: Told) -> None:
    """Give the program its command ``forecast``."""
    app.command(epilog="Example: frag-scheduler forecast data/demo --out reports --new-order LAN:small:40")(told(forecast))


def _refuse(text: str) -> typer.Exit:
    from scheduler.cli.show import err

    err.print(text, markup=False)
    return typer.Exit(2)


def _new_order(farm: Farm, text: str) -> tuple[tuple[str, str], int]:
    """Strain and class, and how many."""
    parts = [p.strip() for p in text.split(":")]
    if len(parts) != 3 or not parts[2].isdigit() or int(parts[2]) < 1:
        raise _refuse(f"--new-order {text}: expected a strain, a size class and a number, such as LAN:small:40")
    strain, size_class, quantity = parts
    if strain not in farm.strain:
        raise _refuse(f"--new-order {text}: there is no strain {strain!r}; the book has {', '.join(farm.strain)}")
    if farm.size_class(strain, size_class) is None:
        names = ", ".join(c.size_class for c in farm.size_classes(strain))
        raise _refuse(f"--new-order {text}: {strain} has no size class {size_class!r}; it has {names}")
    return (strain, size_class), int(quantity)


def _plan(farm: Farm, file: Path | None, out: Path, shown: Stages) -> tuple[Farm, Plan]:
    """The plan to forecast, and the farm over its weeks: the one named, this week's in the folder, or a new one."""
    from scheduler.cli.inputs import read_plan
    from scheduler.cli.show import err
    from scheduler.errors import ChangeError

    if file is not None:
        document = read_plan(file)
        if not _made_from(document, farm):
            raise ChangeError(f"{file} was made from another book, or from this one in another state. Plan it anew.")
        return _over(farm, document), document
    usual = out / farm.weeks.label(1) / "plan.json"
    if usual.is_file():
        document = read_plan(usual)
        if _made_from(document, farm):
            shown.stage(f"the plan is {usual}")
            return _over(farm, document), document
        err.print(f"{usual} was made from this book in another state and is not used.", markup=False)
    from scheduler.cli.interrupt import stopped_by_hand
    from scheduler.planning.given import with_learned
    from scheduler.planning.pipeline import plan_farm
    from scheduler.solving import Limits

    shown.stage("no plan of this week's book; planning (the plan is not written)")
    taught, _ = with_learned(farm)
    with stopped_by_hand(shown.said) as stop:
        result = plan_farm(taught, limits=Limits.for_time(32), progress=shown.progress, stage=shown.stage, stop=stop)
    return farm, result.plan


def _made_from(document: Plan, farm: Farm) -> bool:
    """Whether a plan is one of this very book."""
    from scheduler.plan.identity import farm_as_planned

    return farm_as_planned(farm, document.about).fingerprint == document.about.book_fingerprint


def _over(farm: Farm, document: Plan) -> Farm:
    """The farm over the weeks of a plan."""
    return replace(farm, settings=farm.settings.model_copy(update={"horizon_weeks": document.about.weeks}))


def _summary(outlook: Outlook) -> list[str]:
    from scheduler.forecast.outlook import quantiles

    low, middle, high = quantiles(outlook.total)
    rows = ["Frags becoming sellable, each once (8 in 10 months should fall within the range)"]
    for i, (year, month) in enumerate(outlook.months):
        rows.append(f"  {year}-{month:02d}  {middle[i]:5d}   ({low[i]} to {high[i]})")
    weak = [c for c in outlook.orders if c.with_market < outlook.farm.settings.service_level]
    level = f"{outlook.farm.settings.service_level:.0%}"
    rows.append(f"{len(outlook.orders)} orders; {len(weak)} below {level} by their day, market frags included:")
    rows += [
        f"  {c.order.order}: {c.order.quantity} {c.order.strain} {c.order.size_class} by {c.order.due}, "
        f"{c.started} started for {c.order.quantity}, covered with {c.on_time:.0%} as planned, {c.with_market:.0%} at best"
        for c in weak
    ]
    return rows


def _promise(outlook: Outlook, cell: tuple[str, str], quantity: int) -> str:
    level = f"{outlook.farm.settings.service_level:.0%}"
    what = f"A new order of {quantity} {cell[0]} {cell[1]}"
    month = outlook.earliest(cell, quantity) if cell in outlook.supply else None
    if month is None:
        return f"{what}: in no month of the plan with {level}"
    return f"{what}: by the end of {month[0]}-{month[1]:02d} with {level}"
