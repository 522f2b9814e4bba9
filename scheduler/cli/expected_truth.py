"""A replay without surprises: what is true of the farm is what the planner expects of it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from scheduler.biology.growth import curve, grow, level_of
from scheduler.biology.life import weekly_losses
from scheduler.biology.light import growth_factor
from scheduler.biology.zones import zone_of, zones
from scheduler.farm.blocks import Position
from scheduler.farm.coral import Traits
from scheduler.farm.farm import Farm
from scheduler.replay import Chance, Truth
from scheduler.replay.truth import Month

LONGEST = 104
"""Weeks of light looked up at once: the longest horizon there is."""


class ExpectedTruth(Truth):
    """Growth, losses and light by the planner's own biology; to be used with ``Chance.off()``."""

    def __init__(self, farm: Farm, seed: int, chance: Chance) -> None:
        super().__init__(farm, seed, chance)
        self._long = replace(farm, settings=farm.settings.model_copy(update={"horizon_weeks": LONGEST}))

    def par(self, rack: str, positions: tuple[Position, ...], monday: date) -> float:
        """Mean PAR of the zone most of the positions lie in, µmol m-2 s-1."""
        zone = zones(self._long)[zone_of(self._long, rack, positions)]
        return zone.par_in(self._long.weeks.week_of(monday))

    @staticmethod
    def light_share(traits: Traits, par: float) -> float:
        """Share of light-saturated growth."""
        return growth_factor(par, traits.par_k)

    def losses(self, strain: str, age: int, par: float, tank: str, month: Month) -> tuple[float, float]:  # noqa: ARG002
        """(deaths, detachments) in the week after an age, as shares of those alive."""
        return weekly_losses(self.farm.traits(strain), age, par, self.farm.settings.stress_factor)

    def grown(self, strain: str, units: float) -> float:
        """Size of a mother a week later, counted units: one level up its curve."""
        traits = self.farm.traits(strain)
        sizes = curve(traits)
        return max(units, sizes[grow(sizes, level_of(sizes, units / traits.unit_per_piece), 1)] * traits.unit_per_piece)
