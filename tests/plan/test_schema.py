"""The published schema of plan.json is the one the code writes."""

import json
from pathlib import Path

import scheduler.plan
from scheduler.reporting import plan_schema


def test_published_schema_is_the_code_s_own() -> None:
    published = Path(scheduler.plan.__file__).with_name("plan.schema.json")
    assert json.loads(published.read_text(encoding="utf-8")) == plan_schema(), (
        "run: frag-scheduler schema > scheduler/plan/plan.schema.json"
    )
