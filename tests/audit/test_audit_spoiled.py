"""Plans spoiled at random: the audit answers with breaches or none, never with an error of its own."""

from __future__ import annotations

import random
from typing import Any

import pytest
from small_farm import N1A, N1B, N2A, Q1A, S1A, audited, small_farm, small_plan

from scheduler.farm.blocks import parse_block
from scheduler.plan.model import Plan

FARM = small_farm()
PLAN = small_plan(FARM)

VALUES: dict[str, tuple[Any, ...]] = {
    "week": tuple(range(1, 10)), "pieces": (1, 2, 5, 12, 500), "colony": ("A1", "A2", "B1", "Q1", "nobody"),
    "strain": ("AAA", "BBB", "ZZZ", "none"), "session": (None, "bench 2026-12-01", "bench 2026-12-08", "no"),
    "run_order": (None, 0, 1, 2, 9), "cutter": (None, "Ada", "Ben", "Zoe"), "mounter": (None, "Ada", "Ben", "Zoe"),
    "zone": (N1A, N1B, N2A, S1A, Q1A, "none"), "rack": (None, "N1-a", "N1-b", "S1-a", "Q1-a", "none"),
    "blocks": ((), (parse_block("A1:B6"),), (parse_block("C3:D9"), parse_block("C3:D9")), (parse_block("ZZ1:ZZ12"),)),
    "lot": ("NA", "NB", "LA", "OA", "OB", "OQ", "ghost"), "route": ("order", "market", "clear"),
    "size_class": ("small", "large", "huge"), "order": (None, "one", "whole", "none"), "channel": ("ship", "pickup", "none"),
    "minutes": (0, 5), "started": (0, 9), "amount": (0, 9), "subject": ("x",), "line": ("late",),
}  # fmt: skip


def spoiled(plan: Plan, chance: random.Random) -> dict[str, tuple[Any, ...]]:
    """Parts of the plan with one to three values changed, a row lost or a row doubled."""
    parts: dict[str, list[Any]] = {p: list(getattr(plan, p)) for p in ("cuts", "stands", "sales")}
    for _ in range(chance.randint(1, 3)):
        rows = parts[chance.choice(list(parts))]
        i = chance.randrange(len(rows))
        kind = chance.random()
        if kind < 0.1 and len(rows) > 1:
            del rows[i]
        elif kind < 0.2:
            rows.append(rows[i])
        else:
            name = chance.choice([n for n in type(rows[i]).model_fields if n in VALUES])
            rows[i] = rows[i].model_copy(update={name: chance.choice(VALUES[name])})
    return {name: tuple(rows) for name, rows in parts.items()}


@pytest.mark.parametrize("seed", range(8))
def test_a_spoiled_plan_gets_an_answer(seed: int) -> None:
    chance = random.Random(seed)
    for _ in range(25):
        parts = spoiled(PLAN, chance)
        report = audited(FARM, PLAN, **parts)
        assert all(b.rule and b.text for b in report.breaches)
        assert all(r != "value" and r != "O2" for r in report.rules) or not report.lines
