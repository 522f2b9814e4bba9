"""Cover: frags beyond what an order asks for, so that chance does not leave it short."""

from __future__ import annotations

from scheduler.biology.service import pieces_to_start
from scheduler.farm.farm import Farm

TYPICAL_ALIVE = 0.9
"""Share of started pieces taken to live until an order is packed, when its cover is planned: farm choice, no published source."""


def with_cover(farm: Farm, order: str) -> float:
    """Graded frags to plan for, so that the pieces started cover the order at the service level."""
    row = farm.order[order]
    share = TYPICAL_ALIVE * farm.traits(row.strain).good_share
    return max(float(row.quantity), pieces_to_start(row.quantity, share, farm.settings.service_level) * share)
