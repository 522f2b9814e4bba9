"""What holds in all tests."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from hypothesis import settings

from scheduler.errors import AuditFailed
from scheduler.plan.model import Plan

# Random examples are drawn the same way in every run, so that a failing one is not gone the next time.
settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.load_profile("repeatable")


@pytest.fixture(scope="session", autouse=True)
def first_plan_passes() -> Iterator[None]:
    """A grower gets the next best plan where one breaks a rule; a test fails there."""

    def refused(_plan: Plan, failed: AuditFailed) -> Plan:
        raise failed

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("scheduler.planning.pipeline.second_choice", refused)
        yield
