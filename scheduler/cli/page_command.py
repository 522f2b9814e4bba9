"""``page``: the week page of a plan, written again."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from scheduler.errors import AuditFailed, ChangeError

if TYPE_CHECKING:
    from scheduler.farm.farm import Farm
    from scheduler.forecast.outlook import Outlook
    from scheduler.plan.model import Plan

Told = Callable[[Callable[..., None]], Callable[..., None]]

BookPath = Annotated[Path, typer.Argument(help="Farm book the plan was made from: a workbook or a folder.", show_default=False)]

PASSED = "passed: every rule checked, value agreed line by line"
"""What the pages and sheets say of the audit."""

MOST_WORK = 1_500_000
"""Lots times draws of a page's forecast; farms of up to 750 lots keep the usual 2,000 draws. ``forecast`` always draws as the book says."""

FEWEST_DRAWS = 200


def months_ahead(farm: Farm, plan: Plan) -> Outlook:
    """A forecast for the page, of the book's own values; on large farms with fewer draws than the book says."""
    from scheduler.forecast.outlook import forecast

    lots = max(1, len(farm.lots) + len(plan.cuts))
    draws = min(farm.settings.forecast_draws, max(FEWEST_DRAWS, MOST_WORK // lots))
    return forecast(farm, plan, draws=draws)


def page(
    plan_file: Annotated[Path, typer.Argument(metavar="PLAN.json", help="A plan written by this program.", show_default=False)],
    book: BookPath,
    out: Annotated[
        Path | None, typer.Option(help="The page (.html). Without it: week.html beside the plan.", show_default=False)
    ] = None,
) -> None:
    """Write the week page of a plan again: racks, bench, capacity, months and reasons in one file for a browser."""
    from dataclasses import replace

    from scheduler.audit import audit
    from scheduler.book import read_book
    from scheduler.cli.inputs import read_plan
    from scheduler.cli.show import out as terminal
    from scheduler.plan.identity import farm_as_planned
    from scheduler.reporting import write_page
    from scheduler.reporting.page import PAGE

    if out is not None and out.suffix.lower() not in (".html", ".htm"):
        raise ChangeError(f"--out {out}: a page has a name that ends in .html")
    document = read_plan(plan_file)
    own = read_book(book).farm
    farm = farm_as_planned(own, document.about)
    if farm.fingerprint != document.about.book_fingerprint:
        raise ChangeError(
            f"{plan_file} was not made from {book}: book {document.about.book_fingerprint[:12]}, this one is {farm.fingerprint[:12]}"
        )
    breaches = audit(farm, document).breaches
    if breaches:
        raise AuditFailed(f"{plan_file} breaks {len(breaches)} rules and is not shown: frag-scheduler audit {plan_file} {book}")
    file = plan_file.parent / PAGE if out is None else out
    own = replace(own, settings=own.settings.model_copy(update={"horizon_weeks": document.about.weeks}))
    write_page(farm, document, file, PASSED, months_ahead(own, document))
    terminal.print(f"Written: {file}", markup=False)


def add_commands(app: typer.Typer, told: Told) -> None:
    """Give the program its command ``page``."""
    app.command(epilog="Example: frag-scheduler page reports/2026-W49/plan.json data/demo")(told(page))
