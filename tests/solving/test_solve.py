from __future__ import annotations

import math
import os
import random
import signal
import threading
import time
from collections.abc import Iterator

import pytest
from ortools.sat.python import cp_model

from scheduler.errors import NoPlanFound
from scheduler.solving import Budget, Limits, Outcome, solve
from scheduler.solving import solve as solve_function
from scheduler.solving.solve import _Run


def knapsacks(items: int = 100, sacks: int = 20, seed: int = 5) -> tuple[cp_model.CpModel, list[cp_model.IntVar]]:
    """A multi-dimensional knapsack worth what it weighs: solutions come at once, the proof takes very long."""
    rng = random.Random(seed)
    model = cp_model.CpModel()
    take = [model.new_bool_var(f"t{i}") for i in range(items)]
    weights = [[rng.randint(50, 1000) for _ in take] for _ in range(sacks)]
    for row in weights:
        model.add(sum(w * t for w, t in zip(row, take, strict=True)) <= sum(row) // 2)
    worth = [sum(row[i] for row in weights) // sacks + rng.randint(0, 200) for i in range(items)]
    model.maximize(sum(w * t for w, t in zip(worth, take, strict=True)))
    return model, take


def pigeons(holes: int) -> cp_model.CpModel:
    model = cp_model.CpModel()
    sits = [[model.new_bool_var("") for _ in range(holes)] for _ in range(holes + 1)]
    for row in sits:
        model.add_bool_or(row)
    for hole in range(holes):
        model.add_at_most_one(row[hole] for row in sits)
    return model


def test_a_small_model_is_solved_and_proved() -> None:
    model = cp_model.CpModel()
    x = model.new_int_var(0, 10, "x")
    y = model.new_int_var(0, 10, "y")
    model.add(2 * x + 3 * y <= 12)
    model.maximize(x + 2 * y)
    solved = solve(model, Limits(seconds=10), stage="small")
    assert (solved.outcome.outcome, solved.outcome.reason) == ("optimal", "proved")
    assert solved.outcome.value == solved.outcome.bound == 8
    assert solved.outcome.gap == 0
    assert solved.value(x + 2 * y) == 8
    assert solved.outcome.found


def test_a_model_without_objective_is_solved() -> None:
    model = cp_model.CpModel()
    x = model.new_int_var(3, 3, "x")
    solved = solve(model, Limits(), stage="any")
    assert (solved.outcome.outcome, solved.outcome.value, solved.value(x)) == ("optimal", 0.0, 3)


def test_the_same_seed_gives_the_same_solution() -> None:
    runs = []
    for _ in range(2):
        model, take = knapsacks()
        solved = solve(model, Limits(deterministic=0.5, seed=7), stage="repeat")
        runs.append((solved.outcome.outcome, solved.outcome.value, solved.outcome.bound, [solved.value(t) for t in take]))
    assert runs[0] == runs[1]
    assert runs[0][0] == "feasible"


def test_the_work_limit_and_the_clock_are_told_apart() -> None:
    model, _ = knapsacks()
    assert solve(model, Limits(deterministic=0.3), stage="work").outcome.reason == "work limit"
    solved = solve(model, Limits(seconds=0.5, deterministic=1e6), stage="clock")
    assert solved.outcome.reason == "time limit"
    assert solved.outcome.seconds < 3


def test_a_stop_event_keeps_the_best_solution() -> None:
    model, take = knapsacks()
    stop = threading.Event()
    threading.Timer(1.0, stop.set).start()
    start = time.monotonic()
    solved = solve(model, Limits(seconds=60), stage="stopped", stop=stop)
    assert time.monotonic() - start < 20
    assert (solved.outcome.outcome, solved.outcome.reason) == ("feasible", "interrupted")
    assert solved.outcome.value is not None
    assert solved.outcome.value > 0
    assert 0 < sum(solved.value(t) for t in take) < 100
    assert solved.outcome.gap is not None
    assert solved.outcome.gap > 0


@pytest.fixture
def heard() -> Iterator[None]:
    """Python hears Ctrl-C, as in a terminal: a shell's jobs in the background are started deaf to it."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.mark.usefixtures("heard")
def test_ctrl_c_keeps_the_best_solution() -> None:
    model, take = knapsacks()
    stop = threading.Event()
    threading.Timer(1.0, os.kill, (os.getpid(), signal.SIGINT)).start()
    solved = solve(model, Limits(seconds=60), stage="ctrl-c", stop=stop)
    assert stop.is_set()
    assert solved.outcome.seconds < 20
    assert (solved.outcome.outcome, solved.outcome.reason) == ("feasible", "interrupted")
    assert sum(solved.value(t) for t in take) > 0


def test_ctrl_c_after_the_wish_to_stop_was_heard_ends_the_program() -> None:
    model, _ = knapsacks()
    stop = threading.Event()

    def again(*_: object) -> None:
        stop.set()
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        solve(model, Limits(seconds=60), stage="ctrl-c", progress=again, stop=stop)


def test_infeasible_is_said_after_two_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    presolves = []
    original = _Run.__init__

    def spy(self: _Run, *args: object, presolve: bool = True, **more: object) -> None:
        presolves.append(presolve)
        original(self, *args, presolve=presolve, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(_Run, "__init__", spy)
    solved = solve(pigeons(4), Limits(seconds=20), stage="pigeons")
    assert presolves == [True, False]
    assert (solved.outcome.outcome, solved.outcome.reason) == ("infeasible", "proved")
    assert solved.outcome.value is None
    assert solved.outcome.bound is None
    assert solved.outcome.gap is None
    with pytest.raises(ValueError, match="no solution"):
        solved.value(cp_model.CpModel().new_int_var(0, 1, ""))


def test_the_second_run_has_the_last_word(monkeypatch: pytest.MonkeyPatch) -> None:
    model, take = knapsacks(items=8, sacks=1)
    original = _Run._outcome
    seen: list[Outcome] = []

    def lying(self: _Run) -> Outcome:
        outcome = original(self)
        seen.append(outcome)
        return Outcome("infeasible", "proved", None, None, outcome.seconds) if len(seen) == 1 else outcome

    monkeypatch.setattr(_Run, "_outcome", lying)
    solved = solve(model, Limits(seconds=20), stage="disagree")
    assert len(seen) == 2
    assert solved.outcome.outcome == "optimal"
    assert solved.outcome.value == seen[0].value
    assert sum(solved.value(t) for t in take) > 0


def test_an_unconfirmed_infeasible_is_unknown(monkeypatch: pytest.MonkeyPatch) -> None:
    outcomes = iter([Outcome("infeasible", "proved", None, None, 0.1), Outcome("unknown", "time limit", None, None, 0.2)])
    monkeypatch.setattr(_Run, "_outcome", lambda _self: next(outcomes))
    solved = solve(knapsacks(items=5, sacks=1)[0], Limits(seconds=20), stage="unsure")
    assert (solved.outcome.outcome, solved.outcome.reason) == ("unknown", "infeasible not confirmed")
    assert solved.outcome.value is None


def test_no_solution_in_time_has_no_value() -> None:
    model = pigeons(12)
    model.maximize(model.new_int_var(0, 5, ""))
    solved = solve(model, Limits(deterministic=1e-6), stage="too short")
    assert solved.outcome.outcome == "unknown"
    assert solved.outcome.value is None
    assert solved.outcome.gap is None
    assert not solved.outcome.found


def test_progress_is_told_in_the_calling_thread() -> None:
    told: list[tuple[str, float | None, float | None, float]] = []
    threads = set()

    def progress(stage: str, value: float | None, bound: float | None, elapsed: float) -> None:
        told.append((stage, value, bound, elapsed))
        threads.add(threading.current_thread())

    model, _ = knapsacks()
    solved = solve(model, Limits(deterministic=0.5), stage="watched", progress=progress)
    assert threads == {threading.current_thread()}
    values = [value for _, value, _, _ in told if value is not None]
    assert values == sorted(values)
    assert values[-1] == solved.outcome.value
    assert {stage for stage, *_ in told} == {"watched"}


def test_a_fault_in_progress_stops_the_solver_and_is_passed_on() -> None:
    def progress(*_news: object) -> None:
        raise RuntimeError("disk full")

    model, _ = knapsacks()
    start = time.monotonic()
    with pytest.raises(RuntimeError, match="disk full"):
        solve(model, Limits(seconds=60), stage="faulty", progress=progress)
    assert time.monotonic() - start < 20


def test_an_invalid_model_and_a_failing_solver_are_named(monkeypatch: pytest.MonkeyPatch) -> None:
    model = cp_model.CpModel()
    x = model.new_int_var(0, 2**62, "x")
    model.add(x * 2**62 >= 1)
    with pytest.raises(ValueError, match="broken"):
        solve(model, Limits(seconds=1), stage="broken")

    def fails(*_args: object) -> None:
        raise RuntimeError("out of memory")

    monkeypatch.setattr(cp_model.CpSolver, "solve", fails)
    with pytest.raises(NoPlanFound, match="out of memory"):
        solve_function(knapsacks()[0], Limits(seconds=1), stage="failing")


def test_limits_have_to_be_positive() -> None:
    with pytest.raises(ValueError, match="seconds"):
        Limits(seconds=0)
    with pytest.raises(ValueError, match="deterministic"):
        Limits(deterministic=-1)
    with pytest.raises(ValueError, match="workers"):
        Limits(workers=0)


def test_gap() -> None:
    assert Outcome("feasible", "time limit", 80.0, 100.0, 1.0).gap == 0.25
    assert Outcome("feasible", "time limit", -80.0, -100.0, 1.0).gap == 0.25
    assert Outcome("feasible", "time limit", 0.0, 5.0, 1.0).gap == math.inf
    assert Outcome("optimal", "proved", 0.0, 0.0, 1.0).gap == 0.0
    assert Outcome("unknown", "time limit", None, 5.0, 1.0).gap is None


def test_a_budget_is_over_once_work_or_time_is_used_up() -> None:
    work = Budget(Limits(deterministic=1.0))
    assert not work.over
    work.spend(0.9)
    assert not work.over
    work.spend(0.1)
    assert work.over
    assert Budget(Limits(seconds=0.01)).over
    assert not Budget(Limits(seconds=60)).over
    assert not Budget(Limits()).over
