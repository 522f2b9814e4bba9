"""The worth of pieces and the cost of cutting them, in whole cents, as the near-weeks model uses them."""

from __future__ import annotations

from collections.abc import Sequence

from scheduler.farm.units import cents
from scheduler.week.kept import as_told
from scheduler.week.options import NearWorth, Option


class Prices:
    """What pieces of all options of the near weeks are worth and what cutting them costs, in cents; asked for once each.

    A strain's pieces beyond its ``room`` at list price lose ``loss``; its announced pieces that are cut, if they are more, are
    the room. The options have to be all there are, whichever of
    them a model decides on.
    """

    def __init__(self, worth: NearWorth, options: Sequence[Option]) -> None:
        self._worth = worth
        self.room: dict[str, int] = {}
        self.loss: dict[str, int] = {}
        self._piece: dict[tuple[str, int, str], int] = {}
        self._cost: dict[tuple[str, int, int], int] = {}
        for strain in dict.fromkeys(o.strain for o in options):
            self._strain(strain, [o for o in options if o.strain == strain])

    def _strain(self, strain: str, mine: Sequence[Option]) -> None:
        zones = {(o.week, s.zone) for o in mine for s in o.sections}
        listed = {key: self._worth.piece(strain, *key) for key in zones}
        beyond = {key: self._worth.piece(strain, *key, discount=True) for key in zones}
        self.room[strain] = self._worth.list_room(strain, min(o.week for o in mine))
        self.loss[strain] = max(0, cents(max(listed[k] - beyond[k] for k in zones)))
        self._piece |= {(strain, *key): cents(worth) for key, worth in listed.items()}

    def piece(self, option: Option, zone: str) -> int:
        """Worth of a piece in a zone at list price."""
        return self._piece[option.strain, option.week, zone]

    def cost(self, option: Option, pieces: int) -> int:
        """Waiting lost and work of cutting so many pieces."""
        key = (option.name, option.week, pieces)
        if key not in self._cost:
            lost = self._worth.waiting(option.colony, option.week, pieces)
            self._cost[key] = cents(lost + self._worth.colony_cost(option.colony))
        return self._cost[key]

    def too_many(self, strain: str, pieces: int, told: int) -> int:
        """What pieces beyond those wanted at list price lose; ``told`` of the pieces were announced."""
        return self.loss[strain] * max(0, pieces - max(self.room[strain], told))

    def best(self, option: Option, most: int, told: int = 0) -> int:
        """Most that cutting a colony could bring if no other of its strain were cut; not above 0: it is better left alone.

        ``told``: pieces of it announced.
        """
        worth = max(self.piece(option, section.zone) for section in option.sections)
        return max(
            worth * n - self.too_many(option.strain, n, as_told(told, n)) - self.cost(option, n)
            for n in range(option.fewest, most + 1)
        )
