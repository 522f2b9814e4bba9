"""The one place that runs CP-SAT and sets its parameters."""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from ortools.sat.python import cp_model

from scheduler.errors import NoPlanFound
from scheduler.solving.limits import Limits, Outcome, Progress, Status

_POLL_SECONDS = 0.05
_News = tuple[float | None, float | None, float]
_STATUS: dict[Any, Status] = {
    cp_model.OPTIMAL: "optimal",
    cp_model.FEASIBLE: "feasible",
    cp_model.INFEASIBLE: "infeasible",
    cp_model.UNKNOWN: "unknown",
}


@dataclass(frozen=True)
class Solved:
    """An outcome and, if there is one, the solution behind it."""

    outcome: Outcome
    _solver: cp_model.CpSolver

    def value(self, var: Any) -> int:
        """Value of a variable or linear expression. Raises ``ValueError`` if there is no solution."""
        if not self.outcome.found:
            raise ValueError(f"no solution to read from: {self.outcome.outcome} ({self.outcome.reason})")
        return int(self._solver.value(var))


def solve(
    model: cp_model.CpModel,
    limits: Limits,
    *,
    stage: str,
    progress: Progress | None = None,
    stop: threading.Event | None = None,
    linearization: int = 2,
    improve: bool = False,
    bound_first: bool = False,
) -> Solved:
    """Solve a model within limits; the best solution found survives a limit, ``stop`` and Ctrl-C.

    ``stage`` names the solve for ``progress``. Ctrl-C ends the search, not the program: the outcome's reason is then
    ``interrupted``, and ``stop``, if given, is set, so that later solves watching it end too. "Infeasible" is reported
    only after a second run without presolve says so too (it gets the same limits again); where the second run knows
    otherwise, its word counts. ``linearization`` (0 to 2) is how much of the model the linear relaxation sees. With
    ``improve`` nearly all work goes into better solutions, from the hint on, and little into the bound; with
    ``bound_first`` the search asks for ever less of a minimum, which proves schedules soonest. Raises
    ``ValueError`` for an invalid model and ``NoPlanFound`` when the solver itself fails.
    """
    fault = model.validate()
    if fault:
        raise ValueError(f"{stage}: {fault}")
    first = _Run(model, limits, stage, progress, stop, linearization, improve=improve, bound_first=bound_first).solved()
    if first.outcome.outcome != "infeasible":
        return first
    again = _Run(model, limits, stage, progress, stop, linearization, presolve=False).solved()
    seconds = first.outcome.seconds + again.outcome.seconds
    outcome = replace(again.outcome, seconds=seconds, work=first.outcome.work + again.outcome.work)
    if outcome.outcome == "unknown" and outcome.reason != "interrupted":
        outcome = replace(outcome, reason="infeasible not confirmed")
    return Solved(outcome, again._solver)


def _configured(limits: Limits, linearization: int, presolve: bool, improve: bool, bound_first: bool) -> cp_model.CpSolver:
    solver = cp_model.CpSolver()
    p = solver.parameters
    p.num_workers = limits.workers
    p.random_seed = limits.seed
    p.linearization_level = linearization
    p.cp_model_presolve = presolve
    if improve:  # large neighbourhoods in turn: repeats exactly, with any number of workers
        p.interleave_search = p.use_lns_only = True
    p.use_objective_lb_search = bound_first
    p.relative_gap_limit = limits.gap
    if limits.gap:  # small models solved by the hundred: a fifth to a third faster
        p.add_lp_constraints_lazily, p.repair_hint, p.max_presolve_iterations = False, True, 1
    p.catch_sigint_signal = False  # Ctrl-C is Python's to see
    if limits.seconds is not None:
        p.max_time_in_seconds = limits.seconds
    if limits.deterministic is not None:
        p.max_deterministic_time = limits.deterministic
    return solver


class _Solutions(cp_model.CpSolverSolutionCallback):
    """Notes each better solution; does nothing else while the solver waits."""

    def __init__(self, note: Callable[[float | None, float | None], None]) -> None:
        super().__init__()
        self._note = note

    def on_solution_callback(self) -> None:
        self._note(self.objective_value, self.best_objective_bound)


