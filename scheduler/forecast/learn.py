"""What the farm's own records say of each strain, blended with its group and its default."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from scheduler.farm.counts import LotPace
from scheduler.farm.farm import Farm
from scheduler.farm.settings import Settings
from scheduler.forecast import history
from scheduler.forecast.history import Grown
from scheduler.forecast.shrink import NEVER, beta_prior, blend, blend_error, effective_sample, group_factor
from scheduler.forecast.spreads import Spreads, dispersion, log_spread, lot_spread, ratio_spread, shock_spread
from scheduler.forecast.standing import MEASURING_SHARE, LotGrowth, measured, measuring_variance, standing_lots
from scheduler.forecast.survival import DEATH, DETACHMENT, EARLY, LATE, Floats, Interval, Losses, weekly_losses_of

LOSS_TRAITS: Mapping[str, tuple[int, int]] = {
    "death_early": (DEATH, EARLY), "death_late": (DEATH, LATE),
    "detach_early": (DETACHMENT, EARLY), "detach_late": (DETACHMENT, LATE),
}  # fmt: skip
"""Trait -> (cause, stage)."""

GROWTH, PIECES, CUTTING, MOUNTING = "frag_mm_per_week", "pieces", "cutting minutes", "mounting minutes"
"""Quantities besides the losses; pieces and minutes as ratios to what is planned."""

WILD = 4.0
"""A size or time this many times what is expected, or this many times less, is left out (farm choice)."""


@dataclass(frozen=True)
class Blend:
    """One learned value. ``default`` is the book's, ``data`` what the strain's own records say (``None``: none).

    ``sample``: their effective sample - losses: frag-weeks over the dispersion; growth, pieces, minutes: independent counts or
    cuts. ``weight``: share of the blended value that is the strain's own data. ``spread``: standard deviation of what is still not
    known of the true value, as a share of it.
    """

    strain: str
    quantity: str
    default: float
    data: float | None
    sample: float
    weight: float
    blended: float
    spread: float


@dataclass(frozen=True)
class Learned:
    """Everything learned. ``blends`` by (strain, quantity), ``lots``: what is known of single lots on racks."""

    blends: Mapping[tuple[str, str], Blend]
    lots: Mapping[str, LotGrowth]
    losses: Mapping[str, Losses]
    spreads: Spreads
    left_out: tuple[str, ...]

    def value(self, strain: str, quantity: str) -> float:
        """A blended value."""
        return self.blends[strain, quantity].blended


def learn(farm: Farm) -> Learned:
    """Learn from a farm's counts, past lots and past cuts; without any, every value is the default."""
    return _Learner(farm).learned()


def learned_farm(farm: Farm, learned: Learned | None = None) -> Farm:
    """The farm with what was learned as its strains' own traits (losses, growth of frags, minutes) and as the paces of its lots.

    Only strains and lots whose value moved get one; where none did it is the farm itself, else another one for ``fingerprint``.
    Pieces really obtained are no trait: the next count of a lot tells the plan, and forecasts use the ratio. The book is not written to.
    """
    known = learned or learn(farm)
    strains = []
    for strain in farm.strains:
        traits, own = farm.traits(strain.strain), {}
        for name in (*LOSS_TRAITS, GROWTH):
            own[name] = (getattr(traits, name), known.value(strain.strain, name))
        for name in ("minutes_colony", "minutes_cut"):
            own[name] = (getattr(traits, name), getattr(traits, name) * known.value(strain.strain, CUTTING))
        ratio, label = (
            known.value(strain.strain, MOUNTING),
            farm.settings.label_minutes if farm.settings.labelling == "plug" else 0.0,
        )
        mounting = max(
            0.0, (traits.minutes_mount + label) * ratio - label
        )  # the ratio is of both together, the label has its own
        own["minutes_mount"] = (traits.minutes_mount, mounting)
        moved = {name: float(f"{new:.6g}") for name, (old, new) in own.items() if not math.isclose(new, old, rel_tol=1e-6)}
        strains.append(strain.model_copy(update=moved) if moved else strain)
    paces = tuple(LotPace(lot=name, growth=pace) for name, lot in known.lots.items() if (pace := lot.pace) != 1.0)
    if tuple(strains) == farm.strains and paces == farm.paces:
        return farm
    return replace(farm, strains=tuple(strains), paces=paces)


