"""Commands of ``frag-scheduler``. Exit codes: 0 good, 1 audit failed, 2 faults, 3 pins conflict, 4 no plan, 5 cannot write."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import Annotated, ParamSpec

import typer

from scheduler import __version__
from scheduler.cli import compare_command, forecast_command, page_command, record_command, replay_command
from scheduler.errors import BookError, FragSchedulerError, PinConflict

P = ParamSpec("P")

app = typer.Typer(
    no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False, help="Plan the work of a coral frag farm."
)
book_app = typer.Typer(no_args_is_help=True, help="Start or convert a farm book.")
app.add_typer(book_app, name="book")

BookPath = Annotated[Path, typer.Argument(help="Farm book: a workbook (.xlsx) or a folder of CSV files.", show_default=False)]


def told(command: Callable[P, None]) -> Callable[P, None]:
    """Turns this package's errors into a message and an exit code."""

    @wraps(command)
    def run(*args: P.args, **kwargs: P.kwargs) -> None:
        try:
            command(*args, **kwargs)
        except FragSchedulerError as error:
            from scheduler.cli.show import err

            err.print(str(error), markup=False)
            raise typer.Exit(error.exit_code) from error

    return run


def _version(value: bool) -> None:
    if value:
        print(f"frag-scheduler {__version__}")
        raise typer.Exit


