"""Ctrl-C while a plan is made keeps what has been found so far; once more ends without a plan."""

from __future__ import annotations

import signal
import threading
from pathlib import Path

import pytest
from typer.testing import CliRunner

from scheduler.book import write_csv
from scheduler.cli.interrupt import STOPPING, stopped_by_hand
from scheduler.cli.main import app
from scheduler.cli.show import Stages
from scheduler.plan.model import Plan
from scheduler.planning.pipeline import plan_farm
from scheduler.solving import Limits
from tests.audit.small_farm import MONDAY, changed, small_farm
from tests.farms import random_farm


def test_the_first_is_told_and_the_second_ends() -> None:
    said: list[str] = []
    before = signal.getsignal(signal.SIGINT)
    with stopped_by_hand(said.append) as stop:
        assert not stop.is_set()
        signal.raise_signal(signal.SIGINT)
        assert stop.is_set()
        assert said == [STOPPING]
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)
    assert signal.getsignal(signal.SIGINT) is before


@pytest.mark.parametrize("at", ["season", "near weeks", "later weeks", "value"])
def test_a_plan_is_written_whenever_it_comes(at: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    stage = Stages.stage

    def reached(self: Stages, name: str) -> None:
        stage(self, name)
        if name == at:
            signal.raise_signal(signal.SIGINT)

    monkeypatch.setattr(Stages, "stage", reached)
    book = tmp_path / "book"
    write_csv(changed(small_farm(), "settings", book_date=MONDAY), book)
    result = CliRunner().invoke(app, ["plan", str(book), "--out", str(tmp_path / "reports"), "--time-limit", "1"])
    assert result.exit_code == 0, result.output
    assert STOPPING.split(":")[0] in result.output
    assert Plan.model_validate_json((tmp_path / "reports" / "2026-W49" / "plan.json").read_bytes()).lines


@pytest.mark.parametrize("seed", range(6))
def test_who_stops_at_once_gets_a_plan_that_passes_the_audit(seed: int) -> None:
    stop = threading.Event()
    stop.set()
    found = plan_farm(random_farm(seed, 10, tight=bool(seed % 2), pins=seed % 3), limits=Limits(seconds=60), stop=stop)
    assert not found.report.breaches
