"""``replay``: a farm with chance in it, week by week, worked by this program and by hand."""

from __future__ import annotations

import csv
import io
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from statistics import fmean, stdev
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from scheduler.replay import Job

Told = Callable[[Callable[..., None]], Callable[..., None]]

BookPath = Annotated[Path, typer.Argument(help="Farm book: a workbook (.xlsx) or a folder of CSV files.", show_default=False)]

EVERY = 15.0
"""Seconds between two words on how far a replay is."""

COLUMNS = (
    "way", "seeds", "money", "earned", "money_sd", "worth_left", "worth_at_start", "late_and_short", "left_on_racks", "frags_sold", "orders_on_time_percent",
    "rack_use_percent", "colonies_set_back", "strains_lost", "cuts_below_keep", "cuts_changed_percent", "weeks_without_plan",
    "strain_interval_percent", "total_interval_percent", "pinball_gain_percent",
)  # fmt: skip
"""Columns of summary.csv: means over seeds; percentages of all seeds together."""


def replay(
    book: BookPath,
    weeks: Annotated[int, typer.Option(help="Weeks to replay.", min=1, max=260)] = 52,
    seeds: Annotated[
        int, typer.Option(help="How many seeds; every way of working meets the same weather and customers.", min=1)
    ] = 20,
    first_seed: Annotated[int, typer.Option(help="First seed.", min=0)] = 1,
    quick: Annotated[bool, typer.Option("--quick", help="Plan each week in about a second instead of fully.")] = False,
    anew: Annotated[
        bool, typer.Option("--anew", help="Ours plans each week as if nothing had been announced the week before.")
    ] = False,
    as_expected: Annotated[
        bool, typer.Option("--as-expected", help="No chance: growth, losses and customers are what the book says.")
    ] = False,
    way: Annotated[
        list[str] | None,
        typer.Option(help="ours, simple or experienced (repeatable). Without it: all three.", show_default=False),
    ] = None,
    forecast_week: Annotated[
        list[int] | None,
        typer.Option(
            help="Week in which the forecast is put to the test (repeatable). Without it: 14, 27 and 40.", show_default=False
        ),
    ] = None,
    out: Annotated[Path, typer.Option(help="Folder of results; what is there already is not done again.")] = Path(
        "reports/replay"
    ),
    workers: Annotated[int, typer.Option(help="Replays side by side.", min=1)] = 1,
    backend: Annotated[str, typer.Option(help="How they run side by side: a backend of joblib.")] = "loky",
    quiet: Annotated[bool, typer.Option(help="No progress.")] = False,
) -> None:
    """Replay a farm in which growth, losses, mothers and customers are not as planned, worked by this program and by hand.

    Each way of working plans every week from the records alone. A run that was stopped goes on where it was.
    """
    from scheduler.book import read_book
    from scheduler.cli.expected_truth import ExpectedTruth
    from scheduler.cli.replay_ways import NAMES, judge, ways
    from scheduler.cli.show import err
    from scheduler.cli.show import out as terminal
    from scheduler.files import atomic_write_text
    from scheduler.replay import Chance, Job, Truth, replay_many

    names = list(dict.fromkeys(way or NAMES))
    unknown = [name for name in names if name not in NAMES]
    if unknown:
        err.print(f"There is no way of working {unknown[0]!r}; there are {', '.join(NAMES)}.", markup=False)
        raise typer.Exit(2)
    farm = read_book(book).farm
    tested = sorted(w for w in (forecast_week or (14, 27, 40)) if w <= weeks)
    jobs = [Job(w, seed) for seed in range(first_seed, first_seed + seeds) for w in ways(names, quick=quick, calm=not anew)]
    results = replay_many(
        farm, jobs, weeks, out, forecast_weeks=tested, judge=judge, backend=backend, workers=workers, told=_told(len(jobs), quiet),
        week_told=_Weeks(weeks, quiet),
        chance=Chance.off() if as_expected else None, truth=ExpectedTruth if as_expected else Truth,
    )  # fmt: skip
    rows = [summary(name, [r for r in results if r["way"] == name]) for name in dict.fromkeys(r["way"] for r in results)]
    atomic_write_text(out / "summary.csv", _csv(rows))
    for line in (*_lines(rows, farm.settings.currency), *versus(results)):
        terminal.print(line, markup=False)
    terminal.print(f"Written: {out / 'summary.csv'}", markup=False)


def _told(total: int, quiet: bool) -> Callable[[Job, dict[str, Any], bool], None]:
    """Says what is finished."""
    from scheduler.cli.show import err

    done = 0

    def told(job: Job, result: dict[str, Any], before: bool) -> None:
        nonlocal done
        done += 1
        if not quiet:
            again = ", done before" if before else ""
            err.print(f"{done:4d} of {total}  {job.way.name}, seed {job.seed}: {result['money']:,.0f}{again}", markup=False)

    return told