@app.callback()
def main(
    version: Annotated[bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")] = False,
) -> None:
    """Plan the work of a coral frag farm."""


@app.command(epilog="Example: frag-scheduler check data/demo")
@told
def check(book: BookPath) -> None:
    """List every fault and doubt of a farm book. Exit 0: it can be planned from; 2: it has faults."""
    from scheduler.book import read_book
    from scheduler.cli.show import findings, out

    found = read_book(book)
    findings("Doubts", found.doubts)
    out.print(f"No faults. {len(found.doubts)} doubts.", markup=False)


@app.command(epilog="Example: frag-scheduler plan data/demo --out reports --time-limit 60")
@told
def plan(
    book: BookPath,
    out: Annotated[Path, typer.Option(help="Folder for the plans; each plan gets a folder named by its ISO week.")] = Path(
        "reports"
    ),
    seed: Annotated[int, typer.Option(help="Seed of the search.", min=0)] = 1,
    time_limit: Annotated[float, typer.Option(help="Most seconds for the near-weeks search.", min=1)] = 32,
    workers: Annotated[int, typer.Option(help="Search workers; 1 gives the same plan every time.", min=1)] = 1,
    weeks: Annotated[int | None, typer.Option(help="Horizon in weeks, instead of the book's.", min=4, max=104)] = None,
    pin: Annotated[
        list[str] | None,
        typer.Option(
            metavar="WORDS", help="A pin in words beside the book's, such as 'cut LAN-02' (repeatable).", show_default=False
        ),
    ] = None,
    drop_pin: Annotated[list[str] | None, typer.Option(help="Plan without this pin (repeatable).", show_default=False)] = None,
    since: Annotated[
        Path | None,
        typer.Option(
            metavar="PLAN.json", help="The last announced plan: changing what it announced has its cost.", show_default=False
        ),
    ] = None,
    learn: Annotated[
        bool, typer.Option(help="Plan with what the farm's counts have taught, or with the book's values alone.")
    ] = True,
    explain: Annotated[
        bool, typer.Option("--explain", help="Work out what the first of 'What would help' really gain; takes more time.")
    ] = False,
    quiet: Annotated[bool, typer.Option(help="No progress.")] = False,
) -> None:
    """Make the weekly plan: workbook, week page, plan.json and tables, after the audit has passed it."""
    from dataclasses import replace

    from scheduler.book import read_book
    from scheduler.cli.inputs import read_plan
    from scheduler.cli.interrupt import stopped_by_hand
    from scheduler.cli.page_command import PASSED, months_ahead
    from scheduler.cli.show import Stages, err, summary
    from scheduler.cli.show import out as terminal
    from scheduler.planning.given import with_given, with_learned, with_pins
    from scheduler.planning.pipeline import plan_farm
    from scheduler.planning.since import announced_cuts, announced_sales
    from scheduler.reporting import refuse_filled, write_plan
    from scheduler.solving import Limits

    shown = Stages(quiet=quiet)
    shown.stage("reading the farm book")
    found = read_book(book)
    farm = found.farm
    if weeks is not None:
        farm = replace(farm, settings=farm.settings.model_copy(update={"horizon_weeks": weeks}))
    known = [p.pin for p in farm.pins]
    for name in drop_pin or []:
        if name not in known:
            err.print(f"There is no pin {name!r}; the book has {', '.join(known) or 'none'}.", markup=False)
            raise typer.Exit(2)
    refuse_filled(farm, out)
    farm, added = with_pins(farm, pin or ())
    last = read_plan(since) if since is not None else None
    announced = announced_cuts(farm, last) if last is not None else ()
    sales = announced_sales(farm, last) if last is not None else ()
    own, (farm, learned) = farm, with_learned(farm) if learn else (farm, ())
    try:
        with stopped_by_hand(shown.said) as stop:
            result = plan_farm(
                farm, limits=Limits.for_time(time_limit, seed=seed, workers=workers), drop_pins=drop_pin or (), announced=announced,
                sales_told=sales, explain=explain, progress=shown.progress, stage=shown.stage, stop=stop,
            )  # fmt: skip
    except PinConflict as conflict:
        raise PinConflict(conflict.pins, conflict.sentences, [p.pin for p in added]) from conflict
    document = with_given(result.plan, added, learned, farm.paces)
    shown.stage("drawing months ahead")
    outlook = months_ahead(own, document)
    shown.stage("writing the workbook and the page")
    files = write_plan(farm, document, out, PASSED, outlook)
    summary(farm, document)
    terminal.print(f"{len(found.doubts)} doubts about the book: frag-scheduler check {book}", markup=False)
    for file in files[:3]:
        terminal.print(f"Written: {file}", markup=False)


@app.command(epilog="Example: frag-scheduler audit reports/2026-W49/plan.json data/demo")
@told
def audit(
    plan_file: Annotated[Path, typer.Argument(metavar="PLAN.json", help="A plan written by this program.", show_default=False)],
    book: BookPath,
) -> None:
    """Check a plan against every rule. Exit 0: it holds; 1: it breaks rules, each named with the numbers."""
    from scheduler.audit import audit as run_audit
    from scheduler.book import read_book
    from scheduler.cli.inputs import read_plan
    from scheduler.cli.show import out
    from scheduler.plan.identity import farm_as_planned

    document = read_plan(plan_file)
    farm = farm_as_planned(read_book(book).farm, document.about)
    report = run_audit(farm, document)
    for breach in report.breaches:
        out.print(str(breach), markup=False)
    if report.breaches:
        raise typer.Exit(1)
    out.print(f"Every rule holds. Value {report.value:,.2f} {farm.settings.currency}, agreed line by line.", markup=False)


@app.command(epilog="Example: frag-scheduler schema > plan.schema.json")
def schema() -> None:
    """Print the JSON schema of plan.json."""
    from scheduler.reporting import plan_schema

    sys.stdout.write(json.dumps(plan_schema(), indent=2) + "\n")


@book_app.command("new", epilog="Example: frag-scheduler book new my-farm.xlsx")
@told
def book_new(file: Annotated[Path, typer.Argument(help="The workbook to make; never overwritten.", show_default=False)]) -> None:
    """Write an empty farm book with notes, drop-down lists and one example row a sheet."""
    from scheduler.book import write_template

    write_template(file)
    print(f"Written: {file}")


@book_app.command("convert", epilog="Example: frag-scheduler book convert data/demo demo.xlsx")
@told
def book_convert(
    source: BookPath,
    target: Annotated[Path, typer.Argument(help="Workbook (.xlsx) or folder to make; never overwritten.", show_default=False)],
) -> None:
    """Turn a workbook into a CSV folder or the other way round, without loss."""
    from scheduler.book import convert

    convert(source, target)
    print(f"Written: {target}")


record_command.add_commands(app, told)
page_command.add_commands(app, told)
forecast_command.add_commands(app, told)
compare_command.add_commands(app, told)
replay_command.add_commands(app, told)

__all__ = ["BookError", "app"]