class _Learner:
    def __init__(self, farm: Farm) -> None:
        self.farm = farm
        self.settings: Settings = farm.settings
        self.blends: dict[tuple[str, str], Blend] = {}
        self.left_out: list[str] = []
        self.lots: dict[str, LotGrowth] = {}

    def learned(self) -> Learned:
        between = history.intervals(self.farm)
        losses, per_farm, shock = self._losses(between)
        lot_growth = self._growth(history.sizes(self.farm))
        pieces = self._cuts(history.cuts(self.farm))
        spreads = Spreads(lot_growth, self.settings.frag_growth_spread, pieces, shock, per_farm)
        return Learned(self.blends, self.lots, losses, spreads, tuple(self.left_out))

    # ---- losses ---------------------------------------------------------------------------------------------------

    def _losses(self, between: Mapping[str, tuple[Interval, ...]]) -> tuple[dict[str, Losses], float, float]:
        farm, wide = self.farm, self.settings.default_loss_spread
        given = {s.strain: self._default_rates(s.strain) for s in farm.strains}
        floor = {strain: np.maximum(rates, NEVER) for strain, rates in given.items()}
        early = {s.strain: farm.traits(s.strain).early_weeks for s in farm.strains}
        first = {s: weekly_losses_of(rows, early[s], beta_prior(floor[s], wide))[1] for s, rows in between.items()}
        over = dispersion([(i, e) for s, rows in between.items() for i, e in zip(rows, first[s].expected, strict=True)])
        counted = {s: first[s].by_stage(early[s]) for s in first}
        final: dict[str, Losses] = {}
        for strain in floor:
            factor = np.ones((2, 2))
            for cause, stage in LOSS_TRAITS.values():
                others = [
                    (events[cause, stage], weeks[cause, stage] * floor[other][cause, stage])
                    for other, (events, weeks) in counted.items()
                    if other != strain
                    and farm.strain[other].group == farm.strain[strain].group
                    and given[other][cause, stage] > 0
                ]
                seen = [(d / e, e / over) for d, e in others if e > 0]
                factor[cause, stage] = group_factor([r for r, _ in seen], [n for _, n in seen], 1 / wide**2)
            prior_mean = np.minimum(floor[strain] * factor, 0.45)
            prior = beta_prior(prior_mean, wide)
            rates, split = weekly_losses_of(between.get(strain, ()), early[strain], prior, over)
            if strain in between:
                final[strain] = split
            self._note_losses(strain, given[strain], floor[strain], prior, rates, split, over)
        return final, over, shock_spread(between, final, self.settings.shock_spread)

    def _default_rates(self, strain: str) -> Floats:
        traits, rates = self.farm.traits(strain), np.zeros((2, 2))
        for name, (cause, stage) in LOSS_TRAITS.items():
            rates[cause, stage] = getattr(traits, name)
        return rates

    def _note_losses(
        self, strain: str, given: Floats, floor: Floats, prior: tuple[Floats, Floats], rates: Floats, split: Losses, over: float
    ) -> None:
        events, weeks = split.by_stage(self.farm.traits(strain).early_weeks)
        a, b = prior
        for name, at in LOSS_TRAITS.items():
            sample = float(weeks[at] / over)
            blended = float(rates[at])
            if math.isclose(blended, floor[at], rel_tol=1e-12) or (given[at] == 0 and events[at] == 0):
                blended = float(given[at])  # nobody counted anything: the default itself, not what stands for none
            total = float(a[at] + b[at]) + sample
            spread = math.sqrt(max(1 - rates[at], 0.0) / (rates[at] * (total + 1))) if given[at] > 0 or events[at] > 0 else 0.0
            self.blends[strain, name] = Blend(
                strain, name, float(given[at]), float(events[at] / weeks[at]) if weeks[at] > 0 else None, sample,
                sample / total, blended, float(spread),
            )  # fmt: skip

    # ---- growth ---------------------------------------------------------------------------------------------------

    def _growth(self, found: Mapping[str, tuple[Grown, ...]]) -> float:
        """Blend growth, from sizes of lots of which nothing was sold yet; returns the spread between lots."""
        s = self.settings
        sound = {strain: [g for g in rows if self._plausible(g)] for strain, rows in found.items()}
        by_lot: dict[str, dict[str, list[Grown]]] = {}
        for strain, rows in sound.items():
            for g in rows:
                if not g.sold:
                    by_lot.setdefault(strain, {}).setdefault(g.lot, []).append(g)
        lots = {
            strain: [(*measured(rows, s.frag_growth_spread), self._counts(rows)) for rows in of_lot.values()]
            for strain, of_lot in by_lot.items()
        }
        within = math.hypot(s.lot_growth_spread, s.frag_growth_spread)
        ratios = {strain: (_mean([(r, n) for r, _, n in rows]), sum(n for _, _, n in rows)) for strain, rows in lots.items()}
        for strain in self.farm.strain:
            default = self.farm.traits(strain).frag_mm_per_week
            self._note_ratio(strain, GROWTH, ratios, default, s.default_growth_spread, within)
        between = lot_spread(
            [
                (r / ratios[strain][0], v / ratios[strain][0] ** 2)
                for strain, rows in lots.items()
                if len(rows) > 1 and ratios[strain][0] > 0
                for r, v, _ in rows
            ],
            s.lot_growth_spread,
        )
        blends = {strain: self.blends[strain, GROWTH] for strain in self.farm.strain}
        every: dict[str, list[Grown]] = {}
        for rows in sound.values():
            for g in rows:
                every.setdefault(g.lot, []).append(g)
        usual = {strain: b.blended / b.default if b.default > 0 else 1.0 for strain, b in blends.items()}
        unsure = {strain: log_spread(b.spread) for strain, b in blends.items()}
        self.lots = standing_lots(self.farm, every, usual, unsure, between, s.frag_growth_spread)
        return between

    def _plausible(self, g: Grown) -> bool:
        """Whether a size can be meant; a frag that has hardly grown may well measure less than it did."""
        error = 3 * MEASURING_SHARE * (g.size_mm - g.grown_mm)
        good = g.expected_mm / WILD - error <= g.grown_mm <= g.expected_mm * WILD + error
        if not good:
            self.left_out.append(f"size of lot {g.lot}: grown {g.grown_mm:.0f} mm where {g.expected_mm:.0f} are expected")
        return good

    def _counts(self, rows: Sequence[Grown]) -> float:
        """Independent counts that the sizes of a lot are worth: less for frags that have hardly grown, and for the same lot again."""
        within = self.settings.lot_growth_spread**2 + self.settings.frag_growth_spread**2
        if within == 0:
            return effective_sample(len(rows))
        counts = sum(within / (within + measuring_variance(g)) for g in rows)
        return effective_sample(counts) if counts > 1 else counts

    # ---- cuts -----------------------------------------------------------------------------------------------------

    def _cuts(self, records: Mapping[str, tuple[history.CutRecord, ...]]) -> float:
        """Blend pieces and minutes; returns the spread of the pieces a cut gives."""
        pick: dict[str, Callable[[history.CutRecord], float | None]] = {
            PIECES: lambda c: c.pieces, CUTTING: lambda c: c.cutting, MOUNTING: lambda c: c.mounting,
        }  # fmt: skip
        wide = self.settings.pieces_spread
        for quantity, of in pick.items():
            default = self.settings.pieces_share if quantity == PIECES else 1.0
            ratios: dict[str, tuple[float, float]] = {}
            for strain, rows in records.items():
                values = [v for c in rows if (v := of(c)) is not None and (quantity == PIECES or self._usual(c, quantity, v))]
                if values:
                    ratios[strain] = (float(np.mean(values)) / default, float(len(values)))
            for strain in self.farm.strain:
                self._note_ratio(strain, quantity, ratios, default, wide, wide)
        usual = {strain: self.blends[strain, PIECES].blended for strain in records}
        residuals = [c.pieces / usual[s] for s, rows in records.items() for c in rows if usual[s] > 0]
        return ratio_spread(residuals, self.settings.pieces_spread)

    def _usual(self, record: history.CutRecord, quantity: str, ratio: float) -> bool:
        good = 1 / WILD <= ratio <= WILD
        if not good:
            self.left_out.append(f"{quantity} of {record.colony} on {record.day}: {ratio:.1f} times the standard")
        return good

    def _note_ratio(
        self, strain: str, quantity: str, ratios: Mapping[str, tuple[float, float]], default: float, wide: float, within: float
    ) -> None:
        """Blend a quantity that is learned as a ratio to its default.

        ``wide``: standard deviation of true ratios about the default, ``within`` of single counts about the true ratio.
        """
        k, group = self.settings.default_counts, self.farm.strain[strain].group
        others = [ratios[o] for o in ratios if o != strain and self.farm.strain[o].group == group]
        prior = group_factor([r for r, _ in others], [n for _, n in others], k)
        data, sample = ratios.get(strain, (prior, 0.0))
        self.blends[strain, quantity] = Blend(
            strain, quantity, default, default * data if sample > 0 else None, sample, sample / (k + sample),
            default * blend(prior, data, sample, k), blend_error(wide, within, sample, k),
        )  # fmt: skip


def _mean(values: Sequence[tuple[float, float]]) -> float:
    """Mean of (value, weight)."""
    return sum(v * w for v, w in values) / sum(w for _, w in values)