class _Weeks:
    """Says how far a replay is, at most every ``EVERY`` seconds."""

    def __init__(self, weeks: int, quiet: bool) -> None:
        self.weeks, self.quiet, self._said = weeks, quiet, 0.0

    def __call__(self, job: Job, week: int) -> None:
        from scheduler.cli.show import err

        now = time.monotonic()
        if week == 1:  # a process gets a copy for each replay, so that the time is its own
            self._said = now
        if self.quiet or now - self._said < EVERY or week == self.weeks:
            return
        self._said = now
        err.print(f"            {job.way.name}, seed {job.seed}: week {week} of {self.weeks} done", markup=False)


def summary(name: str, results: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """One row of the table of ways."""

    def mean(key: str) -> float:
        return round(fmean(r[key] for r in results), 2)

    def percent(part: float, whole: float) -> float | None:
        return round(100 * part / whole, 1) if whole else None

    def total(key: str) -> float:
        return float(sum(r[key] for r in results))

    tests = [f for r in results for f in r["forecasts"]]

    def scored(key: str) -> float:
        return float(sum(f[key] for f in tests))

    money = [float(r["money"]) for r in results]
    plain = scored("plain_loss")
    return {
        "way": name, "seeds": len(results), "money": mean("money"), "money_sd": round(stdev(money), 2) if len(money) > 1 else None,
        "earned": mean("earned"), "worth_left": mean("worth_left"), "worth_at_start": mean("worth_at_start"),
        "late_and_short": mean("late_and_short"), "left_on_racks": mean("left_on_racks"), "frags_sold": mean("frags_sold"),
        "orders_on_time_percent": percent(total("orders_on_time"), total("orders_due")),
        "rack_use_percent": round(100 * fmean(r["rack_use"] for r in results), 1), "colonies_set_back": mean("colonies_set_back"),
        "strains_lost": mean("strains_lost"), "cuts_below_keep": int(total("cuts_below_keep")),
        "cuts_changed_percent": percent(total("cuts_changed"), total("cuts_announced")),
        "weeks_without_plan": sum(len(r["weeks_without_plan"]) for r in results),
        "strain_interval_percent": percent(scored("strain_hits"), scored("strain_cells")),
        "total_interval_percent": percent(scored("total_hits"), scored("total_cells")),
        "pinball_gain_percent": percent(plain - scored("loss"), plain),
    }  # fmt: skip


def versus(results: Sequence[dict[str, Any]]) -> list[str]:
    """How the program fares against each hand rule, seed by seed: by money, and by what it earned with the change of stock."""
    by_seed = {(r["way"], r["seed"]): r for r in results}
    names = list(dict.fromkeys(r["way"] for r in results))
    ours = next((n for n in names if n.startswith("ours")), None)
    lines = []
    for other in (n for n in names if ours is not None and n != ours):
        pairs = [(row, by_seed[other, s]) for (w, s), row in by_seed.items() if w == ours and (other, s) in by_seed]
        told = [t for what in ("money", "earned") if (t := _more(what, pairs))]
        if told:
            lines.append(f"{ours} against {other}: {'; '.join(told)}")
    return lines


def _more(what: str, pairs: Sequence[tuple[dict[str, Any], dict[str, Any]]]) -> str:
    """What one way has more than another over the seeds both have done; empty where the other has nothing."""
    values = [(float(a[what]), float(b[what])) for a, b in pairs]
    theirs = sum(b for _, b in values)
    if theirs <= 0:
        return ""
    more = 100 * (sum(a for a, _ in values) / theirs - 1)
    return f"{more:+.1f} % {what}, not worse in {sum(a >= b for a, b in values)} of {len(values)} seeds"


def _lines(rows: Sequence[dict[str, Any]], currency: str) -> list[str]:
    """The table for the terminal."""
    found = []
    for row in rows:
        seeds = f"on the average of {row['seeds']} seeds"
        found.append(
            f"{row['way']}: {row['money']:,.0f} {currency}, earned {row['earned']:,.0f} with the change of stock, {seeds}"
        )
        known = {k: row[k] for k in COLUMNS[4:] if row[k] is not None}
        found.append("  " + ", ".join(f"{k.replace('_', ' ')} {v:,}" for k, v in known.items()))
    return found


def _csv(rows: Sequence[dict[str, Any]]) -> str:
    file = io.StringIO(newline="")
    writer = csv.DictWriter(file, COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return file.getvalue()


def add_commands(app: typer.Typer, told: Told) -> None:
    """Give the program its command ``replay``."""
    app.command(epilog="Example: frag-scheduler replay data/demo --weeks 52 --seeds 20 --quick --workers 2")(told(replay))