class _Run:
    """One run of the solver in a thread of its own, watched from the calling thread."""

    def __init__(
        self,
        model: cp_model.CpModel,
        limits: Limits,
        stage: str,
        progress: Progress | None,
        stop: threading.Event | None,
        linearization: int,
        presolve: bool = True,
        improve: bool = False,
        bound_first: bool = False,
    ) -> None:
        self._model, self._limits, self._stage, self._progress, self._stop = model, limits, stage, progress, stop
        self._solver = _configured(limits, linearization, presolve, improve, bound_first)
        self._news: queue.SimpleQueue[_News] = queue.SimpleQueue()
        self._value: float | None = None
        self._bound: float | None = None
        self._status: Any = cp_model.UNKNOWN
        self._failure: BaseException | None = None
        self._interrupted = False
        self._done = threading.Event()
        self._start = time.monotonic()

    def solved(self) -> Solved:
        """Run to the end and sum up."""
        thread = threading.Thread(target=self._work, name=f"solve {self._stage}", daemon=True)
        thread.start()
        trouble: BaseException | None = None
        while not self._done.is_set():
            try:
                self._done.wait(_POLL_SECONDS)  # joining would lose the thread on Ctrl-C (Python 3.11)
                if trouble is None:
                    self._tell()
                if self._stop is not None and self._stop.is_set() and not self._done.is_set():
                    self._interrupted = True
                if self._interrupted or trouble is not None:
                    self._solver.stop_search()
            except KeyboardInterrupt as again:
                if self._stop is not None and self._stop.is_set():  # the wish to stop was heard: this one ends the program
                    trouble = again
                self._interrupted = True
                if self._stop is not None:
                    self._stop.set()
            except Exception as error:  # from the progress callback: the solver has to stop before it is passed on
                trouble = error
        if trouble is not None:
            raise trouble
        if self._failure is not None:
            raise NoPlanFound(f"{self._stage}: the solver failed: {self._failure}") from self._failure
        self._tell()
        return Solved(self._outcome(), self._solver)

    def _work(self) -> None:
        try:
            if self._model.has_objective():
                self._solver.best_bound_callback = lambda bound: self._note(None, bound)
                self._status = self._solver.solve(self._model, _Solutions(self._note))
            else:
                self._status = self._solver.solve(self._model)
        except BaseException as error:
            self._failure = error
        finally:
            self._done.set()

    def _note(self, value: float | None, bound: float | None) -> None:
        self._news.put((value, bound, time.monotonic() - self._start))

    def _tell(self) -> None:
        while True:
            try:
                value, bound, elapsed = self._news.get_nowait()
            except queue.Empty:
                return
            self._value = self._value if value is None else value
            self._bound = self._bound if bound is None else bound
            if self._progress is not None:
                self._progress(self._stage, self._value, self._bound, elapsed)

    def _outcome(self) -> Outcome:
        seconds = time.monotonic() - self._start
        status = _STATUS.get(self._status)
        if status is None:
            raise NoPlanFound(f"{self._stage}: the solver ended with {self._solver.status_name()}")
        work = self._solver.response_proto.deterministic_time
        if status == "infeasible":
            return Outcome(status, "proved", None, None, seconds, work)
        if status == "unknown":
            return Outcome(status, self._why(), None, self._bound, seconds, work)
        reason = "proved" if status == "optimal" else self._why()
        if not self._model.has_objective():
            return Outcome("optimal", "proved", 0.0, 0.0, seconds, work)
        return Outcome(status, reason, self._solver.objective_value, self._solver.best_objective_bound, seconds, work)

    def _why(self) -> str:
        if self._interrupted:
            return "interrupted"
        spent = (
            ("time limit", self._solver.wall_time, self._limits.seconds),
            ("work limit", self._solver.response_proto.deterministic_time, self._limits.deterministic),
        )
        used = [(amount / limit, name) for name, amount, limit in spent if limit is not None]
        return max(used)[1] if used else "time limit"
