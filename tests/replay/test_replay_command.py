"""The command ``replay``, its table, and the scores of forecasts it adds up."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.stats import binom
from typer.testing import CliRunner

from scheduler.book import write_csv
from scheduler.cli import replay_command
from scheduler.cli.main import app
from scheduler.cli.replay_command import summary, versus
from scheduler.cli.replay_ways import NAMES, judge, ways
from scheduler.replay import Expectation, Job
from tests.farms import random_farm


def result(way: str, seed: int, money: float, **more: Any) -> dict[str, Any]:
    values: dict[str, Any] = {
        "way": way, "seed": seed, "money": money, "earned": money, "worth_left": 30.0, "worth_at_start": 20.0,
        "late_and_short": 1.0, "left_on_racks": 50.0, "frags_sold": 10, "orders_due": 4,
        "orders_on_time": 3, "rack_use": 0.5, "colonies_set_back": 0, "strains_lost": 0, "cuts_below_keep": 0, "cuts_announced": 8,
        "cuts_changed": 2, "weeks_without_plan": [], "forecasts": [],
    }  # fmt: skip
    return values | more


def expected(mean: float, months: int = 3, strains: int = 2, draws: int = 4000) -> Expectation:
    table = np.random.default_rng(1).poisson(mean, (draws, strains, months)).astype(np.float64)
    names = tuple(f"S{i}" for i in range(strains))
    return Expectation(names, tuple((2027, m + 1) for m in range(months)), table, {})


def test_the_command_replays_writes_its_table_and_goes_on(tmp_path: Path) -> None:
    write_csv(random_farm(4, 6, weeks=8), tmp_path / "book")
    command = ["replay", str(tmp_path / "book"), "--weeks", "2", "--seeds", "2", "--way", "simple", "--way", "experienced"]
    command += ["--out", str(tmp_path / "out")]
    first = CliRunner().invoke(app, command)
    assert first.exit_code == 0, first.output
    assert "simple, seed 2" in first.output
    again = CliRunner().invoke(app, command)
    assert again.output.count("done before") == 4
    rows = list(csv.DictReader(io.StringIO((tmp_path / "out" / "summary.csv").read_text(encoding="utf-8"))))
    assert [(r["way"], r["seeds"], r["cuts_below_keep"]) for r in rows] == [("simple", "2", "0"), ("experienced", "2", "0")]


@pytest.mark.parametrize(("quiet", "weeks"), [(False, ["1", "2"]), (True, [])])
def test_a_replay_says_how_far_it_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, quiet: bool, weeks: list[str]) -> None:
    monkeypatch.setattr(replay_command, "EVERY", 0.0)
    write_csv(random_farm(4, 6, weeks=8), tmp_path / "book")
    command = ["replay", str(tmp_path / "book"), "--weeks", "3", "--seeds", "1", "--way", "simple"]
    done = CliRunner().invoke(app, [*command, "--out", str(tmp_path / "out"), *(["--quiet"] * quiet)])
    assert re.findall(r"simple, seed 1: week (\d+) of 3 done", done.output) == weeks


def test_each_replay_is_told_of_by_its_own_time(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    job, weeks = Job(ways(["simple"], quick=False)[0], 7), replay_command._Weeks(9, quiet=False)
    for week, second in ((1, 1000.0), (2, 1010.0), (3, 1016.0), (4, 1020.0), (1, 1090.0), (2, 1100.0), (9, 1200.0)):
        monkeypatch.setattr(replay_command.time, "monotonic", lambda second=second: second)
        weeks(job, week)
    assert re.findall(r"seed 7: week (\d+) of 9", capsys.readouterr().err) == ["3"]


def test_an_unknown_way_is_refused_and_nothing_written(tmp_path: Path) -> None:
    write_csv(random_farm(4, 6, weeks=8), tmp_path / "book")
    done = CliRunner().invoke(app, ["replay", str(tmp_path / "book"), "--way", "guess", "--out", str(tmp_path / "out")])
    assert done.exit_code == 2
    assert "there are ours, simple, experienced" in done.output
    assert not (tmp_path / "out").exists()


def test_the_table_adds_up_over_seeds() -> None:
    forecasts = [{"strain_cells": 10, "strain_hits": 8, "total_cells": 2, "total_hits": 1, "loss": 6.0, "plain_loss": 10.0}]
    row = summary("ours", [result("ours", 1, 100, forecasts=forecasts), result("ours", 2, 140, cuts_changed=4)])
    assert (row["money"], row["money_sd"]) == (120, pytest.approx(28.28, abs=0.01))
    assert (row["orders_on_time_percent"], row["cuts_changed_percent"]) == (75.0, 37.5)
    assert (row["strain_interval_percent"], row["total_interval_percent"], row["pinball_gain_percent"]) == (80.0, 50.0, 40.0)
    assert summary("simple", [result("simple", 1, 100)])["pinball_gain_percent"] is None


def test_ours_is_set_against_each_hand_rule_seed_by_seed() -> None:
    rows = [
        result("ours quick", 1, 120),
        result("ours quick", 2, 90, earned=110),
        result("simple", 1, 100),
        result("simple", 2, 100),
    ]
    assert versus(rows) == [
        "ours quick against simple: +5.0 % money, not worse in 1 of 2 seeds; +15.0 % earned, not worse in 2 of 2 seeds"
    ]
    assert versus(rows[2:]) == []


def test_every_way_has_a_name_of_its_own_and_quick_is_told_apart() -> None:
    assert [w.name for w in ways(list(NAMES), quick=False)] == ["ours", "simple", "experienced"]
    full, quick = (ways(["ours"], quick=q)[0] for q in (False, True))
    assert (full.name, full.settings) != (quick.name, quick.settings)


def test_a_right_forecast_hits_its_interval_eight_times_in_ten() -> None:
    """The 10th to 90th percentile of the true distribution, edges at random: hits are Bin(n, 0.8); 99.9 % bounds from scipy."""
    forecast, rng = expected(12, months=10, strains=40), np.random.default_rng(2)
    actual = rng.poisson(12, (40, 10)).astype(np.float64)
    found = judge(forecast, actual, np.zeros((0, 40)), np.ones(10), 1)
    assert found["strain_cells"] == 400
    assert binom.ppf(0.0005, 400, 0.8) <= found["strain_hits"] <= binom.ppf(0.9995, 400, 0.8)
    assert found["total_cells"] == 10


def test_only_months_with_enough_frags_are_scored_alone_and_part_months_count_in_part() -> None:
    forecast = expected(8)
    few = judge(forecast, np.full((2, 3), 8.0), np.full((3, 2), 8.0), np.ones(3), 1)
    part = judge(forecast, np.full((2, 3), 8.0), np.full((3, 2), 8.0), np.full(3, 0.5), 1)
    assert few["strain_cells"] == 0
    assert part["strain_cells"] == 6  # 8 in half a month
    assert few["plain_loss"] == 0  # the last three months' mean was right
    assert part["plain_loss"] == pytest.approx(6 * 4 * 0.5)  # 4 expected, 8 came: mean of levels 0.1, 0.5 and 0.9 is a half
