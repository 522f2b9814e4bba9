"""A plan that broke a rule is put aside for the next best one, and the grower is told."""

from __future__ import annotations

import pytest

from scheduler.audit import audit
from scheduler.errors import AuditFailed
from scheduler.farm.farm import Farm
from scheduler.plan.model import Plan
from scheduler.planning import pipeline
from scheduler.planning.pipeline import plan_farm, second_choice
from scheduler.planning.result import Result
from scheduler.solving import Limits
from tests.audit.small_farm import small_farm

LIMITS = Limits(seconds=600, deterministic=0.3, seed=1)


class _Strict:
    """An audit that finds fault with the first plans it sees."""

    def __init__(self, refuses: int) -> None:
        self.refuses, self.seen = refuses, list[Plan]()

    def __call__(self, farm: Farm, plan: Plan, name: str) -> Result:
        self.seen.append(plan)
        if len(self.seen) <= self.refuses:
            raise AuditFailed(f"{name} breaks rule {len(self.seen)}.")
        return Result(plan, audit(farm, plan))


def planned(monkeypatch: pytest.MonkeyPatch, refuses: int) -> tuple[Plan, _Strict]:
    strict = _Strict(refuses)
    monkeypatch.setattr(pipeline, "audited", strict)
    monkeypatch.setattr(pipeline, "second_choice", second_choice)
    return plan_farm(small_farm(), limits=LIMITS).plan, strict


def test_a_plan_that_passes_is_handed_out_without_a_word(monkeypatch: pytest.MonkeyPatch) -> None:
    plan, strict = planned(monkeypatch, 0)
    assert len(strict.seen) == 1
    assert not [n for n in plan.notices if n.kind == "put aside"]


@pytest.mark.parametrize("refuses", [1, 2])
def test_the_next_best_takes_its_place_and_says_so(monkeypatch: pytest.MonkeyPatch, refuses: int) -> None:
    plan, strict = planned(monkeypatch, refuses)
    values = [p.value for p in strict.seen]
    assert values == sorted(values, reverse=True)
    assert [n.text for n in plan.notices if n.kind == "put aside"] == [
        "A better plan was put aside, since it broke a rule. This is a defect of the program; please report it. The plan breaks rule 1."
    ]
    assert not audit(small_farm(), plan).breaches


def test_where_none_passes_the_first_failure_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(AuditFailed, match="rule 1"):
        planned(monkeypatch, 99)
