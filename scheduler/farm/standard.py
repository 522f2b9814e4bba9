"""Standard minutes of bench work: what a colony and a piece take, with the allowance, shared out over the steps of a route."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Literal

from scheduler.farm.bench import RouteStep
from scheduler.farm.farm import Farm
from scheduler.farm.units import exact


def with_allowance(minutes: Decimal, share: Decimal, base: Literal["work", "shift"]) -> Decimal:
    """Minutes with an allowance: of work time minutes x (1 + share), of the shift minutes / (1 - share); to 1e-6 minutes.

    2.00 minutes with 9 % are 2.18 on the work base and 2.198 on the shift base. ``share`` is 0 or more and below 1.
    """
    if not 0 <= share < 1:
        raise ValueError(f"an allowance is a share from 0 to below 1, not {share}")
    factor = Fraction(1 + share) if base == "work" else 1 / Fraction(1 - share)
    amount = Fraction(minutes) * factor
    return Decimal(round(amount * 10**6)) / 10**6


@dataclass(frozen=True)
class Standard:
    """Standard minutes of one colony's work: once per ``colony``, per piece to ``cut`` and ``mount``, and per ``label``.

    The mounter's minutes are ``each`` a piece and ``tag`` a block: a label is on every plug, or on one tag a block.
    """

    colony: Decimal
    cut: Decimal
    mount: Decimal
    label: Decimal
    every_plug: bool

    @property
    def each(self) -> Decimal:
        """Minutes of the mounter for a piece."""
        return self.mount + (self.label if self.every_plug else 0)

    @property
    def tag(self) -> Decimal:
        """Minutes of the mounter for a block of the lot."""
        return Decimal(0) if self.every_plug else self.label

    def cutter(self, pieces: int) -> Decimal:
        """Minutes of the cutter."""
        return self.colony + self.cut * pieces

    def mounter(self, pieces: int, blocks: int) -> Decimal:
        """Minutes of the mounter, labels included, for a lot that stands in so many blocks (1 where no place is known yet)."""
        return self.each * pieces + self.tag * max(1, blocks)

    def step(self, row: RouteStep, pieces: int, tags: int) -> Decimal:
        """Minutes a step of the route takes for so many pieces and labels."""
        return (
            exact(row.of_colony) * self.colony
            + exact(row.of_cut) * self.cut * pieces
            + exact(row.of_mount) * self.mount * pieces
            + exact(row.of_label) * self.label * tags
        )


@lru_cache(maxsize=4096)
def standard(farm: Farm, strain: str, on_rock: bool) -> Standard:
    """Standard minutes of a strain; a colony on rock takes ``on_rock_factor`` times as long to fetch and cut."""
    s, traits = farm.settings, farm.traits(strain)
    rock = exact(s.on_rock_factor) if on_rock else Decimal(1)

    def allowed(minutes: Decimal) -> Decimal:
        return with_allowance(minutes, exact(s.allowance_share), s.allowance_base)

    return Standard(
        colony=allowed(exact(traits.minutes_colony) * rock),
        cut=allowed(exact(traits.minutes_cut) * rock),
        mount=allowed(exact(traits.minutes_mount)),
        label=allowed(exact(s.label_minutes)),
        every_plug=s.labelling == "plug",
    )


def labels_of(farm: Farm, pieces: int, blocks: int) -> int:
    """Labels written for a lot: one for every plug, or one for every block it stands in."""
    return pieces if farm.settings.labelling == "plug" else blocks
