"""``python -m tests.benchmarks``: plan large farms in every way, append the results as JSON lines, print them as a table."""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
from datetime import date
from pathlib import Path
from typing import Any

from tests.benchmarks.machine import machine
from tests.benchmarks.table import markdown
from tests.benchmarks.ways import OURS, SINGLE, WAYS, one_run

TIMES = 10
"""A single model may take this many times the planner's time."""


def main() -> None:
    """Run what the arguments ask for."""
    ask = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    ask.add_argument("--colonies", type=int, nargs="+", default=[60, 300, 1000, 2000], help="sizes of farm")
    ask.add_argument("--ways", nargs="+", choices=WAYS, default=list(WAYS), help="ways of planning; ours always runs first")
    ask.add_argument("--most", type=float, default=1200, help="most seconds for a single model (default 20 minutes)")
    ask.add_argument("--seed", type=int, default=1, help="which farms")
    ask.add_argument("--weeks", type=int, default=26, help="horizon")
    ask.add_argument("--out", type=Path, default=Path("reports/benchmarks.jsonl"), help="results are appended here")
    ask.add_argument("--one", nargs=2, metavar=("WAY", "SECONDS"), help=argparse.SUPPRESS)
    given = ask.parse_args()
    if given.one:
        row = one_run(given.one[0], given.colonies[0], float(given.one[1]), seed=given.seed, weeks=given.weeks)
        print(json.dumps(row))
        return
    rows = []
    for colonies in given.colonies:
        limit = given.most
        for way in dict.fromkeys((OURS, *given.ways)):
            row = _run(way, colonies, limit, given) | {"date": date.today().isoformat(), "machine": machine()}
            if way == OURS and "seconds" in row:
                limit = min(given.most, TIMES * row["seconds"])
            rows.append(row)
            given.out.parent.mkdir(parents=True, exist_ok=True)
            with given.out.open("a", encoding="utf-8") as file:
                file.write(json.dumps(row) + "\n")
            print(json.dumps(row), file=sys.stderr)
    print(markdown(rows))


def _run(way: str, colonies: int, limit: float, given: argparse.Namespace) -> dict[str, Any]:
    """One way in a process of its own; what it said last where it failed."""
    command = [
        sys.executable, "-m", "tests.benchmarks", "--one", way, str(limit if way in SINGLE else 0), "--colonies", str(colonies),
        "--seed", str(given.seed), "--weeks", str(given.weeks),
    ]  # fmt: skip
    done = subprocess.run(command, check=False, capture_output=True, text=True)
    if done.returncode:
        said = (done.stderr.strip().splitlines() or ["nothing"])[-1]
        return {"way": way, "colonies": colonies, "limit": limit, "failed": f"exit {done.returncode}: {said[:300]}"}
    found: dict[str, Any] = json.loads(done.stdout.strip().splitlines()[-1])
    return found


if __name__ == "__main__":
    main()
