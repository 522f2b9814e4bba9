"""Who may settle where and when, for all zones and weeks at once: ``classes.suits`` and ``classes.could_settle`` as tables."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence

import numpy as np
from numpy.typing import NDArray

from scheduler.biology.zones import Zone, zone_racks, zones
from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm
from scheduler.season.classes import hole_light, kept_wholly_free, settling_weeks

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


class Admission:
    """Tables over zones (in the order of ``zones``) and weeks 1..horizon; every table has shape (weeks, zones)."""

    def __init__(self, farm: Farm, pins: Collection[str] = ()) -> None:
        self.farm = farm
        self.zones: Sequence[Zone] = tuple(zones(farm).values())
        self.weeks = farm.weeks.all
        self._dimmest, self._brightest = self._light()
        self._open = self._table(lambda z, w: not farm.tank_closed(z.tank, w))
        self._not_kept = self._table(lambda z, w: not kept_wholly_free(farm, pins, z, w)) if pins else np.ones_like(self._open)
        self._suits: dict[tuple[str, float, str], Flags] = {}
        self._fits: dict[str, Flags] = {}
        self._kept_apart: dict[str, Flags] = {}
        self._feeds: dict[str, Flags] = {}

    def _table(self, holds: Callable[[Zone, int], bool]) -> Flags:
        return np.array([[holds(z, w) for z in self.zones] for w in self.weeks], dtype=np.bool_).reshape(self._shape)

    @property
    def _shape(self) -> tuple[int, int]:
        return len(self.weeks), len(self.zones)

    def _light(self) -> tuple[Floats, Floats]:
        """The light a lot cut in a week has to bear while settling: L2 asks that the mother's limits hold both.

        Later weeks: dimmest and brightest mean. Near weeks, where one hole that does is enough in every week: the dimmest
        week at its brightest hole, the brightest at its dimmest.
        """
        low, high = np.zeros(self._shape), np.zeros(self._shape)
        for i, week in enumerate(self.weeks):
            stay = settling_weeks(self.farm, week)
            for k, zone in enumerate(self.zones):
                if week in self.farm.weeks.later_weeks:
                    means = [zone.par_in(w) for w in stay]
                    low[i, k], high[i, k] = min(means), max(means)
                else:
                    holes = [hole_light(self.farm, zone.id, w) for w in stay]
                    low[i, k], high[i, k] = min(b for _, b in holes), max(d for d, _ in holes)
        return low, high

    def suits(self, colony: Colony) -> Flags:
        """L2, L6, L7 (beside mothers), L8, L9 and plug kind: where frags of a colony may settle, by week of their cut."""
        key = (colony.strain, colony.par_umol, self.farm.system_of_tank(colony.tank))
        if key not in self._suits:
            s, par = self.farm.settings, colony.par_umol
            low, high = (1 - s.dim) * par - 1e-9, (1 + s.bright) * par + 1e-9
            light = (self._dimmest >= low) & (self._brightest <= high)
            self._suits[key] = (
                light & self._open & self._fed(key[2]) & self._fit(colony.strain) & ~self._unfit_beside(colony.strain)
            )
        return self._suits[key]

    def could_settle(self, colony: Colony) -> Flags:
        """The same, less what pins keep free as a whole."""
        return self.suits(colony) & self._not_kept

    def _fed(self, home: str) -> Flags:
        """L6."""
        if home not in self._feeds:
            self._feeds[home] = self._table(lambda z, w: self.farm.may_settle_in(home, z.system, w))
        return self._feeds[home]

    def _fit(self, strain: str) -> Flags:
        """L8 and plug kind, shape (zones,)."""
        if strain not in self._fits:
            traits = self.farm.traits(strain)
            self._fits[strain] = np.array(
                [
                    z.flow in traits.flow_settling
                    and any(traits.plug_kind in self.farm.rack[r].plug_kinds for r in zone_racks(z))
                    for z in self.zones
                ],
                dtype=np.bool_,
            )  # fmt: skip
        return self._fits[strain]

    def _unfit_beside(self, strain: str) -> Flags:
        """L7: zones where a mother stands that a strain is kept apart from, shape (zones,)."""
        if strain not in self._kept_apart:
            self._kept_apart[strain] = np.array([self._shares(strain, z) for z in self.zones], dtype=np.bool_)
        return self._kept_apart[strain]

    def _shares(self, strain: str, zone: Zone) -> bool:
        farm = self.farm
        if farm.strain[strain].group not in farm.choosy_groups:
            return False
        for tank in farm.tanks_by_system[zone.system]:
            kept = {farm.strains_apart(strain, other) for other in farm.mothers_in_tank[tank]}
            if "system" in kept or ("tank" in kept and tank == zone.tank):
                return True
        return False
