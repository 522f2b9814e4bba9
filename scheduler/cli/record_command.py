"""``record``, ``diff`` and ``calendar``: what was done goes into the next book, what differs between two, and when work is due."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from scheduler.errors import ChangeError, Finding, RecordError

if TYPE_CHECKING:
    from scheduler.record import OpenGroup

Told = Callable[[Callable[..., None]], Callable[..., None]]

BookPath = Annotated[Path, typer.Argument(help="Farm book the plan was made from: a workbook or a folder.", show_default=False)]


def record(
    book: BookPath,
    filled: Annotated[
        Path,
        typer.Argument(
            metavar="FILLED_PLAN.xlsx", help="The weekly plan workbook, its sheet record filled in.", show_default=False
        ),
    ],
    out: Annotated[
        Path, typer.Option(help="The next book: a workbook (.xlsx) or a folder; never overwritten.", show_default=False)
    ],
    weeks: Annotated[int, typer.Option(help="How many weeks of the plan to enter.", min=1, max=4)] = 1,
    assume_done: Annotated[bool, typer.Option(help="Take lists without a mark as done as planned.")] = False,
    accept: Annotated[
        list[str] | None, typer.Option(help="A cell whose contradiction is true all the same (repeatable).")
    ] = None,
) -> None:
    """Enter what was done into the next book; the old one stays as it is. Nothing is written while something is unsettled."""
    from scheduler.book import check_farm, diff, read_book, write_book
    from scheduler.cli.show import out as terminal
    from scheduler.files import refuse_existing
    from scheduler.record import read_filled
    from scheduler.record import record as enter

    refuse_existing(out)
    farm = read_book(book).farm
    work = read_filled(filled)
    marks = {"*": "as planned"} if assume_done else {}
    outcome = enter(farm, work, weeks=weeks, marks=marks, accept=accept or ())
    if outcome.farm is None:
        outcome = enter(farm, work, weeks=weeks, marks=_ask(outcome.open), accept=accept or ())
    assert outcome.farm is not None
    faults, _ = check_farm(outcome.farm)
    if faults:
        raise RecordError(faults)
    changes = [str(change) for change in diff(farm, outcome.farm)]
    write_book(outcome.farm, out, changes)
    for line in changes:
        terminal.print(line, markup=False)
    for note in outcome.notes:
        terminal.print(f"Note: {note}", markup=False)
    terminal.print(f"{len(changes)} changes. Written: {out}", markup=False)


def _ask(groups: tuple[OpenGroup, ...]) -> dict[str, str]:
    """Ask at the terminal what became of lists without a mark; without a terminal, or an answer, that is a fault."""
    if sys.stdin.isatty():
        return {group.key: _answer(group) for group in groups}
    hint = "mark it, or take all such lists as planned with --assume-done"
    raise RecordError([_unmarked(group, hint) for group in groups])


def _unmarked(group: OpenGroup, hint: str) -> Finding:
    return Finding(group.where, f"no mark for {group.title}", "as planned, except or not done", hint)


def _answer(group: OpenGroup) -> str:
    """The answer for one list; what differed has to be written into the workbook."""
    while True:
        text = typer.prompt(f"{group.title} has no mark ({group.where}). as planned, not done, or stop", default="stop")
        answer = str(text).strip().casefold()
        if answer in ("as planned", "not done"):
            return answer
        if answer == "stop":
            raise RecordError([_unmarked(group, "mark it in the workbook")])


def differences(
    old: Annotated[Path, typer.Argument(metavar="BOOK1", help="A farm book.", show_default=False)],
    new: Annotated[Path, typer.Argument(metavar="BOOK2", help="Another farm book.", show_default=False)],
) -> None:
    """Show what differs between two farm books, line by line."""
    from scheduler.book import diff, read_book
    from scheduler.cli.show import out as terminal

    changes = diff(read_book(old).farm, read_book(new).farm)
    for change in changes:
        terminal.print(str(change), markup=False)
    terminal.print(f"{len(changes)} differences.", markup=False)


def calendar(
    plan_file: Annotated[Path, typer.Argument(metavar="PLAN.json", help="A plan written by this program.", show_default=False)],
    book: BookPath,
    out: Annotated[
        Path,
        typer.Option(
            help="The calendar (.ics); one that is there is updated, and what is gone is cancelled in it.", show_default=False
        ),
    ],
) -> None:
    """Write the sessions and moves of a plan as a calendar file that phones and desks can read (iCalendar)."""
    from datetime import UTC, datetime

    from scheduler.book import read_book
    from scheduler.cli.inputs import read_plan
    from scheduler.cli.show import out as terminal
    from scheduler.files import atomic_write
    from scheduler.plan.identity import farm_as_planned
    from scheduler.plan.view import PlanView
    from scheduler.reporting.calendar import calendar_bytes, entries, read_previous

    plan = read_plan(plan_file)
    farm = farm_as_planned(read_book(book).farm, plan.about)
    if farm.fingerprint != plan.about.book_fingerprint:
        raise ChangeError(
            f"{plan_file} was not made from {book}: book {plan.about.book_fingerprint[:12]}, this one is {farm.fingerprint[:12]}"
        )
    view = PlanView(farm, plan)
    atomic_write(out, calendar_bytes(view, datetime.now(UTC).replace(microsecond=0), read_previous(out)))
    terminal.print(f"{len(entries(view))} events. Written: {out}", markup=False)


def add_commands(app: typer.Typer, told: Told) -> None:
    """Put the commands of this module into ``app``; ``told`` turns errors into messages and exit codes."""
    app.command(epilog="Example: frag-scheduler record data/demo filled.xlsx --out next-book")(told(record))
    app.command("diff", epilog="Example: frag-scheduler diff data/demo next-book")(told(differences))
    app.command(epilog="Example: frag-scheduler calendar reports/2026-W49/plan.json data/demo --out bench.ics")(told(calendar))
