"""Many replays side by side: one file for each way and seed, so that a run that was stopped goes on where it was."""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from joblib import Parallel, delayed, parallel_config

from scheduler import __version__
from scheduler.farm.farm import Farm
from scheduler.files import atomic_write_text
from scheduler.replay.chance import Chance
from scheduler.replay.measures import KIND
from scheduler.replay.run import Judge, WayOfWorking, replay
from scheduler.replay.truth import Truth
from scheduler.replay.world import MakesTruth


@dataclass(frozen=True)
class Job:
    """One way of working under one seed."""

    way: WayOfWorking
    seed: int

    def file(self, folder: Path) -> Path:
        """Where its result is kept."""
        return folder / self.way.name.replace(" ", "-") / f"seed-{self.seed:03d}.json"


def replay_many(
    farm: Farm, jobs: Sequence[Job], weeks: int, folder: Path, *, chance: Chance | None = None,
    forecast_weeks: Collection[int] = (), judge: Judge | None = None, truth: MakesTruth = Truth, backend: str = "loky",
    workers: int = 1,
    told: Callable[[Job, dict[str, Any], bool], None] = lambda *_: None,
    week_told: Callable[[Job, int], None] = lambda *_: None,
) -> list[dict[str, Any]]:  # fmt: skip
    """Results of all jobs, in their order; those found in ``folder`` from an equal run are not done again.

    ``backend`` is any backend known to joblib (``loky``, ``threading``, ``sequential``, or one registered for a cluster).
    ``told`` hears of each result as it comes, and whether it was done before; ``week_told`` of each week done, where the job is
    done (with a backend of processes: in a copy). Each result is written as it is finished.
    """
    chance = chance or Chance()
    found: dict[Job, dict[str, Any]] = {}
    for job in jobs:
        key = _key(farm, job, weeks, chance, forecast_weeks, judge)
        done = _read(job.file(folder), key)
        if done is not None:
            found[job] = done
            told(job, done, True)
    rest = [job for job in jobs if job not in found]
    for job, result in _run(farm, rest, weeks, chance, forecast_weeks, judge, truth, backend, workers, week_told):
        key = _key(farm, job, weeks, chance, forecast_weeks, judge)
        atomic_write_text(job.file(folder), json.dumps({"key": key, "result": result}, indent=1) + "\n")
        found[job] = result
        told(job, result, False)
    return [found[job] for job in jobs]


def _run(
    farm: Farm, jobs: Sequence[Job], weeks: int, chance: Chance, forecast_weeks: Collection[int], judge: Judge | None,
    truth: MakesTruth, backend: str, workers: int, week_told: Callable[[Job, int], None],
) -> Iterator[tuple[Job, dict[str, Any]]]:  # fmt: skip
    """(job, result) as they are finished."""

    def one(index: int) -> tuple[int, dict[str, Any]]:
        job = jobs[index]
        return index, replay(
            farm, job.way, job.seed, weeks, chance=chance, forecast_weeks=forecast_weeks, judge=judge, truth=truth,
            told=partial(week_told, job),
        )  # fmt: skip

    with parallel_config(backend=backend, n_jobs=workers):
        for index, result in Parallel(return_as="generator_unordered")(delayed(one)(i) for i in range(len(jobs))):
            yield jobs[index], result


def _key(
    farm: Farm, job: Job, weeks: int, chance: Chance, forecast_weeks: Collection[int], judge: Judge | None
) -> dict[str, Any]:
    """What a result depends on; a file with another key is done again."""
    return {
        "program": __version__, "measures": KIND, "book": farm.fingerprint, "way": job.way.name, "settings": job.way.settings, "seed": job.seed,
        "weeks": weeks, "chance": repr(chance), "forecast_weeks": sorted(forecast_weeks) if judge is not None else [],
    }  # fmt: skip


def _read(path: Path, key: dict[str, Any]) -> dict[str, Any] | None:
    """The result in a file, if it is one of an equal run; a file that is no result is done again and replaced."""
    try:
        stored = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    except (OSError, ValueError):
        return None
    if not isinstance(stored, dict) or stored.get("key") != key:
        return None
    result = stored.get("result")
    return result if isinstance(result, dict) else None
